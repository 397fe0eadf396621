"""The results of press and clip checks, in words and as data."""

import math

from coupons.answering.strength.asked import Clip
from coupons.answering.strength.press import FitStrain
from coupons.answering.strength.press_and_clip import CORE_CAUTIONS, PRESS_CAUTIONS, PressCheck
from coupons.answering.words.numbers import percent
from coupons.terms import INTERNAL, Form

_ROUNDING = 1e-9
_PARTS = {
    Form.HOLE: ("Strain of the printed ring around the pin", PRESS_CAUTIONS),
    Form.PIN: ("Strain of the printed pin", CORE_CAUTIONS),
}


def press_sentences(check: PressCheck) -> list[str]:
    """Give the strain of the ring, the verdict, and what the check leaves out."""
    todo = "" if check.within_limit else ": use less interference or a material with a higher limit"
    return [
        f"Strain of the ring if the pin is rigid: {percent(check.strain, 2)}; limit "
        f"{percent(check.strain_limit, 2)}: {_verdict(check.within_limit)}{todo}.",
        f"Largest interference within the limit: {_down(check.interference_limit_mm):.2f} mm over "
        "the diameter.",
        f"Contact pressure: {check.pressure_mpa:.3g} MPa. Largest tensile stress, at the bore of "
        f"the ring: {check.ring_stress_mpa:.3g} MPa.",
        *(f"Caution: {line}" for line in check.cautions),
    ]


def clip_sentences(clip: Clip) -> list[str]:
    """Give the strain of a clip, the verdict, and the forces to bend and to close it."""
    check = clip.check
    todo = "" if check.within_limit else ": make it longer or thinner, or bend it less"
    lines = [
        f"Strain of the clip at its root: {percent(check.strain, 2)}; limit "
        f"{percent(check.strain_limit, 2)}: {_verdict(check.within_limit)}{todo}.",
        f"Largest deflection within the limit: {_down(check.deflection_limit_mm):.2f} mm.",
    ]
    if clip.bending_n is not None:
        forces = f"Force to bend the tip: {clip.bending_n:.3g} N"
        if clip.push_n is not None:
            forces += f"; force to push it in: {clip.push_n:.3g} N"
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
    """Round down to 0.01 mm, so that the rounded length is within the limit."""
    return math.floor(100 * mm + _ROUNDING) / 100


def strain_sentences(strain: FitStrain) -> list[str]:
    """Give the strains, the verdict, and what the check leaves out."""
    verdict = (
        "within the limit in both cases"
        if strain.tight <= strain.limit
        else "within the limit as expected, beyond it in a tight print"
        if strain.expected <= strain.limit
        else "BEYOND THE LIMIT: use a looser fit"
        + (" or a stronger ring" if strain.form in INTERNAL else "")
    )
    part, cautions = _PARTS[strain.form]
    return [
        f"{part}: {percent(strain.expected, 2)} expected, "
        f"{percent(strain.tight, 2)} or more in one print of twenty; limit "
        f"{percent(strain.limit, 2)}: {verdict}.",
        *(f"Caution: {line}" for line in cautions),
    ]
