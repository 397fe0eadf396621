"""Words for a step on the pages: which piece to try where, and how to hold the caliper."""

from coupons.answering.ways import way
from coupons.making.record import (
    Coupon,
    CouponFeature,
    CouponHold,
    CouponPart,
    CouponReading,
    CouponTrial,
)
from coupons.terms import INTERNAL, ROUND, Form, Held, Jaws

CAUTIONS = (
    "Nozzle and bed stay hot after a print: let both cool. Ventilate the room.",
    "Remove sharp edges and the burr of the first layer before trying a fit: they cut, and they "
    "spoil the result.",
    "Wear eye protection when forcing or pressing parts, and keep fingers clear.",
    "Force and push fits across the layers can split along them.",
    "Keep small parts away from children.",
    "Printed fits are not for guarding, lifting, pressure, medical or vehicle use without a "
    "qualified person's check; local codes and the material's safety sheet come first.",
)

PRINTED_SOLID = (
    "Print the pieces solid, with four walls and 100 % infill: hollow ones bend under the jaws "
    "and read too short."
)
HELD_TITLES = {
    Held.THREAD: "Screws that cut their own thread",
    Held.INSERT: "Inserts that are set with heat",
}
_HOW_HELD = {
    Held.THREAD: "Drive it straight in by hand until its head sits, then tighten it firmly.",
    Held.INSERT: "Set it straight with a hot iron, let it cool, then tighten a screw in it. "
    "The insert and the iron are hot.",
}
CLOSED_TITLE = "Close the jaws: what does the caliper show?"
CLOSED_HOW = (
    "Wipe the jaws and close them gently. 0 or less is a right answer here: it is taken off the "
    "readings."
)
FLAT_ON_TABLE = "Flat on the table, jaws straight down and just touching: a hard grip bends it."

# How each pair of jaws is held, by form; `{along}` is the axis on the printer.
_HOLD = {
    (Jaws.OUTSIDE, Form.TONGUE): "Outside jaws on its two faces, along {along}.",
    (Jaws.OUTSIDE, Form.PIN): "Outside jaws across the pin, along {along}.",
    (Jaws.INSIDE, Form.SLOT): "Inside jaws on the two faces of the slot, along {along}.",
    (
        Jaws.INSIDE,
        Form.HOLE,
    ): "Inside jaws in the hole, along {along}; rock them for the largest reading.",
    (Jaws.DEPTH, Form.TONGUE): "Depth rod from its top down to its base, along {along}.",
    (Jaws.DEPTH, Form.SLOT): "Depth rod from the edge to the floor, along {along}.",
}
_LOOSE = {
    Form.PIN: "loose pin",
    Form.TONGUE: "loose tongue",
    Form.HOLE: "loose piece with a hole",
    Form.SLOT: "loose piece with a slot",
}


def try_title(feature: CouponFeature, trial: CouponTrial) -> str:
    """Return the few words that name a trial, by the ids that stand on the pieces."""
    return f"Try {trial.mate} {'in' if feature.form in INTERNAL else 'over'} {trial.feature}"


def try_how(coupon: Coupon, feature: CouponFeature, trial: CouponTrial) -> str:
    """Return a sentence that says what the two pieces of a trial are."""
    hardware = {piece.id: piece.name for piece in coupon.hardware}
    if trial.mate in hardware:
        return f"{trial.mate} is hardware: {hardware[trial.mate]}. {_is_a(feature)}."
    form = next(f.form for f in coupon.features if f.id == trial.mate)
    return f"{trial.mate} is the {_LOOSE[form]}. {_is_a(feature)}."


def hold_how(coupon: Coupon, feature: CouponFeature, hold: CouponHold) -> str:
    """Return what the piece and the hole are, and how to try whether it holds."""
    name = next(piece.name for piece in coupon.hardware if piece.id == hold.mate)
    return (
        f"{hold.mate} is hardware: {name}. {feature.id} is a hole of {feature.size_mm:g} mm "
        f"{_lies(feature)}. {_HOW_HELD[hold.held_by]}"
    )


def _is_a(feature: CouponFeature) -> str:
    return f"{feature.id} is a {feature.form} {_lies(feature)}"


def _lies(feature: CouponFeature) -> str:
    """Return how a feature lies on the printer."""
    if feature.form in ROUND:
        return f"with its axis along {feature.direction}"
    return f"across {feature.direction}"


def read_title(reading: CouponReading) -> str:
    """Return the few words that name a reading."""
    along = f", along {reading.along}" if reading.along else ""
    return f"Measure {reading.feature}{along}"


def title_of(coupon: Coupon, task: CouponTrial | CouponReading) -> str:
    """Return the few words that name a trial or a reading."""
    if isinstance(task, CouponReading):
        return read_title(task)
    return try_title(next(one for one in coupon.features if one.id == task.feature), task)


def drawn_words(feature: CouponFeature, part: CouponPart) -> str:
    """Describe a size of a part that exists already, as its drawing shows it.

    Examples
    --------
    >>> height = CouponFeature(id="H10", form="tongue", direction="z", size_mm=10.13,
    ...     role="span", row="tongues, z", body="part", plate=1, place_mm=None, on_bed=True)
    >>> part = CouponPart(instrument="height gauge", resolution_mm=0.001, uncertainty_mm=0.004,
    ...     datums={"foot": ("H10", "H20")})
    >>> drawn_words(height, part)
    'tongue of 10.13 mm across z, from the first layer, datum foot'
    """
    between = ", " if feature.form in ROUND else " "
    lies = way(feature.form, feature.direction)
    words = f"{feature.form} of {feature.size_mm:g} mm{between}{lies}"
    datums = [f", datum {face}" for face, ids in part.datums.items() if feature.id in ids]
    return "".join([words, ", from the first layer" if feature.on_bed else "", *datums])


def part_how(feature: CouponFeature, reading: CouponReading, part: CouponPart) -> str:
    """Return what a size of a part that exists already is, and how it is read."""
    drawn = drawn_words(feature, part)
    along = reading.along or feature.direction
    hold = _HOLD[reading.jaws, feature.form].format(along=along)
    place = " At the first layer." if feature.at_bed else ""
    return f"{drawn[0].upper()}{drawn[1:]}. {hold}{place}"


def read_how(feature: CouponFeature, reading: CouponReading) -> str:
    """Return a sentence or two that say where the jaws go."""
    along = reading.along or feature.direction
    hold = _HOLD.get((reading.jaws, feature.form), f"{reading.jaws.capitalize()}, along {along}.")
    if feature.at_bed:
        place = "At the side of the bed, on the first layer."
    elif along == "z":
        place = "In the middle of its length, away from chamfers and lettering."
    else:
        place = "Halfway up, away from chamfers and lettering."
    words = f"{hold.format(along=along)} {place}"
    return f"{words} {FLAT_ON_TABLE}" if _is_length(feature) else words


def _is_length(feature: CouponFeature) -> bool:
    """Return whether a feature is a length of a rule or a plate, level with the bed."""
    flat = feature.form not in ROUND and feature.direction != "z"
    return flat and feature.role == "span"


def jaw_places(coupon: Coupon) -> tuple[str, ...]:
    """Return each way of holding the caliper that this coupon asks for, once."""
    features = {feature.id: feature for feature in coupon.features}
    asked = {(reading.jaws, features[reading.feature].form): reading for reading in coupon.readings}
    lengths = any(_is_length(features[reading.feature]) for reading in coupon.readings)
    holds = tuple(
        f"{form.capitalize()}s: " + _HOLD[jaws, form].format(along="the axis next to the box")
        for jaws, form in sorted(asked)
        if (jaws, form) in _HOLD
    )
    rules = f"Rules and plates: {FLAT_ON_TABLE[0].lower()}{FLAT_ON_TABLE[1:]}"
    return (*holds, rules) if lengths and coupon.part is None else holds
