"""An answer in words: the same sentences on the terminal, in reports and on the wall card."""

from collections.abc import Iterable, Sequence

from coupons.answering.drawing import FaceMove, whole_layers
from coupons.answering.hardware import Hardware
from coupons.answering.offset import INTERVAL, Answer, Feel
from coupons.answering.ways import flats_hint, sizes_in
from coupons.learning.profile import MeasuredRange
from coupons.terms import GRADES, INTERNAL, Direction, Form, Grade

REHEARSED = (
    "REHEARSED: from a virtual printer, not measured on a real one. Do not draw parts by it."
)

NO_TRIALS = "No printed pair was tried: this profile knows sizes, not how a fit feels in the hand."

PRACTICE = "common practice stands in for the hand"

_MOST_NAMED = 8

VERBS = {
    Grade.NO_GO: "does not go",
    Grade.FORCE: "takes force",
    Grade.PUSH: "pushes in",
    Grade.SLIDE: "slides",
    Grade.LOOSE: "is loose",
}

ADJECTIVES = {
    Grade.FORCE: "forced",
    Grade.PUSH: "pushed",
    Grade.SLIDE: "sliding",
    Grade.LOOSE: "loose",
}


def signed(mm: float) -> str:
    """Write an offset with its sign, a real minus, and two decimals; a third where it has one.

    Examples
    --------
    >>> signed(-0.17), signed(0.05), signed(-0.125), signed(0.0)
    ('−0.17', '+0.05', '−0.125', '0.00')
    """
    text = f"{mm:+.3f}".removesuffix("0")
    if float(text) == 0:
        return "0.00"
    return text.replace("-", "−")


def percent(share: float, decimals: int = 0) -> str:
    """Write a share so that no line ends between the number and its sign."""
    return f"{100 * share:.{decimals}f}\N{NO-BREAK SPACE}%"


def chance(p: float) -> str:
    r"""Write a chance so that it never claims certainty.

    Examples
    --------
    >>> [text.replace("\N{NO-BREAK SPACE}", " ") for text in map(chance, (0.934, 0.9999, 0.0001))]
    ['93 %', 'over 99 %', 'under 1 %']
    """
    if p > 0.99:
        return f"over {percent(0.99)}"
    if p < 0.01:
        return f"under {percent(0.01)}"
    return percent(p)


SURE = f"({percent(INTERVAL)} sure)"


def move_sentence(move: FaceMove) -> str:
    """Say what to do with one body, sign and words together."""
    if move.offset_mm == 0:
        return f"Leave the {move.form} as it is: {move.drawn_mm:.2f} mm."
    faces = f"each {move.form} face" if move.faces == 2 else f"one face of the {move.form}"
    if move.offset_mm < 0:
        how = "into the material (material removed"
        how += ", the opening widens)" if move.form in INTERNAL else ")"
    else:
        how = "out of the material (material added"
        how += ", the opening narrows)" if move.form in INTERNAL else ")"
    return (
        f"Move {faces} {signed(move.offset_mm)} mm, {how}: "
        f"draw the {move.form} {move.drawn_mm:.2f} mm."
    )


def minus(mm: float) -> str:
    """Write a length with two decimals and a real minus."""
    return f"{mm:.2f}".replace("-", "−")


def interval_sentence(answer: Answer) -> str:
    """Say what is known of the wanted window on the next print."""
    fit = answer.question.fit
    place = f"at a gap of {minus(answer.low_mm)} to {minus(answer.high_mm)} mm"
    if answer.question.printed_gap_mm is not None:
        printed = f"The next print has a gap of {minus(answer.question.printed_gap_mm)} mm"
        return f"{printed} if drawn {place} {SURE}."
    if answer.at_edge:
        return f"The next print begins to be {ADJECTIVES[fit]} {place} {SURE}."
    return f"The middle of the {ADJECTIVES[fit]} range lies {place} on the next print {SURE}."


def evidence(measured: Iterable[MeasuredRange]) -> list[str]:
    """Say which sizes of each form were tried by hand, and which were read with a caliper.

    Examples
    --------
    >>> slots = MeasuredRange(form=Form.SLOT, direction=Direction.X, low_mm=4, high_mm=25)
    >>> evidence([slots])
    ['Measured: slots across x of 4 to 25 mm.']
    >>> evidence([slots.model_copy(update={"tried_mm": (4, 8), "read_mm": (4, 25)})])
    ['Slots across x: tried by hand at 4 to 8 mm, sizes read at 4 to 25 mm.']
    """
    return [_evidence(each) for each in measured]


def _evidence(each: MeasuredRange) -> str:
    if each.tried_mm is None and each.read_mm is None:  # an early profile, which did not say
        sizes = size_range(each.low_mm, each.high_mm)
        return f"Measured: {sizes_in(each.form, each.direction)} of {sizes}."
    tried = f"at {size_range(*each.tried_mm)}" if each.tried_mm else "at no size"
    read = f"at {size_range(*each.read_mm)}" if each.read_mm else "at no size"
    what = sizes_in(each.form, each.direction)
    return f"{what.capitalize()}: tried by hand {tried}, sizes read {read}."


def measured_data(measured: Iterable[MeasuredRange]) -> list[dict[str, object]]:
    """Return the sizes that an answer leans on as plain data."""
    return [each.model_dump(mode="json") for each in measured]


def size_range(low_mm: float, high_mm: float) -> str:
    """Write a range of sizes, and once what is only one."""
    ends = [f"{round(mm, 2):g}" for mm in (low_mm, high_mm)]
    return f"{' to '.join(dict.fromkeys(ends))} mm"


def named(things: Sequence[str]) -> str:
    """List things in a sentence, and only count those beyond a few."""
    more = f" and {len(things) - _MOST_NAMED} more" if len(things) > _MOST_NAMED else ""
    return ", ".join(things[:_MOST_NAMED]) + more


def bought(piece: Hardware) -> str:
    """Say what a bought mate is taken to be, and on whose word."""
    limits = f"{piece.lower_mm:.3f} to {piece.upper_mm:.3f} mm"
    return f"Bought: {piece.name}, {limits} ({piece.source})."


def extrapolated(size_mm: float, direction: Direction, unmeasured: Sequence[Form]) -> str:
    """Say that a size lies where nothing was measured, and of which forms nothing was at all."""
    if unmeasured:
        forms = " and no ".join(sizes_in(form, direction) for form in unmeasured)
        return f"EXTRAPOLATED from others: no {forms} were measured."
    return (
        f"EXTRAPOLATED: {size_mm:g} mm lies outside the sizes measured; what that leaves open is "
        "counted."
    )


def sentences(answer: Answer) -> list[str]:
    """Return the answer as sentences, most important first."""
    question, joint = answer.question, answer.question.joint
    verb = VERBS[question.fit]
    lines = [REHEARSED] if answer.rehearsed else []
    lines += [move_sentence(move) for move in answer.moves]
    missed = f"too tight {chance(answer.too_tight)}"
    if question.fit is not Grade.LOOSE:  # which nothing is too loose for
        missed += f", too loose {chance(answer.too_loose)}"
    if question.at_least is not None and question.fit is not Grade.LOOSE:
        enough = chance(answer.chance + answer.too_loose)
        lines.append(f"It {verb} or goes more easily with {enough} chance.")
    lines.append(f"It {verb} with {chance(answer.chance)} chance ({missed}).")
    lines += layer_sentences(answer)
    lines.append(f"The drawn gap is {minus(answer.gap_mm)} mm over both sides.")
    lines.append(interval_sentence(answer))
    if question.bought is not None:
        lines.append(bought(question.bought))
        lines += filter(None, [flats_hint(question.bought, joint.direction)])
    lines += evidence(answer.measured)
    if answer.extrapolated:
        lines.append(extrapolated(joint.size_mm, joint.direction, answer.unmeasured))
    lines += _feel_sentences(answer)
    if question.fit in (Grade.FORCE, Grade.PUSH):
        lines.append("Caution: force and push fits across layers can split a part along them.")
    return lines


def layer_sentences(answer: Answer) -> list[str]:
    """Say how the sizes of a joint across layers fall on them, and what prints where they do not.

    Nothing for other joints.
    """
    layer_mm, joint = answer.layer_mm, answer.question.joint
    if layer_mm is None:
        return []
    sizes = ", ".join(f"{move.form} {_layers(move.drawn_mm, layer_mm)}" for move in answer.moves)
    gap = f"gap {_layers(answer.gap_mm, layer_mm)}"
    if answer.prints_as:
        verb = VERBS[answer.question.fit]
        prints = "; ".join(
            f"{_layers(gap_mm, layer_mm)} ({minus(gap_mm)} mm), which {verb} with {chance(p)}"
            for gap_mm, p in answer.prints_as
        )
        return [
            f"Only whole layers of {layer_mm:g} mm print: {sizes}, {gap}.",
            f"The gap prints as one of {prints}; the chance above is their mean.",
        ]
    lines = [f"In layers of {layer_mm:g} mm: {sizes}, {gap}."]
    if answer.question.drawn_gap_mm is None:
        lines = [f"{lines[0][:-1]}; without layers the best gap is {minus(answer.best_gap_mm)} mm."]
    if answer.question.bought is None and whole_layers(joint.size_mm, layer_mm) is None:
        lines.append(
            f"{joint.size_mm:g} mm is {_layers(joint.size_mm, layer_mm)}, no whole number: both "
            "bodies are drawn on layers."
        )
    return lines


def _layers(mm: float, layer_mm: float) -> str:
    """Count layers, to a hundredth of one."""
    count = f"{mm / layer_mm:.2f}".rstrip("0").rstrip(".").replace("-", "−")
    return f"{count} layer{'' if count.lstrip('−') == '1' else 's'}"


def _feel_sentences(answer: Answer) -> list[str]:
    """Say where common practice stands in for the hand."""
    if answer.feel is Feel.UNTRIED:
        return [NO_TRIALS]
    if answer.feel is Feel.UNCLEAR:
        fit = answer.question.fit
        where = f"the {ADJECTIVES[fit]} range begins" + ("" if fit is GRADES[-1] else " and ends")
        return [f"The trials do not show where {where}: {PRACTICE}."]
    return []


def move_data(move: FaceMove) -> dict[str, object]:
    """Return one body's move as plain data."""
    return {
        "form": str(move.form),
        "offset_mm": move.offset_mm,
        "faces": move.faces,
        "drawn_mm": move.drawn_mm,
    }


def as_data(answer: Answer) -> dict[str, object]:
    """Return the answer as plain data, units in the names, the sentences with it."""
    question = answer.question
    return {
        "joint": f"{question.joint.internal}/{question.joint.external}",
        "size_mm": question.joint.size_mm,
        "hardware": question.bought.name if question.bought else None,
        "across": str(question.joint.direction),
        "fit": str(question.fit),
        "moves": [move_data(move) for move in answer.moves],
        "gap_mm": answer.gap_mm,
        "best_gap_mm": answer.best_gap_mm,
        "low_mm": answer.low_mm,
        "high_mm": answer.high_mm,
        "chance": answer.chance,
        "too_tight": answer.too_tight,
        "too_loose": answer.too_loose,
        "grades": {str(grade): p for grade, p in answer.grade_chances.items()},
        "measured": measured_data(answer.measured),
        "extrapolated": answer.extrapolated,
        "rehearsed": answer.rehearsed,
        "layers": answer.layers,
        "layer_mm": answer.layer_mm,
        "prints_as": [{"gap_mm": gap_mm, "chance": p} for gap_mm, p in answer.prints_as],
        "feel": str(answer.feel),
        "words": sentences(answer),
    }
