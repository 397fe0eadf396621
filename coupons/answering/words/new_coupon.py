"""A new coupon in words: as a spec with its reasons, for the terminal, and as data."""

from collections.abc import Sequence
from textwrap import wrap

from coupons.answering.next.coupon import WORTH_ANOTHER
from coupons.answering.next.new_coupon import ChosenRow, Proposal
from coupons.answering.next.written_spec import spec_text
from coupons.answering.ways import sizes_in
from coupons.making.built_rows import MATES
from coupons.making.spec.row_kinds import ROW_LETTERS, FitRow, Row, SizesRow, SpansRow

HEAD = "Written by `coupons next`."
_NAME_WIDTH, _COLUMN = 35, 9
_MOST_NAMED = 3


def row_words(row: Row) -> str:
    """Say what a row holds.

    Examples
    --------
    >>> row_words(SizesRow(kind="sizes", form="hole", direction="z", sizes_mm=(4, 8)))
    'holes with their axis along z, 4 and 8 mm, for the caliper'
    """
    match row:
        case FitRow():
            mates = f"{row.gauges} loose {MATES[row.form]}{'s' * (row.gauges > 1)}"
            gaps = f"gap{'s' * (len(row.gaps()) > 1)} {_listed(row.gaps())} mm"
            features = sizes_in(row.form, row.direction)
            return f"{features}, {gaps} to {mates} of {row.size_mm:g} mm"
        case SizesRow():
            sizes = _listed(row.sizes_mm)
            return f"{sizes_in(row.form, row.direction)}, {sizes} mm, for the caliper"
        case SpansRow():
            return f"rule along {row.direction}, for the caliper"
        case _:
            return row.kind


def spec_of(proposal: Proposal) -> str:
    """Return the text of the spec of a new coupon."""
    names = [want.asked.name for want in proposal.wants]
    more = len(names) - _MOST_NAMED
    listed = "; ".join(names[:_MOST_NAMED]) + (f"; {more} more" if more > 0 else "")
    return spec_text(
        "New coupon",
        f"For {listed}."[:2000],
        [
            f"{HEAD} {_prints(proposal)} The half widths below are of 90 % intervals.",
            *(_want_line(proposal, n) for n in range(len(names))),
        ],
        proposal.assumed,
        [
            (one.row, _why(proposal, one, letter))
            for one, letter in zip(proposal.rows, ROW_LETTERS, strict=False)
        ],
    )


def proposal_lines(proposal: Proposal) -> list[str]:
    """Return what a new coupon brings, in lines of at most 80 characters."""
    columns = (
        ("now", proposal.before_mm),
        ("after", proposal.after_mm),
        ("same", proposal.again_mm),
        ("other", proposal.new_mm),
        ("at best", proposal.least_mm),
    )
    heads = "".join(f"{name:>{_COLUMN}}" for name, _ in columns)
    lines = [*_wrapped([_prints(proposal)], "  "), "", f"{'known to ± mm':<{_NAME_WIDTH}}{heads}"]
    for n, want in enumerate(proposal.wants):
        values = "".join(f"{known_mm[n]:>{_COLUMN}.3f}" for _, known_mm in columns)
        lines.append(f"{want.asked.name[: _NAME_WIDTH - 1]:<{_NAME_WIDTH}}{values}")
    lines += [
        "after: what is expected then. same, other: after one more print, of it or of",
        "another new coupon. at best: what stays open because prints differ.",
        "",
        *_wrapped([*_reached(proposal), *_worth(proposal)], "  "),
        "",
        *_wrapped(_row_lines(proposal.rows), "   "),
        "",
        *_shipped_lines(proposal),
    ]
    return lines


def proposal_data(proposal: Proposal) -> dict[str, object]:
    """Return the same as data."""
    return {
        "minutes": proposal.minutes,
        "prints": proposal.prints,
        "print_minutes": round(proposal.print_minutes, 1),
        "bench_minutes": round(proposal.bench_minutes, 1),
        "wants": [
            {
                "name": want.asked.name,
                "within_mm": want.within_mm,
                "known_to_mm": proposal.before_mm[n],
                "after_mm": proposal.after_mm[n],
                "after_same_again_mm": proposal.again_mm[n],
                "after_another_mm": proposal.new_mm[n],
                "after_any_print_mm": proposal.one_more_mm[n],
                "at_best_mm": proposal.least_mm[n],
            }
            for n, want in enumerate(proposal.wants)
        ],
        "rows": [
            {
                **one.row.model_dump(mode="json", exclude_none=True),
                "print_minutes": round(one.print_minutes, 1),
                "bench_minutes": round(one.bench_minutes, 1),
            }
            for one in proposal.rows
        ],
        "shipped": [
            {
                "name": one.name,
                "prints": one.prints,
                "rows": one.rows,
                "of_rows": one.of_rows,
                "minutes": round(one.minutes, 1),
                "after_mm": list(one.known_to_mm),
                "narrower": proposal.narrower(one.known_to_mm),
            }
            for one in proposal.shipped
        ],
        "narrower": proposal.narrower(proposal.after_mm),
        "same_again_is_worth_it": proposal.is_worth(proposal.again_mm, proposal.after_mm),
        "another_is_worth_it": proposal.is_worth(proposal.new_mm, proposal.after_mm),
    }


def _wrapped(lines: Sequence[str], indent: str) -> list[str]:
    return [part for line in lines for part in wrap(line, 80, subsequent_indent=indent)]


def _listed(values: Sequence[float]) -> str:
    texts = [f"{value:g}" for value in values]
    return " and ".join([", ".join(texts[:-1]), texts[-1]] if len(texts) > 1 else texts)


def _prints(proposal: Proposal) -> str:
    print_min, bench_min = proposal.print_minutes, proposal.bench_minutes
    each = f"{print_min:.0f} minutes of print and {bench_min:.0f} at the bench"
    if proposal.prints == 1:
        return f"Print it once: {each}."
    return f"Print it {proposal.prints} times, each a job of its own: {each} each time."


def _want_line(proposal: Proposal, n: int) -> str:
    want = proposal.wants[n]
    wanted = f" Wanted: ±{want.within_mm:g} mm." if want.within_mm else ""
    return (
        f"{want.asked.name}: known to ±{proposal.before_mm[n]:.3f} mm now, "
        f"±{proposal.after_mm[n]:.3f} expected after it.{wanted}"
    )


def _why(proposal: Proposal, one: ChosenRow, letter: str) -> str:
    minutes = f"{one.print_minutes:.1f} + {one.bench_minutes:.1f} minutes"
    name, after_mm = proposal.wants[one.want].asked.name, proposal.after_mm[one.want]
    return (
        f"Row {letter}: {row_words(one.row)}. {minutes} of print and bench. Without it, {name} "
        f"would be known to ±{one.without_mm:.3f} mm, not ±{after_mm:.3f}."
    )


def _reached(proposal: Proposal) -> list[str]:
    lines = []
    for want, after_mm, least_mm in zip(
        proposal.wants, proposal.after_mm, proposal.least_mm, strict=True
    ):
        if want.within_mm is None:
            continue
        wanted = f"{want.asked.name} within {want.within_mm:g} mm"
        if least_mm > want.within_mm:
            lines.append(
                f"No coupon reaches {wanted}: from print to print it differs by ±{least_mm:.3f} mm."
            )
        elif after_mm > want.within_mm:
            lines.append(f"These minutes do not reach {wanted}.")
        else:
            lines.append(f"Expected to reach {wanted}.")
    return lines


def _worth(proposal: Proposal) -> list[str]:
    rule = f"by {100 * WORTH_ANOTHER:.0f} % or more"
    same = proposal.is_worth(proposal.again_mm, proposal.after_mm)
    other = proposal.is_worth(proposal.new_mm, proposal.after_mm)
    least = _listed([round(mm, 3) for mm in proposal.one_more_mm])
    bound = f"One more print of any coupon, however large, leaves ±{least} mm at best."
    return [bound, _worth_sentence(rule, same=same, other=other)]


def _worth_sentence(rule: str, *, same: bool, other: bool) -> str:
    if same:
        return f"One more print of the same would narrow an interval {rule}."
    if other:
        return f"After that, another new coupon would narrow an interval {rule}; the same not."
    return f"After that, no further print is worth it: none narrows an interval {rule}."


def _row_lines(rows: Sequence[ChosenRow]) -> list[str]:
    return [
        f"{letter}  {row_words(one.row)} ({one.print_minutes + one.bench_minutes:.0f} min)"
        for one, letter in zip(rows, ROW_LETTERS, strict=False)
    ]


_SHIPPED_NOTES = (
    "rows: how many of a coupon's rows would be tried and measured in these minutes.",
    "By how much a coupon without such a joint narrows rests on the model alone.",
)


def _shipped_lines(proposal: Proposal) -> list[str]:
    lines = [f"{'at equal minutes':<18}{'prints':>8}{'rows':>10}{'minutes':>10}{'narrower by':>14}"]
    taken = proposal.prints * (proposal.print_minutes + proposal.bench_minutes)
    table = [
        ("the new coupon", proposal.prints, f"{len(proposal.rows)}", taken, proposal.after_mm),
        *(
            (one.name, one.prints, f"{one.rows} of {one.of_rows}", one.minutes, one.known_to_mm)
            for one in proposal.shipped
        ),
    ]
    for name, prints, rows, minutes, known_to_mm in table:
        share = f"{100 * proposal.narrower(known_to_mm):.0f} %"
        lines.append(f"{name:<18}{prints:>8}{rows:>10}{minutes:>10.0f}{share:>14}")
    return [*lines, *_SHIPPED_NOTES]


def met_lines(names: Sequence[str]) -> list[str]:
    """Say which wants are met already."""
    return [f"Known well enough already: {name}." for name in names]
