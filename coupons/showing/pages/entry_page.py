"""``entry.html``: the page for typing trials and readings at the printer."""

import hashlib
import os
from pathlib import Path
from typing import Any

from coupons.answering.next.earlier import guide_in, has_earlier
from coupons.answering.next.guide import MORE, Ahead, Guide
from coupons.answering.next.wants import CHOICES
from coupons.atomic import write_text
from coupons.making.record import (
    Coupon,
    CouponFeature,
    CouponHold,
    CouponPart,
    CouponReading,
    CouponTrial,
    left_out,
    read_coupon,
)
from coupons.measuring.checks.mistyped import plausible_mm
from coupons.measuring.run.about import identity
from coupons.measuring.run.entries import LARGEST_MM, LARGEST_ZERO_MM, SMALLEST_MM, parse_grades
from coupons.showing.pages.about_form import (
    CALIPER,
    WALL_ORDERS,
    Questions,
    asked_record,
    questions,
)
from coupons.showing.pages.guide_record import guide_record
from coupons.showing.pages.page import render_page
from coupons.showing.pages.picture import read_picture
from coupons.showing.words.first_order import best_order, first_numbers
from coupons.showing.words.next_task import (
    CAUTIONS,
    CLOSED_HOW,
    CLOSED_TITLE,
    PRINTED_SOLID,
    hold_how,
    part_how,
    read_how,
    read_title,
    title_of,
    try_how,
    try_title,
)
from coupons.terms import GRADES, HAND_TESTS, HOLD_TESTS, Hold, Jaws

_STYLES = ("shared/bench.css", "entry/entry.css")
_SCRIPTS = tuple(
    f"entry/{name}.js"
    for name in (
        "steps",
        "rules",
        "csv",
        "journal",
        "plausible",
        "guide",
        "picture",
        "card",
        "guided",
        "about",
        "files",
        "main",
    )
)


LISTED = ("listed", "Everything, in the order of the list")
"""The choice of whoever wants to go by the list of the coupon."""


def write_entry_page(folder: Path, *, choice: str = "all") -> Path:
    """Write ``entry.html`` into a run folder from its ``coupon.json`` and ``map.svg``.

    Parameters
    ----------
    folder : Path
        Run folder. Without a ``map.svg`` the page works from its list alone.
    choice : str
        What the page asks for first unless the person chooses: one of
        `coupons.answering.next.wants.CHOICES`, or "listed" for the order of the list.

    Returns
    -------
    Path
        The page, one file that needs no network.

    Raises
    ------
    RunError
        If the record or the map cannot be read.
    """
    page = folder / "entry.html"
    coupon = read_coupon(folder / "coupon.json")
    picture = read_picture(folder / "map.svg")
    guide = guide_in(folder, coupon)
    order = best_order(guide) if guide else None
    record = entry_record(coupon, folder.resolve().name, choice)
    record["guide"] = guide_record(guide, order) if guide and order else None
    write_text(
        page,
        render_page(
            "entry/entry.html.j2",
            styles=_STYLES,
            scripts=_SCRIPTS,
            title=coupon.spec.title,
            run=folder.resolve().name,
            picture=picture,
            names=[name for name in (*_names(coupon), folder.resolve().name) if name],
            instrument=coupon.part.instrument if coupon.part else "",
            questions=_asked(coupon),
            wall_orders=WALL_ORDERS,
            grades=[(grade, HAND_TESTS[grade]) for grade in GRADES],
            holds=tuple(Hold),
            cautions=CAUTIONS,
            printed_solid=PRINTED_SOLID,
            choices=choices_of(guide),
            more=MORE,
            earlier=has_earlier(folder),
            first_steps=_first_steps(coupon, guide, order) if guide and order else (),
            record=record,
        ),
    )
    return page


def choices_of(guide: Guide | None) -> list[tuple[str, str]]:
    """Return what can be chosen at the start, with the words for it; the whole list last."""
    covered = {key: tuple(guide.weights(key)) if guide else () for key in CHOICES}
    # What a choice before it covers as well is not shown: one kind alone is all of it.
    first = {wants: key for key, wants in reversed(covered.items())}
    return [*((key, CHOICES[key]) for key in CHOICES if first[covered[key]] == key), LISTED]


def entry_record(coupon: Coupon, run: str, choice: str = "all") -> dict[str, Any]:
    """Return what the page's script works from.

    Parameters
    ----------
    coupon : Coupon
    run : str
        Name of the run folder. Where the record does not say which print it was made for, it makes
        with the coupon the key under which a browser keeps the entries.

    Returns
    -------
    dict
        ``key``, ``identity`` and names of the print, ``about`` (what is asked once), ``ranks`` of
        the words for grades, ``sizes`` (smallest and largest that is accepted), ``zero`` (largest
        closed-jaw reading), ``hardware`` by id, ``holds`` (tests of pieces that hold
        themselves), ``features`` by id (form, direction, size, row, and
        the plausible limits low and high) and ``steps`` in the order of the sheet: trials,
        readings, then the closed jaws once; ``choice`` of what to ask for first.
    """
    features = {feature.id: feature for feature in coupon.features}
    fits = [_fit_step(coupon, features[trial.feature], trial) for trial in coupon.trials]
    holds = [_hold_step(coupon, features[hold.feature], hold) for hold in coupon.holds]
    sizes = [_size_step(features[one.feature], one, coupon.part) for one in coupon.readings]
    print_id = coupon.run.id if coupon.run else run
    # Without the names in it, so that another name of the machine keeps the key.
    kept_under = f"{coupon.model_dump_json(exclude=left_out(coupon) | {'run'})}\n{print_id}"
    return {
        "key": "coupon-entries-" + hashlib.sha256(os.fsencode(kept_under)).hexdigest()[:20],
        "run": " · ".join(filter(None, (*_names(coupon), run))),
        "identity": identity(coupon),
        **dict(zip(("machine", "material"), _names(coupon), strict=True)),
        "about": [asked_record(one) for _, each in _asked(coupon) for one in each],
        "ranks": _ranks(),
        "choice": choice,
        "sizes": [SMALLEST_MM, LARGEST_MM],
        "zero": LARGEST_ZERO_MM,
        "hardware": {piece.id: piece.form for piece in coupon.hardware},
        "features": {feature.id: _feature_record(feature) for feature in coupon.features},
        "holds": HOLD_TESTS,
        "steps": [*fits, *sizes, *([_zero_step()] if sizes else []), *holds],
    }


def _first_steps(coupon: Coupon, guide: Guide, order: Ahead) -> list[str]:
    """Return the titles of the first steps of the best fixed order."""
    return [title_of(coupon, guide.tasks[number]) for number in first_numbers(guide, order)]


def _names(coupon: Coupon) -> tuple[str, str]:
    """Return machine and material as the coupon was made for them; empty if it does not say."""
    return (coupon.run.machine, coupon.run.material) if coupon.run else ("", "")


def _asked(coupon: Coupon) -> Questions:
    """Return what the page asks of this print; what the record says of its instrument is known."""
    known = coupon.part.model_dump(exclude_none=True) if coupon.part else {}
    return questions(*_names(coupon), caliper=[one for one in CALIPER if one.key not in known])


def _ranks() -> dict[str, tuple[int, int]]:
    """Return each word that the checks read as a grade, or as several, with the ranks it spans."""
    words = (*GRADES, "stop", "stops", "go", "goes")
    spans = {word: parse_grades(word) for word in words}
    return {
        word: (GRADES.index(span[0]), GRADES.index(span[1])) for word, span in spans.items() if span
    }


def _feature_record(feature: CouponFeature) -> dict[str, Any]:
    low_mm, high_mm = plausible_mm(feature)
    return {
        "form": feature.form,
        "direction": feature.direction,
        "size": feature.size_mm,
        "row": feature.row,
        "place": feature.row if len(feature.row) > 1 else f"row {feature.row}",
        "low": low_mm,
        "high": high_mm,
    }


def _fit_step(coupon: Coupon, feature: CouponFeature, trial: CouponTrial) -> dict[str, str]:
    return {
        "kind": "fit",
        "feature": trial.feature,
        "mate": trial.mate,
        "jaws": "",
        "along": "",
        "title": try_title(feature, trial),
        "how": try_how(coupon, feature, trial),
    }


def _hold_step(coupon: Coupon, feature: CouponFeature, hold: CouponHold) -> dict[str, str]:
    return {
        "kind": "hold",
        "feature": hold.feature,
        "mate": hold.mate,
        "jaws": "",
        "along": "",
        "held": hold.held_by.value,
        "title": f"Drive {hold.mate} into {hold.feature}",
        "how": hold_how(coupon, feature, hold),
    }


def _zero_step() -> dict[str, str]:
    return {
        "kind": "zero",
        "feature": "",
        "mate": "",
        "jaws": Jaws.OUTSIDE.value,
        "along": "",
        "title": CLOSED_TITLE,
        "how": CLOSED_HOW,
    }


def _size_step(
    feature: CouponFeature, reading: CouponReading, part: CouponPart | None
) -> dict[str, str]:
    return {
        "kind": "size",
        "feature": reading.feature,
        "mate": "",
        "jaws": reading.jaws.value,
        "along": reading.along or "",
        "title": read_title(reading),
        "how": part_how(feature, reading, part) if part else read_how(feature, reading),
    }
