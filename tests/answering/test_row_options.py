"""Which rows a new coupon may have: where the search starts, and what a single step reaches."""

import pytest

from coupons.answering.next.row_options import NEVER_MORE, RowOptions, Target
from coupons.making.spec.coupon_spec import Assumed
from coupons.making.spec.row_kinds import FitRow, SizesRow, SpansRow
from coupons.terms import Direction, Form

SLOT, TONGUE, HOLE, PIN = Form.SLOT, Form.TONGUE, Form.HOLE, Form.PIN
X, Z, DIAGONAL = Direction.X, Direction.Z, Direction.XY_PLUS
DRAWER = Target((SLOT, TONGUE), X, 12.3, 0.3)
OPTIONS = RowOptions(Assumed(), [DRAWER])


def fit(form, direction, size_mm, gaps_mm, **changes):
    (row,) = OPTIONS.fit(form, direction, size_mm, gaps_mm, **changes)
    return row


def told(row):
    return row.form, row.size_mm, row.gaps_mm, row.gauges, row.read_every


def test_wanted_sizes_stand_among_the_usual_ones_up_to_the_largest():
    more = RowOptions(Assumed(), [DRAWER, Target((HOLE,), Z, 41.0, 0.2)])
    assert 12.3 in more.sizes_mm
    assert more.sizes_mm[-1] == 40.0
    assert RowOptions(Assumed(), [Target((SLOT,), X, 40.0, 0.2)]).sizes_mm.count(40.0) == 1


def test_a_search_starts_from_gaps_about_the_believed_one():
    rows = [row for row in OPTIONS.starts() if isinstance(row, FitRow)]
    assert {row.form for row in rows} == {SLOT, TONGUE}
    assert {row.size_mm for row in rows} == {4.0, 12.3}
    # Two a step to each side of it, three with two steps between them, four with three.
    gaps = {(0.3,), (0.25, 0.35), (0.2, 0.3, 0.4), (0.05, 0.2, 0.4, 0.5)}
    assert {row.gaps_mm for row in rows} == gaps
    assert len(rows) == 2 * 2 * 4
    assert {(row.gauges, row.read_every) for row in rows} == {(2, 3)}


def test_a_search_starts_from_rows_for_the_caliper_and_rules():
    rows = [row for row in OPTIONS.starts() if not isinstance(row, FitRow)]
    sizes = {(4.0,), (12.3,), (4.0, 12.3), (4.0, 12.3, 20.0)}
    for form in (SLOT, TONGUE):
        own = [row for row in rows if isinstance(row, SizesRow) and row.form is form]
        assert {row.sizes_mm for row in own} == sizes
        assert len(own) == 4
    rules = {row.tongues_mm: row.slots_mm for row in rows if isinstance(row, SpansRow)}
    assert rules == {
        (5, 8): (20,),
        (8, 10): (34,),
        (6, 3, 8): (12, 20),
        (6, 3, 8, 12): (12, 34, 7),
        (5, 3, 10, 20): (20, 50, 12),
    }


def test_rules_are_for_flat_faces_in_the_plane():
    for target in (Target((HOLE, PIN), Z, 5.0, 0.2), Target((SLOT, TONGUE), Z, 6.0, 0.2)):
        rows = RowOptions(Assumed(), [target]).starts()
        assert rows
        assert not any(isinstance(row, SpansRow) for row in rows)


def test_bought_hardware_has_rows_of_the_printed_form_and_of_its_mate():
    rows = RowOptions(Assumed(), [Target((HOLE,), Z, 5.0, 0.2)]).starts()
    assert {row.form for row in rows if isinstance(row, FitRow)} == {HOLE, PIN}
    assert {row.form for row in rows if isinstance(row, SizesRow)} == {HOLE}


def test_a_round_form_across_a_diagonal_cannot_be_tried():
    askew = Target((HOLE, PIN), DIAGONAL, 5.0, 0.2)
    options = RowOptions(Assumed(), [askew, DRAWER])
    assert options.missing() == (askew,)
    assert RowOptions(Assumed(), [askew]).starts() == ()
    flat = RowOptions(Assumed(), [Target((SLOT, TONGUE), DIAGONAL, 12.0, 0.3)])
    assert flat.missing() == ()
    assert all(row.direction is DIAGONAL for row in flat.starts())


def test_a_row_is_as_slightly_built_as_it_can_be():
    row = fit(SLOT, X, 12.3, [0.2])
    assert (row.depth_mm, row.wall_mm, row.length_mm) == (3.0, 3.0, 6.0)
    # What bends more needs a thicker wall: the thinnest steps that are stiff enough.
    built = {(PIN, 12.0): (3.0, 3.4), (HOLE, 12.0): (3.6, 4.0), (HOLE, 25.0): (6.0, 6.0)}
    for (form, size_mm), expected in built.items():
        row = fit(form, Z, size_mm, [0.2])
        assert (row.depth_mm, row.wall_mm) == expected
    assert list(OPTIONS.fit(HOLE, X, 12.0, [0.2])) == [], "none is stiff enough"


@pytest.mark.parametrize(
    "gaps_mm", [[], [-1.05], [3.05], [0.1 * n for n in range(11)], [-1.05, 0.2], [0.2, 3.05]]
)
def test_no_row_has_no_gaps_too_many_or_some_beyond_reason(gaps_mm):
    assert list(OPTIONS.fit(SLOT, X, 12.0, gaps_mm)) == []


def test_gaps_up_to_the_limits_make_a_row():
    assert fit(SLOT, X, 12.0, [0.1 * n for n in range(10)]).gaps_mm[-1] == 0.9
    assert fit(SLOT, X, 12.0, [-1.0]).gaps_mm == (-1.0,)
    assert fit(SLOT, X, 12.0, [3.0]).gaps_mm == (3.0,)
    assert fit(SLOT, X, 12.0, [0.31, 0.29, 0.12]).gaps_mm == (0.1, 0.3), "steps of 0.05 mm"


def test_across_layers_gaps_and_sizes_are_whole_layers():
    row = fit(SLOT, Z, 12.3, [0.25, 0.55])
    assert (row.size_mm, row.gaps_mm) == (12.4, (0.2, 0.6))
    (sizes,) = OPTIONS.sizes(SLOT, Z, [4.15, 12.32, 12.35])
    assert sizes.sizes_mm == (4.2, 12.4)
    assert fit(HOLE, Z, 5.0, [0.15]).gaps_mm == (0.15,), "a round hole along z lies in the plane"


def test_a_row_for_the_caliper_has_one_to_eight_sizes():
    assert list(OPTIONS.sizes(SLOT, X, [])) == []
    eight = [3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0]
    (row,) = OPTIONS.sizes(SLOT, X, reversed(eight))
    assert row.sizes_mm == tuple(eight)
    assert list(OPTIONS.sizes(SLOT, X, [*eight, 20.0])) == []


def test_a_step_from_graded_gaps_changes_one_thing():
    row = fit(SLOT, X, 12.0, [0.2, 0.4])
    near = OPTIONS.near(row)
    assert len(set(near)) == len(near)
    assert row not in near
    gaps = {
        *((0.15, 0.35), (0.25, 0.45)),  # all moved
        *((0.25, 0.35), (0.15, 0.45)),  # all nearer to the middle, or farther
        *((0.15, 0.4), (0.2, 0.35), (0.25, 0.4), (0.2, 0.45)),  # one moved
        *((0.2,), (0.4,)),  # one left out
        *((0.0, 0.2, 0.4), (0.2, 0.4, 0.6), (0.2, 0.3, 0.4)),  # one more: at an end, or between
    }
    others = {
        *((SLOT, 12.0, (0.2, 0.4), gauges, 3) for gauges in (1, 3)),
        *((SLOT, 12.0, (0.2, 0.4), 2, every) for every in (1, 2, NEVER_MORE)),
        *((SLOT, size, (0.2, 0.4), 2, 3) for size in (10.0, 12.3)),
        (TONGUE, 12.0, (0.2, 0.4), 2, 3),
    }
    assert {told(one) for one in near} == {(SLOT, 12.0, each, 2, 3) for each in gaps} | others


def test_a_step_from_one_gap_goes_aside_or_adds_one_two_steps_off():
    near = OPTIONS.near(fit(SLOT, X, 12.0, [0.3]))
    found = {row.gaps_mm for row in near if (row.size_mm, row.gauges) == (12.0, 2)}
    assert found == {(0.25,), (0.35,), (0.2, 0.3), (0.3, 0.4), (0.3,)}


def test_a_middle_gap_goes_where_the_room_is_widest():
    near = OPTIONS.near(fit(SLOT, X, 12.0, [0.0, 0.1, 0.5]))
    added = {row.gaps_mm for row in near if len(row.gaps_mm) == 4}
    assert added == {(0.0, 0.1, 0.3, 0.5), (-0.4, 0.0, 0.1, 0.5), (0.0, 0.1, 0.5, 0.9)}
    spread = {row.gaps_mm for row in near if row.gaps_mm[0] in (-0.05, 0.05)}
    # About the middle, 0.25: by a fifth more or less, to the nearest step.
    assert (-0.05, 0.05, 0.55) in spread
    assert (0.05, 0.15, 0.45) in spread


def test_gauges_are_one_to_five():
    few, many = (OPTIONS.near(fit(SLOT, X, 12.0, [0.3], gauges=n)) for n in (1, 5))
    assert {row.gauges for row in few} == {1, 2}
    assert {row.gauges for row in many} == {5, 4}


def test_a_step_of_the_caliper_leaves_out_moves_or_adds_a_size():
    (row,) = OPTIONS.sizes(SLOT, X, [4.0, 12.0])
    found = {one.sizes_mm for one in OPTIONS.near(row)}
    left_out = {(4.0,), (12.0,)}
    moved = {(3.0, 12.0), (5.0, 12.0), (4.0, 10.0), (4.0, 12.3)}
    assert found == left_out | moved | {(3.0, 4.0, 12.0), (4.0, 8.0, 12.0), (4.0, 12.0, 20.0)}
    assert all(one.form is SLOT and one.direction is X for one in OPTIONS.near(row))


def test_a_rule_has_no_steps():
    rule = next(row for row in OPTIONS.starts() if isinstance(row, SpansRow))
    assert OPTIONS.near(rule) == ()
