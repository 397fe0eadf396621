"""Caliper readings that look mistyped. They are reported, never changed."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby, pairwise
from statistics import median

from coupons.making.record import Coupon, CouponFeature
from coupons.measuring.run.entries import MM_PER_INCH, SizeEntry, parse_number
from coupons.measuring.run.findings import Finding
from coupons.measuring.run.sheet import FILE, Row
from coupons.terms import Form

# How far a printed size may plausibly be from the drawn one: a fixed part, a share of the size, and
# for holes a part that grows as they get small. Shrinkage stays under 1 %, growth under 0.5 mm:
# common practice, no source. A published set of printed holes closes by 1.23/d − 0.01 mm.
FIXED_MM, SHARE, HOLE_MM2 = 0.5, 0.015, 1.5
# Readings of one feature by one pair of jaws agree to a few hundredths.
REPEAT_RANGE_MM = 0.1
# Two that are as near as this were not mistyped both.
AGREE_MM = 0.05
# In a row of like features of nearly one size a reading this far from the row's usual error is odd,
# and an explanation must come this much nearer.
ROW_ODD_MM, ROW_LEAST, ROW_SPREAD = 0.15, 3, 0.25
MUCH_NEARER = 0.25
# The row's unit, the factor that makes the reading plausible, its name, what to do. Where the row
# has the right unit already, only the number can be wrong.
_UNIT_SLIPS = (
    ("mm", MM_PER_INCH, "as inches", "If it was read in inches, write in in column unit"),
    ("in", 1 / MM_PER_INCH, "as mm", "If it was read in mm, write mm in column unit"),
    ("mm", 1 / MM_PER_INCH, "divided by 25.4", "Divide it by 25.4, or measure it again"),
    ("in", MM_PER_INCH, "times 25.4", "Multiply it by 25.4, or measure it again"),
)
# From so many readings in another unit on, one finding reports them all.
MANY = 3

_MEASURE_AGAIN = "Measure it again"
_WRONG_ROW = "Check whether it is in the wrong row, or measure it again"

Features = Mapping[str, CouponFeature]
Rows = Mapping[int, Row]


def find_slips(coupon: Coupon, sizes: Sequence[SizeEntry], rows: Rows) -> list[Finding]:
    """Return the readings that look mistyped, in the order of their rows."""
    features = {feature.id: feature for feature in coupon.features}
    odd = [size for size in sizes if not is_plausible(size.size_mm, features[size.feature])]
    odd_rows = {size.row for size in odd}
    plausible = [size for size in sizes if size.row not in odd_rows]
    units, others = _other_units(odd, features, rows)
    found = {size.row: _explain(size, features, rows) for size in others}
    found |= _odd_in_their_row(plausible, features, rows)
    found = _agreeing_told_once(found, sizes)
    return [*units, *(found[row] for row in sorted(found)), *_wide_repeats(plausible)]


def plausible_mm(feature: CouponFeature) -> tuple[float, float]:
    """Return the smallest and the largest plausible printed size of a feature, in mm.

    The checks and the entry page use the same limits.
    """
    allowed_mm = FIXED_MM + SHARE * feature.size_mm
    closing_mm = HOLE_MM2 / feature.size_mm if feature.form is Form.HOLE else 0.0
    return feature.size_mm - allowed_mm - closing_mm, feature.size_mm + allowed_mm


def is_plausible(value_mm: float, feature: CouponFeature) -> bool:
    """Tell whether a feature can plausibly print at a size."""
    low_mm, high_mm = plausible_mm(feature)
    return low_mm <= value_mm <= high_mm


def _look(size: SizeEntry, what: str, todo: str, kind: str) -> Finding:
    return Finding("look", f"{FILE} row {size.row} ({size.feature})", what, todo, kind)


def _reads(size: SizeEntry, features: Features) -> str:
    drawn_mm = features[size.feature].size_mm
    return f"reads {size.value_mm:.6g} mm; the drawn size is {drawn_mm:g} mm"


def _other_units(
    sizes: Sequence[SizeEntry], features: Features, rows: Rows
) -> tuple[list[Finding], list[SizeEntry]]:
    """Find readings that are plausible in another unit; return findings and other readings."""
    findings, rest = [], list(sizes)
    for unit, factor, how, todo in _UNIT_SLIPS:
        suit = [
            size
            for size in rest
            if (rows[size.row].unit.lower() or "mm") == unit
            and is_plausible(size.value_mm * factor, features[size.feature])
        ]
        suited = {size.row for size in suit}
        rest = [size for size in rest if size.row not in suited]
        each = [
            _look(
                size,
                f"{_reads(size, features)}. {how.capitalize()} it would be"
                f" {size.value_mm * factor:.2f} mm",
                todo,
                how,
            )
            for size in suit
        ]
        if len(each) >= MANY:
            first, last = suit[0].row, suit[-1].row
            what = f"{len(each)} readings in rows {first} to {last} are plausible only {how}"
            findings.append(Finding("look", FILE, f"{what}. The first {each[0].what}", todo))
        else:
            findings += each
    return findings, rest


def _explain(size: SizeEntry, features: Features, rows: Rows) -> Finding:
    """Suggest what an implausible reading was meant to be."""
    reads = _reads(size, features)
    for text, value_mm in _mistypings(rows[size.row]):
        if is_plausible(value_mm, features[size.feature]):
            return _look(size, f"{reads}. Was {text} meant?", _MEASURE_AGAIN, "mistyped")
    near = min(features.values(), key=lambda feature: abs(feature.size_mm - size.size_mm))
    if is_plausible(size.size_mm, near):
        what = f"{reads}. It would fit {near.id} ({near.size_mm:g} mm)"
        return _look(size, what, _WRONG_ROW, "wrong row")
    return _look(size, reads, _MEASURE_AGAIN, "implausible")


def _mistypings(row: Row) -> Iterable[tuple[str, float]]:
    """Yield the numbers that may have been meant: two digits swapped, or the point moved."""
    text, scale = row.result, MM_PER_INCH if row.unit.lower() == "in" else 1.0
    places = [i for i, char in enumerate(text) if char.isdecimal()]
    for i, j in pairwise(places):
        chars = list(text)
        chars[i], chars[j] = chars[j], chars[i]
        yield from _scaled("".join(chars), scale)
    digits = "".join(text[i] for i in places)
    for at in range(1, len(digits)):
        yield from _scaled(f"{digits[:at]}.{digits[at:]}", scale)


def _scaled(text: str, scale: float) -> Iterable[tuple[str, float]]:
    number = parse_number(text)
    if number is not None:
        yield text, number * scale


def _odd_in_their_row(
    sizes: Sequence[SizeEntry], features: Features, rows: Rows
) -> dict[int, Finding]:
    """Find readings that are out of line with their row, where a mistyping explains them."""

    def place(size: SizeEntry) -> tuple[str, str]:
        feature = features[size.feature]
        return feature.row, feature.form

    found: dict[int, Finding] = {}
    for (row, form), members in groupby(sorted(sizes, key=place), place):
        group = list(members)
        drawn_mm = {features[size.feature].size_mm for size in group}
        if len(drawn_mm) < ROW_LEAST or max(drawn_mm) > (1 + ROW_SPREAD) * min(drawn_mm):
            continue
        usual_mm = median(size.size_mm - features[size.feature].size_mm for size in group)
        row_of = [each for each in features.values() if (each.row, each.form) == (row, form)]
        for size in group:
            finding = _explain_in_row(size, features[size.feature], row_of, usual_mm, rows)
            if finding is not None:
                found[size.row] = finding
    return found


def _explain_in_row(
    size: SizeEntry,
    own: CouponFeature,
    row_of: Iterable[CouponFeature],
    usual_mm: float,
    rows: Rows,
) -> Finding | None:
    expected_mm = own.size_mm + usual_mm
    miss_mm = abs(size.size_mm - expected_mm)
    if miss_mm <= ROW_ODD_MM:
        return None
    reads = (
        f"reads {size.value_mm:.6g} mm; the other readings in its row suggest {expected_mm:.2f} mm"
    )
    near = min(row_of, key=lambda each: abs(size.size_mm - usual_mm - each.size_mm))
    if abs(size.size_mm - usual_mm - near.size_mm) < MUCH_NEARER * miss_mm:
        what = f"{reads}. It would fit {near.id} ({near.size_mm:g} mm)"
        return _look(size, what, _WRONG_ROW, "wrong row")
    for text, value_mm in _mistypings(rows[size.row]):
        if abs(value_mm - expected_mm) < MUCH_NEARER * miss_mm:
            return _look(size, f"{reads}. Was {text} meant?", _MEASURE_AGAIN, "mistyped")
    return None


def _agreeing_told_once(
    found: Mapping[int, Finding], sizes: Sequence[SizeEntry]
) -> dict[int, Finding]:
    """Report odd readings of one feature that agree as one finding: the feature differs.

    Nobody mistypes a number twice in the same way.
    """
    told = dict(found)
    of_feature: defaultdict[str, list[SizeEntry]] = defaultdict(list)
    for size in sizes:
        of_feature[size.feature].append(size)
    for odd in sizes:
        if odd.row not in told:  # not odd, or told with an earlier one
            continue
        agreeing = [
            other
            for other in of_feature[odd.feature]
            if other.row != odd.row and abs(other.size_mm - odd.size_mm) <= AGREE_MM
        ]
        if not agreeing:
            continue
        rows = _listed([other.row for other in agreeing])
        verb = "agrees" if len(agreeing) == 1 else "agree"
        reads = found[odd.row].what.split(". ")[0]
        what = f"{reads}. {rows.capitalize()} {verb}, so the feature itself differs"
        todo = (
            f"This is no typing mistake: look at {odd.feature} for strings, a burr or a blob, and"
            " check that the jaws were in the right feature; if they were, leave the readings as"
            " they are"
        )
        told[odd.row] = _look(odd, what, todo, "feature differs")
        for other in agreeing:
            told.pop(other.row, None)
    return told


def _listed(rows: Sequence[int]) -> str:
    """Name rows by number.

    >>> _listed([4]), _listed([4, 7, 9])
    ('row 4', 'rows 4, 7 and 9')
    """
    *most, last = map(str, rows)
    return f"rows {', '.join(most)} and {last}" if most else f"row {last}"


def _wide_repeats(sizes: Sequence[SizeEntry]) -> list[Finding]:
    def place(size: SizeEntry) -> tuple[str, str, str]:
        return size.feature, size.jaws, size.along or ""

    findings = []
    for _, members in groupby(sorted(sizes, key=place), place):
        group = list(members)
        low = min(group, key=lambda size: size.size_mm)
        high = max(group, key=lambda size: size.size_mm)
        if high.size_mm - low.size_mm > REPEAT_RANGE_MM:
            what = (
                f"reads {high.value_mm:.6g} mm here, but {low.value_mm:.6g} mm in row {low.row},"
                " on the same feature"
            )
            todo = "Measure it again and clear the wrong one"
            findings.append(_look(high, what, todo, "repeat"))
    return findings
