"""A machine before and after a change, as a table, as sentences and as data."""

import textwrap
from collections.abc import Iterator

from coupons.answering.compare.before_after import BeforeAfter, CauseChange, CauseOutcome
from coupons.answering.words.columns import cell
from coupons.answering.words.numbers import counted
from coupons.learning.causes import unsaid

_NAME_WIDTH = 35
RULE = (
    "± is one standard deviation. More a face is more plastic on it: outer sizes larger, holes and "
    "slots smaller. Cured: it was clear, changed by more than the combined uncertainty, and its "
    "90\N{NO-BREAK SPACE}% interval now holds zero and is narrower than what was there. Unchanged: "
    "no change larger than that uncertainty was seen."
)


def cause_name(one: CauseChange) -> str:
    """Name a cause with its unit."""
    return f"{unsaid(one.name)}, {'%' if one.unit == 'ratio' else one.unit}"


def number(one: CauseChange, value: float, sd: float) -> str:
    """Write a value with its standard deviation; a scatter has no sign."""
    times, digits = (100.0, 2) if one.unit == "ratio" else (1.0, 3)
    sign = "" if one.name.startswith(("tau", "rho")) else "+"
    return f"{times * value:{sign}.{digits}f} ± {times * sd:.{digits}f}".replace("-", "−")


def cause_lines(found: BeforeAfter, every: bool = False) -> Iterator[str]:
    """Yield the table for 80 columns; only the causes that changed unless ``every``."""
    shown = found.causes if every else found.changed
    if shown:
        yield _line("cause", "before", "after", "is")
    for one in shown:
        before, after = number(one, one.before, one.before_sd), number(one, one.after, one.after_sd)
        yield _line(cause_name(one), before, f"→ {after}", one.outcome)


def before_after_lines(found: BeforeAfter, every: bool = False) -> Iterator[str]:
    """Yield the table, then its sums, wrapped for 80 columns."""
    table = list(cause_lines(found, every))
    yield from table
    notes = [*cause_notes(found), *([RULE] if table else [])]
    for note in notes:
        yield from textwrap.wrap(note, 80, subsequent_indent="  ", break_on_hyphens=False)


def _line(name: str, *cells: str) -> str:
    pairs = zip(cells, (16, 18, 11), strict=True)
    return cell(name, _NAME_WIDTH) + "".join(cell(text, n, right=True) for text, n in pairs)


def cause_notes(found: BeforeAfter) -> Iterator[str]:
    """Sum up the table."""
    if not found.causes:
        yield "No cause of error was measured both before and after."
        return
    tally = [
        (outcome, sum(one.outcome is outcome for one in found.causes)) for outcome in CauseOutcome
    ]
    told = ", ".join(f"{n} {outcome}" for outcome, n in tally if n)
    yield f"Of {counted(len(found.causes), 'cause')} of error: {told}."
    if found.conditions:
        said = "; ".join(f"{one.name} {one.before} → {one.after}" for one in found.conditions)
        yield f"Changed conditions: {said}."
    for names, when in ((found.only_before, "before"), (found.only_after, "after")):
        if names:
            yield f"Measured {when} only: {', '.join(map(unsaid, names))}."


def cause_data(found: BeforeAfter) -> dict[str, object]:
    """Return the comparison as plain data."""
    return {
        "causes": [
            {
                "name": one.name,
                "unit": one.unit,
                "before": one.before,
                "before_sd": one.before_sd,
                "after": one.after,
                "after_sd": one.after_sd,
                "change_sds": one.sds,
                "detectable": one.detectable,
                "outcome": one.outcome,
            }
            for one in found.causes
        ],
        "conditions": [
            {"name": one.name, "before": one.before, "after": one.after} for one in found.conditions
        ],
        "measured_before_only": list(found.only_before),
        "measured_after_only": list(found.only_after),
    }
