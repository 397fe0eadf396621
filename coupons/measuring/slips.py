"""Caliper readings that look mistyped. They are shown to a person and never changed."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby, pairwise
from statistics import median

from coupons.making.record import Coupon, CouponFeature
from coupons.measuring.entries import MM_PER_INCH, SizeEntry, parse_number
from coupons.measuring.finding import Finding
from coupons.measuring.sheet import FILE, Row

# How far a printed size may plausibly be from the drawn one: a fixed part and a share of the size.
# Common practice, no source: shrinkage stays under 1 %, growth and hole closing under 0.5 mm.
FIXED_MM, SHARE = 0.5, 0.015
# Readings of one feature by one pair of jaws agree to a few hundredths.
REPEAT_RANGE_MM = 0.1
# Within one row of like features a reading this far from the row's usual error is odd.
ROW_ODD_MM = 0.15
ROW_LEAST = 4


def find_slips(
    coupon: Coupon, sizes: Sequence[SizeEntry], rows: Mapping[int, Row]
) -> list[Finding]:
    """Return the readings that look like a slip of the hand, in the order of their rows."""
    features = {feature.id: feature for feature in coupon.features}
    odd = {
        size.row: _explain(size, features, rows)
        for size in sizes
        if not is_plausible(size.value_mm, features[size.feature].size_mm)
    }
    plausible = [size for size in sizes if size.row not in odd]
    odd |= _wrong_rows(plausible, features)
    findings = [odd[row] for row in sorted(odd)]
    return findings + _wide_repeats(plausible)


def is_plausible(value_mm: float, drawn_mm: float) -> bool:
    """Tell whether a print can be of that size."""
    return abs(value_mm - drawn_mm) <= FIXED_MM + SHARE * drawn_mm


def _look(size: SizeEntry, what: str, todo: str) -> Finding:
    return Finding("look", f"{FILE} row {size.row} ({size.feature})", what, todo)


def _explain(
    size: SizeEntry, features: Mapping[str, CouponFeature], rows: Mapping[int, Row]
) -> Finding:
    """Say what an implausible reading may have been meant to be."""
    drawn_mm = features[size.feature].size_mm
    reads = f"reads {size.value_mm:.6g} mm where {drawn_mm:g} mm is drawn"
    for factor, typed_as, unit in ((MM_PER_INCH, "inches", "in"), (1 / MM_PER_INCH, "mm", "mm")):
        if is_plausible(size.value_mm * factor, drawn_mm):
            value_mm = size.value_mm * factor
            what = f"{reads}; as {typed_as} it would be {value_mm:.2f} mm"
            return _look(size, what, f"If it was read in {typed_as}, write {unit} in column unit")
    for text, value_mm in _mistypings(rows[size.row].result, rows[size.row].unit):
        if is_plausible(value_mm, drawn_mm):
            return _look(size, f"{reads}; {text} would suit", "Measure it again")
    other = _best_suited(size.value_mm, features.values())
    if other is not None:
        what = f"{reads}; it suits {other.id} ({other.size_mm:g} mm)"
        return _look(size, what, "See whether it stands in the wrong row, or measure it again")
    return _look(size, reads, "Measure it again")


def _mistypings(text: str, unit: str) -> Iterable[tuple[str, float]]:
    """Yield the numbers of which ``text`` may be a slip: digits swapped, point moved."""
    scale = MM_PER_INCH if unit.lower() == "in" else 1.0
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


def _best_suited(value_mm: float, features: Iterable[CouponFeature]) -> CouponFeature | None:
    near = min(features, key=lambda feature: abs(feature.size_mm - value_mm))
    return near if is_plausible(value_mm, near.size_mm) else None


def _wrong_rows(
    sizes: Sequence[SizeEntry], features: Mapping[str, CouponFeature]
) -> dict[int, Finding]:
    """Find readings that suit a neighbour in the same row of the coupon much better."""

    def place(size: SizeEntry) -> tuple[str, str]:
        return features[size.feature].row, size.jaws

    found: dict[int, Finding] = {}
    for (row, _), members in groupby(sorted(sizes, key=place), place):
        group = list(members)
        if len({size.feature for size in group}) < ROW_LEAST:
            continue
        usual_mm = median(size.value_mm - features[size.feature].size_mm for size in group)
        neighbours = [feature for feature in features.values() if feature.row == row]
        for size in group:
            other = _better_neighbour(size, features[size.feature], neighbours, usual_mm)
            if other is not None:
                what = f"reads {size.value_mm:.6g} mm, which suits {other.id} much better"
                todo = "See whether two rows were exchanged, or measure it again"
                found[size.row] = _look(size, what, todo)
    return found


def _better_neighbour(
    size: SizeEntry, own: CouponFeature, neighbours: Iterable[CouponFeature], usual_mm: float
) -> CouponFeature | None:
    def miss_mm(feature: CouponFeature) -> float:
        return abs(size.value_mm - feature.size_mm - usual_mm)

    best = min(neighbours, key=miss_mm)
    if miss_mm(own) > ROW_ODD_MM and miss_mm(best) < 0.25 * miss_mm(own):
        return best
    return None


def _wide_repeats(sizes: Sequence[SizeEntry]) -> list[Finding]:
    def place(size: SizeEntry) -> tuple[str, str, str]:
        return size.feature, size.jaws, size.along or ""

    findings = []
    for _, members in groupby(sorted(sizes, key=place), place):
        group = list(members)
        low = min(group, key=lambda size: size.value_mm)
        high = max(group, key=lambda size: size.value_mm)
        if high.value_mm - low.value_mm > REPEAT_RANGE_MM:
            what = (
                f"reads {high.value_mm:.6g} mm, and {low.value_mm:.6g} mm"
                f" in row {low.row}, though it is one feature"
            )
            findings.append(_look(high, what, "Measure it once more and clear the wrong one"))
    return findings
