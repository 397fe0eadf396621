"""An answer in words: the same sentences on the terminal, in reports and on the wall card."""

from collections.abc import Iterable, Sequence

from coupons.answering.hardware import Hardware
from coupons.answering.offset import INTERVAL, Answer, FaceMove, Feel
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
    """Say what is known of the wanted window on the next print, or of the gap of one pair."""
    fit, wanted_mm = answer.question.fit, answer.question.printed_gap_mm
    if wanted_mm is not None:
        printed = (wanted_mm + answer.gap_mm - end for end in (answer.high_mm, answer.low_mm))
        gaps = " to ".join(map(minus, printed))
        return f"Drawn like this, one pair of the next print has a gap of {gaps} mm {SURE}."
    place = f"at a gap of {minus(answer.low_mm)} to {minus(answer.high_mm)} mm"
    if answer.at_edge:
        return f"The next print begins to be {ADJECTIVES[fit]} {place} {SURE}."
    return f"The middle of the {ADJECTIVES[fit]} range lies {place} on the next print {SURE}."


def evidence(measured: Iterable[tuple[Form, float, float]], direction: Direction) -> list[str]:
    """Say which sizes of each form an answer leans on.

    Examples
    --------
    >>> evidence([(Form.SLOT, 4.0, 25.0), (Form.TONGUE, 4.0, 4.0)], Direction.X)
    ['Measured: slots of 4 to 25 mm along x.', 'Measured: tongues of 4 mm along x.']
    """
    return [
        f"Measured: {form}s of {size_range(low, high)} along {direction}."
        for form, low, high in measured
    ]


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
        forms = " and no ".join(unmeasured)
        return f"EXTRAPOLATED from others: no {forms} was measured along {direction}."
    return f"EXTRAPOLATED: {size_mm:g} mm lies outside the sizes measured."


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
    lines.append(f"The drawn gap is {minus(answer.gap_mm)} mm over both sides.")
    lines.append(interval_sentence(answer))
    if answer.layers is not None:
        lines.append(
            f"That is {answer.layers} whole layers; a part of a layer cannot be printed "
            f"(the best gap would be {minus(answer.best_gap_mm)} mm)."
        )
    if question.bought is not None:
        lines.append(bought(question.bought))
    lines += evidence(answer.measured, joint.direction)
    if answer.extrapolated:
        lines.append(extrapolated(joint.size_mm, joint.direction, answer.unmeasured))
    lines += _feel_sentences(answer)
    if question.fit in (Grade.FORCE, Grade.PUSH):
        lines.append("Caution: force and push fits across layers can split a part along them.")
    return lines


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
        "along": str(question.joint.direction),
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
        "measured": [
            {"form": str(form), "low_mm": low, "high_mm": high}
            for form, low, high in answer.measured
        ],
        "extrapolated": answer.extrapolated,
        "rehearsed": answer.rehearsed,
        "layers": answer.layers,
        "feel": str(answer.feel),
        "words": sentences(answer),
    }
