"""Sentences for a profile whose prints were made under different conditions."""

from collections.abc import Sequence

from coupons.answering.words.numbers import named
from coupons.measuring.run.differing import NAMES, Difference, differences
from coupons.measuring.run.folder import Run


def runs_differ(runs: Sequence[Run]) -> str:
    """Say which conditions of the runs differ and what follows; empty if none does."""
    found = differences(runs)
    if not found:
        return ""
    told = "; ".join(_told(one, [run.folder.name for run in runs]) for one in found)
    return (
        f"PRINTED DIFFERENTLY: {told}. The offsets are a compromise between these prints and may"
        " suit none of them: fit each by itself, unless the difference is too small to matter."
    )


def profile_differs(keys: Sequence[str]) -> str:
    """Say the same of a profile alone, which keeps what differed but not by how much."""
    if not keys:
        return ""
    told = named([NAMES[key][0] for key in keys])
    return f"PRINTED DIFFERENTLY: learned from prints that differ in {told}."


def _told(one: Difference, names: Sequence[str]) -> str:
    name, unit = NAMES[one.key]
    by_value: dict[float | str, list[str]] = {}
    for value, run in zip(one.values, names, strict=True):
        if value is not None:
            by_value.setdefault(value, []).append(run)
    values = [f"{_said(value, unit)} in {named(whose)}" for value, whose in by_value.items()]
    return f"{name} {named(values)}"


def _said(value: float | str, unit: str) -> str:
    return value if isinstance(value, str) else f"{value:g} {unit}"
