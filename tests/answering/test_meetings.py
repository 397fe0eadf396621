import csv
import io

import numpy as np
import pytest
from manifold3d import Manifold
from support.drawn_bodies import box, drawn, round_bar
from support.meeting_cases import (
    TILT,
    Case,
    Known,
    cases,
    pin_in_plate,
    pocket,
    rail,
    screws,
    z_gap,
)

from coupons.answering.joints.joint_list import read_joints
from coupons.answering.meet import meetings
from coupons.answering.meet.list_rows import gaps_mm, list_csv, rows, sizes_mm
from coupons.answering.meet.meetings import meet
from coupons.answering.meet.print_axes import read_ups
from coupons.errors import BodyError
from coupons.showing.bodies.meet_words import meeting_notes, side_gaps

CASES = {case.name: case for case in cases()}
QUICK = (
    "rail +0.20",
    "rail turned (31.0, 17.0, 60.0)",
    "pin 24 0.5",
    "pin lying",
    "pocket with corners",
    "sleeve",
    "legs",
    "dovetail",
    "taper 0.050 0.2 24 turned",
    "countersunk head",
    "shim",
    "two screws",
    "hinge",
)
WITHIN_MM = 0.005


def met(case: Case):
    return meet([drawn(solid, name) for name, solid in case.placed().items()], case.ups)


def check(case: Case) -> None:
    found = met(case)
    names = [one.body.name for one in found.bodies]
    listed = rows(found)
    # Holes that meet no body come after the joints, marked: none of them is a joint.
    assert [bool(row["alone"]) for row in listed] == [False] * len(found.joints) + [True] * (
        len(listed) - len(found.joints)
    )
    pairs = zip(found.joints, listed[: len(found.joints)], strict=True)
    drawn_as = sorted(case.joints, key=lambda known: (known.forms, known.bodies, known.sizes_mm))
    got = sorted(
        (
            f"{joint.group.internal}/{joint.group.external}",
            "/".join(names[number] for number in joint.bodies),
            sizes_mm(joint.group),
            gaps_mm(joint.group),
            row,
            joint,
        )
        for joint, row in pairs
    )
    assert [one[:2] for one in got] == [(one.forms, one.bodies) for one in drawn_as]
    for (_, _, sizes, gaps, row, joint), known in zip(got, drawn_as, strict=True):
        check_numbers(known, sizes, gaps, joint)
        if not any(case.turn):
            check_directions(known, row["across"])
    rests = [
        ("/".join(names[n] for n in rest.bodies), rest.contacts[0].gap_mm) for rest in found.rests
    ]
    assert sorted(name for name, _ in rests) == sorted(name for name, _ in case.rests)
    assert sorted(gap for _, gap in rests) == pytest.approx(
        sorted(gap for _, gap in case.rests), abs=WITHIN_MM
    )
    assert len(found.free) == case.free


def check_numbers(known: Known, sizes, gaps, joint) -> None:
    drawn_sizes = known.sizes_mm
    if known.forms == "legs/bar":
        drawn_sizes = (known.sizes_mm[0] - known.gaps_mm[0],)  # the list gives the bar's
    assert sizes == pytest.approx(drawn_sizes, abs=WITHIN_MM)
    assert gaps == pytest.approx(known.gaps_mm[: len(gaps)], abs=WITHIN_MM)
    assert joint.group.pairs[0].slant_deg == pytest.approx(known.tilt_deg, abs=0.01)


def check_directions(known: Known, across: str) -> None:
    internal, external = known.ways.split("/")
    assert across == (internal if internal == external else known.ways)


@pytest.mark.parametrize("name", QUICK)
def test_meetings_are_found_as_drawn(name):
    check(CASES[name])


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in CASES if name not in QUICK])
def test_every_meeting_of_the_corpus_is_found_and_none_invented(name):
    check(CASES[name])


def test_the_corpus_has_enough_designs():
    assert len(CASES) >= 40


def test_a_turn_of_the_print_turns_the_directions():
    # Up along x: the printer's x is then the file's z; see `printed`.
    bodies = [drawn(solid, name) for name, solid in rail(0.2).items()]
    for up, way in {"z": "x", "-z": "x", "x": "z", "-x": "z", "y": "x", "-y": "x"}.items():
        row = rows(meet(bodies, {"channel": up, "tongue": up}))[0]
        assert row["across"] == way
        assert (row["bed"] == "") is (way == "x"), "blank where no face lies across layers"
    diagonal = [drawn(s.rotate((0, 0, 45)), n) for n, s in rail(0.2).items()]
    assert rows(meet(diagonal))[0]["across"] == "x+y"


def test_a_turned_design_gives_its_directions_once_its_up_is_told():
    tilted = {name: solid.rotate(TILT) for name, solid in z_gap(0.3).items()}
    up = np.asarray(Manifold.cube((1, 1, 1)).rotate(TILT).to_mesh64().vert_properties)[:, :3]
    cube = np.asarray(Manifold.cube((1, 1, 1)).to_mesh64().vert_properties)[:, :3]
    way = up[(cube == [0, 0, 1]).all(axis=1)][0] - up[(cube == 0).all(axis=1)][0]
    text = "/".join(repr(float(value)) for value in way)
    bodies = [drawn(solid, name) for name, solid in tilted.items()]
    (row,) = rows(meet(bodies, {"case": text, "shelf": text}))
    assert row["across"] == "z"


@pytest.mark.parametrize(
    ("up", "bed"),
    [
        ({}, "none"),  # the shelf hangs in its slot, both as exported
        ({"shelf": "z"}, "external"),
        ({"shelf": "x"}, "none"),
    ],
)
def test_a_face_on_the_bed_is_recognised(up, bed):
    bodies = z_gap(0.3)
    legged = bodies["shelf"] + box(2, 2, 3, (20, 10, 5.2))
    shelf = bodies["shelf"] if up else legged ^ box(99, 99, 99)
    found = meet([drawn(bodies["case"], "case"), drawn(shelf, "shelf")], up)
    assert rows(found)[0]["bed"] == bed


def test_the_list_states_what_facets_make_of_diameters():
    found = meet([drawn(solid, name) for name, solid in pin_in_plate(0.2, 24).items()])
    (row,) = rows(found)
    half = np.pi / 24
    flats = [float(text) for text in row["across_flats_mm"].split("/")]
    assert flats == pytest.approx([6 * np.cos(half), 5.8 * np.cos(half)], abs=1e-3)
    sagittas = [float(text) for text in row["sagitta_mm"].split("/")]
    assert sagittas == pytest.approx([3 * (1 - np.cos(half)), 2.9 * (1 - np.cos(half))], abs=1e-3)


def test_columns_that_no_joint_needs_are_left_out():
    found = meet([drawn(solid, name) for name, solid in rail(0.2).items()])
    (row,) = csv.DictReader(io.StringIO(list_csv(found)))
    assert "pitch_mm" not in row
    assert row["name"] == "tongue in channel, A"
    assert (row["size_mm"], row["drawn_gap_mm"], row["faces"]) == ("8", "0.2", "A1 A2")
    assert float(row["area_mm2"]) == pytest.approx(2 * 40 * 10, rel=0.01)
    assert float(row["depth_mm"]) == pytest.approx(10, abs=0.01)
    assert float(row["contact_mm"]) == pytest.approx(40, abs=0.01)


def test_corners_and_two_sizes_of_a_pocket_are_in_the_list():
    found = meet([drawn(solid, name) for name, solid in pocket(0.2, 0.2, radius=4.0).items()])
    (row,) = rows(found)
    assert (row["size_mm"], row["corner_mm"], row["across"]) == ("40x25", "4/3.9", "xy")


def test_what_legs_leave_to_be_filled_in_is_told_and_has_its_column():
    found = met(CASES["legs"])
    (row,) = csv.DictReader(io.StringIO(list_csv(found)))
    assert row["mouth_mm"] == ""
    assert any("write the opening between the lips" in note for note in meeting_notes(found))


def test_names_of_bodies_that_are_no_names_of_joints_are_cleared_up():
    bodies = [drawn(solid, f"=<{name}>;{'x' * 50}") for name, solid in rail(0.2).items()]
    (row,) = rows(meet(bodies))
    assert row["name"] == "tongue xxxxxxxxxxxxxxxxx in channel xxxxxxxxxxxxxxxx, A"


def test_the_nearest_distance_is_told_where_nothing_meets():
    ball = Manifold.sphere(5, 64).translate((0, 0, 12))
    found = meet([drawn(box(20, 20, 4, (-10, -10, 0)), "plate"), drawn(ball, "ball")])
    assert [(one.body, one.nearest) for one in found.apart] == [
        ("plate", "ball"),
        ("ball", "plate"),
    ]
    assert found.apart[0].distance_mm == pytest.approx(3.0, abs=1e-4)


def test_what_up_says_wrongly_is_told_together():
    body = drawn(round_bar(8, 9), "peg")
    with pytest.raises(BodyError) as caught:
        meet([body, drawn(box(9, 9, 9), "lid")], {"pag": "z", "lid": "up"})
    assert "--up pag=z: expected a body: peg, lid, got pag." in str(caught.value)
    assert "--up lid=up: expected x, -x, y, -y, z, -z, got up" in str(caught.value)
    with pytest.raises(BodyError, match="--up: expected BODY=DIRECTION"):
        read_ups("lid")


def test_a_list_of_every_kind_of_joint_is_read_as_it_is(tmp_path):
    names = ("rail +0.20", "pin lying", "pocket with corners", "sleeve", "legs", "dovetail")
    for name in (*names, "two screws", "shelf printed upright", "taper lying"):
        case = CASES[name]
        (tmp_path / "list.csv").write_text(list_csv(met(case)), encoding="utf-8")
        listed = read_joints(tmp_path / "list.csv")
        assert len(listed.joints) == len(case.joints)
        assert listed.ignored == ()


def test_more_than_two_alike_pins_are_told_to_be_one_pattern():
    def notes(solids):
        found = meet([drawn(solid, name) for name, solid in solids.items()])
        return [one for one in meeting_notes(found) if "pattern" in one]

    assert notes(screws(2, 0.1)) == []
    (said,) = notes(screws(4, 0.1))
    assert said.startswith("A and B, C: pins of one pattern. A is the two farthest apart")
    assert said.endswith("Draw all of them with the gap of A.")


def test_the_nearest_of_many_bodies_is_found_without_measuring_all(monkeypatch):
    """Blocks of 10 mm at growing distances in a row: each is measured to one or two others."""
    places = np.cumsum([0, 13, 12, 15, 18, 14, 12.5, 16, 17])
    bodies = [drawn(box(10, 10, 10, (x, 0, 0)), f"b{n}") for n, x in enumerate(places)]
    measured = []
    exact = meetings._distance

    def counted(one, other, up_to_mm):
        measured.append((one.name, other.name))
        return exact(one, other, up_to_mm)

    monkeypatch.setattr(meetings, "_distance", counted)
    found = {one.body: (one.nearest, round(one.distance_mm, 3)) for one in meet(bodies).apart}
    gaps = np.diff(places) - 10
    for n in range(len(places)):
        beside = {m: gaps[min(n, m)] for m in (n - 1, n + 1) if 0 <= m < len(places)}
        nearest = min(beside, key=beside.get)
        assert found[f"b{n}"] == (f"b{nearest}", beside[nearest])
    assert len(measured) <= 2 * len(places)


@pytest.mark.parametrize(("turn", "axes"), [(0.0, "xy"), (90.0, "yx")])
def test_the_gaps_of_a_pocket_are_told_axis_by_axis(turn, axes):
    """0.3 mm over 40 mm and 0.2 mm over 25 mm, half of it at each face."""
    solids = pocket(0.3, 0.2)
    found = meet([drawn(one.rotate((0, 0, turn)), name) for name, one in solids.items()])
    (joint,) = found.joints
    first, second = axes
    assert side_gaps(found, joint) == (
        f"across {first} 0.15 at A1, 0.15 at A2; across {second} 0.1 at A3, 0.1 at A4"
    )
