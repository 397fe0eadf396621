"""What is said of a profile held against re-checks, of findings written down by hand."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from support.known_profile import known_profile
from support.small_coupon import feature
from support.written_answers import plain

from coupons.answering.compare.likelihood_ratio import RecheckEvidence
from coupons.answering.compare.recheck_series import CAUSES
from coupons.answering.compare.still import JointStill, StillGood
from coupons.answering.words.still import (
    joints_sentence,
    limits_sentence,
    moved_words,
    still_data,
    still_lines,
    still_sentences,
    todo_sentence,
    verdict_sentence,
    when_words,
)
from coupons.learning.effects import EFFECTS, effect_row

FULL = known_profile(printed_on=date(2026, 1, 5), runs=3)
DATES = (date(2026, 2, 5), date(2026, 3, 5))
DRAWER = JointStill("drawer", 0.34, 0.81, 0.62, 0.36, 0.66)
LID = JointStill("lid", -0.1, 0.9, 0.005, 0.02, 0.995)


def evidence(**changes):
    fields = {
        "value": 1000.0,
        "path": (2.0, 1000.0),
        "cause": "extrusion",
        "cause_share": 0.83,
        "since": 1,
        "shift": 0.0612,
        "sd": 0.0094,
        "detectable_sds": {},
        "mean": np.zeros(1),
        "covariance": np.zeros((1, 1)),
    }
    return RecheckEvidence(**(fields | changes))


def held(value=1000.0, **changes):
    fields = {
        "base": FULL,
        "dates": DATES,
        "evidence": evidence(value=value),
        "joints": (DRAWER, LID),
        "unanswered": (),
        "detectable_mm": 0.124,
    }
    return StillGood(**(fields | changes))


YES, WATCH, NO = 0.5, 4.0, 1000.0  # no more likely that it changed; a little; far more


@pytest.mark.parametrize(
    ("cause", "shift", "sd", "says"),
    [
        ("extrusion", 0.0612, 0.0094, "all faces moved 0.061 ± 0.009 mm out of the material"),
        ("extrusion", -0.0612, 0.0094, "all faces moved 0.061 ± 0.009 mm into the material"),
        ("scale_x", -0.00402, 0.0011, "sizes along x: 0.40 ± 0.11 % shorter"),
        ("skew", 0.006, 0.00123, "squareness: 0.60 ± 0.12 % longer along x+y"),
        ("round_int", 0.054, 0.01, "holes beside slots: 0.054 ± 0.010 mm a face smaller"),
        ("growth_ext", -0.1, 0.02, "outer sizes: 0.100 ± 0.020 mm a face smaller"),
        ("growth_int", 0.1, 0.02, "openings: 0.100 ± 0.020 mm a face smaller"),
        ("growth_int_z", 0.1, 0.02, "openings along z: 0.100 ± 0.020 mm a face lower"),
        ("bed_height", -0.1, 0.02, "heights above the bed: 0.100 ± 0.020 mm lower"),
        (
            "lost_motion",
            0.1,
            0.02,
            "sizes along x: 0.100 ± 0.020 mm larger, and along y smaller",
        ),
    ],
)
def test_what_moved_is_told_in_its_unit(cause, shift, sd, says):
    found = held(evidence=evidence(cause=cause, shift=shift, sd=sd))
    assert moved_words(found) == says


def test_every_cause_has_words_for_either_way():
    """They agree with what the model makes of a size: a slot, a hole or a height that grew."""
    for name in CAUSES:
        ways = [moved_words(held(evidence=evidence(cause=name, shift=s))) for s in (0.1, -0.1)]
        assert ways[0] != ways[1]


@pytest.mark.parametrize(
    ("cause", "form", "direction"),
    [
        ("scale_x", "tongue", "x"),
        ("scale_z", "slot", "z"),
        ("skew", "tongue", "x+y"),
        ("lost_motion", "tongue", "x"),
        ("growth_ext", "tongue", "x"),
        ("growth_int", "slot", "x"),
        ("round_ext", "pin", "z"),
        ("round_int", "hole", "z"),
        ("curl_int", "hole", "z"),
        ("growth_ext_z", "tongue", "z"),
        ("growth_int_z", "slot", "z"),
    ],
)
def test_the_way_in_words_is_that_of_the_size(cause, form, direction):
    at = EFFECTS.index(cause)
    grows = effect_row(feature("A1", form, direction, 6.0))[at] > 0
    told = moved_words(held(evidence=evidence(cause=cause, shift=0.1)))
    words = ("larger", "longer", "higher") if grows else ("smaller", "shorter", "lower")
    assert any(word in told for word in words)


@pytest.mark.parametrize(
    ("since", "dates", "says"),
    [
        (None, DATES, "a little with each re-check"),
        (1, DATES, "from the re-check of 2026-03-05 on"),
        (0, DATES, "from the re-check of 2026-02-05 on"),
        (1, (None, None), "from re-check 2 on"),
    ],
)
def test_since_when_is_told_as_far_as_it_is_known(since, dates, says):
    assert when_words(held(evidence=evidence(since=since), dates=dates)) == says


@pytest.mark.parametrize(
    ("value", "says"),
    [
        (YES, "YES: bench-1, grey is still as its profile of 2026-01-05 says, by 2 re-checks."),
        (
            WATCH,
            "WATCH: bench-1, grey may no longer be as its profile of 2026-01-05 says, by 2 "
            "re-checks.",
        ),
        (NO, "NO: bench-1, grey is no longer as its profile of 2026-01-05 says, by 2 re-checks."),
    ],
)
def test_the_verdict_is_one_sentence(value, says):
    assert verdict_sentence(held(value)) == says
    once = held(value, dates=DATES[:1], base=known_profile())
    assert verdict_sentence(once) == says.replace(" of 2026-01-05", "").replace(
        "2 re-checks", "1 re-check"
    )


def test_what_to_do_follows_from_the_verdict_and_the_cause():
    assert todo_sentence(held(YES)).startswith("No change was found, but all prints together")
    works = held(YES, joints=(DRAWER,))
    assert todo_sentence(works) == (
        "Go on drawing with this profile, and print the next re-check in a month."
    )
    assert todo_sentence(held(WATCH)) == (
        "Print the re-check once more before parts that matter: a single odd print looks like a "
        "changed machine."
    )
    skewed = held(evidence=evidence(cause="skew"))
    again = todo_sentence(held(evidence=evidence(cause="bed_height_of_none")))
    assert again.startswith("Print the full coupon again (")
    assert todo_sentence(skewed) == f"Look at the squareness of the frame. {again}"


@pytest.mark.parametrize(
    ("coupons", "says"),
    [
        (
            ("starter",) * 3,
            "Print the full coupon again (`coupons make starter --jobs 3 -o NEW --machine bench-1 "
            "--material grey`), fit its 3 jobs together and draw with that profile; one job alone "
            "says too little and counts as one more re-check.",
        ),
        (
            ("first",),
            "Print the full coupon again (`coupons make first -o NEW --machine bench-1 --material "
            "grey`) and draw with its profile.",
        ),
        (
            ("first", "hinge"),
            "Print the full coupon again (first, hinge) and draw with its profile.",
        ),
    ],
)
def test_the_coupon_to_print_again_is_the_one_of_the_profile(coupons, says):
    base = known_profile(coupons=coupons, runs=len(coupons))
    assert says in todo_sentence(held(base=base))


def test_a_name_that_a_shell_would_read_otherwise_is_quoted():
    base = known_profile(machine="bench 1; ls", coupons=("first",))
    assert "--machine 'bench 1; ls'" in todo_sentence(held(base=base))


@pytest.mark.parametrize(
    ("since", "runs", "says"),
    [
        (0, ("m/02", "m/03"), "draw with the prints since the change: `coupons fit m/02 m/03 -o"),
        (
            1,
            ("m/02", "m/03"),
            "print one more re-check, and draw with what both say: `coupons fit m/03 NEW-RUN -o",
        ),
        (1, ("", ""), "`coupons fit RUN NEW-RUN -o since.json`."),
        (None, ("a b", ""), "since the change: `coupons fit 'a b' RUN -o since.json`."),
    ],
)
def test_until_the_new_profile_the_prints_since_the_change_are_named(since, runs, says):
    assert says in todo_sentence(held(evidence=evidence(since=since), runs=runs))


def test_the_likeliest_change_is_told_where_something_changed():
    change = (
        "Likeliest of the changes weighed (83 %): all faces moved 0.061 ± 0.009 mm out of the "
        "material, from the re-check of 2026-03-05 on."
    )
    for value, is_told in ((YES, False), (WATCH, True), (NO, True)):
        lines = plain(list(still_sentences(held(value))))
        assert (change in lines) is is_told
        assert len(lines) == 2 + is_told
        assert lines[-1] == f"What to do: {todo_sentence(held(value))}"
    rehearsed = held(base=known_profile(rehearsed=True))
    assert next(still_sentences(rehearsed)).startswith("REHEARSED")


def test_which_change_would_have_been_found_is_told():
    found = (
        "A change of all gaps by 0.12 mm that came with the last re-check would be found by it "
        "with 80 % power; a smaller one by later ones."
    )
    assert plain(limits_sentence(held())) == found
    one = plain(limits_sentence(held(base=known_profile(runs=1))))
    assert one.startswith(found)
    assert one.endswith("after one print little can be told from how far prints differ.")
    nothing = limits_sentence(held(detectable_mm=None))
    assert nothing.startswith("These re-checks say nothing of gaps")


def test_the_table_has_then_and_now():
    head, drawer, lid = plain(list(still_lines(held())))
    assert head.split() == "joint as drawn gap, mm then now best now drawing".split()
    assert drawer.split() == "drawer 0.34 81 % 62 % 0.36 66 % works".split()
    assert lid.split() == "lid −0.10 90 % <1 % 0.02 >99 % REDRAW".split()
    assert len(head) == len(drawer) == len(lid) == 80
    assert list(still_lines(held(joints=()))) == []


def test_the_table_is_summed_up():
    assert joints_sentence(held()) == "1 of 2 joints drawn by the full profile still work."
    left = held(unanswered=("stop", "screw"), joints=(DRAWER, DRAWER))
    assert joints_sentence(left) == (
        "2 of 2 joints drawn by the full profile still work. Left out, as not measured or without "
        "a fit: stop, screw."
    )


def test_the_same_stands_in_the_data():
    found = held(unanswered=("stop",), dates=(None, DATES[1]))
    data = still_data(found)
    drawer, lid = data.pop("joints")
    assert drawer == {
        "name": "drawer",
        "gap_mm": 0.34,
        "chance_then": 0.81,
        "chance": 0.62,
        "best_gap_mm": 0.36,
        "best_chance": 0.66,
        "verdict": "works",
    }
    assert lid["verdict"] == "REDRAW"
    assert 1 < data.pop("watch_from") < data.pop("no_from")
    assert data == {
        "still": "no",
        "evidence": 1000.0,
        "evidence_path": [2.0, 1000.0],
        "printed_on": [None, "2026-03-05"],
        "cause": "extrusion",
        "cause_share": 0.83,
        "since": "2026-03-05",
        "steady": False,
        "shift": 0.0612,
        "shift_sd": 0.0094,
        "shift_unit": "mm a face",
        "detectable_gap_mm": 0.124,
        "unanswered": ["stop"],
    }
    steady = still_data(held(evidence=evidence(since=None, cause="skew")))
    assert (steady["since"], steady["steady"], steady["shift_unit"]) == (None, True, "ratio")


@pytest.mark.parametrize(
    ("chance", "verdict"), [(0.62, "works"), (0.5, "works"), (0.49, "no worse")]
)
def test_a_drawing_works_from_an_even_chance_on(chance, verdict):
    assert str(replace(DRAWER, chance=chance, best_chance=chance + 0.05).verdict) == verdict
