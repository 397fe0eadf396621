"""What the printer does wrong, term by term, in words and in mm on a part of usual size."""

from dataclasses import dataclass

from coupons.learning.effects import CURL_REFERENCE_MM, EFFECTS
from coupons.learning.profile import Profile
from coupons.showing.learned import half_of_90, is_learned

PART_MM = 20.0
"""Size at which the faults are compared: a scale counts by what it does to such a part."""

MACHINE, MODEL = "in the machine's set-up", "in the model, by the offsets above"


@dataclass(frozen=True)
class Kind:
    """How a term shows: mm on size per unit of the term, words for + and −, where it is cured."""

    factor: float
    plus: str
    minus: str
    cure: str
    coupon: str


_SCALE = "everything along {0} comes out too {1}"
KINDS = {
    "scale_x": Kind(
        PART_MM, _SCALE.format("x", "long"), _SCALE.format("x", "short"), MACHINE, "spans"
    ),
    "scale_y": Kind(
        PART_MM, _SCALE.format("y", "long"), _SCALE.format("y", "short"), MACHINE, "spans"
    ),
    "scale_z": Kind(
        PART_MM, _SCALE.format("z", "tall"), _SCALE.format("z", "low"), MACHINE, "upright"
    ),
    "skew": Kind(
        PART_MM / 2,
        "out of square: the diagonal between +x and +y is too long",
        "out of square: the diagonal between +x and +y is too short",
        MACHINE,
        "spans",
    ),
    "growth_ext": Kind(2, "outer faces stand proud", "outer faces fall short", MODEL, "first"),
    "growth_int": Kind(
        -2, "slots and holes are wide", "slots and holes are narrow", MODEL, "first"
    ),
    "round_ext": Kind(
        2, "pins are thicker than tongues", "pins are thinner than tongues", MODEL, "round"
    ),
    "round_int": Kind(
        -2, "holes are wider than slots", "holes are narrower than slots", MODEL, "round"
    ),
    "curl_int": Kind(
        -2,
        f"small holes open up (at {CURL_REFERENCE_MM:g} mm)",
        f"small holes close up (at {CURL_REFERENCE_MM:g} mm)",
        MODEL,
        "round",
    ),
    "growth_ext_z": Kind(2, "steps are too tall", "steps are too low", MODEL, "upright"),
    "growth_int_z": Kind(
        -2, "slots across layers are tall", "slots across layers are low", MODEL, "upright"
    ),
    "first_layer": Kind(
        2,
        "the first layer swells",
        "the first layer draws in",
        "at the first layer's height",
        "upright",
    ),
}


@dataclass(frozen=True)
class Fault:
    """One systematic error on size over both faces, in mm, with its 90 % interval."""

    name: str
    words: str
    size_mm: float
    low_mm: float
    high_mm: float
    cure: str

    @property
    def is_sure(self) -> bool:
        """Whether the interval leaves zero out."""
        return self.low_mm > 0 or self.high_mm < 0


def faults(profile: Profile) -> tuple[Fault, ...]:
    """Return what was learned of the printer's systematic errors, largest first."""
    found = [_fault(profile, name) for name in EFFECTS if is_learned(profile, name)]
    return tuple(sorted(found, key=lambda fault: (-abs(fault.size_mm), fault.name)))


def _fault(profile: Profile, name: str) -> Fault:
    kind = KINDS[name]
    size_mm = kind.factor * profile.means[name]
    half = abs(kind.factor) * half_of_90(profile, name)
    words = kind.plus if size_mm >= 0 else kind.minus
    return Fault(name, words, size_mm, size_mm - half, size_mm + half, kind.cure)


def unmeasured_terms(profile: Profile) -> tuple[tuple[str, str], ...]:
    """Return each kind of error that was not measured, with the coupon that would measure it."""
    return tuple(
        (_SUBJECTS[name], KINDS[name].coupon) for name in EFFECTS if not is_learned(profile, name)
    )


_SUBJECTS = {
    "scale_x": "scale along x",
    "scale_y": "scale along y",
    "scale_z": "scale along z",
    "skew": "squareness of x and y",
    "growth_ext": "growth of outer faces",
    "growth_int": "growth of inner faces",
    "round_ext": "what pins do beyond tongues",
    "round_int": "what holes do beyond slots",
    "curl_int": "closing of small holes",
    "growth_ext_z": "height of steps",
    "growth_int_z": "height of slots across layers",
    "first_layer": "swell of the first layer",
}
