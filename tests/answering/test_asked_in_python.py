"""What each argument of the Python interface asks, and what is said where it makes no sense."""

import pytest
from support.known_profile import known_profile

from coupons.answering import ask
from coupons.answering.ask import Printer, load_profile, makers_of
from coupons.answering.chances.prints import made_by
from coupons.answering.joint_text import (
    bed_of,
    hardware_joint,
    joint_of,
    parse_joint,
    side_limits,
)
from coupons.answering.lengths import length_mm
from coupons.answering.question import Question
from coupons.answering.several.kinds import Corners, JointKind, Legs, Several
from coupons.answering.single import SizeQuestion
from coupons.answering.standards.hardware import hardware
from coupons.answering.standards.iso286 import fit_limits, limits
from coupons.errors import AnswerError, WriteError
from coupons.terms import Bed, Direction, Form, Grade, Joint, MovingBody, Slant

X, Y, Z = Direction.X, Direction.Y, Direction.Z
HERE, THERE = Printer(known_profile()), Printer(known_profile(machine="attic-1"))
DRAWER = Joint(Form.SLOT, Form.TONGUE, 12.0, X)
BOLT = hardware("pin 8 m6")


def asked(*words, **said):
    return HERE.offset(*words, **said).question


@pytest.mark.parametrize(
    ("said", "fields"),
    [
        ({}, {}),
        ({"move": "internal"}, {"move": MovingBody.INTERNAL}),
        ({"move": "both", "fit": "push"}, {"move": MovingBody.BOTH, "fit": Grade.PUSH}),
        ({"at_least": 0.6}, {"at_least": 0.6}),
        ({"drawn_gap_mm": 0.3}, {"drawn_gap_mm": 0.3}),
        ({"printed_gap_mm": 0.3}, {"printed_gap_mm": 0.3}),
        ({"contact_mm": 20, "loose_costs": 2.0}, {"contact_mm": 20.0, "loose_costs": 2.0}),
        ({"two_prints": True}, {"two_prints": True}),
        ({"other": THERE}, {"external_profile": THERE.profile}),
        ({"other": THERE, "other_makes": "internal"}, {"internal_profile": THERE.profile}),
    ],
)
def test_each_argument_is_asked_as_it_is_called(said, fields):
    found = asked("slot/tongue", size_mm=12, across="x", **said)
    assert found == Question(**({"joint": DRAWER, "fit": Grade.SLIDE} | fields))


def test_directions_beds_and_slants_are_asked_as_they_are_written():
    upright = asked("slot/tongue", size_mm=12, across="z/x", bed="internal")
    assert upright.joint == Joint(Form.SLOT, Form.TONGUE, 12.0, Z, X)
    assert upright.bed is Bed.INTERNAL
    wedge = asked("slot/tongue", size_mm=12, across="xz", slant_deg=20)
    assert wedge.joint == Joint(Form.SLOT, Form.TONGUE, 12.0, X, slant=Slant(20.0, Z))
    assert asked("slot/tongue", size_mm=12, across="x").bed is None


def test_hardware_is_asked_with_the_body_that_is_printed():
    hole = Joint(Form.HOLE, Form.PIN, 8.0, Z)
    bolt = {"hardware": BOLT, "move": MovingBody.INTERNAL}
    assert asked(across="z", hardware="pin 8 m6") == Question(hole, Grade.SLIDE, **bolt)
    there = asked(across="z", hardware="pin 8 m6", other=THERE)
    assert there == Question(hole, Grade.SLIDE, **bolt, internal_profile=THERE.profile)
    axle = asked(across="z", hardware="bearing bore 8", other=THERE)
    assert (axle.move, axle.external_profile) == (MovingBody.EXTERNAL, THERE.profile)
    with pytest.raises(AnswerError, match="pin 8 m6 has no faces that lean"):
        asked(across="z", hardware="pin 8 m6", slant_deg=5)


def test_who_makes_a_body_is_another_printer():
    assert makers_of(None, None) == (None, None)
    assert makers_of(THERE, None) == makers_of(THERE, "External ") == (None, THERE.profile)
    assert makers_of(THERE, "internal") == (THERE.profile, None)
    with pytest.raises(AnswerError, match="which other printer makes the internal body"):
        makers_of(None, "internal")
    with pytest.raises(AnswerError, match="other: expected a printer from load_profile, got 'p'"):
        makers_of("p", None)
    with pytest.raises(AnswerError, match="Expected a body"):
        makers_of(THERE, "both")


ALIKE = ((X, Y), (X, Y))


@pytest.fixture
def whole(monkeypatch):
    """Return what is asked, in place of its answer."""
    monkeypatch.setattr(ask, "answer_several", lambda _, asked: asked)
    return HERE.several


def test_a_whole_is_asked_as_it_is_written(whole):
    plain = whole("pocket/plate", size_mm=(40, 25), across="xy", drawn_gap_mm=0.4)
    assert plain == Several(JointKind.POCKET, (40.0, 25.0), ALIKE, drawn_gap_mm=0.4)
    full = whole(
        " Sleeve/Bar",
        size_mm=[40, 25],
        across="xy/yx",
        fit="push",
        move="both",
        at_least=0.7,
        corners="2/0.5",
        two_prints=True,
        other=THERE,
        other_makes="internal",
    )
    assert full == Several(
        JointKind.SLEEVE,
        (40.0, 25.0),
        ((X, Y), (Y, X)),
        fit=Grade.PUSH,
        move=MovingBody.BOTH,
        at_least=0.7,
        corners=Corners(2.0, 0.5),
        two_prints=True,
        internal_profile=THERE.profile,
    )
    legs = whole("legs/bar", size_mm=8, across="x", leg="20x2", mouth_mm=7.25, strain_limit=0.025)
    assert legs.legs == Legs(20.0, 2.0, 7.25, 0.025)
    bare = whole("legs/bar", size_mm=8, across="x", leg="20x2")
    assert bare.legs == Legs(20.0, 2.0, None, None)
    upright = whole("sleeve/bar", size_mm=(12, 8), across="xz", bed="external")
    assert upright.bed is Bed.EXTERNAL


def test_hardware_in_two_holes_says_their_size_and_what_moves(whole):
    cover = {"across": "zx", "pitch_mm": 60, "hardware": "pin 5 m6"}
    found = whole("holes/pins", **cover)
    assert (found.sizes_mm, found.move) == ((5.0,), MovingBody.INTERNAL)
    assert (found.pitch_mm, found.hardware.name) == (60.0, "pin 5 m6")
    assert whole("holes/pins", size_mm=5, **cover) == found
    for across, said in (
        ("zx", "has one size, such as 8, not 0"),
        ("z", "size"),
    ):
        with pytest.raises(AnswerError, match=said):
            HERE.several("holes/pins", across=across, pitch_mm=60)
    with pytest.raises(AnswerError, match="Expected one of pocket/plate, sleeve/bar, holes/pins"):
        HERE.several("slot/tongue", across="x", size_mm=12)
    with pytest.raises(AnswerError, match="body to move"):
        HERE.several("pocket/plate", across="xy", size_mm=(40, 25), move="me")


def test_a_size_is_asked_for_as_printed_or_as_drawn():
    wanted = HERE.size("Pin ", prints_mm=8, across="z").question
    assert wanted == SizeQuestion(Form.PIN, 8.0, Z)
    drawn = HERE.size("slot", drawn_mm=8, across="z", bed="internal").question
    assert drawn == SizeQuestion(Form.SLOT, 8.0, Z, drawn_mm=8.0, bed=Bed.INTERNAL)
    within = HERE.size("hole", across="z", limits="8 ±0.1").question
    assert within == SizeQuestion(Form.HOLE, 8.0, Z, limits("8 ±0.1"))
    both = HERE.size("hole", prints_mm=7.95, across="z", limits="8 ±0.1").question
    assert both == SizeQuestion(Form.HOLE, 7.95, Z, limits("8 ±0.1"))
    with pytest.raises(AnswerError, match="either the size that it should print with or the drawn"):
        HERE.size("hole", prints_mm=8, drawn_mm=8, across="z")


@pytest.mark.parametrize(
    ("said", "made"),
    [
        ({}, {}),
        ({"two_prints": True}, {"two_prints": True}),
        ({"other": THERE}, {"external": THERE.profile}),
        ({"other": THERE, "other_makes": "internal"}, {"internal": THERE.profile}),
    ],
)
def test_limits_are_asked_of_the_prints_that_the_bodies_come_from(monkeypatch, said, made):
    monkeypatch.setattr(ask, "meet_limits", lambda *asked: asked)
    found = HERE.limits("12 H13/d13", joint="slot/tongue", across="x/y", **said)
    assert found == (
        HERE.profile,
        fit_limits("12 H13/d13"),
        *(Form.SLOT, Form.TONGUE, X, Y),
        made_by(HERE.profile, **made),
    )


def test_a_screw_is_given_its_hole():
    found = HERE.clearance_hole("screw M3 coarse", across="x", joint="Hole/pin")
    # ISO 273: coarse 3.6 mm, H14 is +0.3 mm over 3 and up to 6 mm.
    assert found.question.limits == limits("3.6 H14")
    assert (found.question.direction, found.question.printed_mm) == (X, pytest.approx(3.75))


def test_a_printer_is_told_in_one_line_and_saved_where_a_profile_may_stand(tmp_path):
    assert repr(HERE) == "<Printer bench-1, grey: 104 trials, 88 readings>"
    path = HERE.save(str(tmp_path / "p.json"))
    assert path == tmp_path / "p.json"
    assert load_profile(str(path)).profile == HERE.profile
    assert THERE.save(path) == path, "a profile may be replaced"
    assert load_profile(path).profile.machine == "attic-1"
    (tmp_path / "mine.json").write_text("{}")
    with pytest.raises(WriteError):
        HERE.save(tmp_path / "mine.json")
    assert (tmp_path / "mine.json").read_text() == "{}"


def test_words_of_a_joint_are_read_as_people_type_them():
    assert bed_of(None) is None
    assert bed_of(" None") is Bed.NONE
    assert joint_of("slot/tongue", 12.0, "x") == parse_joint(" Slot/Tongue ", 12.0, "X") == DRAWER
    cone = parse_joint("hole/pin", 12.0, "z", 5.0)
    assert cone == Joint(Form.HOLE, Form.PIN, 12.0, Z, slant=Slant(5.0, Z))
    for text, size_mm in ((None, 12.0), ("slot/tongue", None)):
        with pytest.raises(AnswerError, match="Give the joint, such as slot/tongue, and its size"):
            joint_of(text, size_mm, "x")
    for text in ("slot", "slot/tongue/pin"):
        with pytest.raises(AnswerError, match="Write a joint as internal/external"):
            parse_joint(text, 12.0, "x")
    with pytest.raises(AnswerError, match="two lines"):
        parse_joint("slot/pin", 12.0, "x")


def test_hardware_makes_one_joint_of_its_own_size():
    hole = Joint(Form.HOLE, Form.PIN, 8.0, Z)
    assert hardware_joint(BOLT, "z") == hole
    assert hardware_joint(BOLT, "z", "hole/pin", 8.0, MovingBody.INTERNAL) == hole
    assert hardware_joint(BOLT, "z", size_mm=8.0000001) == hole
    with pytest.raises(AnswerError) as caught:
        hardware_joint(BOLT, "z/x", "slot/tongue", 8.1, MovingBody.BOTH)
    assert caught.value.message.split("\n") == [
        "Only one body is printed with pin 8 m6: give one direction.",
        "pin 8 m6 makes a hole/pin joint, not slot/tongue.",
        "pin 8 m6 is 8 mm, not 8.1: leave it out.",
        "Only the printed body can move, and with pin 8 m6 that is the internal one, not both.",
    ]


def test_a_letter_of_limits_is_of_one_side():
    assert side_limits("8 H9", Form.SLOT) == side_limits("8 H9", Form.HOLE) == limits("8 H9")
    assert side_limits("8 h9", Form.PIN) == limits("8 h9")
    assert side_limits("8 ±0.1", Form.PIN) == side_limits("8 ±0.1", Form.HOLE)
    with pytest.raises(AnswerError, match="8 H9 is a tolerance of a hole or a slot, not of a tong"):
        side_limits("8 H9", Form.TONGUE)
    with pytest.raises(AnswerError, match="8 h9 is a tolerance of a pin or a tongue, not of a slo"):
        side_limits("8 h9", Form.SLOT)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("20 mm.", 20.0),
        (" 20,5 ", 20.5),
        ("−0.1 MM", -0.1),
        ("inf", None),
        ("nan", None),
        ("", None),
    ],
)
def test_a_length_is_finite_and_in_mm(text, mm):
    assert length_mm(text) == mm
