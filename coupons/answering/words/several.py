"""Answers about joints of several pairs of faces as sentences and as data."""

import math
from collections.abc import Iterator
from datetime import date

from coupons.answering.offset import Feel
from coupons.answering.origin import hands_sentence, origin_data, origin_sentence
from coupons.answering.several.drawn_pairs import PairDrawn, SeveralAnswer
from coupons.answering.several.kinds import AXES, TWO_SIZES, JointKind
from coupons.answering.ways import joint_way, written_across
from coupons.answering.words.answer_data import move_data
from coupons.answering.words.answers import (
    PRACTICE,
    SPLIT_CAUTION,
    VERBS,
    draw_sentence,
    hardware_sentence,
    marks,
    stays_words,
)
from coupons.answering.words.numbers import chance, chances, minus, percent
from coupons.terms import GRADES, Form, Grade


def several_sentences(answer: SeveralAnswer, today: date | None = None) -> list[str]:
    """Return the answer as sentences: the decision, then details."""
    return [*several_headline(answer, today), *several_details(answer, today)]


def several_headline(answer: SeveralAnswer, today: date | None = None) -> list[str]:
    """Return marks, what to draw for each pair, the chance, and what makes it doubtful."""
    lines = marks(answer.rehearsed, answer.origin, today)
    for pair in answer.pairs:
        which, drawn = _which(answer, pair), _bodies(answer, _drawn(pair))
        lines.append(f"{which}{drawn[0].lower()}{drawn[1:]}" if which else drawn)
    lines.append(_chance_sentence(answer))
    lines += _corner_sentences(answer)
    if answer.extrapolated:
        lines.append("EXTRAPOLATED: a size is outside those measured in its direction.")
    return lines


def several_details(answer: SeveralAnswer, today: date | None = None) -> list[str]:
    """Return the details of an answer, most important first."""
    asked, alone = answer.question, []
    for pair in answer.pairs:
        name = joint_way(pair.alone.question.joint)
        alone.append(f"{name} {chance(pair.alone.chance)}")
    what = "a hole" if asked.kind is JointKind.HOLES else "each pair"
    lines = [f"By itself {what} would fit at its own best gap with: {', '.join(alone)}."]
    gaps = " and ".join(f"{minus(pair.gap_mm)} mm" for pair in answer.pairs)
    lines.append(f"The drawn gap is {gaps} over both sides.")
    lines += [*_pitch_sentences(answer), *_leg_sentences(answer)]
    lines += [
        "NEVER TRIED BY HAND as a whole: trials are of single pairs. The tightest pair is taken to "
        "say how it goes together, the widest play how loose it is."
    ]
    if asked.two_prints and not answer.makers:
        lines.append("The two bodies come from two prints: how prints differ counts for each.")
    if answer.feel is not Feel.HAND:
        lines.append(f"The trials do not show this fit: {PRACTICE}.")
    if asked.hardware is not None:
        lines.append(hardware_sentence(asked.hardware))
    lines += filter(None, [hands_sentence(answer.origin)])
    lines.append(origin_sentence(answer.origin, today))
    lines += [
        f"The {_bodies(answer, form)}: {origin_sentence(origin, today)}"
        for form, origin in answer.makers
    ]
    if asked.fit in (Grade.FORCE, Grade.PUSH):
        lines.append(SPLIT_CAUTION)
    return lines


def _bodies(answer: SeveralAnswer, text: str) -> str:
    """Call the two bodies of each pair what they are called in the joint."""
    internal, external = answer.question.kind.bodies
    if answer.question.kind is JointKind.HOLES:
        return text
    internal = {"legs": "gap between the legs"}.get(internal, internal)
    return text.replace(Form.SLOT, internal).replace(Form.TONGUE, external)


def _which(answer: SeveralAnswer, pair: PairDrawn) -> str:
    asked = answer.question
    if asked.kind is JointKind.HOLES:
        return "Both holes and pins alike: " if asked.hardware is None else "Both holes alike: "
    if asked.kind in TWO_SIZES:
        way = joint_way(pair.alone.question.joint)
        return f"{way[0].upper()}{way[1:]}: "
    return ""


def _drawn(pair: PairDrawn) -> str:
    return draw_sentence(pair.moves, stays_words(pair.alone.question, pair.moves))


def _chance_sentence(answer: SeveralAnswer) -> str:
    asked, verb = answer.question, VERBS[answer.question.fit]
    if asked.at_least is not None and asked.fit is not GRADES[-1]:
        return (
            f"As a whole it {verb} or is looser with {chance(answer.chance)} chance (too tight "
            f"{chance(answer.too_tight)}{_sampling(answer)})."
        )
    alone, tight, loose = chances(answer.chance, answer.too_tight, answer.too_loose)
    missed = f"too tight {tight}" + ("" if asked.fit is Grade.LOOSE else f", too loose {loose}")
    return f"As a whole it {verb} with {alone} chance ({missed}{_sampling(answer)})."


def _sampling(answer: SeveralAnswer) -> str:
    """Give the sampling error, rounded up to a tenth of a percent as it covers what it must."""
    error = math.ceil(1000 * answer.sampling_error) / 1000
    return f"; sampling error {percent(error, 1)}" if error else ""


def _corner_sentences(answer: SeveralAnswer) -> list[str]:
    if answer.corner_mm is None or answer.rounded_chance is None:
        return []
    internal, external = answer.question.kind.bodies
    return [
        f"CORNERS MEET FIRST: round those of the {external} by at least {answer.corner_mm:.2f} mm "
        f"or cut those of the {internal} free; then the chance is {chance(answer.rounded_chance)}."
    ]


def several_warnings(answer: SeveralAnswer) -> list[str]:
    """Return short warnings that belong to the number."""
    lines = [f"{answer.question.kind}: NEVER TRIED BY HAND as a whole, only pair by pair."]
    lines += _corner_sentences(answer)
    if answer.extrapolated:
        lines.append("EXTRAPOLATED: a size is outside those measured in its direction.")
    legs = answer.legs
    if legs is not None:
        limit = "" if legs.limit is None else f" (limit {percent(legs.limit, 1)})"
        lines.append(f"The mouth strains the legs by {percent(legs.expected, 2)}{limit}.")
    return lines


def _pitch_sentences(answer: SeveralAnswer) -> list[str]:
    if answer.pitch is None:
        return []
    mean, sd = answer.pitch.mean_mm, answer.pitch.sd_mm
    return [
        f"The two pitches of {answer.question.pitch_mm:g} mm print {minus(mean)} ±{sd:.2f} mm "
        "apart (expected, one standard deviation): scale, skew and drift over the distance."
    ]


def _leg_sentences(answer: SeveralAnswer) -> list[str]:
    legs = answer.legs
    if answer.question.kind is not JointKind.LEGS:
        return []
    lines = [
        "NEVER TRIED BY HAND: legs that give way feel looser than stiff faces with the same gap."
    ]
    if legs is not None:
        within = "" if legs.limit is None else f"; limit {percent(legs.limit, 1)}"
        counted = "" if legs.limit is None else " and the strain is within its limit"
        lines.append(
            f"The mouth bends each leg by {legs.deflection_mm:.2f} mm: its root is strained by "
            f"{percent(legs.expected, 2)}, {percent(legs.tight, 2)} or more in one print of "
            f"twenty{within}. That the lips hold{counted} is counted in the chance."
        )
        if legs.limit is not None and legs.expected > legs.limit:
            lines.append("The strain is BEYOND its limit: make the legs longer or thinner.")
    return lines


def several_data(answer: SeveralAnswer, today: date | None = None) -> dict[str, object]:
    """Return the answer as plain data, units in the names, question and sentences with it."""
    asked = answer.question
    return {
        "question": {
            "joint": str(asked.kind),
            "sizes_mm": list(asked.sizes_mm),
            "across": written_across(asked.sides),
            "axes": list(AXES[asked.kind]),
            "hardware": asked.hardware.name if asked.hardware else None,
            "fit": str(asked.fit),
            "move": str(asked.move),
            "at_least": asked.at_least,
            "drawn_gap_mm": asked.drawn_gap_mm,
            "bed": None if asked.bed is None else str(asked.bed),
            "two_prints": asked.two_prints,
            "pitch_mm": asked.pitch_mm,
            "corners_mm": [asked.corners.internal_mm, asked.corners.external_mm],
        },
        "pairs": [
            {
                "across": str(pair.alone.question.joint.direction),
                "size_mm": pair.alone.question.joint.size_mm,
                "gap_mm": pair.gap_mm,
                "moves": [move_data(move) for move in pair.moves],
                "alone": {"gap_mm": pair.alone.gap_mm, "chance": pair.alone.chance},
            }
            for pair in answer.pairs
        ],
        "chance": answer.chance,
        "too_tight": answer.too_tight,
        "too_loose": answer.too_loose,
        "sampling_error": answer.sampling_error,
        "pitch": answer.pitch and {"mean_mm": answer.pitch.mean_mm, "sd_mm": answer.pitch.sd_mm},
        "corner_mm": answer.corner_mm,
        "rounded_chance": answer.rounded_chance,
        "legs": dict(_legs_data(answer)) or None,
        "tried_by_hand": False,
        "feel": str(answer.feel),
        "extrapolated": answer.extrapolated,
        "rehearsed": answer.rehearsed,
        "origin": origin_data(answer.origin, today),
        "makers": [
            {"form": str(form), **origin_data(origin, today)} for form, origin in answer.makers
        ],
        "words": several_sentences(answer, today),
    }


def _legs_data(answer: SeveralAnswer) -> Iterator[tuple[str, float | None]]:
    legs = answer.legs
    if legs is not None:
        yield "deflection_mm", legs.deflection_mm
        yield "strain", legs.expected
        yield "tight_strain", legs.tight
        yield "strain_limit", legs.limit
