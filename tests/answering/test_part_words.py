"""What is said of a list of joints whose answers are written down by hand."""

import csv
import io
from dataclasses import replace
from datetime import date

import pytest
from support.known_profile import known_profile
from support.written_answers import (
    DRAWER,
    LID,
    ORIGIN,
    PIECES,
    SCREW,
    SLIDE,
    SLIMMER,
    X,
    Z,
    joined,
    plain,
    screw_hole,
    unanswered,
    written,
    written_part,
    written_several,
)

from coupons.answering.chances.contact_length import ContactLength
from coupons.answering.chances.drawing import FaceMove
from coupons.answering.chances.together import Together
from coupons.answering.joints.listed import JointList
from coupons.answering.joints.lone_rows import ListedHole
from coupons.answering.joints.loosen import Loosening
from coupons.answering.offset import Feel
from coupons.answering.several.kinds import JointKind, Several
from coupons.answering.standards.hardware import hardware
from coupons.answering.words.joint_files import answers_csv, as_data, sizes_csv
from coupons.answering.words.joints import (
    holes_not_asked,
    ignored_columns,
    note_lines,
    part_sentences,
    side_warnings,
    table_lines,
    tightness_sentence,
    together_sentence,
    told_once,
    warnings,
    wish,
)
from coupons.terms import Bed, Form, Grade, Joint, MovingBody, Slant


@pytest.mark.parametrize(
    ("listed", "says"),
    [
        ({}, "slide"),
        ({"at_least": 0.9}, "slide or looser"),
        ({"fit": Grade.LOOSE, "at_least": 0.9}, "loose"),
        ({"fit": None, "gap_mm": -0.1}, "gap −0.10"),
        ({"fit": None, "hardware": SCREW}, "3.4 H13"),
        ({"hardware": SCREW}, "slide"),
        ({"fit": None, "hardware": hardware("pin 8 m6")}, ""),
        ({"fit": None}, ""),
    ],
)
def test_a_wish_is_told_in_a_word(listed, says):
    assert wish(joined(written(), **listed)) == says


SLANTED = replace(DRAWER, slant=Slant(20.0, Z))
UPRIGHT = Joint(Form.SLOT, Form.TONGUE, 12.0, Z)
FAR = ContactLength(100, True, (2.8, 20.2), 0.041)
EVEN = written(gap_mm=0.38, chance=0.84)
LESS = "Less than 50 % chance: print a sample and try it first."
UNTRIED = "No trials show this fit: common practice is used instead."
BED = "What stands on the bed was not said (column bed): covers none and external."
SPLIT = "Pressing it in may split a part between layers."
EXACTLY = "Chance of exactly this fit: 81 %; otherwise mostly looser."
TWO_PRINTS = "The two bodies come from two prints: how prints differ counts for each."


@pytest.mark.parametrize(
    ("found", "listed", "lines"),
    [
        (written(), {}, []),
        (written(chance=0.5), {}, []),
        (written(chance=0.49), {}, [LESS]),
        (written(feel=Feel.UNCLEAR), {}, [UNTRIED]),
        (written(feel=Feel.UNCLEAR), {"fit": None, "gap_mm": 0.2}, []),
        (written(replace(SLIDE, fit=Grade.PUSH)), {}, [SPLIT]),
        (written(replace(SLIDE, fit=Grade.FORCE)), {}, [SPLIT]),
        (written(), {"at_least": 0.9}, [EXACTLY]),
        (written(), {"at_least": 0.9, "fit": Grade.LOOSE}, []),
        (written(contact=ContactLength(10, True, (2.8, 20.2), 0.01)), {}, []),
        (written(layer_mm=0.2), {}, ["Rounded to whole layers."]),
        (written(beds=((Bed.NONE, 0.1), (Bed.EXTERNAL, 0.1))), {}, [BED]),
        (written(), {"internal_print": "a", "external_print": "b"}, [TWO_PRINTS]),
        (written(), {"internal_print": "a", "external_print": "a"}, []),
        (
            written(replace(SLIDE, joint=SLANTED)),
            {},
            [
                "NEVER TRIED BY HAND: faces that lean. The offset is along their normal; see "
                "`offset`."
            ],
        ),
        (
            written(at_equal_costs=EVEN),
            {"loose_costs": 2.5},
            [
                "Too loose counts 2.5 times as much as too tight; counted alike, the gap would be "
                "0.38 mm with 84 %."
            ],
        ),
        (
            written(choices=PIECES),
            {"choices": 2},
            [
                "One of 2 pieces to choose from, numbered by their notches; the best single one "
                "has 81 %."
            ],
        ),
        (
            written(moves=(replace(SLIMMER, drawn_mm=12.16),)),
            {},
            ["The offset is from the 12.5 mm tongue of the standard."],
        ),
        (
            written(replace(SLIDE, joint=Joint(Form.SLOT, Form.TONGUE, 12.0, Z, X))),
            {},
            [
                "The bodies lie unlike as they are printed: such a pair was not tried by hand, it "
                "is predicted from pairs that lie alike."
            ],
        ),
    ],
)
def test_a_warning_belongs_to_what_was_asked_and_found(found, listed, lines):
    assert plain(warnings(joined(found, **listed))) == lines


def test_what_was_not_measured_and_what_is_far_off_is_warned_of():
    (line,) = warnings(joined(written(extrapolated=True)))
    assert line.startswith("EXTRAPOLATED from other features: no slots across x and no tongues")
    (line,) = warnings(joined(written(contact=FAR)))
    assert line.startswith("EXTRAPOLATED: a contact of 100 mm is far")
    assert warnings(unanswered()) == ["Not measured."]


def test_a_nut_across_z_may_be_meant_along_its_screw():
    nut = {"hardware": hardware("nut M4"), "move": MovingBody.INTERNAL}
    (line,) = warnings(joined(written(replace(SLIDE, joint=UPRIGHT)), **nut))
    assert line.startswith("For nut M4, across z means from flat to flat.")
    assert warnings(joined(written(), **nut)) == []


def test_the_hole_of_a_standard_has_no_feel_and_starts_from_its_own_size():
    joint = screw_hole()
    assert warnings(joint) == ["The offset is from the 3.4 mm hole of the standard."]
    with_fit = replace(joint, listed=replace(joint.listed, fit=Grade.SLIDE))
    assert warnings(with_fit) == warnings(joint)


def test_bodies_of_other_printers_are_named_and_their_prints_are_not():
    white = known_profile(machine="attic-1")
    listed = joined(written(), internal_profile=white, internal_print="a").listed
    made = "Made by others: internal body from attic-1; the feel is that of the profile asked."
    assert side_warnings(listed) == [made]
    both = replace(listed, external_profile=known_profile(machine="bench-2"))
    assert side_warnings(both)[0].startswith(
        "Made by others: internal body from attic-1, external body from bench-2;"
    )
    held = replace(listed, internal_profile=None, hardware=hardware("pin 8 m6"))
    assert side_warnings(held) == [], "hardware comes from no print"


def test_columns_of_the_table_are_as_wide_as_usual():
    joint = joined(written())
    assert plain(list(table_lines(written_part(joint)))) == [
        "joint            fit             draw, mm       from nominal, mm      chance",
        "drawer           slide           tongue 11.66   −0.17 into material   81 %",
    ]
    both = (SLIMMER, FaceMove(Form.SLOT, -0.05, 1, 12.05))
    lines = plain(list(table_lines(written_part(replace(joint, found=written(moves=both))))))
    assert lines[2] == " " * 33 + "slot 12.05     −0.05 into one face"


def test_a_long_name_gets_what_the_other_columns_spare():
    # Usual are 16 + 15 + 14 + 21 + 9. Needed, with a blank each: slide 6, tongue 11.66 13,
    # −0.17 into material 20, chance 7: 13 columns to spare.
    def row(name):
        return plain(list(table_lines(written_part(joined(written(), name=name))))[1])

    rest = "slide  tongue 11.66  −0.17 into material  81 %"
    assert row("n" * 16) == f"{'n' * 16} slide           tongue 11.66   −0.17 into material   81 %"
    assert row("n" * 17) == f"{'n' * 17} {rest}"
    assert row("n" * 29) == f"{'n' * 29} {rest}"
    assert row("n" * 30) == f"{'n' * 28}… {rest}"


def test_rows_without_a_chance_or_an_answer_are_blank_there():
    gap = joined(written(), fit=None, gap_mm=0.2)
    pieces = joined(written(choices=PIECES), name="rail", choices=2)
    lines = plain(list(table_lines(written_part(gap, unanswered(), pieces))))
    assert lines[1:] == [
        "drawer           gap 0.20        tongue 11.66   −0.17 into material",
        "shelf            slide           no answer",
        "rail             slide, one of 2                                      95 %",
        "  1 notch                        tongue 11.70   −0.15 into material",
        "  2 notches                      tongue 11.60   −0.20 into material",
    ]


def test_notes_follow_the_table():
    joint = joined(written(chance=0.4))
    part = written_part(joint, origin=replace(ORIGIN, printed_on=None, hands=2), makers=(ORIGIN,))
    notes = plain(list(note_lines(part)))
    assert notes[:3] == [
        "Chance that drawer fits: 72 %.",
        "Chance that no joint is too tight: 83 %.",
        f"drawer: {LESS}",
    ]
    assert notes[3].startswith("2 people tried")
    assert notes[4].startswith("For bench-1, grey")
    assert notes[5].startswith("Another printer: For bench-1, grey")
    assert len(notes) == 6
    said = part_sentences(replace(part, rehearsed=True))
    assert said[0].startswith("REHEARSED")
    assert any(line.startswith("joint  ") for line in said)
    assert said[said.index("") + 1 :] == list(note_lines(part))


@pytest.mark.parametrize(("day", "age"), [(13, "fresh, 12 days old"), (31, "fresh, 30 days old")])
def test_ages_in_the_notes_of_a_part_are_counted_on_the_day_given(day, age):
    white = replace(ORIGIN, machine="bench-2", material="white")
    part = written_part(joined(written()), origin=ORIGIN, makers=(white,))
    said = part_sentences(part, date(2026, 3, day))
    printed = f"0.2 mm layers; printed 2026-03-01 ({age})."
    assert said[-2:] == [
        f"For bench-1, grey, {printed}",
        f"Another printer: For bench-2, white, {printed}",
    ]


def test_the_chance_of_all_names_the_weakest_joint_and_those_left_out():
    drawer, rail = joined(written()), joined(written(chance=0.75), name="rail")
    sure = joined(written(chance=0.995), name="lid")
    gap = joined(written(), name="stop", fit=None, gap_mm=0.2)
    of_two = written_part(drawer, rail)
    assert plain(together_sentence(of_two)) == (
        "Chance that both joints fit on one print: 72 % (sampling error ±0.0 %); lowest: rail with "
        "75 %."
    )
    # The 95 % interval of 0.001 is above 0.2 % and told by more, not by less: 0.3 %.
    of_three = written_part(drawer, rail, sure, together=Together(0.72, 0.001), prints=2)
    assert plain(together_sentence(of_three)) == (
        "Chance that all 3 joints fit on the 2 prints together: 72 % (sampling error ±0.3 %); "
        "lowest: rail with 75 %."
    )
    never = joined(written(chance=0.0), name="lid")
    said = plain(together_sentence(written_part(drawer, never)))
    assert said.endswith("lowest: lid with under 1 %.")
    left = replace(of_two, joints=(drawer, gap, unanswered(), rail), counted=(rail,))
    assert plain(together_sentence(left)) == (
        "Chance that rail fits: 72 %. Not included: stop (no chance for a gap in mm); shelf (no "
        "answer)."
    )
    none = replace(of_two, joints=(gap,), counted=())
    assert together_sentence(none) == (
        "There is no chance to give for these joints. Not included: stop (no chance for a gap in "
        "mm)."
    )
    notes = list(note_lines(none))
    assert not any("too tight" in note for note in notes)


@pytest.mark.parametrize(
    ("error", "says"), [(0.003001, "0.4"), (0.0029995, "0.3"), (0.003, "0.3"), (0.6, "60.0")]
)
def test_a_sampling_error_is_rounded_up_to_a_tenth_of_a_percent(error, says):
    part = written_part(joined(written()), joined(written(), name="rail"))
    # Half the width of the 95 % interval: 2.365 standard errors, of a mean of eight.
    sampled = replace(part, together=Together(0.72, error / 2.365 - 1e-12))
    assert f"(sampling error ±{says} %)" in plain(together_sentence(sampled))


def test_the_joint_to_loosen_is_named_with_what_that_gains():
    moves = (FaceMove(Form.SLOT, -0.05, 2, 12.1), FaceMove(Form.TONGUE, -0.2, 2, 11.6))
    drawer, rail = joined(written()), joined(written(), name="rail")
    part = written_part(drawer, rail, loosen=Loosening(1, 0.14, moves, 0.09, -0.02))
    assert plain(tightness_sentence(part)) == (
        "Chance that no joint is too tight: 83 %. If too tight is worse for you than too loose, "
        "loosen rail first: draw slot 12.10 and tongue 11.60 mm (0.14 mm more gap). Then no joint "
        "is too tight with 92 % chance, and all fit with 70 %."
    )
    found = as_data(part)["loosen"]
    assert [move["form"] for move in found.pop("moves")] == ["slot", "tongue"]
    assert found == {
        "name": "rail",
        "wider_mm": 0.14,
        "not_too_tight": pytest.approx(0.92),
        "together": pytest.approx(0.70),
    }
    assert as_data(replace(part, loosen=None))["loosen"] is None


def test_a_warning_of_many_joints_is_said_once():
    warned = [(f"rail {n}", "long") for n in range(10)] + [("lid", "thin"), ("rail 3", "thin")]
    assert list(told_once(warned)) == [
        "rail 0, rail 1, rail 2, rail 3, rail 4, rail 5, rail 6, rail 7 and 2 more: long",
        "lid, rail 3: thin",
    ]
    (eight,) = told_once([(str(n), "long") for n in range(8)])
    assert eight == "0, 1, 2, 3, 4, 5, 6, 7: long"


def test_holes_that_wait_for_hardware_are_counted():
    asked, *waiting = ListedHole(2, "a", 2.6), ListedHole(3, "b"), ListedHole(4, "c")
    assert holes_not_asked(JointList((), (), (asked,))) == ""
    left = "left alone; hardware, or a fit, beside one asks about it."
    one = holes_not_asked(JointList((), (), (asked, waiting[0])))
    assert one == f"1 hole that meets nothing is {left}"
    two = holes_not_asked(JointList((), (), (asked, *waiting)))
    assert two == f"2 holes that meet nothing are {left}"
    assert ignored_columns(JointList((), ("note", "by"))) == "columns not used: note, by."


def rows_of(text):
    return list(csv.reader(io.StringIO(text)))[1:]


def test_answers_stand_one_joint_or_piece_a_row():
    gap = joined(written(too_tight=0.4), name="stop", fit=None, gap_mm=-0.1)
    two = joined(written(choices=PIECES), name="rail", choices=2, at_least=0.9)
    part = written_part(joined(written()), gap, two, screw_hole(), unanswered())
    drawer, stop, first, second, cover, shelf = rows_of(answers_csv(part))
    same = ["slot", "tongue", "12", "x"]
    assert drawer == [
        *("drawer", *same, "slide", "", "", "12", "11.66", "", "-0.17", "2", "0.8100", "0.1200", "")
    ]
    assert stop[5:8] == ["gap -0.10", "", ""]
    assert stop[13:] == ["", "", ""]
    assert (first[0], second[0]) == ("rail (1 notch)", "rail (2 notches)")
    assert first[5:7] == ["slide", "0.9"]
    assert first[9:15] == ["11.7", "", "-0.15", "2", "0.9500", "0.0300"]
    assert second[9] == "11.6"
    assert cover[:8] == ["cover", "hole", "pin", "3", "z", "3.4 H13", "", "screw M3 medium"]
    assert cover[8:15] == ["3.7", "", "-0.15", "", "2", "0.9300", ""]
    assert cover[15] == "The offset is from the 3.4 mm hole of the standard."
    assert shelf[8:] == ["", "", "", "", "", "", "", "Not measured."]


def test_sizes_stand_one_printed_body_a_row():
    two = joined(written(choices=PIECES), name="rail", choices=2)
    part = written_part(joined(written()), two, screw_hole(), unanswered())
    assert rows_of(sizes_csv(part)) == [
        ["drawer", "slot", "12", "12", "0", "2", "drawer_slot"],
        ["drawer", "tongue", "11.66", "12", "-0.17", "2", "drawer_tongue"],
        ["rail", "slot", "12", "12", "0", "2", "rail_slot"],
        ["rail", "tongue", "11.7", "12", "-0.15", "2", "rail_tongue_1"],
        ["rail", "tongue", "11.6", "12", "-0.2", "2", "rail_tongue_2"],
        ["cover", "hole", "3.7", "3.4", "-0.15", "2", "cover_hole"],
    ]
    marked = rows_of(sizes_csv(replace(part, rehearsed=True)))
    assert marked[0][0].startswith("REHEARSED")
    assert marked[1:] == rows_of(sizes_csv(part))


PLATE_WARNING = "pocket/plate: NEVER TRIED BY HAND as a whole, only pair by pair."


def test_both_pairs_of_a_plate_are_named_by_their_axes():
    lid = joined(written_several(), name="lid", joint=LID.pairs[0].joint, several=LID)
    part = written_part(lid)
    assert plain(list(table_lines(part)))[1:] == [
        "lid              slide           plate x 39.66  −0.17 into material   70 %",
        " " * 33 + "plate y 24.60  −0.20 into material",
    ]
    assert rows_of(sizes_csv(part)) == [
        ["lid", "pocket x", "40", "40", "0", "2", "lid_pocket_x"],
        ["lid", "plate x", "39.66", "40", "-0.17", "2", "lid_plate_x"],
        ["lid", "pocket y", "25", "25", "0", "2", "lid_pocket_y"],
        ["lid", "plate y", "24.6", "25", "-0.2", "2", "lid_plate_y"],
    ]
    (row,) = rows_of(answers_csv(part))
    assert row == [
        *("lid", "pocket", "plate", "40x25", "xy", "slide", "", ""),
        *("40x25", "39.66x24.6", "", "-0.17x-0.2", "2", "0.7000", "0.1800", PLATE_WARNING),
    ]
    # The chance of a whole is that of what was asked; it has no chance of exactly the fit.
    least = replace(lid, listed=replace(lid.listed, at_least=0.6))
    assert least.chance == 0.7
    assert warnings(least) == [PLATE_WARNING]
    split = replace(lid, listed=replace(lid.listed, fit=Grade.PUSH))
    assert warnings(split) == [PLATE_WARNING, SPLIT]
    two = replace(lid, listed=replace(lid.listed, external_print="b"))
    assert warnings(two) == [TWO_PRINTS, PLATE_WARNING]


def test_holes_for_bought_pins_are_the_only_body_drawn():
    dowels = Several(
        JointKind.HOLES, (5.0,), ((Z, X), (Z, X)), hardware=hardware("pin 5 m6"), pitch_mm=60.0
    )
    found = written_several(dowels, ((FaceMove(Form.HOLE, -0.12, 2, 5.24),),))
    joint = dowels.pairs[0].joint
    cover = joined(found, name="lid cover", joint=joint, several=dowels, hardware=dowels.hardware)
    part = written_part(cover)
    assert plain(list(table_lines(part)))[1:] == [
        "lid cover        slide           holes 5.24     −0.12 into material   70 %"
    ]
    assert rows_of(sizes_csv(part)) == [
        ["lid cover", "holes", "5.24", "5", "-0.12", "2", "lid_cover_holes"]
    ]
    (row,) = rows_of(answers_csv(part))
    assert row[:8] == ["lid cover", "holes", "pins", "5", "zx", "slide", "", "pin 5 m6"]
    assert row[8:13] == ["5.24", "", "-0.12", "", "2"]
    (data,) = as_data(part)["joints"]
    assert (data["question"]["pitch_mm"], data["question"]["sizes_mm"]) == (60.0, [5.0])


def test_a_pair_of_a_plate_may_stay_as_it_is():
    drawn = ((FaceMove(Form.TONGUE, -0.17, 2, 39.66),), ())
    lid = joined(written_several(drawn=drawn), joint=LID.pairs[0].joint, several=LID)
    part = written_part(lid)
    assert len(list(table_lines(part))) == 2, "only what moves"
    second = ["drawer", "plate y", "25", "25", "0", "2", "drawer_plate_y"]
    assert rows_of(sizes_csv(part))[3] == second
    (row,) = rows_of(answers_csv(part))
    assert row[8:12] == ["40x25", "39.66x25", "", "-0.17"]


def test_the_question_and_the_answer_stand_in_the_data():
    white = known_profile(machine="attic-1")
    asked = joined(
        written(),
        bed=Bed.NONE,
        at_least=0.9,
        contact_mm=12.0,
        external_profile=white,
        external_print="b",
        loose_costs=1.0,
    )
    lid = joined(written_several(), name="lid", joint=LID.pairs[0].joint, several=LID)
    wedge = joined(written(replace(SLIDE, joint=SLANTED)), name="wedge")
    part = written_part(asked, lid, screw_hole(), wedge, together=Together(0.72, 0.001))
    data = as_data(part)
    drawer, lid_data, cover, wedge_data = data["joints"]
    assert drawer["question"] == {
        "joint": "slot/tongue",
        "size_mm": 12.0,
        "sizes_mm": [12.0],
        "across": "x",
        "slant_deg": None,
        "pitch_mm": None,
        "hardware": None,
        "fit": "slide",
        "printed_gap_mm": None,
        "move": "external",
        "bed": "none",
        "contact_mm": 12.0,
        "sides": [
            {"side": "internal", "machine": None, "print": None},
            {"side": "external", "machine": "attic-1", "print": "b"},
        ],
        "choices": 1,
        "loose_costs": 1.0,
    }
    assert (drawer["wish"], drawer["at_least"]) == ("slide or looser", 0.9)
    # That it slides, 0.81, or is looser, 0.07.
    assert drawer["chance"] == pytest.approx(0.88)
    assert (drawer["too_tight"], drawer["choices"]) == (0.12, None)
    assert [move["body"] for move in drawer["moves"]] == ["tongue"]
    assert lid_data["question"]["joint"] == "pocket/plate"
    assert lid_data["question"]["sizes_mm"] == [40.0, 25.0]
    assert lid_data["question"]["across"] == "xy"
    assert [move["body"] for move in lid_data["moves"]] == ["plate x", "plate y"]
    assert cover["question"]["hardware"] == "screw M3 medium"
    assert (cover["question"]["fit"], cover["question"]["bed"]) == (None, None)
    assert (cover["wish"], cover["chance"], cover["too_tight"]) == ("3.4 H13", 0.93, None)
    assert wedge_data["question"]["slant_deg"] == 20
    assert wedge_data["question"]["across"] == "xz"
    assert data["together"]["joints"] == ["drawer", "lid", "cover", "wedge"]
    assert data["together"]["chance"] == 0.72
    assert 0.0019 < data["together"]["sampling_error"] < 0.003
    assert data["not_too_tight"] == {"chance": 0.83, "error": 0.0}
    assert (data["prints"], data["makers"], data["rehearsed"]) == (1, [], False)
