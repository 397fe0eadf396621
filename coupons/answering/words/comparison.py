"""A comparison of profiles as a table, as sentences and as data."""

from collections.abc import Iterator, Sequence

from coupons.answering.compare import drift
from coupons.answering.compare.effect_changes import TermChange
from coupons.answering.compare.side_by_side import RULE, AnswerChange, Drift, Verdict
from coupons.answering.compare.still import is_recheck
from coupons.answering.origin import old_model_mark
from coupons.answering.words.answers import REHEARSED, extrapolated
from coupons.answering.words.columns import cell
from coupons.answering.words.joints import told_once
from coupons.answering.words.numbers import chance, minus, named, signed
from coupons.learning.causes import RATIOS, unsaid
from coupons.learning.profile import Profile

_NAME_WIDTH = 33
_WIDTHS = (6, 6, 16, 19)


def heading(profiles: Sequence[Profile]) -> list[str]:
    """Say which two profiles are compared, and whether any is rehearsed."""
    lines = [REHEARSED] if any(profile.rehearsed for profile in profiles) else []
    for name, profile in (("A", profiles[0]), ("B", profiles[-1])):
        when = f", printed {profile.printed_on}" if profile.printed_on else ""
        lines.append(f"{name}: {profile.machine}, {profile.material}{when}")
        if mark := old_model_mark(profile.version):
            lines.append(f"{name} is {mark}")
    dates = [profile.printed_on for profile in profiles if profile.printed_on]
    if dates != sorted(dates):
        told = ", ".join(map(str, dates))
        lines.append(f"Not in order of date ({told}): put the older profile first.")
    elif is_recheck(profiles[-1], profiles[0]):
        lines.append("B is a re-check of A: use `coupons still`, which weighs all re-checks.")
    return lines


def is_same(profiles: Sequence[Profile]) -> bool:
    """Tell whether all profiles are of one machine and material."""
    return len({(profile.machine, profile.material) for profile in profiles}) == 1


def compare_lines(changes: Sequence[AnswerChange]) -> Iterator[str]:
    """Yield the table for a terminal of 80 columns."""
    yield _line("best gap, mm", "A", "B", "change", "A's drawing on B")
    for change in changes:
        yield _compare_line(change)


def _compare_line(change: AnswerChange) -> str:
    if change.before is None or change.after is None:
        gaps = (
            "—" if one is None else minus(one.best_gap_mm) for one in (change.before, change.after)
        )
        return _line(change.name, *gaps, "—", "not measured")
    before_mm, after_mm = (round(each.best_gap_mm, 2) for each in (change.before, change.after))
    # Of the rounded gaps, so that a reader who subtracts them finds the same.
    how_far = f"{signed(round(after_mm - before_mm, 2))} ±{1.96 * change.sd_mm:.2f}"
    kept = "" if change.kept_chance is None else f" {chance(change.kept_chance)}"
    return _line(
        change.name,
        minus(before_mm),
        minus(after_mm),
        how_far + (" !" if change.is_changed else "  "),
        f"{change.verdict}{kept}",
    )


def _line(name: str, *numbers: str) -> str:
    cells = zip(numbers, _WIDTHS, strict=True)
    return cell(name, _NAME_WIDTH) + "".join(cell(text, n, right=True) for text, n in cells)


def compare_notes(changes: Sequence[AnswerChange], same: bool = True) -> list[str]:
    """Sum up the table, then give its rule.

    Parameters
    ----------
    changes : sequence of AnswerChange
    same : bool
        Whether both profiles are of one machine and material, and may be fitted together.
    """
    answered = [change for change in changes if change.verdict is not None]
    if not answered:
        return ["No question has an answer from both: only the fitted effects are compared."]
    verdicts = [change.verdict for change in answered]
    changed = [change for change in answered if change.is_changed]
    n, works, no_worse = len(verdicts), *map(verdicts.count, (Verdict.WORKS, Verdict.NO_WORSE))
    working = f"{works} of {n} joints drawn for A still work on B"
    if no_worse:
        working += (
            f"; {no_worse} more have less than 50\N{NO-BREAK SPACE}% chance, but redrawing would "
            "hardly help"
        )
    return [
        f"{len(changed)} of {n} answers changed by more than the combined uncertainty (!).",
        f"{working}.",
        *_unclear_note(answered, same),
        _detectable_note([change.detectable_mm for change in answered]),
        *told_once(_warnings(changes)),
        RULE,
    ]


def _unclear_note(changes: Sequence[AnswerChange], same: bool) -> list[str]:
    """Say what to do where the chance fell although the answer did not change."""
    unclear = [change.name for change in changes if change.verdict is Verdict.UNCLEAR]
    if not unclear:
        return []
    todo = (
        "fit both runs together (`coupons fit RUN RUN`) and use that profile; redrawing for B "
        "alone gains nothing"
        if same
        else "print once more on B before you redraw"
    )
    return [f"{named(unclear)}: lower chance on B, but the answer did not change: {todo}."]


def _detectable_note(detectable_mm: Sequence[float]) -> str:
    """Say how large a change would be detected."""
    ends = [f"{mm:.2f}" for mm in (min(detectable_mm), max(detectable_mm))]
    sizes = " to ".join(dict.fromkeys(ends))
    which = ", depending on the answer," if len(set(ends)) > 1 else ""
    return f"A change of {sizes} mm{which} would be detected with 80\N{NO-BREAK SPACE}% power."


def term_lines(terms: Sequence[TermChange], every: bool) -> Iterator[str]:
    """Yield a table of the printer's effects; only those that changed unless ``every``."""
    shown = [term for term in terms if every or term.is_changed]
    if shown:
        yield _line("effect", "A", "B", "change", "detectable")
    for term in shown:
        unit, times = ("%", 100.0) if term.name in RATIOS else ("mm", 1.0)
        yield _line(
            f"{unsaid(term.name)}, {unit}" + ("" if unit == "%" else " a face"),
            *(f"{times * value:.2f}".replace("-", "−") for value in (term.before, term.after)),
            f"{signed(round(times * term.change, 2))} ±{1.96 * times * term.sd:.2f}"
            + (" !" if term.is_changed else "  "),
            f"{times * term.detectable:.2f}",
        )


def term_note(terms: Sequence[TermChange]) -> str:
    """Sum up the table of effects."""
    if not terms:
        return "The two profiles have no fitted effect in common."
    changed = sum(term.is_changed for term in terms)
    return (
        f"{changed} of {len(terms)} effects of the printer changed by more than the combined "
        f"uncertainty (!); {0.05 * len(terms):.1f} expected by chance."
    )


def _warnings(changes: Sequence[AnswerChange]) -> Iterator[tuple[str, str]]:
    """Yield the name of a joint with its warnings, and the profiles that they are about."""
    for change in changes:
        joint, told = change.question.joint, dict[str, list[str]]()
        for which, found in (("A", change.before), ("B", change.after)):
            if found is not None and found.extrapolated:
                unmeasured = [(form, joint.direction_of(form)) for form in found.unmeasured]
                why = extrapolated(joint.size_mm, unmeasured)
                told.setdefault(why, []).append(which)
        yield from ((change.name, f"on {' and '.join(on)} {why}") for why, on in told.items())


def drift_lines(found: Sequence[Drift]) -> Iterator[str]:
    """Yield the chart of each question, in a few lines."""
    for each in found:
        chart = each.chart
        runs = zip(chart.values_mm, chart.sds_mm, strict=True)
        yield f"{each.name}: " + ", ".join(f"{minus(value)} ±{sd:.2f}" for value, sd in runs)
        yield f"  {_charted(chart)}"
    yield drift.RULE


def _charted(chart: drift.Chart) -> str:
    """Say whether a chart signals, and what it could detect."""
    found = "no signal"
    if chart.signal is not None:
        found = f"SIGNAL: {chart.signal.why}, {chart.signal.sds:.1f} standard deviations"
    sizes = (f"{mm:.2f} mm" for mm in (chart.detectable_middle_mm, chart.detectable_last_mm))
    return (
        f"{found} (limit {chart.limit:.1f}); detectable with 80\N{NO-BREAK SPACE}% power: a step "
        f"of {' halfway, or of '.join(sizes)} at the last run"
    )


def as_data(
    changes: Sequence[AnswerChange], found: Sequence[Drift], terms: Sequence[TermChange] = ()
) -> dict[str, object]:
    """Return a comparison as plain data, units in the names."""
    return {
        "terms": [
            {
                "name": term.name,
                "unit": "ratio" if term.name in RATIOS else "mm a face",
                "before": term.before,
                "after": term.after,
                "change": term.change,
                "sd": term.sd,
                "changed": term.is_changed,
                "detectable": term.detectable,
            }
            for term in terms
        ],
        "answers": [
            {
                "name": change.name,
                "before_mm": change.before and change.before.best_gap_mm,
                "after_mm": change.after and change.after.best_gap_mm,
                "change_mm": change.change_mm,
                "sd_mm": change.sd_mm,
                "changed": change.is_changed,
                "detectable_mm": change.detectable_mm,
                "kept_chance": change.kept_chance,
                "best_chance": change.after and change.after.chance,
                "still_works": change.verdict is Verdict.WORKS,
                "verdict": change.verdict,
                "extrapolated": [
                    which
                    for which, found in (("before", change.before), ("after", change.after))
                    if found is not None and found.extrapolated
                ],
            }
            for change in changes
        ],
        "drift": [
            {
                "name": each.name,
                "values_mm": list(each.chart.values_mm),
                "sds_mm": list(each.chart.sds_mm),
                "center_mm": each.chart.center_mm,
                "limit_sds": each.chart.limit,
                "detectable_middle_mm": each.chart.detectable_middle_mm,
                "detectable_last_mm": each.chart.detectable_last_mm,
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
