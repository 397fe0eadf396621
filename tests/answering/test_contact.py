"""What a designer says of the length of the contact, and what it costs not to say it."""

import json

import numpy as np
import pytest
from click.testing import CliRunner
from support.known_profile import known_profile

from coupons.answering.ask import Printer
from coupons.answering.joints.joint_list import read_joints
from coupons.answering.words.answers import headline, sentences
from coupons.cli import main
from coupons.errors import AnswerError
from coupons.learning.profile_file import write_profile

SLOPE_MM = 0.02
FLAT = {"size_mm": 12, "across": "x"}
TRIED = (2.8, 6.0, 20.0)


def printer(**changes):
    return Printer(known_profile(means={"contact_loss": SLOPE_MM}, contact_mm=TRIED, **changes))


def test_a_contact_e_times_as_long_moves_the_gap_by_the_slope():
    short, long = (
        printer().offset("slot/tongue", contact_mm=mm, **FLAT).best_gap_mm
        for mm in (6.0, 6.0 * np.e)
    )
    assert long - short == pytest.approx(SLOPE_MM, abs=0.001)


def test_unsaid_it_is_the_usual_one_and_the_interval_is_wider():
    said, unsaid = (
        printer().offset("slot/tongue", contact_mm=mm, **FLAT) for mm in (TRIED[1], None)
    )
    assert unsaid.best_gap_mm == pytest.approx(said.best_gap_mm, abs=0.002)
    square = SLOPE_MM**2 + (0.1 * 0.015) ** 2
    of = [((a.high_mm - a.low_mm) / (2 * 1.645)) ** 2 for a in (said, unsaid)]
    assert of[1] - of[0] == pytest.approx(square, rel=0.15), "the slope, over one e-fold"
    assert unsaid.chance < said.chance


def test_far_outside_the_tried_contacts_the_answer_says_so_first():
    far = printer(sd_share={"contact_loss": 1.0}).offset("slot/tongue", contact_mm=100, **FLAT)
    near = printer().offset("slot/tongue", contact_mm=30, **FLAT)
    unsure_mm = 0.015 * np.log(100 / 6)
    told = [line for line in sentences(far) if line.startswith("EXTRAPOLATED")]
    assert told == [
        "EXTRAPOLATED: a contact of 100 mm is far from those tried, 2.8 to 20 mm; the added "
        f"uncertainty, ±{unsure_mm:.3f} mm (1 sd), is included."
    ]
    assert told[0] in headline(far)
    assert far.contact.unsure_mm == pytest.approx(unsure_mm)
    assert "EXTRAPOLATED" not in str(near)
    assert "For a contact 30 mm long." in str(near)


def test_a_profile_that_says_no_contact_answers_at_the_reference():
    bare = Printer(known_profile(means={"contact_loss": SLOPE_MM}))
    assert bare.offset("slot/tongue", contact_mm=6, **FLAT).best_gap_mm == pytest.approx(
        printer().offset("slot/tongue", contact_mm=6, **FLAT).best_gap_mm
    )
    far = bare.offset("slot/tongue", contact_mm=100, **FLAT)
    assert far.contact.tried_mm is None
    words = "EXTRAPOLATED: a contact of 100 mm is far from those tried, 6 mm; "
    assert any(line.startswith(words) for line in headline(far))


@pytest.mark.parametrize("mm", [0.1, 5000.0, -3.0])
def test_no_contact_is_so_long_or_short(mm):
    with pytest.raises(AnswerError, match=r"A contact must be 0\.5 to 2000 mm long"):
        printer().offset("slot/tongue", contact_mm=mm, **FLAT)


def test_terminal_list_and_python_say_the_same(tmp_path):
    write_profile(printer().profile, tmp_path / "profile.json")
    asked = ["offset", str(tmp_path), "--joint", "slot/tongue", "--size", "12", "--across", "x"]
    told = CliRunner().invoke(main, [*asked, "--contact", "80", "--json"])
    data = json.loads(told.stdout)
    assert data["question"]["contact_mm"] == 80
    assert data["contact"]["length_mm"] == 80
    by_python = printer().offset("slot/tongue", contact_mm=80, **FLAT)
    assert data["best_gap_mm"] == pytest.approx(by_python.best_gap_mm)
    listed = tmp_path / "joints.csv"
    listed.write_text(
        "name,internal,external,size_mm,across,fit,contact_mm\n"
        "rail,slot,tongue,12,x,slide,80\nlid,slot,tongue,12,x,slide,\n"
    )
    rail, lid = printer().part(listed).joints
    assert rail.found.best_gap_mm == pytest.approx(by_python.best_gap_mm)
    assert lid.found.contact.said is False


def test_a_list_with_an_odd_contact_is_refused(tmp_path):
    listed = tmp_path / "joints.csv"
    listed.write_text(
        "name,internal,external,size_mm,across,fit,contact_mm\nrail,slot,tongue,12,x,slide,long\n"
    )
    with pytest.raises(AnswerError, match=r"row 2: expected contact_mm from 0\.5 to 2000"):
        read_joints(listed)
