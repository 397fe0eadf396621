"""``entry.html``: the page on which the hands' findings are typed at the printer."""

import hashlib
import os
from pathlib import Path
from typing import Any

from coupons.atomic import write_text
from coupons.making.record import (
    Coupon,
    CouponFeature,
    CouponReading,
    CouponTrial,
    read_coupon,
)
from coupons.measuring.slips import plausible_mm
from coupons.showing.page import render_page
from coupons.showing.picture import read_picture
from coupons.showing.steps import CAUTIONS, PRINTED_SOLID, read_how, read_title, try_how, try_title
from coupons.terms import GRADES, HAND_TESTS

_STYLES = ("shared/bench.css", "entry/entry.css")
_SCRIPTS = tuple(
    f"entry/{name}.js"
    for name in ("steps", "csv", "journal", "plausible", "picture", "card", "files", "main")
)


def write_entry_page(folder: Path) -> Path:
    """Write ``entry.html`` into a run folder from its ``coupon.json`` and ``map.svg``.

    Parameters
    ----------
    folder : Path
        Run folder. Without a ``map.svg`` the page works from its list alone.

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
    write_text(
        page,
        render_page(
            "entry/entry.html.j2",
            styles=_STYLES,
            scripts=_SCRIPTS,
            title=coupon.spec.title,
            run=folder.resolve().name,
            picture=picture,
            grades=[(grade, HAND_TESTS[grade]) for grade in GRADES],
            cautions=CAUTIONS,
            printed_solid=PRINTED_SOLID,
            record=entry_record(coupon, folder.resolve().name),
        ),
    )
    return page


def entry_record(coupon: Coupon, run: str) -> dict[str, Any]:
    """Return what the page's script works from.

    Parameters
    ----------
    coupon : Coupon
    run : str
        Name of the run folder. With the coupon it makes the key under which a browser keeps the
        entries: two prints of one coupon do not share them.

    Returns
    -------
    dict
        ``key``, ``features`` by id (form, size, row, and low and high, between which the checks
        find a reading plausible) and ``steps`` in the order of trying.
    """
    features = {feature.id: feature for feature in coupon.features}
    fits = [_fit_step(coupon, features[trial.feature], trial) for trial in coupon.trials]
    sizes = [_size_step(features[reading.feature], reading) for reading in coupon.readings]
    identity = f"{coupon.model_dump_json()}\n{run}"
    return {
        "key": "coupon-entries-" + hashlib.sha256(os.fsencode(identity)).hexdigest()[:20],
        "features": {feature.id: _feature_record(feature) for feature in coupon.features},
        "steps": fits + sizes,
    }


def _feature_record(feature: CouponFeature) -> dict[str, Any]:
    low_mm, high_mm = plausible_mm(feature)
    return {
        "form": feature.form,
        "size": feature.size_mm,
        "row": feature.row,
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


def _size_step(feature: CouponFeature, reading: CouponReading) -> dict[str, str]:
    return {
        "kind": "size",
        "feature": reading.feature,
        "mate": "",
        "jaws": reading.jaws.value,
        "along": reading.along or "",
        "title": read_title(reading),
        "how": read_how(feature, reading),
    }
