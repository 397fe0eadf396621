"""Press and clip checks from numbers as people type them."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from coupons.answering.strength.press_and_clip import (
    ClipSection,
    PressBody,
    PressCheck,
    SnapCheck,
    bending_force_n,
    check_press,
    check_snap,
    push_force_n,
)
from coupons.answering.strength.quantities import (
    ANGLE,
    BORE,
    FRICTION,
    LENGTH,
    MODULUS,
    POISSON,
    STRAIN,
    read_quantities,
)
from coupons.errors import AnswerError

_PRESS = {
    "size": LENGTH,
    "interference": LENGTH,
    "ring-outside": LENGTH,
    "ring-modulus": MODULUS,
    "ring-poisson": POISSON,
    "pin-bore": BORE,
    "pin-modulus": MODULUS,
    "pin-poisson": POISSON,
    "strain-limit": STRAIN,
}
# A solid rigid pin, as of metal; a common figure of plastics for the ring.
_USUAL = {"ring-poisson": 0.36, "pin-bore": 0.0, "pin-modulus": math.inf, "pin-poisson": 0.36}
_CLIP = {
    "deflection": LENGTH,
    "length": LENGTH,
    "thickness": LENGTH,
    "strain-limit": STRAIN,
    "width": LENGTH,
    "modulus": MODULUS,
    "friction": FRICTION,
    "angle": ANGLE,
}
_TOGETHER = (("width", "modulus"), ("friction", "angle"))


@dataclass(frozen=True)
class Clip:
    """A clip's check, the force that bends it, and the push that closes it, if known."""

    check: SnapCheck
    bending_n: float | None
    push_n: float | None


def ask_press(typed: Mapping[str, str | None]) -> PressCheck:
    """Check a press fit.

    Parameters
    ----------
    typed : mapping of str to str or None
        ``size``, ``interference``, ``ring-outside``, ``ring-modulus`` and ``strain-limit``; perhaps
        ``ring-poisson``, ``pin-bore``, ``pin-modulus``, ``pin-poisson``.

    Raises
    ------
    AnswerError
        With everything that cannot be used.

    Examples
    --------
    >>> ring = {"size": "10 mm", "ring-outside": "16", "ring-modulus": "3.5 GPa"}
    >>> ask_press({**ring, "interference": "0.1", "strain-limit": "2 %"}).within_limit
    True
    """
    read = _USUAL | read_quantities(typed, _PRESS)
    return check_press(
        read["interference"],
        read["size"],
        PressBody(read["ring-outside"], read["ring-modulus"], read["ring-poisson"]),
        PressBody(read["pin-bore"], read["pin-modulus"], read["pin-poisson"]),
        read["strain-limit"],
    )


def ask_clip(typed: Mapping[str, str | None], taper: str = "none") -> Clip:
    """Check a clip.

    Parameters
    ----------
    typed : mapping of str to str or None
        ``deflection``, ``length``, ``thickness`` and ``strain-limit``; ``width`` and ``modulus``
        for the force that bends it; with them ``friction`` and ``angle`` for the push.
    taper : str
        ``"none"`` or ``"half"``.

    Raises
    ------
    AnswerError
        With everything that cannot be used, or if the hook jams.

    Examples
    --------
    >>> clip = {"deflection": "2.4", "length": "19", "thickness": "3.28", "strain-limit": "2.1 %"}
    >>> round(ask_clip(clip, "half").check.strain, 3)
    0.02
    """
    read = read_quantities(typed, _CLIP)
    for one, other in _TOGETHER:
        if (one in read) is not (other in read):
            raise AnswerError(f"Use --{one} and --{other} together, or neither.")
    length_mm, thickness_mm = read["length"], read["thickness"]
    check = check_snap(read["deflection"], length_mm, thickness_mm, read["strain-limit"], taper)
    if "width" not in read:
        if "angle" in read:
            raise AnswerError("--friction and --angle also need --width and --modulus.")
        return Clip(check, None, None)
    root = ClipSection(read["width"], thickness_mm)
    bending_n = bending_force_n(check.strain, length_mm, root, read["modulus"])
    if "angle" not in read:
        return Clip(check, bending_n, None)
    return Clip(check, bending_n, push_force_n(bending_n, read["friction"], read["angle"]))
