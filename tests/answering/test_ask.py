import pytest
from support.known_profile import known_profile

from coupons.answering.ask import Printer
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.standards.hardware import hardware
from coupons.answering.words.answers import sentences
from coupons.answering.words.sizes import limits_sentences, size_sentences
from coupons.errors import AnswerError, NotMeasuredError
from coupons.terms import Direction, Form, Grade, Joint, MovingBody

PRINTER = Printer(known_profile())


def test_words_and_values_ask_the_same():
    joint = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)
    by_words = PRINTER.offset("Slot/Tongue ", size_mm=12, across="X", fit="push", move="both")
    assert by_words == answer(PRINTER.profile, Question(joint, Grade.PUSH, MovingBody.BOTH))


def test_a_bought_mate_says_joint_size_and_who_gives_way():
    found = PRINTER.offset(across="z", hardware="bearing bore 8")
    assert found.question.joint == Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z)
    assert found.question.move is MovingBody.EXTERNAL
    assert "Hardware: bearing bore 8, 7.992 to 8.000 mm (ISO 492" in " ".join(sentences(found))
    same = {"joint": "hole/pin", "size_mm": 8, "move": "internal"}
    assert PRINTER.offset(across="z", hardware="pin 8 m6", **same).moves[0].form is Form.HOLE


def test_a_nut_is_told_what_its_direction_means():
    hint = "For nut M4, across z means from flat to flat. If z is the axis of the screw, use across"
    assert f"{hint} x or y." in sentences(PRINTER.offset(across="z", hardware="nut M4"))
    flat = Printer(known_profile(sd_share={"growth_int_z": 1, "growth_ext_z": 1, "scale_z": 1}))
    with pytest.raises(NotMeasuredError, match=hint):
        flat.offset(across="z", hardware="nut M4")
    with pytest.raises(NotMeasuredError, match="across z means from face to face"):
        flat.offset("slot/tongue", size_mm=8, across="z")
    for piece in ("screw M4", "pin 8 m6"):
        said = " ".join(sentences(PRINTER.offset(across="z", hardware=piece)))
        assert "flat to flat" not in said


def test_a_clearance_hole_aims_at_the_middle_of_its_limits():
    found = PRINTER.clearance_hole("screw M3 medium", across="z")
    limits = hardware("screw M3 medium").printed
    assert found.expected_mm == pytest.approx(limits.middle_mm, abs=0.011)
    assert found.question.form is Form.HOLE
    assert "within 3.4 H13 (3.400 to 3.580 mm)" in " ".join(size_sentences(found))


def test_a_single_size():
    found = PRINTER.size("pin", prints_mm=8, across="z", limits="8 h13")
    assert found.expected_mm == pytest.approx(8.0, abs=0.011)
    assert 0 < found.chance < 1
    # 8 h13 is 7.78 to 8 mm
    middle = PRINTER.size("pin", across="z", limits="8 h13")
    assert middle.expected_mm == pytest.approx(7.89, abs=0.011)
    assert middle.chance > found.chance


@pytest.mark.slow
def test_limits_as_numbers_are_answered_as_codes_are():
    # 8 h13 is 7.78 to 8 mm.
    by_code = PRINTER.size("pin", across="z", limits="8 h13")
    by_numbers = PRINTER.size("pin", across="z", limits="7.78..8")
    assert by_numbers.drawn_mm == pytest.approx(by_code.drawn_mm, abs=0.011)
    assert by_numbers.chance == pytest.approx(by_code.chance, abs=0.02)
    assert "within 7.78..8 (7.780 to 8.000 mm)" in " ".join(size_sentences(by_numbers))
    # 12 H9/d9: 12 to 12.043 mm, and 11.907 to 11.95 mm.
    codes = PRINTER.limits("12 H9/d9", joint="slot/tongue", across="x")
    numbers = PRINTER.limits("12 +0.043/0 / -0.05/-0.093", joint="slot/tongue", across="x")
    assert numbers.both.chance == pytest.approx(codes.both.chance, abs=0.005)
    said = " ".join(limits_sentences(numbers))
    assert "12 +0.043/0 requires a tolerance of 0.04 mm: not reached" in said
    wide = PRINTER.limits("12 ±0.5", joint="slot/tongue", across="x")
    assert "12 ±0.5 requires a tolerance of 1.00 mm: reached" in " ".join(limits_sentences(wide))


@pytest.mark.slow
def test_limits_of_a_fit_say_what_is_reached():
    said = " ".join(limits_sentences(PRINTER.limits("12 H9/d9", joint="slot/tongue", across="x")))
    assert "12 H9 requires IT9: not reached" in said
    assert "is within all four limits:" in said
    said = " ".join(limits_sentences(PRINTER.limits("12 H14/d14", joint="slot/tongue", across="x")))
    assert "12 H14 requires IT14: reached" in said


@pytest.mark.slow
@pytest.mark.parametrize("rehearsed", [True, False])
def test_a_rehearsed_profile_says_so_in_every_answer(rehearsed):
    printer = Printer(known_profile(rehearsed=rehearsed))
    answers = [
        sentences(printer.offset("slot/tongue", size_mm=12, across="x")),
        size_sentences(printer.size("pin", prints_mm=8, across="z")),
        limits_sentences(printer.limits("12 H9/d9", joint="slot/tongue", across="x")),
    ]
    assert [lines[0].startswith("REHEARSED") for lines in answers] == [rehearsed] * 3


def test_a_part_is_read_from_a_file(tmp_path):
    path = tmp_path / "joints.csv"
    path.write_text("name,across,hardware,fit\nhinge,z,pin 8 m6,slide\n")
    assert PRINTER.part(path).joints[0].listed.name == "hinge"


NONSENSE = [
    (lambda p: p.offset("slot", size_mm=12, across="x"), "internal/external"),
    (lambda p: p.offset("slot/tonge", size_mm=12, across="x"), "Did you mean tongue?"),
    (lambda p: p.offset("tongue/slot", size_mm=12, across="x"), "internal/external"),
    (lambda p: p.offset("hole/tongue", size_mm=12, across="x"), "four edges"),
    (lambda p: p.offset("slot/pin", size_mm=12, across="x"), "two lines"),
    (lambda p: p.limits("8 H9/d9", joint="slot/pin", across="x"), "two lines"),
    (lambda p: p.limits("8 H9/d9", joint="hole/tongue", across="z"), "four edges"),
    (lambda p: p.offset(hardware="screw M3 medium", across="z", fit="push"), "leave out medium"),
    (lambda p: p.offset(hardware="screw M3 medium", across="z"), "leave out medium"),
    (lambda p: p.offset("slot/tongue", size_mm=0, across="x"), "0.5 to 500 mm, not 0"),
    (lambda p: p.offset("slot/tongue", size_mm=-1, across="x"), "not -1"),
    (lambda p: p.offset("slot/tongue", size_mm=1e6, across="x"), "not 1e"),
    (lambda p: p.offset("slot/tongue", size_mm=12, across="w"), "direction"),
    (
        lambda p: p.offset("slot/tongue", size_mm=12, across="x", fit="no-go"),
        "(force, push, slide, loose), got",
    ),
    (lambda p: p.offset("slot/tongue", size_mm=12, across="x", fit="tight"), "Expected a fit"),
    (lambda p: p.offset("slot/tongue", size_mm=12, across="x", move="me"), "body to move"),
    (lambda p: p.offset("slot/tongue", size_mm=12, across="x", at_least=1.0), "between 0 and 1"),
    (
        lambda p: p.offset("slot/tongue", size_mm=9, across="x", at_least=0.9, drawn_gap_mm=0),
        "y one",
    ),
    (lambda p: p.offset(across="z", hardware="pin 8 m6", size_mm=9), "is 8 mm, not 9"),
    (
        lambda p: p.offset(across="z", hardware="pin 8 m6", move="external"),
        "that is the internal one",
    ),
    (
        lambda p: p.clearance_hole("screw M3 fine", across="z", joint="slot/tongue"),
        "a hole/pin joint",
    ),
    (lambda p: p.size("pin", across="z", limits="8 H13"), "a hole or a slot, not of a pin"),
    (lambda p: p.size("hole", across="z", limits="8 h13"), "a pin or a tongue, not of a hole"),
    (lambda p: p.size("hole", across="z"), "Give the size"),
    (lambda p: p.offset(across="x"), "Give the joint"),
    (lambda p: p.offset("slot/tongue", across="x"), "Give the joint"),
    (lambda p: p.offset("slot/tongue", across="z", hardware="pin 8 m6"), "makes a hole/pin joint"),
    (lambda p: p.offset(across="z", hardware="rivet 4"), "one of pin, screw"),
    (lambda p: p.clearance_hole("screw M3", across="z"), "No standard sets limits"),
    (lambda p: p.clearance_hole("pin 8 m6", across="z"), "No standard sets limits"),
    (lambda p: p.size("holes", prints_mm=8, across="z"), "Did you mean hole?"),
    (lambda p: p.size("hole", prints_mm=8, across="z", limits="8 Q7"), "got Q7"),
    (lambda p: p.limits("12 H9", joint="slot/tongue", across="x"), "with a single form"),
    (lambda p: p.limits("12 H9/d9", joint="slot", across="x"), "internal/external"),
    (lambda p: p.size("hole", across="z", limits="130 H9"), "such as 130 ±0.2"),
]


@pytest.mark.parametrize(("ask", "says"), NONSENSE, ids=map(str, range(len(NONSENSE))))
def test_questions_that_make_no_sense(ask, says):
    with pytest.raises(AnswerError) as caught:
        ask(PRINTER)
    assert says in caught.value.message
