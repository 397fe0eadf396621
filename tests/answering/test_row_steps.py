"""Sizes and builds that rows of a new coupon go through, and how such a coupon is written down."""

import pytest

from coupons.answering.next.row_options import RowOptions, Target
from coupons.answering.next.written_spec import spec_text
from coupons.answering.where_measured import advice, coupons_with
from coupons.making.printable import row_problems
from coupons.making.spec.coupon_spec import Assumed, parse_spec
from coupons.making.spec.row_kinds import FitRow, SizesRow, SpansRow
from coupons.terms import Direction, Form

X, Y, Z = Direction.X, Direction.Y, Direction.Z
PLAIN = RowOptions(Assumed(), [])


def sizes_row(*sizes_mm, options=PLAIN):
    (row,) = options.sizes(Form.TONGUE, X, sizes_mm)
    return row


def next_to(size_mm, options=PLAIN):
    """Return the sizes to which a single size may go in one step."""
    found = options.near(sizes_row(size_mm, options=options))
    return sorted(row.sizes_mm[0] for row in found if len(row.sizes_mm) == 1)


def test_sizes_go_up_and_down_by_single_steps_from_3_to_40_mm():
    ladder = [3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 30.0, 40.0]
    for below, size_mm, above in zip(ladder, ladder[1:], ladder[2:], strict=False):
        assert next_to(size_mm) == [below, above]
    assert next_to(3.0) == [4.0]
    assert next_to(40.0) == [30.0]
    # From a size between them the nearest on either side.
    assert next_to(7.0) == [6.0, 8.0]


def test_wanted_sizes_are_steps_to_a_tenth_of_a_millimetre():
    wanted = Target((Form.SLOT, Form.TONGUE), X, 6.44, 0.2)
    options = RowOptions(Assumed(), [wanted])
    assert next_to(6.0, options) == [5.0, 6.4]
    assert next_to(8.0, options) == [6.4, 10.0]


def test_a_target_beyond_the_largest_size_is_tried_on_that():
    far = Target((Form.SLOT, Form.TONGUE), X, 41.0, 0.2)
    rows = RowOptions(Assumed(), [far]).starts()
    assert {row.size_mm for row in rows if isinstance(row, FitRow)} == {4.0, 40.0}


BUILDS = [(3.0, 3.0), (3.0, 3.4), (3.6, 4.0), (4.0, 4.0), (5.0, 5.0), (6.0, 6.0)]


@pytest.mark.parametrize(
    ("size_mm", "build"), list(zip([8.0, 11.0, 13.0, 16.0, 18.0, 24.0], BUILDS, strict=True))
)
def test_a_row_is_built_by_the_first_of_six_that_is_stiff_enough(size_mm, build):
    (row,) = PLAIN.fit(Form.PIN, Z, size_mm, [0.2])
    assert (row.depth_mm, row.wall_mm) == build
    assert row.length_mm == 6.0
    for depth_mm, wall_mm in BUILDS[: BUILDS.index(build)]:
        thinner = row.model_copy(update={"depth_mm": depth_mm, "wall_mm": wall_mm})
        assert row_problems(thinner, "A", Assumed(), "")


def test_a_row_that_no_build_is_stiff_enough_for_cannot_be_had():
    assert list(PLAIN.fit(Form.PIN, Z, 60.0, [0.2])) == []
    (row,) = PLAIN.fit(Form.TONGUE, X, 12.0, [0.2])
    assert (row.gauges, row.read_every) == (2, 3)


def test_steps_across_layers_are_layers_of_the_machine():
    thin = RowOptions(Assumed(layer_height_mm=0.15), [])
    (row,) = thin.fit(Form.SLOT, Z, 12.0, [0.3])
    gaps = {one.gaps_mm for one in thin.near(row) if len(one.gaps_mm) == 1}
    assert gaps == {(0.15,), (0.3,), (0.45,)}
    more = {one.gaps_mm for one in thin.near(row) if len(one.gaps_mm) == 2}
    assert more == {(0.0, 0.3), (0.3, 0.6)}


def test_every_step_of_a_row_for_the_caliper_stays_that_of_its_form():
    (row,) = PLAIN.sizes(Form.HOLE, Z, [5.0])
    found = {one.sizes_mm for one in PLAIN.near(row)}
    assert found == {(4.0,), (6.0,), (3.0, 5.0), (4.0, 5.0), (5.0, 8.0), (5.0, 12.0), (5.0, 20.0)}
    assert {(one.form, one.direction) for one in PLAIN.near(row)} == {(Form.HOLE, Z)}


# How it is written down.


def written(row, **changes):
    return spec_text("New", "", ["Why."], Assumed(**changes), [(row, "A reason.")])


def test_what_is_usual_is_not_written_but_sizes_of_walls_are():
    plain = SizesRow(kind="sizes", form="slot", direction="x", sizes_mm=(4, 8))
    text = written(plain)
    assert "length_mm" not in text
    assert "depth_mm" in text
    assert "wall_mm" in text
    other = plain.model_copy(update={"length_mm": plain.length_mm + 1})
    assert f"length_mm = {plain.length_mm + 1:g}" in written(other)
    fit = FitRow(kind="fit", form="slot", direction="x", size_mm=12, gaps_mm=(0.2, 0.3))
    lines = written(fit).splitlines()
    assert "gauges = 2" in lines
    assert "read_every = 3" in lines
    assert "gaps_mm = [0.2, 0.3]" in lines
    assert any(line.startswith("length_mm") for line in lines)
    rule = SpansRow(kind="spans", direction="y", tongues_mm=(3, 8), slots_mm=(12,))
    assert not [line for line in written(rule).splitlines() if line.startswith(("wall", "depth"))]
    assert "id =" not in written(fit)


def test_keys_stand_in_the_order_of_the_shipped_specs():
    fit = FitRow(kind="fit", form="slot", direction="x", size_mm=12, gaps_mm=(0.2,))
    keys = [line.split(" = ")[0] for line in written(fit).split("[[row]]")[1].split("\n") if line]
    assert keys == [
        *("kind", "form", "direction", "size_mm", "gaps_mm", "gauges", "read_every"),
        *("wall_mm", "depth_mm", "length_mm"),
    ]


def test_texts_are_quoted_and_comments_wrapped_at_100_signs():
    row = SizesRow(kind="sizes", form="slot", direction="x", sizes_mm=(4, 8))
    head = ["word " * 30, "Second."]
    text = spec_text('A "new" \\ one', "About it", head, Assumed(), [(row, "Why " * 40)])
    spec = parse_spec(text.encode(), "new", "new.toml")
    assert (spec.title, spec.about) == ('A "new" \\ one', "About it")
    lines = text.splitlines()
    assert max(map(len, lines)) <= 100
    comments = [line for line in lines if line.startswith("#")]
    assert max(map(len, comments)) > 90
    assert "\n#\n# Second.\n\ntitle" in text
    assert "\nabout = " not in spec_text("New", "", head, Assumed(), [(row, "Why.")])


# Where something was not measured.


def test_a_coupon_is_named_that_tries_the_form_or_its_mate():
    assert coupons_with(Form.TONGUE, Z) == ("upright",)
    assert "upright" not in coupons_with(Form.SLOT, X)
    assert coupons_with(Form.HOLE, Direction.XY_PLUS) == ()
    said = advice(Form.SLOT, X)
    names = " or ".join(f"“{name}”" for name in coupons_with(Form.SLOT, X))
    assert said == (
        f"Print the coupon {names}, which has them, fit both runs together (`coupons fit RUN "
        "RUN`), and ask again."
    )
    assert advice(Form.SLOT, Z, Z) == advice(Form.SLOT, Z), "one way is told once"
    assert advice(Form.HOLE, Z, Direction.XY_PLUS).startswith("No shipped coupon has them")
    assert advice(Form.SLOT, Z, X).endswith("and ask again.")
