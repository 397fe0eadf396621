"""Numbers, columns, strains, pieces and the bench in words, each off plain figures."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from support.written_answers import TODAY, plain, written

from coupons.answering.chances.drawing import FaceMove
from coupons.answering.chances.pieces import Choices, Piece
from coupons.answering.next.guide import Known
from coupons.answering.strength.asked import Clip
from coupons.answering.strength.press import FitStrain
from coupons.answering.strength.press_and_clip import (
    CORE_CAUTIONS,
    PRESS_CAUTIONS,
    SNAP_CAUTIONS,
    PressCheck,
    SnapCheck,
)
from coupons.answering.words import bench as bench_words
from coupons.answering.words.bench import brings_words, end_lines, known_lines, prompt_for
from coupons.answering.words.choices import as_data, choices_data, details, headline, in_turn
from coupons.answering.words.columns import cell, columns
from coupons.answering.words.listed_bodies import number
from coupons.answering.words.numbers import (
    chance,
    chances,
    counted,
    minus,
    named,
    percent,
    signed,
    whole_percents,
)
from coupons.answering.words.strength import (
    clip_data,
    clip_sentences,
    press_data,
    press_sentences,
    strain_sentences,
)
from coupons.making.record import CouponTrial
from coupons.measuring.run.entries import SizeEntry
from coupons.terms import Form


@pytest.mark.parametrize(
    ("mm", "text"),
    [(0.0004, "0.00"), (-0.0004, "0.00"), (0.0006, "+0.001"), (-1.5, "−1.50"), (0.12, "+0.12")],
)
def test_an_offset_has_a_sign_and_a_third_decimal_where_it_needs_one(mm, text):
    assert signed(mm) == text


@pytest.mark.parametrize(
    ("p", "text"),
    [
        (1.0, "over 99 %"),
        (0.9901, "over 99 %"),
        (0.99, "99 %"),
        (0.5, "50 %"),
        (0.01, "1 %"),
        (0.0099, "under 1 %"),
        (0.0, "under 1 %"),
    ],
)
def test_a_chance_claims_neither_certainty(p, text):
    assert plain(chance(p)) == text


def test_chances_beside_the_first_share_what_it_leaves():
    assert plain(list(chances(0.98, 0.01, 0.01))) == ["98 %", "1 %", "1 %"]
    assert plain(list(chances(0.0, 0.99, 0.01))) == ["under 1 %", "99 %", "1 %"]
    assert plain(list(chances(0.7, 0.295, 0.005))) == ["70 %", "30 %", "under 1 %"]
    # Of 33.4, 33.3 and 33.3 the one that is cut most is rounded up.
    assert whole_percents([0.334, 0.333, 0.333]) == (34, 33, 33)
    assert whole_percents([0.29, 0.71]) == (29, 71), "28.999… is 29"
    assert whole_percents([0.126, 0.127, 0.747], 50) == (12, 12, 74), "nothing is taken away"
    assert whole_percents([0.2, 0.3], 51) == (21, 30)


def test_percents_and_counts_and_lengths():
    assert plain(percent(0.1234)) == "12 %"
    assert plain(percent(0.1234, 1)) == "12.3 %"
    assert counted(2, "notch", "notches") == "2 notches"
    assert minus(-0.126) == "−0.13"
    assert minus(0.126) == "0.13"
    assert [number(mm) for mm in (None, 12.0, 11.66, 11.66666, -0.17)] == [
        "",
        "12",
        "11.66",
        "11.6667",
        "-0.17",
    ]
    assert number(100.0) == "100"


def test_many_things_are_counted_beyond_eight():
    assert named("abcdefgh") == "a, b, c, d, e, f, g, h"
    assert named("abcdefghi") == "a, b, c, d, e, f, g, h and 1 more"


def test_a_cell_is_filled_or_cut_to_its_width():
    assert [columns(text) for text in ("ab", "日本", "e\u0301", "ＡＢ", "")] == [2, 4, 1, 4, 0]
    assert cell("abcd", 4) == "abcd"
    assert cell("abcde", 4) == "abc…"
    assert cell("日本語", 4) == "日… "
    assert cell("日本", 4) == "日本"
    assert cell("日本", 6, right=True) == "  日本"
    assert cell("abcde", 4, right=True) == "abc…"


PRESS = PressCheck(0.0125, 0.02, 0.2399, 3.14159, 12.345, True)
CLIP = Clip(SnapCheck(0.015, 0.02, 1.2399, True), 4.5678, 3.4567)


def test_a_press_fit_is_told_with_what_it_may_have():
    assert plain(press_sentences(PRESS)) == [
        "Strain of the ring if the pin is rigid: 1.25 %; limit 2.00 %: within the limit.",
        "Largest interference within the limit: 0.23 mm over the diameter.",
        "Contact pressure: 3.14 MPa. Largest tensile stress, at the bore of the ring: 12.3 MPa.",
        *(f"Caution: {line}" for line in PRESS_CAUTIONS),
    ]
    beyond = plain(press_sentences(replace(PRESS, within_limit=False)))[0]
    assert beyond.endswith(
        "BEYOND THE LIMIT: use less interference or a material with a higher limit."
    )
    exact = press_sentences(replace(PRESS, interference_limit_mm=0.29))[1]
    assert "0.29 mm" in exact, "28.999… hundredths are 29"
    assert press_data(PRESS) == {
        "strain": 0.0125,
        "strain_limit": 0.02,
        "within_limit": True,
        "interference_limit_mm": 0.2399,
        "pressure_mpa": 3.14159,
        "ring_stress_mpa": 12.345,
        "words": press_sentences(PRESS),
    }


def test_a_clip_is_told_with_its_forces_where_they_are_known():
    strain = "Strain of the clip at its root: 1.50 %; limit 2.00 %: "
    largest = "Largest deflection within the limit: 1.23 mm."
    cautions = [f"Caution: {line}" for line in SNAP_CAUTIONS]
    assert plain(clip_sentences(CLIP)) == [
        f"{strain}within the limit.",
        largest,
        "Force to bend the tip: 4.57 N; force to push it in: 3.46 N.",
        *cautions,
    ]
    bent = plain(clip_sentences(replace(CLIP, push_n=None)))
    assert bent[2] == "Force to bend the tip: 4.57 N."
    none = Clip(replace(CLIP.check, within_limit=False), None, None)
    assert plain(clip_sentences(none)) == [
        f"{strain}BEYOND THE LIMIT: make it longer or thinner, or bend it less.",
        largest,
        *cautions,
    ]
    assert clip_data(CLIP) == {
        "strain": 0.015,
        "strain_limit": 0.02,
        "within_limit": True,
        "deflection_limit_mm": 1.2399,
        "bending_force_n": 4.5678,
        "push_force_n": 3.4567,
        "words": clip_sentences(CLIP),
    }


@pytest.mark.parametrize(
    ("form", "expected", "tight", "says"),
    [
        (Form.HOLE, 0.01, 0.02, "within the limit in both cases."),
        (Form.HOLE, 0.01, 0.0201, "within the limit as expected, beyond it in a tight print."),
        (Form.HOLE, 0.02, 0.03, "within the limit as expected, beyond it in a tight print."),
        (
            Form.HOLE,
            0.0201,
            0.03,
            "BEYOND THE LIMIT: use a looser fit or a stronger ring.",
        ),
        (Form.PIN, 0.0201, 0.03, "BEYOND THE LIMIT: use a looser fit."),
    ],
)
def test_a_strain_is_held_against_its_limit_twice(form, expected, tight, says):
    first, *others = plain(strain_sentences(FitStrain(form, expected, tight, 0.02)))
    part = "ring around the pin" if form is Form.HOLE else "pin"
    assert first == (
        f"Strain of the printed {part}: {100 * expected:.2f} % expected, {100 * tight:.2f} % or "
        f"more in one print of twenty; limit 2.00 %: {says}"
    )
    cautions = PRESS_CAUTIONS if form is Form.HOLE else CORE_CAUTIONS
    assert others == [f"Caution: {line}" for line in cautions]


PIECES = Choices(
    (
        Piece(1, 0.3, (FaceMove(Form.TONGUE, -0.15, 2, 11.7),), 0.6),
        Piece(2, 0.4, (FaceMove(Form.TONGUE, -0.2, 2, 11.6),), 0.7),
        Piece(3, 0.5, (FaceMove(Form.TONGUE, -0.25, 2, 11.5),), 0.5),
    ),
    chance=0.92,
    error=0.001,
    all_too_tight=0.04,
    all_too_loose=0.025,
    least_step_mm=0.1,
    from_one_print=True,
)


def test_pieces_to_choose_from_are_told_in_turn():
    found = written(choices=PIECES)
    said = plain(headline(found, TODAY))
    moved = "notch{}: move each face of the 12 mm tongue −{} mm, into the material (material "
    assert said == [
        "Print 3 tongues, marked by notches, and keep one that slides; the slot stays 12.00 mm.",
        "1 " + moved.format("", "0.15") + "removed): draw the tongue 11.70 mm.",
        "2 " + moved.format("es", "0.20") + "removed): draw the tongue 11.60 mm.",
        "3 " + moved.format("es", "0.25") + "removed): draw the tongue 11.50 mm.",
        "At least one slides with 92 % chance (all too tight 4 %, all too loose 3 %, some of each "
        "1 %). The best single one, 11.66 mm, slides with 81 %.",
    ]
    lines = plain(details(found, TODAY))
    assert lines[0].startswith("Cut the notches")
    assert lines[1:3] == [
        "The drawn gaps are 0.30, 0.40 and 0.50 mm over both sides.",
        "Neighbours differ by at least 0.10 mm: a hand can hardly tell less.",
    ]
    layered = plain(details(replace(found, layer_mm=0.1), TODAY))
    assert "Neighbours differ by whole layers, at least 0.10 mm." in layered
    assert in_turn(["a", "b"]) == "a and b"


@pytest.mark.parametrize(("p", "rests"), [(0.8, False), (0.801, True)])
def test_the_chance_of_pieces_rests_on_practice_above_four_fifths(p, rests):
    found = written(choices=replace(PIECES, chance=p))
    assert any("rests on common practice" in line for line in details(found, TODAY)) is rests


def test_pieces_stand_in_the_data():
    found = written(choices=PIECES)
    data = as_data(found, TODAY)["choices"]
    assert data == choices_data(PIECES)
    second = data.pop("pieces")[1]
    assert second.pop("moves")[0]["drawn_mm"] == 11.6
    assert second == {"notches": 2, "gap_mm": 0.4, "chance": 0.7}
    assert data == {
        "chance": 0.92,
        "error": 0.001,
        "all_too_tight": 0.04,
        "all_too_loose": 0.025,
        "least_step_mm": 0.1,
    }
    assert as_data(found, TODAY)["words"] == [*headline(found, TODAY), *details(found, TODAY)]
    assert as_data(written(), TODAY)["choices"] is None


TRIAL = object.__new__(CouponTrial)


def a_bench(entries=(), done=(), rows=(), share=0.1, n=3, **changes):
    fields = {
        "tasks": (TRIAL, *["reading"] * (n - 1)),
        "done": done,
        "sheet": SimpleNamespace(entries=entries, rows=rows, path="run/entries.csv"),
        "guide": None,
        "now": None,
        "choice": "all",
        "brings": lambda: share,
    }
    return SimpleNamespace(**(fields | changes))


def test_a_task_asks_for_a_grade_or_a_number():
    assert prompt_for(a_bench(), 0) == "  grade"
    assert prompt_for(a_bench(), 1) == "  reading, mm"


def test_what_is_known_at_the_bench_is_told_of_what_is_wanted(monkeypatch):
    want = SimpleNamespace
    wants = (want(name="drawer", grade="slide"), want(name="lid", grade=None), want(name="rail"))
    guide = SimpleNamespace(wants=wants, weights=lambda _: np.array([1.0, 1.0, 0.0]))
    found = Known(np.array([0.31, 8.126, 1]), np.array([0.12, 0.054, 1]), np.array([0.6, 0, 1]))
    monkeypatch.setattr(bench_words, "known", lambda *_: found)
    assert known_lines(a_bench(guide=guide, now="now")) == [
        f"  {'drawer':<42}  0.31 ± 0.12 mm, slide with 60 %",
        f"  {'lid':<42}  8.13 ± 0.05 mm",
        "  Provisional: the answer is what `coupons fit` says.",
    ]
    assert known_lines(a_bench(guide=guide)) == []
    assert known_lines(a_bench(now="now")) == []


@pytest.mark.parametrize(
    ("share", "entries", "says"),
    [
        (None, ("one",), ""),
        (0.12, ("one",), "5 more entries would narrow the gaps by 12 %."),
        (0.03, ("one",), "5 more entries would narrow the gaps by 3 %."),
        (0.02, (), "5 more entries would narrow the gaps by 2 %."),
        (
            0.02,
            ("one",),
            "Enough: 5 more entries would narrow the gaps by 2 %, less than 3 %. Type quit to stop "
            "here.",
        ),
    ],
)
def test_it_is_enough_where_more_would_bring_little(share, entries, says):
    assert brings_words(a_bench(entries, share=share)) == says


NEXT = "Next: coupons check run, then coupons fit run"
ZERO = "Close the jaws and type what the caliper shows into the row of kind zero."


@pytest.mark.parametrize(
    ("entries", "done", "added", "lines"),
    [
        (
            (),
            (),
            0,
            [
                "0 entries added to run/entries.csv",
                "Nothing is entered yet. Next: coupons try run",
            ],
        ),
        (
            ("fit",),
            (0,),
            1,
            [
                "1 entry added to run/entries.csv",
                "2 of 3 trials and readings are left; you may stop here.",
                NEXT,
            ],
        ),
        (
            ("fit",) * 3,
            (0, 1, 2),
            2,
            [
                "2 entries added to run/entries.csv",
                "All 3 trials and readings are done: nothing is left to try.",
                NEXT,
            ],
        ),
    ],
)
def test_a_session_ends_with_what_is_left_and_what_comes_next(entries, done, added, lines):
    assert end_lines(a_bench(entries, done), added, "run") == lines


@pytest.mark.parametrize(
    ("entry", "kind", "is_blank", "is_asked"),
    [
        (object.__new__(SizeEntry), "zero", True, True),
        (object.__new__(SizeEntry), "zero", False, False),
        (object.__new__(SizeEntry), "size", True, False),
        ("fit", "zero", True, False),
    ],
)
def test_the_closed_jaws_are_asked_for_once_something_was_read(entry, kind, is_blank, is_asked):
    rows = (SimpleNamespace(kind=kind, is_blank=is_blank),)
    assert (ZERO in end_lines(a_bench((entry,), (1,), rows), 1, "run")) is is_asked
