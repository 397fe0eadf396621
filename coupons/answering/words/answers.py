"""An answer in words: the same sentences on the terminal, in reports and on the wall card."""

from collections.abc import Iterable, Sequence
from datetime import date

from coupons.answering.chances.bed import unsaid_sentence
from coupons.answering.chances.contact_length import contact_sentence
from coupons.answering.chances.drawing import FaceMove, whole_layers
from coupons.answering.chances.slants import pull_gap_mm
from coupons.answering.offset import INTERVAL, Answer, Feel
from coupons.answering.origin import (
    Origin,
    hands_sentence,
    old_model_mark,
    origin_sentence,
    stale_mark,
)
from coupons.answering.question import Question
from coupons.answering.standards.hardware import Hardware
from coupons.answering.ways import flats_hint, sizes_in, way
from coupons.answering.words.numbers import chance, chances, minus, percent, signed
from coupons.learning.profile import MeasuredRange
from coupons.terms import GRADES, INTERNAL, ROUND, Direction, Form, Grade

REHEARSED = "REHEARSED: from a virtual printer, not a real one. Do not use it for real parts."

PRACTICE = "common practice is used instead"
SPLIT_CAUTION = "Caution: pressing a part in can split it, or what it goes into, between layers."

NO_TRIALS = f"No printed pair was tried by hand, so the trials show no fit: {PRACTICE}."


VERBS = {
    Grade.NO_GO: "does not go",
    Grade.FORCE: "needs force",
    Grade.PUSH: "pushes in",
    Grade.SLIDE: "slides",
    Grade.LOOSE: "is loose",
}


ADJECTIVES = {
    Grade.FORCE: "force",
    Grade.PUSH: "push",
    Grade.SLIDE: "sliding",
    Grade.LOOSE: "loose",
}


PREDICTED = f"({percent(INTERVAL)} prediction interval)"


def draw_sentence(moves: Sequence[FaceMove], stays: str = "") -> str:
    """Say what to draw: which faces move how far and which way, and what stays.

    Parameters
    ----------
    moves : sequence of FaceMove
    stays : str
        What keeps its place, in words; empty if nothing does.

    Examples
    --------
    >>> said = draw_sentence([FaceMove(Form.TONGUE, -0.17, 2, 11.66)], "the slot stays 12.00 mm")
    >>> for part in said.split(": "):
    ...     print(part)
    Move each face of the 12 mm tongue −0.17 mm, into the material (material removed)
    draw the tongue 11.66 mm; the slot stays 12.00 mm.
    """
    moved = [move for move in moves if move.offset_mm]
    kept = [
        f"leave the {move.form} as it is, {length(move.drawn_mm)} mm"
        for move in moves
        if not move.offset_mm
    ]
    parts = [f"{_faces(move)} {signed(move.offset_mm)} mm, {_way(move)}" for move in moved]
    drawn = [f"the {move.form} {length(move.drawn_mm)} mm" for move in moved]
    told = [f"move {', and '.join(parts)}: draw {' and '.join(drawn)}"] if moved else []
    sentence = "; ".join([*told, *kept, *filter(None, [stays])])
    return f"{sentence[0].upper()}{sentence[1:]}."


def _faces(move: FaceMove) -> str:
    flat = "each face" if move.faces == 2 else "one face"
    which = "the round face" if move.form in ROUND else flat
    return f"{which} of the {move.from_mm:g} mm {move.form}"


def _way(move: FaceMove) -> str:
    if move.offset_mm < 0:
        way = "into the material (material removed"
        return way + (", the opening widens)" if move.form in INTERNAL else ")")
    way = "out of the material (material added"
    return way + (", the opening narrows)" if move.form in INTERNAL else ")")


def length(mm: float) -> str:
    """Write a size with two decimals; a third where it has one."""
    return f"{mm:.3f}".removesuffix("0")


def stays_words(question: Question, moves: Sequence[FaceMove]) -> str:
    """Say which body of a joint is not moved; empty where both are."""
    if question.hardware is not None:
        return f"the {question.hardware.alone.name} stays as it is"
    form = question.staying
    if form is None or form in {move.form for move in moves}:
        return ""
    return f"the {form} stays {length(question.joint.size_mm)} mm"


def interval_sentence(answer: Answer) -> str:
    """Give the interval of the best gap for the next print, or of the gap of one pair."""
    fit, wanted_mm = answer.question.fit, answer.question.printed_gap_mm
    if wanted_mm is not None:
        printed = (wanted_mm + answer.gap_mm - end for end in (answer.high_mm, answer.low_mm))
        gaps = " to ".join(map(minus, printed))
        return f"Drawn this way, a pair on the next print has a gap of {gaps} mm {PREDICTED}."
    gaps = f"a gap of {minus(answer.low_mm)} to {minus(answer.high_mm)} mm {PREDICTED}"
    if answer.at_edge:
        return f"On the next print the {fit} range begins at {gaps}."
    return f"On the next print the middle of the {fit} range is at {gaps}."


def evidence(measured: Iterable[MeasuredRange]) -> list[str]:
    """Say which sizes of each form were tried by hand, and which were measured.

    Examples
    --------
    >>> slots = MeasuredRange(form=Form.SLOT, direction=Direction.X, low_mm=4, high_mm=25)
    >>> evidence([slots])
    ['Measured: slots across x of 4 to 25 mm.']
    >>> evidence([slots.model_copy(update={"tried_mm": (4, 8), "read_mm": (4, 25)})])
    ['Slots across x: tried by hand at 4 to 8 mm, measured by caliper at 4 to 25 mm.']
    """
    return [_evidence(each) for each in measured]


def _evidence(each: MeasuredRange) -> str:
    if each.tried_mm is None and each.read_mm is None:  # an early profile, which did not say
        sizes = size_range(each.low_mm, each.high_mm)
        return f"Measured: {sizes_in(each.form, each.direction)} of {sizes}."
    what = sizes_in(each.form, each.direction).capitalize()
    tried, read = _at("tried by hand", each.tried_mm), _at("measured by caliper", each.read_mm)
    return f"{what}: {tried}, {read}."


def _at(done: str, sizes_mm: tuple[float, float] | None) -> str:
    return f"{done} at {size_range(*sizes_mm)}" if sizes_mm else f"not {done}"


def size_range(low_mm: float, high_mm: float) -> str:
    """Write a range of sizes, or one size if both ends are the same."""
    ends = [f"{round(mm, 2):g}" for mm in (low_mm, high_mm)]
    return f"{' to '.join(dict.fromkeys(ends))} mm"


def hardware_sentence(piece: Hardware) -> str:
    """Give the size of a piece of hardware, and its source."""
    limits = f"{piece.lower_mm:.3f} to {piece.upper_mm:.3f} mm"
    return f"Hardware: {piece.name}, {limits} ({piece.source})."


def extrapolated(size_mm: float, unmeasured: Sequence[tuple[Form, Direction]]) -> str:
    """Say that a size is outside the measured range, and which forms were not measured at all."""
    if unmeasured:
        forms = " and no ".join(sizes_in(form, direction) for form, direction in unmeasured)
        return f"EXTRAPOLATED from other features: no {forms} were measured."
    return (
        f"EXTRAPOLATED: {size_mm:g} mm is outside the measured sizes; the added uncertainty is "
        "included."
    )


def marks(rehearsed: bool, origin: Origin, today: date | None = None) -> list[str]:
    """Return what a reader must know before the answer: that it is made up, or old."""
    old = filter(None, [old_model_mark(origin.version), stale_mark(origin, today)])
    return [*([REHEARSED] if rehearsed else []), *old]


def sentences(answer: Answer, today: date | None = None) -> list[str]:
    """Return the answer as sentences: the decision, then details.

    Parameters
    ----------
    answer : Answer
    today : date, optional
        The day on which the age of the print is counted; today unless given.
    """
    return [*headline(answer, today), *details(answer, today)]


def headline(answer: Answer, today: date | None = None) -> list[str]:
    """Return marks, what to draw, the chance, and what makes that chance doubtful."""
    lines = marks_of_all(answer, today)
    lines.append(draw_sentence(answer.moves, stays_words(answer.question, answer.moves)))
    lines.append(_chance_sentences(answer)[0])
    lines += slant_sentences(answer)
    if answer.prints_as:
        lines += layer_sentences(answer)
    return lines + doubts(answer)


def marks_of_all(answer: Answer, today: date | None = None) -> list[str]:
    """Return what a reader must know before the answer, of every printer that takes part."""
    return marks(answer.rehearsed, answer.origin, today) + [
        f"The {form} is made by another printer. {mark}"
        for form, origin in answer.makers
        for mark in marks(False, origin, today)
    ]


def doubts(answer: Answer) -> list[str]:
    """Return what makes the chance doubtful: sizes and contacts that were not measured."""
    joint, lines = answer.question.joint, []
    if answer.extrapolated:
        unmeasured = [(form, joint.direction_of(form)) for form in answer.unmeasured]
        lines.append(extrapolated(joint.size_mm, unmeasured))
    if answer.contact and answer.contact.is_far:
        lines.append(contact_sentence(answer.contact))
    return lines


def details(answer: Answer, today: date | None = None) -> list[str]:
    """Return the details of an answer, most important first."""
    lines = [*_chance_sentences(answer)[1:], *feel_sentences(answer)]
    lines.append(f"The drawn gap is {minus(answer.gap_mm)} mm over both sides.")
    if not answer.prints_as:
        lines += layer_sentences(answer)
    return lines + background(answer, today)


def background(answer: Answer, today: date | None = None) -> list[str]:
    """Return what an answer stands on: intervals, what was measured, from which print."""
    question = answer.question
    lines: list[str] = []
    if question.printed_gap_mm is None:
        lines.append(interval_sentence(answer))
    lines += filter(None, [unsaid_sentence(answer.high_mm - answer.low_mm, answer.beds)])
    if question.hardware is not None:
        lines.append(hardware_sentence(question.hardware))
        lines += filter(None, [flats_hint(question.hardware, question.joint.direction)])
    lines += side_sentences(question)
    lines += one_print_sentence(answer)
    lines += evidence(answer.measured)
    if question.printed_gap_mm is None:
        if answer.contact and not answer.contact.is_far:
            lines.append(contact_sentence(answer.contact))
        lines += filter(None, [hands_sentence(answer.origin)])
    lines.append(origin_sentence(answer.origin, today))
    lines += [f"The {form}: {origin_sentence(origin, today)}" for form, origin in answer.makers]
    if question.fit in (Grade.FORCE, Grade.PUSH):
        lines.append(SPLIT_CAUTION)
    return lines


def slant_sentences(answer: Answer) -> list[str]:
    """Say what an offset and a gap mean on faces that lean; nothing for others."""
    joint = answer.question.joint
    if joint.slant is None:
        return []
    return [
        f"NEVER TRIED BY HAND: faces that lean ({joint.slant.angle_deg:g} degrees to the pull). "
        "What they print as lies between what faces across and along the pull do.",
        f"The offset is along each face's normal, sizes are across. The gap of "
        f"{minus(answer.gap_mm)} mm over both sides is {minus(answer.gap_mm / 2)} mm along each "
        f"normal and {minus(pull_gap_mm(joint, answer.gap_mm))} mm along the pull.",
    ]


def side_sentences(question: Question) -> list[str]:
    """Say what is not alike of the two bodies of a joint: how they lie, who prints them, when."""
    joint, lines = question.joint, []
    if joint.lies_unlike:
        sides = " and the ".join(
            f"{form} {way(form, joint.direction_of(form))}" for form in joint.forms
        )
        lines.append(
            f"Printed with the {sides}, each by the axes of its own print. Such a pair was not "
            "tried by hand: it is predicted from pairs that lie alike."
        )
    if question.makers:
        bodies = " and the ".join(form for form, _ in question.makers)
        lines.append(
            f"The {bodies} comes from another printer: what is not known of one says nothing of "
            "the other. The feel of the fit is that of the profile asked."
        )
    elif question.two_prints:
        lines.append("The two bodies come from two prints: how prints differ counts for each.")
    return lines


def _chance_sentences(answer: Answer) -> list[str]:
    """Give the chances, the one asked for first."""
    question, verb = answer.question, VERBS[answer.question.fit]
    alone, tight, loose = chances(answer.chance, answer.too_tight, answer.too_loose)
    missed = f"too tight {tight}"
    if question.fit is not Grade.LOOSE:  # which nothing is too loose for
        missed += f", too loose {loose}"
    lines = [f"It {verb} with {alone} chance ({missed})."]
    if question.at_least is not None and question.fit is not Grade.LOOSE:
        enough = chance(answer.chance + answer.too_loose)
        lines.insert(0, f"It {verb} or is looser with {enough} chance.")
    if question.printed_gap_mm is not None:
        lines.insert(0, interval_sentence(answer))
    return lines + costs_sentences(answer)


def costs_sentences(answer: Answer) -> list[str]:
    """Say what a miss was taken to cost, and what equal costs would have drawn."""
    even, cost = answer.at_equal_costs, answer.question.loose_costs
    if even is None:
        return []
    verb = VERBS[answer.question.fit]
    alone, tight, loose = chances(even.chance, even.too_tight, even.too_loose)
    return [
        f"Too loose counts {cost:g} times as much as too tight. If both counted alike, the drawn "
        f"gap would be {minus(even.gap_mm)} mm: it {verb} with {alone} chance (too tight {tight}, "
        f"too loose {loose})."
    ]


def layer_sentences(answer: Answer) -> list[str]:
    """Say how many layers the sizes of a joint are, and what prints if that is no whole number.

    Nothing for other joints.
    """
    layer_mm, joint = answer.layer_mm, answer.question.joint
    if answer.unlike:
        return _unlike_layer_sentences(answer)
    if layer_mm is None:
        return []
    sizes = ", ".join(f"{move.form} {_layers(move.drawn_mm, layer_mm)}" for move in answer.moves)
    gap = _layers(answer.gap_mm, layer_mm)
    if answer.prints_as:
        verb = VERBS[answer.question.fit]
        prints = " or as ".join(
            f"{_layers(mm, layer_mm)} ({minus(mm)} mm), which {verb} with {chance(p)} chance"
            for mm, p in answer.prints_as
        )
        return [
            f"A gap of {minus(answer.gap_mm)} mm is {gap} of {layer_mm:g} mm ({sizes}), and only "
            "whole layers print.",
            f"It prints as {prints}. The chance above is the mean of these.",
        ]
    if answer.question.hardware is None:
        sizes += f", gap {gap}"
    if answer.question.drawn_gap_mm is not None:
        return [f"With {layer_mm:g} mm layers: {sizes}."]
    best = f"before rounding to layers the best gap is {minus(answer.best_gap_mm)} mm"
    lines = [f"With {layer_mm:g} mm layers: {sizes}; {best}."]
    if answer.question.hardware is None and whole_layers(joint.size_mm, layer_mm) is None:
        lines.append(
            f"{joint.size_mm:g} mm is {_layers(joint.size_mm, layer_mm)}, not a whole number, so "
            "both bodies are rounded to layers."
        )
    return lines


def _unlike_layer_sentences(answer: Answer) -> list[str]:
    """Say the same of a joint whose bodies are not drawn in the same layers."""
    lines = [
        f"The {move.form} is drawn in layers of {move.layer_mm:g} mm: "
        f"{_layers(move.drawn_mm, move.layer_mm)}."
        for move in answer.moves
        if move.layer_mm
    ]
    if answer.prints_as:
        verb = VERBS[answer.question.fit]
        prints = " or as ".join(
            f"{minus(mm)} mm, which {verb} with {chance(p)} chance" for mm, p in answer.prints_as
        )
        lines.append(
            f"Only whole layers print: the gap of {minus(answer.gap_mm)} mm prints as {prints}. "
            "The chance above is the mean of these."
        )
    return lines


def _layers(mm: float, layer_mm: float) -> str:
    """Count layers, to a hundredth of one."""
    count = f"{mm / layer_mm:.2f}".rstrip("0").rstrip(".").replace("-", "−")
    return f"{count} layer{'' if count.lstrip('−') == '1' else 's'}"


def one_print_sentence(answer: Answer) -> list[str]:
    """Say what one print cannot know of a high chance, and what a second one would bring."""
    found = answer.one_print
    if found is None:
        return []
    return [
        "One print cannot show how far prints differ: on the tenth of machines whose prints differ "
        f"least this chance is {chance(found.if_alike)}, on the tenth with the most "
        f"{chance(found.if_unlike)}; a second print, fitted together, would make it about "
        f"{chance(found.after)} ({chance(found.after_if_alike)} to "
        f"{chance(found.after_if_unlike)})."
    ]


def feel_sentences(answer: Answer) -> list[str]:
    """Say where common practice is used because the trials do not show the fit."""
    if answer.feel is Feel.UNTRIED:
        return [NO_TRIALS]
    if answer.feel is Feel.UNCLEAR:
        fit = answer.question.fit
        where = f"the {fit} range begins" + ("" if fit is GRADES[-1] else " and ends")
        return [f"The trials do not show where {where}: {PRACTICE}."]
    return []
