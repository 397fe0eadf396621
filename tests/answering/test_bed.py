"""What stands on the bed: said, not said, and shared by all joints of one print."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.special import ndtr
from support.known_profile import FROM_ONE_PRINT, drawn_prints, known_profile

from coupons.answering.ask import Printer
from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import chance_together
from coupons.answering.joints.whole_part import fit_demand
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.single import SizeQuestion, draw_size
from coupons.answering.standards.iso286 import limits
from coupons.answering.words.answers import sentences
from coupons.cli import main
from coupons.errors import AnswerError
from coupons.learning.effects import TERMS
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import LogSpread
from coupons.learning.profile_file import read_profile, write_profile
from coupons.terms import Bed, Direction, Form, Grade, Joint

SHELF = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.Z)
DRAWER = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)


def at(profile, gap_mm, bed):
    return answer(profile, Question(SHELF, Grade.SLIDE, drawn_gap_mm=gap_mm, bed=bed))


def test_unsaid_an_answer_covers_none_and_the_external_body_evenly():
    # Tongues that stand 0.2 mm low on the bed: 0.4 mm fits one case tightly, the other loosely.
    profile = known_profile({"bed_height": -0.2}, sd_share=FROM_ONE_PRINT)
    none, external, both = (at(profile, 0.4, bed) for bed in (Bed.NONE, Bed.EXTERNAL, None))
    assert external.too_loose > none.too_loose + 0.2
    assert both.too_loose == pytest.approx((none.too_loose + external.too_loose) / 2)
    assert both.chance == pytest.approx((none.chance + external.chance) / 2)
    assert none.high_mm - external.high_mm > 0.05


@pytest.mark.slow
def test_the_interval_unsaid_holds_nine_prints_in_ten_of_both_cases():
    # 200,000 printers and prints, half of them with the tongue on the bed: error 0.0007.
    profile = known_profile({"bed_height": -0.2}, sd_share=FROM_ONE_PRINT)
    got = answer(profile, Question(SHELF, Grade.SLIDE))
    rng = np.random.default_rng(3)
    terms, own = drawn_prints(profile, rng, 200_000, strata=500)
    of = dict(zip(TERMS, terms.T, strict=True))
    _, _, _, taller, bed, roof = own.T
    stands = rng.random(len(bed)) < 0.5
    # Faces grow into the gap; a tongue on the bed is taller by the height of the nozzle.
    closing = 2 * of["growth_ext_z"] + 2 * of["growth_int_z"] + roof
    closing += np.where(stands, of["bed_height"] + bed, 0.0)
    needed = (of["from_slide"] + of["from_loose"]) / 2 + closing
    needed -= got.best_gap_mm * (of["scale_z"] + taller)
    inside = (needed > got.low_mm) & (needed < got.high_mm)
    assert inside.mean() == pytest.approx(0.90, abs=0.005)
    assert np.mean(needed < got.low_mm) == pytest.approx(0.05, abs=0.005)


def test_the_bed_moves_a_single_size_and_what_it_varies_by():
    shares = FROM_ONE_PRINT | {"growth_ext_z": 0.5, "bed_height": 0.6}
    profile = known_profile({"bed_height": -0.1}, sd_share=shares)
    free, stands, unsaid = (
        draw_size(profile, SizeQuestion(Form.TONGUE, 8.0, Direction.Z, bed=bed, drawn_mm=8.0))
        for bed in (Bed.NONE, Bed.EXTERNAL, None)
    )
    assert stands.expected_mm == pytest.approx(free.expected_mm - 0.1)
    # 0.6 of the prior's 0.10 is left of the term, and prints differ by 0.05 with 0.2 of a log.
    more = 0.06**2 + 0.05**2 * np.exp(2 * 0.2**2)
    assert stands.sd_mm**2 - free.sd_mm**2 == pytest.approx(more, rel=0.01)
    assert unsaid.expected_mm == pytest.approx(free.expected_mm - 0.05)
    mixed = (free.sd_mm**2 + stands.sd_mm**2) / 2 + 0.05**2
    assert unsaid.sd_mm == pytest.approx(np.sqrt(mixed))


def test_a_chance_of_limits_unsaid_is_the_mean_of_both():
    profile, band = known_profile({"bed_height": -0.3}), limits("8 ±0.2")
    chances = [
        draw_size(
            profile, SizeQuestion(Form.TONGUE, 8.0, Direction.Z, band, drawn_mm=8.0, bed=bed)
        ).chance
        for bed in (Bed.NONE, Bed.EXTERNAL, None)
    ]
    assert chances[2] == pytest.approx((chances[0] + chances[1]) / 2)
    assert chances[0] > chances[1] + 0.3


@pytest.mark.parametrize("bed", [Bed.EXTERNAL, None])
def test_joints_of_one_print_share_the_height_of_the_nozzle(bed):
    # All known but that height: given it, joints are independent. 201 heights, worked out plainly.
    scatters = dict.fromkeys(("rho_scale_z", "rho_roof"), 1e-06) | {"tau_z": 0.02}
    shares = dict.fromkeys(TERMS, 1e-4)
    profile = known_profile({"bed_height": 0.0}, shares, scatters)
    profile = profile.model_copy(
        update={
            "scatters": {
                name: spread.model_copy(update={"log_sd": 1e-6})
                for name, spread in profile.scatters.items()
            }
        }
    )
    question = Question(SHELF, Grade.SLIDE, bed=bed, drawn_gap_mm=0.3)
    demands = [fit_demand(profile, question, 0.3)] * 3
    stated = chance_together(demands, shared_of(profile))
    means = profile.means
    expected_mm = 0.3 - 2 * (means["growth_ext_z"] + means["growth_int_z"]) + 0.3 * means["scale_z"]
    sd_mm = np.sqrt(2 * 0.02**2 + profile.scatters["omega"].mean_square)
    height_mm = 0.05 * np.linspace(-5, 5, 201)
    density = np.exp(-((height_mm / 0.05) ** 2) / 2)

    def fits(clearance_mm):
        above = ndtr((clearance_mm - means["from_slide"]) / sd_mm)
        return above - ndtr((clearance_mm - means["from_loose"]) / sd_mm)

    stands = fits(expected_mm - height_mm)
    each = stands if bed else (stands + fits(expected_mm)) / 2
    expected = (density * each**3).sum() / density.sum()
    assert stated.chance == pytest.approx(expected, abs=0.003)
    apart = ((density * each).sum() / density.sum()) ** 3
    assert expected > apart + 0.01, "a case that can tell"


def test_one_sentence_says_what_saying_it_would_bring():
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    said = " ".join(sentences(answer(profile, Question(SHELF, Grade.SLIDE))))
    assert "Which body stands on the bed was not said: this covers both cases" in said
    assert "with --bed none the interval would narrow from" in said
    told = answer(profile, Question(SHELF, Grade.SLIDE, bed=Bed.NONE))
    assert "Which body stands" not in " ".join(sentences(told))
    across = " ".join(sentences(answer(profile, Question(DRAWER, Grade.SLIDE))))
    assert "stands on the bed" not in across


def test_the_widths_told_are_those_of_the_answers():
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    unsaid = answer(profile, Question(SHELF, Grade.SLIDE))
    for bed, width_mm in unsaid.beds:
        # Drawn alike: the width hardly depends on the gap.
        said = answer(profile, Question(SHELF, Grade.SLIDE, bed=bed))
        assert width_mm == pytest.approx(said.high_mm - said.low_mm, abs=0.002)


@pytest.mark.parametrize(
    ("wish", "message"),
    [
        ({"joint": "slot/tongue", "size_mm": 12, "across": "x", "bed": "none"}, "no face looks"),
        ({"joint": "hole/pin", "size_mm": 8, "across": "z", "bed": "external"}, "no face looks"),
        ({"joint": "slot/tongue", "size_mm": 12, "across": "z", "bed": "lower"}, "body on the bed"),
        ({"hardware": "nut M4", "across": "z", "bed": "external"}, "is not printed here"),
        ({"hardware": "nut M4", "across": "z", "bed": "both"}, "Only the slot is printed"),
    ],
)
def test_what_cannot_stand_on_a_bed_is_refused(wish, message):
    with pytest.raises(AnswerError, match=message):
        Printer(known_profile()).offset(**wish)


def test_a_size_in_the_layer_plane_stands_on_no_bed():
    with pytest.raises(AnswerError, match="no face looks down"):
        Printer(known_profile()).size("tongue", prints_mm=8, across="x", bed="external")
    assert Printer(known_profile()).size("pin", prints_mm=8, across="x", bed="external")


def test_older_models_know_nothing_of_the_bed():
    kept = Path(__file__).parents[1] / "kept_profiles" / "version-1.json"
    lying = Question(Joint(Form.HOLE, Form.PIN, 8.0, Direction.X), Grade.PUSH)
    assert answer(read_profile(kept), lying).beds == ()


def run(*args):
    return CliRunner().invoke(main, [str(one) for one in args], catch_exceptions=False)


def test_the_command_takes_the_bed_for_joints_and_sizes(tmp_path):
    write_profile(known_profile(), tmp_path / "profile.json")
    shelf = ("offset", tmp_path, "--joint", "slot/tongue", "--size", 12, "--across", "z", "--json")
    assert json.loads(run(*shelf, "--bed", "external").stdout)["question"]["bed"] == "external"
    assert [one["bed"] for one in json.loads(run(*shelf).stdout)["beds"]] == ["none", "external"]
    step = ("offset", tmp_path, "--form", "tongue", "--prints", 8, "--across", "z")
    assert run(*step, "--bed", "external").exit_code == 0
    refused = run(
        "offset", tmp_path, "--form", "tongue", "--prints", 8, "--across", "x", "--bed", "none"
    )
    assert refused.exit_code == 1
    assert "Leave it out" in refused.stderr


def test_a_list_takes_the_bed_in_a_column(tmp_path):
    path = tmp_path / "joints.csv"
    head = "name,internal,external,size_mm,across,fit,bed\n"
    path.write_text(head + "shelf,slot,tongue,12,z,slide,external\nlid,slot,tongue,12,z,slide,\n")
    shelf, lid = Printer(known_profile()).part(path).joints
    assert (shelf.found.question.bed, lid.found.question.bed) == (Bed.EXTERNAL, None)
    assert (shelf.found.beds, len(lid.found.beds)) == ((), 2)
    path.write_text(head + "a,slot,tongue,12,x,slide,external\nb,slot,tongue,12,z,slide,lower\n")
    with pytest.raises(AnswerError) as refused:
        Printer(known_profile()).part(path)
    assert "a body that can stand on the bed, got 'external'" in str(refused.value)
    assert "bed none, internal, external, both, got 'lower'" in str(refused.value)


@pytest.mark.parametrize("bed", [Bed.NONE, Bed.EXTERNAL])
def test_heights_of_the_bed_known_within_a_factor_of_two_are_averaged_over_in_full(bed):
    # Every scatter at its prior, long tails and all; 200,000 printers and prints: error 0.0007.
    spreads = {
        name: LogSpread(median_mm=prior.median, log_sd=prior.log_sd)
        for name, prior in EXTRUSION.scatters.items()
    }
    profile = known_profile(sd_share=FROM_ONE_PRINT).model_copy(update={"scatters": spreads})
    got = answer(profile, Question(SHELF, Grade.SLIDE, bed=bed))
    terms, own = drawn_prints(profile, np.random.default_rng(4), 200_000, strata=500)
    of = dict(zip(TERMS, terms.T, strict=True))
    _, _, _, taller, above_bed, roof = own.T
    needed = (of["from_slide"] + of["from_loose"]) / 2 - got.best_gap_mm * (of["scale_z"] + taller)
    needed += 2 * of["growth_ext_z"] + 2 * of["growth_int_z"] + roof
    needed += (of["bed_height"] + above_bed) * bed.holds(Form.TONGUE)
    inside = (needed > got.low_mm) & (needed < got.high_mm)
    assert inside.mean() == pytest.approx(0.90, abs=0.005)
