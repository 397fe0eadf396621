"""What press and clip checks found, in words and as data."""

import math

from coupons.answering.sanity import PressCheck
from coupons.answering.sanity_ask import Clip
from coupons.answering.words import percent

_ROUNDING = 1e-9


def press_sentences(check: PressCheck) -> list[str]:
    """Say what a press does to its ring, whether it stands that, and what the check leaves out."""
    todo = "" if check.within_limit else ": take less interference or a material that stands more"
    return [
        f"The ring is strained by {percent(check.strain, 2)} if the pin does not give way; limit "
        f"{percent(check.strain_limit, 2)}: {_verdict(check.within_limit)}{todo}.",
        f"It stands an interference of {_down(check.interference_limit_mm):.2f} mm over the "
        "diameter.",
        f"The two press on each other with {check.pressure_mpa:.3g} MPa; the ring is pulled most "
        f"at its bore, with {check.ring_stress_mpa:.3g} MPa.",
        *(f"Caution: {line}" for line in check.cautions),
    ]


def clip_sentences(clip: Clip) -> list[str]:
    """Say how far a clip is strained, whether it stands that, and what it takes to close it."""
    check = clip.check
    todo = "" if check.within_limit else ": make it longer, thinner or bend less"
    lines = [
        f"The clip is strained by {percent(check.strain, 2)} at its root; limit "
        f"{percent(check.strain_limit, 2)}: {_verdict(check.within_limit)}{todo}.",
        f"It may be bent by up to {_down(check.deflection_limit_mm):.2f} mm.",
    ]
    if clip.bending_n is not None:
        forces = f"Bending its tip so far takes {clip.bending_n:.3g} N"
        if clip.push_n is not None:
            forces += f", pushing it in {clip.push_n:.3g} N"
        lines.append(f"{forces}.")
    return [*lines, *(f"Caution: {line}" for line in check.cautions)]


def press_data(check: PressCheck) -> dict[str, object]:
    """Return a press check as plain data, units in the names, the sentences with it."""
    return {
        "strain": check.strain,
        "strain_limit": check.strain_limit,
        "within_limit": check.within_limit,
        "interference_limit_mm": check.interference_limit_mm,
        "pressure_mpa": check.pressure_mpa,
        "ring_stress_mpa": check.ring_stress_mpa,
        "words": press_sentences(check),
    }


def clip_data(clip: Clip) -> dict[str, object]:
    """Return a clip check as plain data, units in the names, the sentences with it."""
    check = clip.check
    return {
        "strain": check.strain,
        "strain_limit": check.strain_limit,
        "within_limit": check.within_limit,
        "deflection_limit_mm": check.deflection_limit_mm,
        "bending_force_n": clip.bending_n,
        "push_force_n": clip.push_n,
        "words": clip_sentences(clip),
    }


def _verdict(within: bool) -> str:
    return "within the limit" if within else "BEYOND THE LIMIT"


def _down(mm: float) -> float:
    """Round down to 0.01 mm, so that what is allowed is not beyond the limit."""
    return math.floor(100 * mm + _ROUNDING) / 100
