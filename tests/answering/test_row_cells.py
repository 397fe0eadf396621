"""Each cell of a row of a list: what is read from it, and what is said where it cannot be."""

import csv
import io

import pytest
from support.known_profile import known_profile

from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.list_columns import COLUMNS
from coupons.answering.several.kinds import Corners, Legs
from coupons.errors import AnswerError
from coupons.learning.profile_file import write_profile
from coupons.terms import Bed, Direction, Form, Grade, Joint, MovingBody

X, Y, Z = Direction.X, Direction.Y, Direction.Z
DRAWER = {
    "name": "drawer",
    "internal": "slot",
    "external": "tongue",
    "size_mm": "12",
    "across": "x",
    "fit": "slide",
}
BOLT = {"name": "bolt", "across": "z", "hardware": "pin 8 m6", "fit": "slide"}
AXLE = {"name": "axle", "across": "z", "hardware": "bearing bore 8", "fit": "slide"}
SCREW = {"name": "screw", "across": "z", "hardware": "screw M3 medium"}
LID = {**DRAWER, "internal": "pocket", "external": "plate", "size_mm": "40x25", "across": "xy"}
COVER = {"name": "cover", "internal": "holes", "across": "zx", "fit": "slide", "pitch_mm": "60"}
PINS = {**COVER, "external": "pins", "size_mm": "5"}
DOWELS = {**COVER, "hardware": "pin 5 m6"}
CLIP = {**DRAWER, "internal": "legs", "external": "bar", "size_mm": "8", "leg_mm": "20x2"}


def read(tmp_path, *rows):
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, [*COLUMNS, "unit", "alone"], restval="")
    writer.writeheader()
    writer.writerows(rows)
    path = tmp_path / "joints.csv"
    path.write_text(text.getvalue(), encoding="utf-8")
    return read_joints(path)


def problems_of(tmp_path, *rows):
    with pytest.raises(AnswerError) as caught:
        read(tmp_path, *rows)
    return [str(problem) for problem in caught.value.problems]


def one(tmp_path, row):
    (joint,) = read(tmp_path, row).joints
    return joint


def test_all_that_may_be_said_of_a_joint_is_read(tmp_path):
    white = known_profile(machine="attic-1")
    write_profile(white, tmp_path / "white.json")
    said = {
        "bed": "External",
        "across": "z",
        "contact_mm": "12,5 mm",
        "internal_profile": "white.json",
        "external_print": "plate 2",
        "choices": "3",
        "loose_costs": "2,5",
        "unit": "MM",
    }
    found = one(tmp_path, DRAWER | said)
    assert found.joint == Joint(Form.SLOT, Form.TONGUE, 12.0, Z)
    assert (found.row, found.fit, found.gap_mm) == (2, Grade.SLIDE, None)
    assert (found.bed, found.contact_mm, found.at_least) == (Bed.EXTERNAL, 12.5, None)
    assert (found.choices, found.loose_costs) == (3, 2.5)
    assert found.internal_profile.machine == "attic-1"
    assert (found.external_profile, found.internal_print) == (None, "")
    assert found.external_print == "plate 2"
    assert found.print_words == (("plate 2", None),)


def test_what_is_not_said_of_a_joint_has_its_usual_value(tmp_path):
    found = one(tmp_path, DRAWER)
    assert (found.move, found.hardware, found.at_least) == (MovingBody.EXTERNAL, None, None)
    assert (found.bed, found.contact_mm, found.several) == (None, None, None)
    assert (found.choices, found.loose_costs, found.print_words) == (1, 1.0, ())
    assert (found.joint.slant, found.joint.external_direction) == (None, None)


def test_hardware_brings_its_form_its_size_and_what_moves(tmp_path):
    bolt, axle, screw = read(tmp_path, BOLT, AXLE, SCREW).joints
    assert bolt.joint == axle.joint == Joint(Form.HOLE, Form.PIN, 8.0, Z)
    assert (bolt.move, axle.move) == (MovingBody.INTERNAL, MovingBody.EXTERNAL)
    assert (screw.fit, screw.gap_mm, screw.move) == (None, None, MovingBody.INTERNAL)
    said = {"internal": "hole", "external": "pin", "size_mm": "8", "move": "internal"}
    assert one(tmp_path, BOLT | said) == bolt
    gap = one(tmp_path, {**BOLT, "hardware": "screw M3", "fit": "gap -0.1"})
    assert (gap.fit, gap.gap_mm) == (None, -0.1)


def test_faces_that_lean_have_a_pull(tmp_path):
    wedge, cone = read(
        tmp_path,
        {**DRAWER, "across": "xy/xz", "slant_deg": "20"},
        {**DRAWER, "name": "cone", "internal": "hole", "external": "pin", "slant_deg": "5"},
    ).joints
    assert wedge.joint.slant.angle_deg == 20
    assert wedge.joint.slant.pulls == (Y, Z)
    assert wedge.joint.directions == (X, X)
    # A round taper is pulled along its axis.
    assert (cone.joint.direction, cone.joint.slant.pulls) == (X, (X, X))


def test_joints_of_several_pairs_are_read_with_what_is_theirs(tmp_path):
    lid, pins, dowels, clip = read(
        tmp_path,
        LID | {"corner_mm": "2/0.5", "at_least": "0.6", "internal_print": "a", "choices": "1"},
        PINS | {"move": "internal"},
        DOWELS | {"name": "dowels", "internal_print": "a", "external_print": "a"},
        CLIP | {"name": "clip", "mouth_mm": "7.2", "strain_limit": "2 %", "loose_costs": "1"},
    ).joints
    assert (lid.several.sizes_mm, lid.several.corners) == ((40.0, 25.0), Corners(2.0, 0.5))
    assert (lid.several.sides, lid.at_least) == (((X, Y), (X, Y)), 0.6)
    assert (lid.several.at_least, lid.several.two_prints, lid.internal_print) == (0.6, True, "a")
    assert lid.joint == Joint(Form.SLOT, Form.TONGUE, 40.0, X)
    assert (lid.fit, lid.gap_mm, lid.contact_mm, lid.hardware) == (Grade.SLIDE, None, None, None)
    assert (pins.several.sizes_mm, pins.several.pitch_mm) == ((5.0,), 60.0)
    assert (pins.move, pins.several.move) == (MovingBody.INTERNAL, MovingBody.INTERNAL)
    assert (dowels.several.sizes_mm, dowels.several.hardware.name) == ((5.0,), "pin 5 m6")
    assert not dowels.several.two_prints
    assert clip.several.legs == Legs(20.0, 2.0, 7.2, 0.02)
    bedded = one(tmp_path, LID | {"across": "xz", "bed": "none"})
    assert bedded.several.bed is Bed.NONE


@pytest.mark.parametrize("size_mm", ["0.5", "500"])
def test_the_smallest_and_the_largest_size_are_read(tmp_path, size_mm):
    assert one(tmp_path, DRAWER | {"size_mm": size_mm}).joint.size_mm == float(size_mm)


@pytest.mark.parametrize("contact_mm", ["0.5", "2000"])
def test_the_shortest_and_the_longest_contact_are_read(tmp_path, contact_mm):
    assert one(tmp_path, DRAWER | {"contact_mm": contact_mm}).contact_mm == float(contact_mm)


def test_names_and_words_may_be_as_long_as_people_type(tmp_path):
    assert one(tmp_path, DRAWER | {"name": "n" * 60}).name == "n" * 60
    assert one(tmp_path, DRAWER | {"internal_print": "p" * 40}).internal_print == "p" * 40


SIXTY = "60 letters, digits, brackets and signs"
PLATE = "Use a word or two, such as plate 1, the same for all bodies of one print"
WHOLE = "It belongs to joints of one pair of faces: leave it blank"
KINDS = "It belongs to joints of several pairs of faces: pocket, sleeve, holes, legs"
CONTACT = "Write the longer of depth of engagement and width in mm, or leave it blank"
COSTS = "Write it as a number such as 3, or leave it blank for equal costs"
PIECES = "Write how many to print, such as 3, or leave it blank for one"


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (DRAWER | {"name": "n" * 61}, f"expected a name, got '{'n' * 60}'. Use up to {SIXTY}"),
        (DRAWER | {"name": "a\tb"}, r"expected a name, got 'a\tb'"),
        (DRAWER | {"size_mm": "0.49"}, "expected size_mm from 0.5 to 500, got '0.49'"),
        (DRAWER | {"size_mm": "500.1"}, "expected size_mm from 0.5 to 500, got '500.1'"),
        (
            BOLT | {"size_mm": "8.01"},
            "expected 8, the size of pin 8 m6, got '8.01'. Leave it blank",
        ),
        (BOLT | {"external": "tongue"}, "expected pin as external with pin 8 m6, got 'tongue'"),
        (BOLT | {"across": "z/x"}, "expected one direction with pin 8 m6, got 'z/x'. Only the "),
        (
            BOLT | {"move": "external"},
            "expected move internal, the printed body with pin 8 m6, got ",
        ),
        (
            BOLT | {"slant_deg": "5"},
            "expected nothing in slant_deg with hardware, got '5'. Hardwar",
        ),
        (BOLT | {"external_print": "a"}, "expected nothing in external_print with hardware, got "),
        (AXLE | {"internal_print": "a"}, "expected nothing in internal_print with hardware, got "),
        (
            DRAWER | {"internal_print": "p" * 41},
            f"expected internal_print of up to 40 signs, got '{'p' * 41}'. {PLATE}.",
        ),
        (DRAWER | {"external_print": "a\tb"}, "expected external_print of up to 40 signs, got "),
        (
            DRAWER | {"internal_profile": "none.json"},
            "row 2 internal_profile: expected a profile, got no such file",
        ),
        (DRAWER | {"internal_profile": "a\tb"}, "expected a path of plain signs, got 'a\\tb'"),
        (
            DRAWER | {"contact_mm": "0.4"},
            f"expected contact_mm from 0.5 to 2000, got '0.4'. {CONTACT}.",
        ),
        (DRAWER | {"contact_mm": "2001"}, "expected contact_mm from 0.5 to 2000, got '2001'"),
        (DRAWER | {"contact_mm": "long"}, "expected contact_mm from 0.5 to 2000, got 'long'"),
        (DRAWER | {"choices": "2.5"}, f"expected choices 1 to 6, got '2.5'. {PIECES}."),
        (DRAWER | {"choices": "many"}, "expected choices 1 to 6, got 'many'"),
        (DRAWER | {"choices": "7"}, "got 'choices 7'. Draw 1 to 6 pieces to choose from, not 7"),
        (
            DRAWER | {"choices": "2", "at_least": "0.9"},
            "got 'choices 2'. Pieces to choose from are",
        ),
        (DRAWER | {"choices": "2", "fit": "0.2"}, "got 'choices 2'. Pieces to choose from are"),
        (
            DRAWER | {"loose_costs": "dear"},
            f"what too loose costs, too tight being 1, got 'dear'. {COSTS}.",
        ),
        (
            DRAWER | {"loose_costs": "0"},
            "expected a cost that can choose a gap, got 'loose_costs 0'.",
        ),
        (
            DRAWER | {"loose_costs": "2", "at_least": "0.9"},
            "got 'loose_costs 2'. Costs choose the gap",
        ),
        (DRAWER | {"loose_costs": "2", "fit": "0.2"}, "got 'loose_costs 2'. Costs choose the gap"),
        (
            DRAWER | {"bed": "intern"},
            "expected bed none, internal, external, both, got 'intern'. Did",
        ),
        (
            DRAWER | {"bed": "external"},
            "expected a body that can stand on the bed, got 'external'.",
        ),
        (BOLT | {"across": "x", "bed": "external"}, "The external body is not printed here"),
        (AXLE | {"across": "x", "bed": "internal"}, "The internal body is not printed here"),
        (DRAWER | {"slant_deg": "steep"}, "expected slant_deg in degrees, got 'steep'. Such as 30"),
        (
            DRAWER | {"slant_deg": "20"},
            "expected across and pull, such as xz, got 'x'. Write 2 dire",
        ),
        (
            DRAWER | {"slant_deg": "90", "across": "xz"},
            "expected a slant that the bodies can have, got '90'. A slant must be over 0",
        ),
        (DRAWER | {"pitch_mm": "60"}, f"expected nothing in pitch_mm, got '60'. {KINDS}."),
        (DRAWER | {"fit": "-6"}, "expected a gap under half of the size, got '-6'. Check both"),
        (DRAWER | {"fit": "6"}, "expected a gap under half of the size, got '6'. Check both"),
        (DRAWER | {"unit": "inch"}, "expected unit mm, got 'inch'. Write all sizes and gaps in mm"),
        (LID | {"choices": "2"}, f"expected nothing in choices, got '2'. {WHOLE}."),
        (LID | {"loose_costs": "2"}, f"expected nothing in loose_costs, got '2'. {WHOLE}."),
        (
            LID | {"contact_mm": "9"},
            "expected nothing in contact_mm with pocket, got '9'. Its fit is",
        ),
        (
            LID | {"slant_deg": "9"},
            "nothing in slant_deg with pocket, got '9'. Only slot/tongue and",
        ),
        (
            LID | {"external": "bar"},
            "expected external plate, got 'bar'. With pocket the other body ",
        ),
        (
            LID | {"external": ""},
            "expected external plate, got nothing. With pocket the other body is",
        ),
        (
            LID | {"size_mm": "wide"},
            "expected size_mm, such as 12 or 40x25, got 'wide'. Write it in mm",
        ),
        (
            LID | {"size_mm": ""},
            "expected size_mm, such as 12 or 40x25, got nothing. Write it in mm",
        ),
        (
            CLIP | {"size_mm": "wide"},
            "expected size_mm, such as 12 or 40x25, got 'wide'. Write it in",
        ),
        (PINS | {"pitch_mm": "far"}, "expected pitch_mm in mm, got 'far'. Such as 60"),
        (
            LID | {"fit": "slid"},
            "expected fit force, push, slide, loose, got 'slid'. Did you mean slid",
        ),
        (DOWELS | {"external": "plate"}, "expected external pins, got 'plate'"),
        (
            LID | {"across": "xx"},
            "expected a pocket/plate joint that can be made, got 'drawer'. The ",
        ),
    ],
)
def test_one_thing_that_is_wrong_is_said_once(tmp_path, row, says):
    (said,) = problems_of(tmp_path, row)
    assert said.startswith("joints.csv row 2")
    assert says in said


@pytest.mark.parametrize("hardware", ["pin 8 m6", "bearing bore 8"])
def test_the_print_of_the_body_that_is_printed_may_be_said(tmp_path, hardware):
    side = "internal" if hardware.startswith("pin") else "external"
    found = one(tmp_path, BOLT | {"hardware": hardware, f"{side}_print": "a"})
    assert getattr(found, f"{side}_print") == "a"
    assert dict(found.print_words) == {"a": None}


@pytest.mark.parametrize("fit", ["5.9", "-5.9"])
def test_a_gap_is_under_half_of_the_size(tmp_path, fit):
    assert one(tmp_path, DRAWER | {"fit": fit}).gap_mm == float(fit)


@pytest.mark.parametrize(
    ("row", "count"),
    [
        # What cannot be read is said once, and nothing that would follow from it.
        (DRAWER | {"fit": "slid", "choices": "2", "loose_costs": "3"}, 1),
        (DRAWER | {"fit": "", "choices": "2", "loose_costs": "3"}, 3),
        (BOLT | {"hardware": "pin 8", "size_mm": ""}, 1),
        (SCREW | {"hardware": "screw M3 wide", "fit": ""}, 1),
        (SCREW | {"hardware": "screw M3", "fit": ""}, 1),
        (SCREW | {"fit": "slide"}, 1),
        (LID | {"size_mm": "wide", "fit": "slid", "leg_mm": "9"}, 3),
        (PINS | {"pitch_mm": "far", "size_mm": "wide"}, 2),
        (CLIP | {"leg_mm": "20", "mouth_mm": "9"}, 1),
        (CLIP | {"leg_mm": "20", "mouth_mm": "wide", "strain_limit": "much"}, 3),
        (DRAWER | {"name": "=1", "size_mm": "=2", "fit": "slid"}, 2),
    ],
)
def test_nothing_is_said_that_follows_from_another_problem(tmp_path, row, count):
    assert len(problems_of(tmp_path, row)) == count


def test_a_print_is_of_one_printer(tmp_path):
    write_profile(known_profile(machine="attic-1"), tmp_path / "white.json")
    here = DRAWER | {"internal_print": "a", "external_print": "a"}
    there = here | {"name": "lid", "internal_profile": "white.json"}
    said = problems_of(tmp_path, here, there)
    assert len(said) == 2, "both rows take part"
    assert said[0].startswith("joints.csv row 2: expected a print of one printer, got 'a', which ")
    assert said[1].startswith("joints.csv row 3: expected a print of one printer")
    (both,) = problems_of(tmp_path, there)
    assert "got 'a', which bodies of several printers come from" in both
    apart = there | {"internal_print": "b"}
    found = read(tmp_path, here, apart).joints[1]
    assert [(word, maker and maker.machine) for word, maker in found.print_words] == [
        ("b", "attic-1"),
        ("a", None),
    ]
    same = read(tmp_path, here, here | {"name": "rail"}).joints
    assert len(same) == 2


def test_a_profile_is_read_once_for_all_rows(tmp_path):
    write_profile(known_profile(machine="attic-1"), tmp_path / "white.json")
    row = DRAWER | {"internal_profile": "white.json"}
    again = row | {"name": "lid", "internal_profile": "./white.json"}
    first, second = read(tmp_path, row, again).joints
    assert first.internal_profile is second.internal_profile
    assert first.key == second.key, "the same is asked"
    assert first.key != one(tmp_path, DRAWER).key


def test_wholes_that_ask_the_same_are_one_question(tmp_path):
    for name in ("white", "black"):
        write_profile(known_profile(machine=name), tmp_path / f"{name}.json")
    rows = [
        LID | {"name": f"n{n}", "external_profile": maker, "at_least": least}
        for n, (maker, least) in enumerate(
            [("white.json", ""), ("white.json", ""), ("black.json", ""), ("", ""), ("", "0.5")]
        )
    ]
    keys = [joint.key for joint in read(tmp_path, *rows).joints]
    assert keys[0] == keys[1]
    assert len(set(keys)) == 4
    assert [joint.several.external_profile.machine for joint in read(tmp_path, rows[0]).joints] == [
        "white"
    ]


LONE = {"name": "hole U1", "internal": "hole", "size_mm": "3.4", "across": "z", "alone": "through"}


def test_a_hole_that_meets_nothing_waits_until_something_is_said(tmp_path):
    def listed(**cells):
        return read(tmp_path, DRAWER, LONE | cells)

    waiting = listed()
    assert [hole.draw_mm for hole in waiting.holes] == [None]
    assert (waiting.holes[0].row, waiting.holes[0].name) == (3, "hole U1")
    assert len(waiting.joints) == 1
    assert waiting.ignored == ()
    drawn = listed(fit="Draw 2,6 mm")
    assert [hole.draw_mm for hole in drawn.holes] == [2.6]
    assert [hole.draw_mm for hole in listed(fit="draw 0.5").holes] == [0.5]
    assert [hole.draw_mm for hole in listed(fit="draw 500").holes] == [500.0]
    for asked in ({"fit": "slide"}, {"fit": "slide", "external": "pin"}, {"fit": "0.2"}):
        found = listed(**asked)
        assert found.holes == ()
        joint = found.joints[1]
        assert joint.joint == Joint(Form.HOLE, Form.PIN, 3.4, Z)
        assert joint.move is MovingBody.INTERNAL
    bolted = listed(hardware="screw M3 medium").joints[1]
    # The listed size is that of the hole; the screw has its own.
    assert (bolted.joint.size_mm, bolted.hardware.name) == (3.0, "screw M3 medium")


@pytest.mark.parametrize(
    ("cells", "says"),
    [
        ({"fit": "draw 0.4"}, "expected draw and a diameter from 0.5 to 500 mm, got 'draw 0.4'"),
        ({"fit": "draw 501"}, "expected draw and a diameter from 0.5 to 500 mm, got 'draw 501'"),
        ({"fit": "draw wide"}, "got 'draw wide'. Such as draw 2.6"),
        ({"fit": "slide", "move": "both"}, "expected move internal, got 'both'. Only the hole is"),
    ],
)
def test_what_cannot_be_done_with_a_hole_is_said(tmp_path, cells, says):
    (said,) = problems_of(tmp_path, DRAWER, LONE | cells)
    assert said.startswith("joints.csv row 3: ")
    assert says in said


def test_columns_that_are_not_used_are_named_where_they_hold_something(tmp_path):
    path = tmp_path / "joints.csv"
    path.write_text(
        "name,internal,external,size_mm,across,fit,note,by,,faces,units\n"
        "a,slot,tongue,12,x,slide,n,,hm,F1,mm\n"
        "b,slot,tongue,12,x,slide,,,,,\n",
        encoding="utf-8",
    )
    assert read_joints(path).ignored == ("note", "(without a name)")


def test_problems_come_in_the_order_of_rows(tmp_path):
    rows = [DRAWER | {"name": f"n{n}", "size_mm": "0"} for n in range(10)]
    said = problems_of(tmp_path, *rows, DRAWER | {"name": "n0"})
    assert [text.split(":")[0] for text in said] == [f"joints.csv row {n}" for n in range(2, 12)]


def test_names_of_one_label_are_refused_where_they_stand(tmp_path):
    said = problems_of(tmp_path, DRAWER, DRAWER | {"name": "lid"}, DRAWER | {"name": "Drawer"})
    assert [text.split(":")[0] for text in said] == ["joints.csv row 2", "joints.csv row 4"]
    assert "expected a name of its own, got 'Drawer' again. Add a number to it" in said[1]
    waiting = problems_of(tmp_path, DRAWER, LONE | {"name": "drawer"})
    assert len(waiting) == 2, "holes have labels too"
