"""What is said of two profiles side by side, of changes written down by hand."""

from datetime import date

import pytest
from support.known_profile import known_profile
from support.written_answers import SLIDE, X, plain, written

from coupons.answering.compare.before_after import (
    BeforeAfter,
    CauseChange,
    CauseOutcome,
    ConditionChange,
)
from coupons.answering.compare.drift import Chart, Signal
from coupons.answering.compare.effect_changes import TermChange
from coupons.answering.compare.side_by_side import RULE, AnswerChange, Drift
from coupons.answering.words.before_after import (
    before_after_lines,
    cause_data,
    cause_lines,
    cause_notes,
)
from coupons.answering.words.comparison import (
    as_data,
    compare_lines,
    compare_notes,
    drift_lines,
    heading,
    is_same,
    term_lines,
    term_note,
)
from coupons.learning.profile import MeasuredRange
from coupons.terms import Form


def change(name, before_mm, after_mm, kept=None, sd_mm=0.05, best=0.8, **of_after):
    return AnswerChange(
        name,
        SLIDE,
        written(best_gap_mm=before_mm),
        written(best_gap_mm=after_mm, chance=best, **of_after),
        change_mm=after_mm - before_mm,
        sd_mm=sd_mm,
        kept_chance=kept,
    )


# Two sds of the change are 0.1 mm: 0.05 is none, 0.2 is one.
KEPT = change("drawer", 0.3, 0.35, 0.78)
MOVED = change("lid", 0.3, 0.5, 0.2)
UNCLEAR = change("rail", 0.3, 0.35, 0.6)
RARE = change("cover", 0.3, 0.35, 0.4, best=0.45)
GAP = change("stop", -0.126, -0.084)
ONE_SIDED = AnswerChange("shelf", SLIDE, None, written(best_gap_mm=0.24))


def test_a_recheck_is_sent_to_still():
    full = known_profile(printed_on=date(2026, 1, 5))
    few = full.counts.model_copy(update={"trials": 12, "readings": 20})
    check = full.model_copy(update={"counts": few, "printed_on": date(2026, 2, 5)})
    told = "B is a re-check of A: use `coupons still`, which weighs all re-checks."
    assert heading([full, check])[-1] == told
    other = check.model_copy(update={"machine": "bench-2"})
    for pair in ([full, full], [check, full], [full, other]):
        assert told not in heading(pair)


def test_gaps_and_their_change_stand_in_columns():
    found = plain(list(compare_lines([KEPT, MOVED, UNCLEAR, RARE, GAP, ONE_SIDED])))
    assert all(len(line) == 80 for line in found)
    assert [" ".join(line.split()) for line in found] == [
        "best gap, mm A B change A's drawing on B",
        "drawer 0.30 0.35 +0.05 ±0.10 works 78 %",
        "lid 0.30 0.50 +0.20 ±0.10 ! REDRAW 20 %",
        "rail 0.30 0.35 +0.05 ±0.10 unclear 60 %",
        "cover 0.30 0.35 +0.05 ±0.10 no worse 40 %",
        # Of the rounded gaps, −0.13 and −0.08.
        "stop −0.13 −0.08 +0.05 ±0.10 works",
        "shelf — 0.24 — not measured",
    ]


def test_the_table_is_summed_up():
    rule = plain(RULE)
    sums = plain(compare_notes([KEPT, MOVED, UNCLEAR, RARE, ONE_SIDED]))
    fit_both = (
        "rail: lower chance on B, but the answer did not change: fit both runs together (`coupons "
        "fit RUN RUN`) and use that profile; redrawing for B alone gains nothing."
    )
    assert sums == [
        "1 of 4 answers changed by more than the combined uncertainty (!).",
        "1 of 4 joints drawn for A still work on B; 1 more have less than 50 % chance, but "
        "redrawing would hardly help.",
        fit_both,
        # 2.8 sds of 0.05 mm.
        "A change of 0.14 mm would be detected with 80 % power.",
        rule,
    ]
    other = plain(compare_notes([UNCLEAR], same=False))
    assert other[2] == (
        "rail: lower chance on B, but the answer did not change: print once more on B before you "
        "redraw."
    )
    few = plain(compare_notes([KEPT, change("lid", 0.3, 0.31, 0.8, sd_mm=0.1)]))
    assert few[1:] == [
        "2 of 2 joints drawn for A still work on B.",
        "A change of 0.14 to 0.28 mm, depending on the answer, would be detected with 80 % power.",
        rule,
    ]
    assert compare_notes([ONE_SIDED]) == [
        "No question has an answer from both: only the fitted effects are compared."
    ]


def test_what_is_extrapolated_is_told_of_the_profile_it_is_true_of():
    slots = MeasuredRange(form=Form.SLOT, direction=X, low_mm=4, high_mm=10)
    both = (slots, slots.model_copy(update={"form": Form.TONGUE}))
    far = change("drawer", 0.3, 0.35, 0.78, extrapolated=True, measured=both)
    (line,) = [line for line in compare_notes([far]) if "EXTRAPOLATED" in line]
    assert line.startswith("drawer: on B EXTRAPOLATED: 12 mm is outside the measured sizes;")
    assert as_data([far], [])["answers"][0]["extrapolated"] == ["after"]
    half = change("drawer", 0.3, 0.35, 0.78, extrapolated=True, measured=(slots,))
    (line,) = [line for line in compare_notes([half]) if "EXTRAPOLATED" in line]
    assert "no tongues across x were measured" in line


def profile(day=None, **changes):
    return known_profile(printed_on=day and date(2026, 3, day), **changes)


def test_two_profiles_are_headed_by_what_they_are():
    white = profile(2, machine="attic-1", material="white")
    assert heading([profile(1), white]) == [
        "A: bench-1, grey, printed 2026-03-01",
        "B: attic-1, white, printed 2026-03-02",
    ]
    assert heading([profile(), profile(2)])[0] == "A: bench-1, grey"
    later = heading([profile(3), profile(), profile(2)])
    assert later[2] == (
        "Not in order of date (2026-03-03, 2026-03-02): put the older profile first."
    )
    assert len(heading([profile(2), profile(2)])) == 2
    assert heading([profile(1), profile(2, rehearsed=True)])[0].startswith("REHEARSED")
    old = heading([profile(1).model_copy(update={"version": 2}), profile(1)])
    assert old[1].startswith("A is ")
    assert old[2].startswith("B: ")
    assert is_same([profile(1), profile(2)])
    assert not is_same([profile(1), white])
    assert not is_same([profile(1), profile(1, material="white")])


SCALE = TermChange("scale_x", -0.004, -0.002, 0.0005)
GROWN = TermChange("growth_ext", 0.04, 0.05, 0.01)


def test_effects_are_told_in_their_units():
    head, scale, grown = plain(list(term_lines([SCALE, GROWN], every=True)))
    assert head.split() == "effect A B change detectable".split()
    # Two sds: 0.098 %; 2.8 sds: 0.14 %.
    assert scale.split() == "scale along x, % −0.40 −0.20 +0.20 ±0.10 ! 0.14".split()
    assert grown.split() == "outer faces, mm a face 0.04 0.05 +0.01 ±0.02 0.03".split()
    assert len(list(term_lines([SCALE, GROWN], every=False))) == 2
    assert list(term_lines([GROWN], every=False)) == []
    # One in twenty by chance: 0.1 of two.
    assert term_note([SCALE, GROWN]) == (
        "1 of 2 effects of the printer changed by more than the combined uncertainty (!); 0.1 "
        "expected by chance."
    )
    assert term_note([GROWN] * 30).endswith("(!); 1.5 expected by chance.")
    assert term_note([]) == "The two profiles have no fitted effect in common."


QUIET = Chart((0.3, -0.32), (0.02, 0.03), 0.31, 1.96, 0.111, 0.084, None)
LOUD = Chart((0.3, 0.5), (0.02, 0.03), 0.4, 2.25, 0.111, 0.084, Signal(1, "from run 2 on", 4.21))


def test_a_chart_is_told_with_its_signal_and_what_it_could_find():
    lines = plain(list(drift_lines([Drift("drawer", QUIET), Drift("lid", LOUD)])))
    finds = "detectable with 80 % power: a step of 0.11 mm halfway, or of 0.08 mm at the last run"
    assert lines[:4] == [
        "drawer: 0.30 ±0.02, −0.32 ±0.03",
        f"  no signal (limit 2.0); {finds}",
        "lid: 0.30 ±0.02, 0.50 ±0.03",
        f"  SIGNAL: from run 2 on, 4.2 standard deviations (limit 2.2); {finds}",
    ]
    assert len(lines) == 5


def test_a_comparison_stands_in_the_data():
    data = as_data([MOVED, KEPT, ONE_SIDED], [Drift("a", QUIET), Drift("b", LOUD)], [SCALE, GROWN])
    scale, grown = data["terms"]
    assert scale == {
        "name": "scale_x",
        "unit": "ratio",
        "before": -0.004,
        "after": -0.002,
        "change": pytest.approx(0.002),
        "sd": 0.0005,
        "changed": True,
        "detectable": pytest.approx(0.0014),
    }
    assert (grown["unit"], grown["changed"]) == ("mm a face", False)
    moved, kept, one = data["answers"]
    assert moved == {
        "name": "lid",
        "before_mm": 0.3,
        "after_mm": 0.5,
        "change_mm": pytest.approx(0.2),
        "sd_mm": 0.05,
        "changed": True,
        "detectable_mm": pytest.approx(0.14),
        "kept_chance": 0.2,
        "best_chance": 0.8,
        "still_works": False,
        "verdict": "REDRAW",
        "extrapolated": [],
    }
    assert (kept["still_works"], kept["verdict"]) == (True, "works")
    assert (one["before_mm"], one["after_mm"], one["verdict"]) == (None, 0.24, None)
    quiet, loud = data["drift"]
    assert quiet == {
        "name": "a",
        "values_mm": [0.3, -0.32],
        "sds_mm": [0.02, 0.03],
        "center_mm": 0.31,
        "limit_sds": 1.96,
        "detectable_middle_mm": 0.111,
        "detectable_last_mm": 0.084,
        "signal": None,
    }
    # Runs are counted from 1 by people.
    assert loud["signal"] == {"run": 2, "why": "from run 2 on", "sds": 4.21}


CURED = CauseChange(
    "growth_ext", "mm a face", 0.1, 0.008, -0.001, 0.009, -8.4, 0.03, CauseOutcome.CURED
)
WORSE = CauseChange(
    "scale_x", "ratio", -0.001, 0.0004, -0.006, 0.0005, -7.1, 0.002, CauseOutcome.WORSE
)
SAME = CauseChange("tau", "mm", 0.03, 0.004, 0.028, 0.003, -0.4, 0.01, CauseOutcome.UNCHANGED)
CAUSES = BeforeAfter(
    (CURED, WORSE, SAME),
    ("scale_z",),
    ("skew", "lost_motion"),
    (ConditionChange("nozzle", "0.4 mm", "0.6 mm"), ConditionChange("flow", "100 %", "96 %")),
)


def test_causes_before_and_after_stand_in_columns():
    lines = list(cause_lines(CAUSES, every=True))
    assert [len(line) for line in lines] == [80] * 4
    head, cured, worse, same = (" ".join(line.split()) for line in lines)
    assert head == "cause before after is"
    assert cured == "outer faces, mm a face +0.100 ± 0.008 → −0.001 ± 0.009 cured"
    assert worse == "scale along x, % −0.10 ± 0.04 → −0.60 ± 0.05 worse"
    assert same.endswith(", mm 0.030 ± 0.004 → 0.028 ± 0.003 unchanged"), "a scatter has no sign"
    assert len(list(cause_lines(CAUSES))) == 3
    assert list(cause_lines(BeforeAfter((SAME,), (), (), ()))) == []


def test_causes_are_summed_up():
    found = list(cause_notes(CAUSES))
    assert found[:3] == [
        "Of 3 causes of error: 1 cured, 1 unchanged, 1 worse.",
        "Changed conditions: nozzle 0.4 mm → 0.6 mm; flow 100 % → 96 %.",
        "Measured before only: scale along z.",
    ]
    assert found[3].startswith("Measured after only: squareness, ")
    assert list(cause_notes(BeforeAfter((SAME,), (), (), ()))) == [
        "Of 1 cause of error: 1 unchanged."
    ]
    none = BeforeAfter((), ("skew",), (), ())
    assert list(cause_notes(none)) == ["No cause of error was measured both before and after."]
    text = "\n".join(before_after_lines(CAUSES))
    assert max(map(len, text.splitlines())) <= 80
    assert "± is one standard deviation." in text
    assert "standard deviation" not in "\n".join(before_after_lines(none))
    assert len(list(before_after_lines(CAUSES, every=True))) == len(text.splitlines()) + 1


def test_causes_stand_in_the_data():
    data = cause_data(CAUSES)
    assert data["causes"][0] == {
        "name": "growth_ext",
        "unit": "mm a face",
        "before": 0.1,
        "before_sd": 0.008,
        "after": -0.001,
        "after_sd": 0.009,
        "change_sds": -8.4,
        "detectable": 0.03,
        "outcome": "cured",
    }
    assert data["conditions"][1] == {"name": "flow", "before": "100 %", "after": "96 %"}
    assert data["measured_before_only"] == ["scale_z"]
    assert data["measured_after_only"] == ["skew", "lost_motion"]


def test_a_gap_in_mm_works_until_its_answer_moves():
    assert str(GAP.verdict) == "works"
    assert str(change("stop", 0.1, 0.3).verdict) == "REDRAW"
