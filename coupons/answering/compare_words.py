"""A comparison of profiles as a table, as sentences and as data."""

from collections.abc import Iterator, Sequence

from coupons.answering import drift
from coupons.answering.compare import RULE, Drift, Moved
from coupons.answering.words import REHEARSED, chance, minus, signed
from coupons.learning.profile import Profile


def heading(profiles: Sequence[Profile]) -> list[str]:
    """Say which two are compared, and whether any of all was never measured."""
    lines = [REHEARSED] if any(profile.rehearsed for profile in profiles) else []
    for name, profile in (("A", profiles[0]), ("B", profiles[-1])):
        when = f", printed {profile.printed_on}" if profile.printed_on else ""
        lines.append(f"{name}: {profile.machine}, {profile.material}{when}")
    return lines


def compare_lines(moves: Sequence[Moved]) -> Iterator[str]:
    """Yield the table for a terminal of 80 columns."""
    yield _line("gap to draw, mm", "A", "B", "moved", "A's on B")
    for move in moves:
        yield _compare_line(move)


def _compare_line(move: Moved) -> str:
    if move.before is None or move.after is None:
        which = "either" if move.before is move.after else "A" if move.before is None else "B"
        return _line(move.name, "", "", "not measured by", which)
    how_far = f"{signed(round(move.moved_mm, 2))} ±{1.96 * move.sd_mm:.2f}"
    verdict = "works" if move.still_works else "REDRAW"
    if move.question.printed_gap_mm is None:
        verdict += f" {chance(move.kept_chance)}"
    return _line(
        move.name,
        minus(move.before.gap_mm),
        minus(move.after.gap_mm),
        how_far + (" !" if move.is_beyond else "  "),
        verdict,
    )


def _line(name: str, before: str, after: str, moved: str, verdict: str) -> str:
    cut = name if len(name) <= 35 else name[:34] + "…"
    return f"{cut:<35}{before:>6}{after:>6}{moved:>16}{verdict:>17}"


def compare_notes(moves: Sequence[Moved]) -> list[str]:
    """Say what the table comes to, then the rule it goes by."""
    asked = [move for move in moves if move.before is not None and move.after is not None]
    beyond = [move for move in asked if move.is_beyond]
    redraw = [move for move in asked if not move.still_works]
    lines = [
        f"{len(beyond)} of {len(asked)} answers moved by more than what is not known of both (!).",
        f"{len(asked) - len(redraw)} of {len(asked)} joints drawn for A still work on B.",
    ]
    return [*lines, RULE]


def drift_lines(found: Sequence[Drift]) -> Iterator[str]:
    """Yield a control chart a question, each in a few lines."""
    for each in found:
        chart = each.chart
        values = " ".join(minus(value) for value in chart.values_mm)
        yield f"{each.name}: {values}"
        rough = ", rough with so few runs" if chart.is_rough else ""
        yield (
            f"  mean {minus(chart.center_mm)}, limits {minus(chart.low_mm)} to "
            f"{minus(chart.high_mm)} mm{rough}"
        )
        for signal in chart.signals:
            yield f"  SIGNAL run {signal.run + 1}: {signal.why}"
    yield drift.RULE


def as_data(moves: Sequence[Moved], found: Sequence[Drift]) -> dict[str, object]:
    """Return a comparison as plain data, units in the names."""
    return {
        "answers": [
            {
                "name": move.name,
                "before_mm": move.before and move.before.gap_mm,
                "after_mm": move.after and move.after.gap_mm,
                "moved_mm": move.moved_mm,
                "sd_mm": move.sd_mm,
                "beyond": move.is_beyond,
                "kept_chance": move.kept_chance,
                "best_chance": move.after and move.after.chance,
                "still_works": move.still_works,
            }
            for move in moves
        ],
        "drift": [
            {
                "name": each.name,
                "values_mm": list(each.chart.values_mm),
                "center_mm": each.chart.center_mm,
                "low_mm": each.chart.low_mm,
                "high_mm": each.chart.high_mm,
                "signals": [
                    {"run": signal.run + 1, "why": signal.why} for signal in each.chart.signals
                ],
            }
            for each in found
        ],
    }
