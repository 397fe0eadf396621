"""A comparison of profiles as a table, as sentences and as data."""

from collections.abc import Iterator, Sequence

from coupons.answering import drift
from coupons.answering.compare import RULE, Drift, Moved, Verdict
from coupons.answering.compare_terms import TermMoved
from coupons.answering.joint_words import told_once
from coupons.answering.origin import old_model_mark
from coupons.answering.terminal import cell
from coupons.answering.words import REHEARSED, chance, extrapolated, minus, named, signed
from coupons.learning.causes import RATIOS, unsaid
from coupons.learning.profile import Profile

_NAME_WIDTH = 33
_WIDTHS = (6, 6, 16, 19)


def heading(profiles: Sequence[Profile]) -> list[str]:
    """Say which two are compared, and whether any of all was never measured."""
    lines = [REHEARSED] if any(profile.rehearsed for profile in profiles) else []
    for name, profile in (("A", profiles[0]), ("B", profiles[-1])):
        when = f", printed {profile.printed_on}" if profile.printed_on else ""
        lines.append(f"{name}: {profile.machine}, {profile.material}{when}")
        if mark := old_model_mark(profile.version):
            lines.append(f"{name} is {mark}")
    dates = [profile.printed_on for profile in profiles if profile.printed_on]
    if dates != sorted(dates):
        told = ", ".join(map(str, dates))
        lines.append(f"Not in the order of their dates ({told}): give the older first.")
    return lines


def is_same(profiles: Sequence[Profile]) -> bool:
    """Tell whether all profiles are of one machine and material."""
    return len({(profile.machine, profile.material) for profile in profiles}) == 1


def compare_lines(moves: Sequence[Moved]) -> Iterator[str]:
    """Yield the table for a terminal of 80 columns."""
    yield _line("best gap, mm", "A", "B", "moved", "A's on B")
    for move in moves:
        yield _compare_line(move)


def _compare_line(move: Moved) -> str:
    if move.before is None or move.after is None:
        which = "either" if move.before is move.after else "A" if move.before is None else "B"
        return _line(move.name, "", "", "not measured by", which)
    before_mm, after_mm = (round(each.best_gap_mm, 2) for each in (move.before, move.after))
    # Of the rounded gaps, so that a reader who subtracts them finds the same.
    how_far = f"{signed(round(after_mm - before_mm, 2))} ±{1.96 * move.sd_mm:.2f}"
    kept = "" if move.kept_chance is None else f" {chance(move.kept_chance)}"
    return _line(
        move.name,
        minus(before_mm),
        minus(after_mm),
        how_far + (" !" if move.is_beyond else "  "),
        f"{move.verdict}{kept}",
    )


def _line(name: str, *numbers: str) -> str:
    cells = zip(numbers, _WIDTHS, strict=True)
    return cell(name, _NAME_WIDTH) + "".join(cell(text, n, right=True) for text, n in cells)


def compare_notes(moves: Sequence[Moved], same: bool = True) -> list[str]:
    """Say what the table comes to, then the rule it goes by.

    Parameters
    ----------
    moves : sequence of Moved
    same : bool
        Whether both profiles are of one machine and material, and may be fitted together.
    """
    answered = [move for move in moves if move.verdict is not None]
    if not answered:
        return ["No question has an answer of both: only what they learned is compared."]
    verdicts = [move.verdict for move in answered]
    beyond = [move for move in answered if move.is_beyond]
    n, works, no_worse = len(verdicts), *map(verdicts.count, (Verdict.WORKS, Verdict.NO_WORSE))
    working = f"{works} of {n} joints drawn for A still work on B"
    if no_worse:
        working += (
            f"; {no_worse} more would hardly be better drawn anew, with less than an even chance"
        )
    return [
        f"{len(beyond)} of {n} answers moved by more than what is not known of both (!).",
        f"{working}.",
        *_unclear_note(answered, same),
        _seen_note([move.seen_mm for move in answered]),
        *told_once(_warnings(moves)),
        RULE,
    ]


def _unclear_note(moves: Sequence[Moved], same: bool) -> list[str]:
    """Say what to do where a chance was lost though no answer moved."""
    unclear = [move.name for move in moves if move.verdict is Verdict.UNCLEAR]
    if not unclear:
        return []
    todo = (
        "fit both runs together (`coupons fit RUN RUN`) and draw by that; redrawing by B alone "
        "gains nothing"
        if same
        else "print once more on B before you redraw"
    )
    return [f"{named(unclear)}: less sure on B, but not moved: {todo}."]


def _seen_note(seen_mm: Sequence[float]) -> str:
    """Say how large a move would have had to be."""
    ends = [f"{mm:.2f}" for mm in (min(seen_mm), max(seen_mm))]
    sizes = " to ".join(dict.fromkeys(ends))
    which = ", depending on the answer," if len(set(ends)) > 1 else ""
    return f"A move of {sizes} mm{which} would have been found in four cases of five."


def term_lines(terms: Sequence[TermMoved], every: bool) -> Iterator[str]:
    """Yield a table of what the printer's terms did; only those that moved unless ``every``."""
    shown = [term for term in terms if every or term.is_beyond]
    if shown:
        yield _line("what was learned", "A", "B", "moved", "seen from")
    for term in shown:
        unit, times = ("%", 100.0) if term.name in RATIOS else ("mm", 1.0)
        yield _line(
            f"{unsaid(term.name)}, {unit}" + ("" if unit == "%" else " a face"),
            *(f"{times * value:.2f}".replace("-", "−") for value in (term.before, term.after)),
            f"{signed(round(times * term.moved, 2))} ±{1.96 * times * term.sd:.2f}"
            + (" !" if term.is_beyond else "  "),
            f"{times * term.seen:.2f}",
        )


def term_note(terms: Sequence[TermMoved]) -> str:
    """Say what the table of terms comes to."""
    if not terms:
        return "Both learned nothing of the printer itself that could be compared."
    beyond = sum(term.is_beyond for term in terms)
    return (
        f"{beyond} of {len(terms)} things that both learned of the printer moved (!); "
        f"{0.05 * len(terms):.1f} would by chance."
    )


def _warnings(moves: Sequence[Moved]) -> Iterator[tuple[str, str]]:
    """Yield the name of a joint with what its answers lean on, and of which profile."""
    for move in moves:
        joint, told = move.question.joint, dict[str, list[str]]()
        for which, found in (("A", move.before), ("B", move.after)):
            if found is not None and found.extrapolated:
                why = extrapolated(joint.size_mm, joint.direction, found.unmeasured)
                told.setdefault(why, []).append(which)
        yield from ((move.name, f"on {' and '.join(on)} {why}") for why, on in told.items())


def drift_lines(found: Sequence[Drift]) -> Iterator[str]:
    """Yield a chart a question, each in a few lines."""
    for each in found:
        chart = each.chart
        runs = zip(chart.values_mm, chart.sds_mm, strict=True)
        yield f"{each.name}: " + ", ".join(f"{minus(value)} ±{sd:.2f}" for value, sd in runs)
        yield f"  {_charted(chart)}"
    yield drift.RULE


def _charted(chart: drift.Chart) -> str:
    """Say whether a chart signals, and what it could have seen."""
    found = "no signal"
    if chart.signal is not None:
        found = f"SIGNAL {chart.signal.why}, {chart.signal.sds:.1f} standard deviations"
    sizes = (f"{mm:.2f} mm" for mm in (chart.seen_middle_mm, chart.seen_last_mm))
    return (
        f"{found} (limit {chart.limit:.1f}); in four cases of five it would find a step half way "
        f"of {', or one at the last run of '.join(sizes)}"
    )


def as_data(
    moves: Sequence[Moved], found: Sequence[Drift], terms: Sequence[TermMoved] = ()
) -> dict[str, object]:
    """Return a comparison as plain data, units in the names."""
    return {
        "terms": [
            {
                "name": term.name,
                "unit": "ratio" if term.name in RATIOS else "mm a face",
                "before": term.before,
                "after": term.after,
                "moved": term.moved,
                "sd": term.sd,
                "beyond": term.is_beyond,
                "seen_from": term.seen,
            }
            for term in terms
        ],
        "answers": [
            {
                "name": move.name,
                "before_mm": move.before and move.before.best_gap_mm,
                "after_mm": move.after and move.after.best_gap_mm,
                "moved_mm": move.moved_mm,
                "sd_mm": move.sd_mm,
                "beyond": move.is_beyond,
                "seen_from_mm": move.seen_mm,
                "kept_chance": move.kept_chance,
                "best_chance": move.after and move.after.chance,
                "still_works": move.verdict is Verdict.WORKS,
                "verdict": move.verdict,
                "extrapolated": [
                    which
                    for which, found in (("before", move.before), ("after", move.after))
                    if found is not None and found.extrapolated
                ],
            }
            for move in moves
        ],
        "drift": [
            {
                "name": each.name,
                "values_mm": list(each.chart.values_mm),
                "sds_mm": list(each.chart.sds_mm),
                "center_mm": each.chart.center_mm,
                "limit_sds": each.chart.limit,
                "seen_middle_mm": each.chart.seen_middle_mm,
                "seen_last_mm": each.chart.seen_last_mm,
                "signal": None
                if each.chart.signal is None
                else {
                    "run": each.chart.signal.run + 1,
                    "why": each.chart.signal.why,
                    "sds": each.chart.signal.sds,
                },
            }
            for each in found
        ],
    }
