"""A coupon of any size with a plain map, for the tests of pages."""

from dataclasses import replace
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from coupons.making.record import (
    Coupon,
    CouponAssumed,
    CouponFeature,
    CouponHardware,
    CouponReading,
    CouponSpecRef,
    CouponTrial,
    read_coupon,
    write_coupon,
)
from coupons.measuring.run import sheet
from coupons.measuring.run.conditions import conditions_text
from coupons.measuring.run.folder import load_run
from coupons.terms import GRADES

PITCH_MM = 12.0
# Form and direction of a row, then those of the loose gauges that are tried in it.
ROWS = (
    ("slot", "x", 4.0, "tongue"),
    ("slot", "y", 4.0, "tongue"),
    ("hole", "z", 5.0, "pin"),
    ("pin", "z", 5.0, "hole"),
)


def make_record(rows=4, features=6, title="Small bench coupon", hardware_name="8 mm dowel"):
    """A coupon of ``rows`` rows; two gauges a row, every third feature with a reading."""
    parts = [_row(number, features) for number in range(rows)]
    dowel = CouponHardware(id="dowel", name=hardware_name, form="pin", size_mm=5.0, sd_mm=0.003)
    bought = [CouponTrial(feature="C1", mate="dowel", gap_mm=-0.1)] if rows > 2 else []
    return Coupon(
        spec=CouponSpecRef(name="bench", title=title, digest="0" * 16),
        assumed=CouponAssumed(bed_mm=(400, 400), layer_height_mm=0.2, nozzle_mm=0.4),
        bodies=(),
        features=[feature for part in parts for feature in part[0]],
        hardware=[dowel],
        trials=[trial for part in parts for trial in part[1]] + bought,
        readings=[reading for part in parts for reading in part[2]],
    )


def _row(number, features):
    form, direction, nominal, gauge_form = ROWS[number % len(ROWS)]
    letter = chr(ord("A") + number % 26) * (1 + number // 26)
    y = PITCH_MM * (number + 1)

    def feature(id_, form, size, role, column):
        return CouponFeature(
            id=id_,
            form=form,
            direction=direction,
            size_mm=size,
            role=role,
            row=letter,
            body="plate" if role == "fit" else id_,
            plate=1,
            place_mm=(PITCH_MM * column, y, 3.0),
        )

    # Gaps widen along a row: openings grow, pins shrink.
    way = -1 if form == "pin" else 1
    sizes = [round(nominal + way * (0.1 * column - 0.1), 2) for column in range(features)]
    fixed = [
        feature(f"{letter}{column + 1}", form, size, "fit", column + 1)
        for column, size in enumerate(sizes)
    ]
    gauges = [
        feature(f"{letter}G{copy}", gauge_form, nominal, "gauge", features + 1 + copy)
        for copy in (1, 2)
    ]
    trials = [
        CouponTrial(feature=one.id, mate=gauge.id, gap_mm=round(way * (one.size_mm - nominal), 3))
        for one in fixed
        for gauge in gauges
    ]
    readings = [
        CouponReading(
            feature=one.id,
            jaws="inside" if one.form in ("slot", "hole") else "outside",
            along="x" if one.form in ("hole", "pin") else None,
        )
        for one in [*fixed[::3], *gauges]
    ]
    return [*fixed, *gauges], trials, readings


def map_svg(coupon):
    """A plain map: a square a feature, its id below."""
    groups = []
    for feature in coupon.features:
        x, y, _ = feature.place_mm
        groups.append(
            f'<g class="feature" data-id={quoteattr(feature.id)}>'
            f'<rect x="{x - 3}" y="{y - 3}" width="6" height="6" fill="#777"/>'
            f'<text x="{x}" y="{y + 5.5}" font-size="2.4">{escape(feature.id)}</text></g>'
        )
    width = max(feature.place_mm[0] for feature in coupon.features) + PITCH_MM
    height = max(feature.place_mm[1] for feature in coupon.features) + PITCH_MM
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}">'
        f"{''.join(groups)}</svg>"
    )


def write_run(parent, coupon=None, name="bench-1-pale"):
    """Write a run folder holding a record and a map, and return it."""
    coupon = coupon or make_record()
    folder = parent / name
    folder.mkdir()
    write_coupon(coupon, folder / "coupon.json")
    (folder / "map.svg").write_text(map_svg(coupon), encoding="utf-8")
    return folder


def fill_run(folder, seed=1, rehearsed=False, machine="bench-1"):
    """Fill a run folder as a printer with known faults and a careful person would; return the run.

    Outer faces stand 0.06 mm proud, inner ones 0.09 mm, y is 0.4 % short; like features differ by
    0.02 mm. Grades change at clearances of −0.05, 0.02, 0.12 and 0.30 mm.
    """
    rng = np.random.default_rng(seed)
    coupon = read_coupon(folder / "coupon.json")
    printed = {}
    for feature in coupon.features:
        outer = feature.form in ("pin", "tongue")
        y_share = {"y": 1.0, "z": 0.5}.get(feature.direction, 0.0)
        growth = 2 * (0.06 if outer else -0.09)
        own = rng.normal(0, 0.02)
        printed[feature.id] = feature.size_mm * (1 - 0.004 * y_share) + growth + own
    printed |= {piece.id: piece.size_mm for piece in coupon.hardware}
    rows = []
    for row in sheet.blank_rows(coupon):
        if row.kind == "zero":
            continue
        if row.kind == "size":
            result = f"{printed[row.feature] + rng.normal(0, 0.01):.2f}"
        else:
            inner = next(f for f in coupon.features if f.id == row.feature).form in ("slot", "hole")
            gap = (printed[row.feature] - printed[row.mate]) * (1 if inner else -1)
            felt = gap + rng.normal(0, 0.02)
            result = GRADES[sum(felt >= edge for edge in (-0.05, 0.02, 0.12, 0.30))].value
        rows.append(replace(row, result=result, by="mk"))
    sheet.write_rows(folder / sheet.FILE, rows)
    text = conditions_text(machine, "pale PLA", 0.4, 0.2)
    if rehearsed:
        text = text.replace("rehearsed = false", "rehearsed = true")
    (folder / "conditions.toml").write_text(text, encoding="utf-8")
    return load_run(folder)
