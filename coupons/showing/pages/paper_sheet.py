"""``sheet.html``: the sheet to print and fill in by pen, with the map at true scale."""

from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from coupons.answering.next.earlier import guide_in
from coupons.atomic import write_text
from coupons.making.output.map_drawing import signed
from coupons.making.record import Coupon, long_row_sentence, read_coupon
from coupons.showing.pages.page import render_page
from coupons.showing.pages.picture import Picture, read_picture
from coupons.showing.words.first_order import best_order, first_numbers
from coupons.showing.words.next_task import (
    CAUTIONS,
    HELD_TITLES,
    PRINTED_SOLID,
    drawn_words,
    jaw_places,
    title_of,
)
from coupons.terms import GRADES, HAND_TESTS, HOLD_TESTS, Hold

# What both A4 and Letter leave inside margins of 12 mm, less the ruler and the words on the map's
# page.
ROOM_MM = (186.0, 215.0)
RULER_MM = 100

_CONDITIONS = (
    "machine",
    "material",
    "nozzle, mm",
    "layer height, mm",
    "nozzle, °C",
    "bed, °C",
    "speed, mm/s",
    "printed on",
    "first layer, mm",
    "outlines moved by slicer, mm per face",
    "holes widened by slicer, mm",
    "first layer narrowed, mm per face",
    "walls: inner or outer first",
    "flow, %",
    "caliper step, mm",
    "flat on inside jaws, mm",
    "closed jaws read, mm",
    "tried by",
    "measured by",
)


_KNOWN = ("caliper step, mm", "tried by")  # of a part that exists already


def _conditions(coupon: Coupon) -> tuple[tuple[str, str], ...]:
    """Return what to fill in, each with what `make` was told already."""
    run = coupon.run
    told = {"machine": run.machine, "material": run.material} if run else {}
    if coupon.part is None:
        told["nozzle, mm"] = f"{coupon.assumed.nozzle_mm:g}"
        told["layer height, mm"] = f"{coupon.assumed.layer_height_mm:g}"
    asked = [name for name in _CONDITIONS if not (coupon.part and name in _KNOWN)]
    return tuple((name, told.get(name, "")) for name in asked)


@dataclass(frozen=True)
class PlacedPicture:
    """A picture on paper: its size there, whether it is turned a quarter, and 1 : ``reduced``."""

    picture: Picture
    width_mm: float
    height_mm: float
    turned: bool
    reduced: int


def write_sheet(folder: Path) -> Path:
    """Write ``sheet.html`` into a run folder from its ``coupon.json`` and ``map.svg``.

    Returns
    -------
    Path
        A page whose print, at 100 % on A4 or Letter, shows the map at true scale.

    Raises
    ------
    RunError
        If the record or the map cannot be read.
    """
    coupon = read_coupon(folder / "coupon.json")
    guide = guide_in(folder, coupon)
    first = first_numbers(guide, best_order(guide)) if guide else ()
    picture = read_picture(folder / "map.svg")
    page = folder / "sheet.html"
    write_text(
        page,
        render_page(
            "sheet/sheet.html.j2",
            styles=("shared/bench.css", "sheet/sheet.css"),
            title=coupon.spec.title,
            run=folder.resolve().name,
            conditions=_conditions(coupon),
            part=coupon.part,
            placed=picture and place_on_paper(picture),
            ruler_mm=RULER_MM,
            grades=[(grade, HAND_TESTS[grade]) for grade in GRADES],
            hold_tests=_hold_tests(coupon),
            hold_words=tuple(Hold),
            held_rows=_held_rows(coupon),
            jaw_places=jaw_places(coupon),
            cautions=CAUTIONS,
            printed_solid=PRINTED_SOLID,
            first=[title_of(coupon, guide.tasks[number]) for number in first] if guide else (),
            rows=_trial_rows(coupon, first),
            readings=_readings(coupon, first),
            long_rows=long_row_sentence(coupon.trials),
        ),
    )
    return page


def place_on_paper(picture: Picture) -> PlacedPicture:
    """Fit a picture into what the paper leaves: as it is, turned, or reduced by a whole number."""
    width, height = picture.view_mm[2:]
    reduced = 1
    while True:
        for turned in (False, True):
            on_paper = (height, width) if turned else (width, height)
            size = on_paper[0] / reduced, on_paper[1] / reduced
            if size[0] <= ROOM_MM[0] and size[1] <= ROOM_MM[1]:
                return PlacedPicture(picture, *size, turned, reduced)
        reduced += 1


def _trial_rows(
    coupon: Coupon, first: tuple[int, ...]
) -> list[tuple[str, list[tuple[str, str, str, int]]]]:
    """Return feature, gap, mate and place in the order of the trials under their row's letter."""
    row_of = {feature.id: feature.row for feature in coupon.features}
    places = {number: place for place, number in enumerate(first, start=1)}
    return [
        (
            row,
            [
                (trial.feature, signed(trial.gap_mm), trial.mate, places.get(number, 0))
                for number, trial in trials
            ],
        )
        for row, trials in groupby(
            enumerate(coupon.trials), key=lambda each: row_of[each[1].feature]
        )
    ]


def _hold_tests(coupon: Coupon) -> list[tuple[str, list[tuple[Hold, str]]]]:
    """Return what is asked of pieces that hold themselves, for those that the coupon has."""
    kinds = dict.fromkeys(hold.held_by for hold in coupon.holds)
    return [(HELD_TITLES[kind], list(HOLD_TESTS[kind].items())) for kind in kinds]


def _held_rows(coupon: Coupon) -> list[tuple[str, list[tuple[str, str, str]]]]:
    """Return hole, its size and the piece for it, under the row of the coupon."""
    features = {feature.id: feature for feature in coupon.features}
    return [
        (row, [(h.feature, f"{features[h.feature].size_mm:g}", h.mate) for h in holds])
        for row, holds in groupby(coupon.holds, key=lambda hold: features[hold.feature].row)
    ]


def _readings(coupon: Coupon, first: tuple[int, ...]) -> list[tuple[str, str, int]]:
    """Return each reading as the feature's id, the words beside its box, its place in the order.

    Of a part that exists already the words say what its drawing shows.
    """
    at_bed = {feature.id for feature in coupon.features if feature.at_bed}
    places = {number: place for place, number in enumerate(first, start=1)}
    part = coupon.part
    drawn = {f.id: f"{drawn_words(f, part)}: " for f in coupon.features} if part else {}
    return [
        (
            reading.feature,
            drawn.get(reading.feature, "")
            + reading.jaws
            + (f" along {reading.along}" if reading.along else "")
            + (", at the bed" if reading.feature in at_bed else ""),
            places.get(number, 0),
        )
        for number, reading in enumerate(coupon.readings, start=len(coupon.trials))
    ]
