import json

import numpy as np
import pytest
from click.testing import CliRunner
from support.known_profile import FROM_ONE_PRINT, drawn_prints, known_profile

from coupons import AnswerError, load_profile
from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.demand import OneOf
from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import chance_together, piece_chances
from coupons.answering.choices import answer_with_choices, least_step_mm, one_of
from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.whole_part import answer_part
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.words.choices import sentences
from coupons.answering.words.joint_files import answers_csv, as_data, sizes_csv
from coupons.answering.words.joints import part_sentences, table_lines
from coupons.cli import main
from coupons.learning.profile_file import write_profile
from coupons.showing.pages.joints_page import part_page
from coupons.terms import Bed, Direction, Form, Grade, Joint, MovingBody

SLOT_X = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)
SLOT_Z = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.Z)
PIN_Z = Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z)


def drawn_chance(profile, joint, gaps_mm, fit, rng, n=60_000):
    """Print the slot once and every tongue, try them: how often one fits."""
    terms, own = drawn_prints(profile, rng, n, strata=300)

    def sizes(name):
        spread = profile.scatters[name]
        logs = np.repeat(rng.normal(size=300), n // 300)
        return spread.median_mm * np.exp(spread.log_sd * logs)

    tau, omega = sizes("tau"), sizes("omega")
    slot, hit = tau * rng.normal(size=n), np.zeros(n, bool)
    for gap_mm in gaps_mm:
        one = Clearance(profile, joint, MovingBody.EXTERNAL, np.array([gap_mm]))
        felt = slot + tau * rng.normal(size=n) + omega * rng.normal(size=n)
        margins = []
        for grade in (fit, Grade.LOOSE if fit is Grade.SLIDE else Grade.SLIDE):
            row = one.margin_row(grade)[0]
            margins.append(gap_mm + (terms + own @ profile.print_moves.T) @ row + felt)
        hit |= (margins[0] >= 0) & (margins[1] < 0)
    return hit.mean()


@pytest.mark.parametrize("gaps_mm", [(0.2, 0.3, 0.4), (0.1, 0.14), (0.5, 0.6, 0.7, 0.8)])
def test_the_stated_chance_is_that_of_slots_and_tongues_drawn_one_by_one(gaps_mm):
    profile, n = known_profile(sd_share=FROM_ONE_PRINT), 60_000
    question = Question(SLOT_X, Grade.SLIDE, choices=len(gaps_mm))
    stated = chance_together([one_of(profile, question, gaps_mm)], shared_of(profile))
    rng = np.random.default_rng(3)
    drawn = drawn_chance(profile, SLOT_X, gaps_mm, Grade.SLIDE, rng, n)
    # The draws come in 300 strata, so their error is above the binomial one.
    assert stated.chance == pytest.approx(drawn, abs=4 * np.sqrt(0.25 / n) + 0.012)


def test_what_the_slot_has_of_its_own_is_shared_by_all_tongues():
    """On a rough printer two tongues would fit more often if each were tried in another slot."""
    profile = known_profile(sd_share=FROM_ONE_PRINT, scatters={"tau": 0.09})
    question, gaps_mm, n = Question(SLOT_X, Grade.SLIDE, choices=2), (0.3, 0.34), 60_000
    stated = chance_together([one_of(profile, question, gaps_mm)], shared_of(profile)).chance
    drawn = drawn_chance(profile, SLOT_X, gaps_mm, Grade.SLIDE, np.random.default_rng(4), n)
    assert stated == pytest.approx(drawn, abs=4 * np.sqrt(0.25 / n) + 0.012)
    assert 0.3 < stated < 0.9, "a case that can tell"


@pytest.mark.parametrize("joint", [SLOT_X, SLOT_Z, PIN_Z])
def test_more_pieces_fit_more_often(joint):
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    single = answer(profile, Question(joint, Grade.SLIDE))
    chances = [single.chance]
    for count in (2, 3, 4):
        found = answer_with_choices(profile, Question(joint, Grade.SLIDE, choices=count))
        assert found.chance == single.chance, "the best single one stands beside it"
        pieces = found.choices.pieces
        assert [piece.notches for piece in pieces] == list(range(1, count + 1))
        assert [p.gap_mm for p in pieces] == sorted(p.gap_mm for p in pieces)
        alone = [piece.chance for piece in pieces]
        assert max(alone) < found.choices.chance <= sum(alone)
        assert found.choices.chance + found.choices.all_too_tight < 1
        chances.append(found.choices.chance)
    assert all(np.diff(chances) > 0)


def test_one_piece_is_the_answer_of_today():
    profile = known_profile()
    assert answer_with_choices(profile, Question(SLOT_X, Grade.SLIDE)) == answer(
        profile, Question(SLOT_X, Grade.SLIDE)
    )


def test_no_other_set_of_drawable_pieces_does_better():
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    question = Question(SLOT_X, Grade.PUSH, choices=2)
    best = answer_with_choices(profile, question).choices
    gaps = np.round(np.arange(-0.2, 0.5, 0.02), 2)
    here = piece_chances(one_of(profile, question, gaps), shared_of(profile))
    misses = here.too_tight + here.too_loose
    every = 1 - (here.weights[:, None] * misses).T @ misses  # of all pairs
    np.fill_diagonal(every, 0.0)
    assert best.chance == pytest.approx(every.max(), abs=0.002)


@pytest.mark.parametrize("omega_mm", [0.01, 0.05, 0.09])
def test_neighbours_are_a_step_apart_that_a_hand_can_tell(omega_mm):
    profile = known_profile(scatters={"omega": omega_mm})
    found = answer_with_choices(profile, Question(SLOT_X, Grade.PUSH, choices=4))
    least = least_step_mm(profile, found)
    assert least >= max(omega_mm, 0.02) - 1e-9
    gaps = [piece.gap_mm for piece in found.choices.pieces]
    assert np.diff(gaps).min() >= least - 1e-9


def test_across_layers_pieces_are_whole_layers_apart():
    question = Question(SLOT_Z, Grade.SLIDE, choices=3, bed=Bed.NONE)
    found = answer_with_choices(known_profile(sd_share=FROM_ONE_PRINT), question)
    drawn = [piece.moves[0].drawn_mm / 0.2 for piece in found.choices.pieces]
    assert drawn == pytest.approx(np.round(drawn))
    assert min(abs(np.diff(drawn))) >= 1 - 1e-9


def test_a_joint_with_choices_counts_with_the_others_of_its_print():
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    question = Question(SLOT_X, Grade.SLIDE, choices=3)
    found = answer_with_choices(profile, question)
    pieces = one_of(profile, question, [piece.gap_mm for piece in found.choices.pieces])
    assert isinstance(pieces, OneOf)
    both = chance_together([pieces, pieces], shared_of(profile)).chance
    assert found.choices.chance**2 < both < found.choices.chance


ODD = [
    ({"choices": 0}, "1 to 6 pieces"),
    ({"choices": 1000}, "1 to 6 pieces"),
    ({"choices": -3}, "1 to 6 pieces"),
    ({"choices": 3, "move": MovingBody.BOTH}, "of one body"),
    ({"choices": 3, "at_least": 0.9}, "leave out the chance"),
    ({"choices": 3, "drawn_gap_mm": 0.2}, "leave out the chance"),
    ({"choices": 3, "fit": Grade.LOOSE}, "always loose"),
]


@pytest.mark.parametrize(("changes", "words"), ODD)
def test_odd_choices_are_refused_in_words(changes, words):
    asked = {"joint": SLOT_X, "fit": Grade.SLIDE} | changes
    with pytest.raises(AnswerError, match=words):
        answer_with_choices(known_profile(), Question(**asked))


HEAD = "name,internal,external,size_mm,across,fit,move,hardware,at_least,bed,choices\n"


def part_of(tmp_path, rows, profile):
    path = tmp_path / "joints.csv"
    path.write_text(HEAD + rows, encoding="utf-8")
    return answer_part(profile, read_joints(path).joints)


def test_a_list_draws_every_piece_and_states_one_chance(tmp_path):
    rows = "drawer,slot,tongue,12,x,slide,,,,,3\nlid,hole,pin,8,z,push,internal,,,,\n"
    part = part_of(tmp_path, rows, known_profile(sd_share=FROM_ONE_PRINT))
    sizes = sizes_csv(part)
    assert [f"drawer_tongue_{n}" in sizes for n in (1, 2, 3, 4)] == [True, True, True, False]
    assert answers_csv(part).count("drawer (") == 3
    text = "\n".join(part_sentences(part))
    assert "slide, one of 3" in text
    assert max(map(len, table_lines(part))) <= 80
    page = part_page(part, "joints.csv")
    assert all(f"tongue {n}</td>" in page for n in (1, 2, 3))
    assert page.count('<svg viewBox="0 0 100 8"') == 1, "no bar of one piece alone"
    first = as_data(part)["joints"][0]
    assert first["chance"] == first["choices"]["chance"] == part.joints[0].chance
    assert part.together.chance < part.joints[0].chance


def test_every_contradiction_of_a_list_is_told_at_once(tmp_path):
    rows = (
        "a,slot,tongue,12,x,slide,both,,,,3\nb,slot,tongue,12,x,slide,,,0.9,,2\n"
        "c,slot,tongue,12,x,gap 0.2,,,,,2\nd,slot,tongue,12,x,slide,,,,,0\n"
        "e,slot,tongue,12,x,slide,,,,,2.5\nf,slot,tongue,12,x,slide,,,,,nan\n"
        "g,slot,tongue,12,x,slide,,,,,1\n"
    )
    with pytest.raises(AnswerError) as told:
        part_of(tmp_path, rows, known_profile())
    assert [p.where.split()[-1] for p in told.value.problems] == ["2", "3", "4", "5", "6", "7"]


def test_the_terminal_names_marks_sizes_and_both_chances(tmp_path):
    path = tmp_path / "profile.json"
    write_profile(known_profile(sd_share=FROM_ONE_PRINT), path)
    asked = ["offset", str(path), "--joint", "slot/tongue", "--size", "12", "--across", "x"]
    told = CliRunner().invoke(main, [*asked, "--choices", "3"])
    assert told.exit_code == 0, told.output
    for word in ("Print 3 tongues", "1 notch:", "3 notches:", "At least one slides", "single one"):
        assert word in told.output
    data = json.loads(CliRunner().invoke(main, [*asked, "--choices", "3", "--json"]).output)
    assert len(data["choices"]["pieces"]) == data["question"]["choices"] == 3
    plain = json.loads(CliRunner().invoke(main, [*asked, "--json"]).output)
    assert plain["choices"] is None


def test_python_asks_for_choices_too(tmp_path):
    path = tmp_path / "profile.json"
    write_profile(known_profile(sd_share=FROM_ONE_PRINT), path)
    printer = load_profile(path)
    found = printer.offset("slot/tongue", size_mm=12, across="x", choices=3)
    assert str(found).startswith(sentences(found)[0])
    assert " or " in repr(found)
    with pytest.raises(AnswerError, match="whole number"):
        printer.offset("slot/tongue", size_mm=12, across="x", choices=2.5)
