"""The answers to a list of joints as a table and in words."""

import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from coupons.answering.chances.contact_length import contact_sentence
from coupons.answering.chances.drawing import FaceMove
from coupons.answering.joints.listed import JointList, ListedJoint
from coupons.answering.joints.whole_part import JointAnswer, PartAnswer
from coupons.answering.offset import EVEN_CHANCE, Answer, Feel
from coupons.answering.origin import hands_sentence, origin_sentence
from coupons.answering.several.drawn_pairs import SeveralAnswer
from coupons.answering.single import SizeAnswer
from coupons.answering.ways import flats_hint
from coupons.answering.words.answers import PRACTICE, extrapolated, marks
from coupons.answering.words.choices import notches
from coupons.answering.words.columns import cell, columns
from coupons.answering.words.listed_bodies import (
    named_moves,
    numbers_explained,
)
from coupons.answering.words.numbers import chance, minus, named, percent, signed
from coupons.answering.words.several import several_warnings
from coupons.neutral import one_line
from coupons.terms import GRADES, Direction, Grade

_WIDTHS = (16, 15, 14, 21, 9)


def holes_not_asked(listed: JointList) -> str:
    """Say how many holes that meet nothing are left alone; empty if none."""
    waiting = sum(hole.draw_mm is None for hole in listed.holes)
    if not waiting:
        return ""
    holes = (
        "1 hole that meets nothing is" if waiting == 1 else f"{waiting} holes that meet nothing are"
    )
    return f"{holes} left alone; hardware, or a fit, beside one asks about it."


def ignored_columns(listed: JointList) -> str:
    """Say which columns of a list are not used."""
    return f"columns not used: {', '.join(map(one_line, listed.ignored))}."


def wish(joint: JointAnswer) -> str:
    """Say in a word or two what was wanted of a joint."""
    listed = joint.listed
    if listed.fit is not None:
        return f"{listed.fit} or looser" if _is_open(listed) else str(listed.fit)
    if listed.gap_mm is not None:
        return f"gap {minus(listed.gap_mm)}"
    limits = listed.hardware.printed if listed.hardware else None
    return limits.code if limits else ""


def _is_open(listed: ListedJoint) -> bool:
    """Tell whether this fit or a looser one is wanted, not exactly this fit."""
    return listed.at_least is not None and listed.fit is not GRADES[-1]


def short_move(move: FaceMove) -> str:
    """Say in few words what to do with each face, sign and words together.

    Examples
    --------
    >>> from coupons.terms import Form
    >>> short_move(FaceMove(Form.TONGUE, -0.13, 2, 11.74))
    '−0.13 into material'
    """
    if move.offset_mm == 0:
        return "as it is"
    way = "into" if move.offset_mm < 0 else "out of"
    return f"{signed(move.offset_mm)} {way} " + ("material" if move.faces == 2 else "one face")


def warnings(joint: JointAnswer) -> list[str]:
    """Return short warnings that belong to the number."""
    if joint.found is None:
        return [joint.why]
    found, listed = joint.found, joint.listed
    if isinstance(found, SeveralAnswer):
        lines = [*side_warnings(listed), *several_warnings(found)]
    else:
        lines = _size_warnings(joint, found)
    if joint.chance is not None and joint.chance < EVEN_CHANCE:
        lines.append("Less than 50\N{NO-BREAK SPACE}% chance: print a sample and try it first.")
    feel = Feel.HAND if isinstance(found, SizeAnswer) else found.feel
    if listed.fit is not None and feel is not Feel.HAND:
        lines.append(f"No trials show this fit: {PRACTICE}.")
    if listed.joint.direction is Direction.Z and (hint := flats_hint(listed.hardware, Direction.Z)):
        lines.append(hint)
    if isinstance(found, Answer):
        lines += _joint_warnings(listed, found)
        lines += _wish_warnings(listed, found)
    if listed.fit in (Grade.FORCE, Grade.PUSH):
        lines.append("Pressing it in may split a part between layers.")
    return lines


def _wish_warnings(listed: ListedJoint, found: Answer) -> list[str]:
    """Return what was asked for beside the fit, and what the answer would be without."""
    lines: list[str] = []
    if found.at_equal_costs is not None:
        even = found.at_equal_costs
        lines.append(
            f"Too loose counts {listed.loose_costs:g} times as much as too tight; counted alike, "
            f"the gap would be {minus(even.gap_mm)} mm with {chance(even.chance)}."
        )
    if found.choices is not None:
        lines.append(
            f"One of {len(found.choices.pieces)} pieces to choose from, numbered by their "
            f"notches; the best single one has {chance(found.chance)}."
        )
    return lines


def _joint_warnings(listed: ListedJoint, found: Answer) -> list[str]:
    lines = []
    if found.contact and found.contact.is_far:
        lines.append(contact_sentence(found.contact))
    if _is_open(listed):
        lines.append(
            f"Chance of exactly this fit: {chance(found.chance)}; otherwise mostly looser."
        )
    return lines


def _size_warnings(joint: JointAnswer, found: Answer | SizeAnswer) -> list[str]:
    """Return the warnings about the sizes to draw."""
    lines, asked = side_warnings(joint.listed), joint.listed.joint
    if found.extrapolated:
        unmeasured = [(form, asked.direction_of(form)) for form in found.unmeasured]
        lines.append(extrapolated(asked.size_mm, unmeasured))
    if asked.slant is not None:
        lines.append(
            "NEVER TRIED BY HAND: faces that lean. The offset is along their normal; see `offset`."
        )
    starts = {move.form: move.from_mm for move in joint.moves}
    lines += [
        f"The offset is from the {from_mm:g} mm {form} of the standard."
        for form, from_mm in starts.items()
        if abs(from_mm - asked.size_mm) > 1e-6
    ]
    if found.layer_mm is not None:
        lines.append("Rounded to whole layers.")
    if found.beds:
        lines.append("What stands on the bed was not said (column bed): covers none and external.")
    return lines


def side_warnings(listed: ListedJoint) -> list[str]:
    """Say what is not alike of the two bodies of a joint."""
    lines = []
    if listed.joint.lies_unlike:
        lines.append(
            "The bodies lie unlike as they are printed: such a pair was not tried by hand, it is "
            "predicted from pairs that lie alike."
        )
    if listed.off_axis_deg:
        lines.append(
            f"Drawn {listed.off_axis_deg:.0f}° off the direction that is answered. Turn the bodies "
            "in their files as they will be printed, and run `coupons meet` again."
        )
    others = [
        f"{side} body from {one_line(maker.machine)}"
        for side, maker in (
            ("internal", listed.internal_profile),
            ("external", listed.external_profile),
        )
        if maker is not None
    ]
    if others:
        lines.append(f"Made by others: {', '.join(others)}; the feel is that of the profile asked.")
    elif listed.internal_print != listed.external_print and listed.hardware is None:
        lines.append("The two bodies come from two prints: how prints differ counts for each.")
    return lines


def table_lines(part: PartAnswer) -> Iterator[str]:
    """Yield the table for a terminal of 80 columns."""
    rows = [("joint", "fit", "draw, mm", "from nominal, mm", "chance")]
    for joint in part.joints:
        rows += _joint_rows(joint)
    widths = _widths(rows)
    for row in rows:
        yield " ".join(cell(text, n) for text, n in zip(row, widths, strict=True)).rstrip()


def _widths(rows: Sequence[tuple[str, ...]]) -> tuple[int, ...]:
    """Return the usual widths; where a name is longer, what the other columns can spare goes to it.

    A name that is cut loses its end, and with it what tells it from others.
    """
    longest = [max(map(columns, texts)) for texts in zip(*rows, strict=True)]
    tight = [min(n + 1, usual) for n, usual in zip(longest[1:], _WIDTHS[1:], strict=True)]
    if longest[0] <= _WIDTHS[0]:
        return _WIDTHS
    spare = sum(_WIDTHS[1:]) - sum(tight)
    return (_WIDTHS[0] + min(spare, longest[0] - _WIDTHS[0]), *tight)


def part_sentences(part: PartAnswer, today: date | None = None) -> list[str]:
    """Return marks, the table and everything that is said of it, as the terminal shows them."""
    notes = note_lines(part, today)
    return [*marks(part.rehearsed, part.origin, today), *table_lines(part), "", *notes]


def note_lines(part: PartAnswer, today: date | None = None) -> Iterator[str]:
    """Yield the chance that all joints fit, every warning with its joints, and the origin.

    Ages are counted on the day given, or else today.
    """
    yield together_sentence(part)
    if part.counted:
        yield tightness_sentence(part)
    yield from told_once(
        (joint.listed.name, warning) for joint in part.joints for warning in warnings(joint)
    )
    yield from told_once(
        (joint.listed.name, f"{explained}.")
        for joint in part.joints
        if isinstance(joint.found, SeveralAnswer) and (explained := numbers_explained(joint.found))
    )
    yield from filter(None, [hands_sentence(part.origin)])
    yield origin_sentence(part.origin, today)
    yield from (f"Another printer: {origin_sentence(origin, today)}" for origin in part.makers)


def told_once(warned: Iterable[tuple[str, str]]) -> Iterator[str]:
    """Yield each warning once, with the names of its joints."""
    told: dict[str, list[str]] = {}
    for name, warning in warned:
        told.setdefault(warning, []).append(name)
    for warning, names in told.items():
        yield f"{named(names)}: {warning}"


def _joint_rows(joint: JointAnswer) -> Iterator[tuple[str, str, str, str, str]]:
    name, chance_text = joint.listed.name, chance(joint.chance) if joint.chance is not None else ""
    if joint.found is None:
        yield name, wish(joint), "no answer", "", ""
    head = (name, wish(joint))
    if joint.choices is not None:
        one_of = f"one of {len(joint.choices.pieces)}"
        yield name, f"{wish(joint)}, {one_of}", "", "", chance_text
        chance_text = ""
    for count, piece in joint.pieces():
        if count:
            head = (f"  {notches(count)}", "")
        for body, move in named_moves(piece):
            drawn = f"{body} {move.drawn_mm:.2f}"
            yield *head, drawn, short_move(move), chance_text
            head, chance_text = ("", ""), ""


def together_sentence(part: PartAnswer) -> str:
    """Give the chance that all joints fit on one print, with its sampling error."""
    reasons = {
        "no chance for a gap in mm": [
            joint.listed.name
            for joint in part.joints
            if joint.found is not None and joint.chance is None
        ],
        "no answer": [joint.listed.name for joint in part.joints if joint.found is None],
    }
    left_out = "; ".join(f"{named(names)} ({why})" for why, names in reasons.items() if names)
    sentence = _counted_sentence(part)
    return f"{sentence} Not included: {left_out}." if left_out else sentence


def _counted_sentence(part: PartAnswer) -> str:
    n = len(part.counted)
    if n == 0:
        return "There is no chance to give for these joints."
    worst = min(part.counted, key=lambda joint: joint.chance or 0.0)
    if n == 1:
        return f"Chance that {worst.listed.name} fits: {chance(part.together.chance)}."
    # Rounded up, to cover what it must.
    error = math.ceil(1000 * part.together.sampling_error) / 1000
    return (
        f"Chance that {'both' if n == 2 else f'all {n}'} joints fit on {_prints(part)}: "
        f"{chance(part.together.chance)} (sampling error ±{percent(error, 1)}); "
        f"lowest: {worst.listed.name} with {chance(worst.chance or 0.0)}."
    )


def _prints(part: PartAnswer) -> str:
    return "one print" if part.prints == 1 else f"the {part.prints} prints together"


def tightness_sentence(part: PartAnswer) -> str:
    """Give the chance that no joint is too tight, and the joint to loosen to raise it most."""
    sentence = f"Chance that no joint is too tight: {chance(part.not_too_tight.chance)}."
    found = part.loosen
    if found is None:
        return sentence
    free, fit = part.loosened
    drawn = " and ".join(f"{move.form} {move.drawn_mm:.2f}" for move in found.moves)
    return (
        f"{sentence} If too tight is worse for you than too loose, loosen "
        f"{part.counted[found.at].listed.name} first: draw {drawn} mm "
        f"({found.wider_mm:.2f} mm more gap). Then no joint is too tight with {chance(free)} "
        f"chance, and all fit with {chance(fit)}."
    )
