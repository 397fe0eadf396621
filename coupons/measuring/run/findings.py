"""Findings: what a check reports about a run."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from coupons.neutral import one_line

# More findings of one kind than this are told as one: a mistake made in every row is one mistake.
MOST_OF_A_KIND = 5
_PLACES_NAMED = 3


@dataclass(frozen=True)
class Finding:
    """One thing to correct (*error*) or to look at (*look*: it may be right).

    Parameters
    ----------
    severity : {"error", "look"}
    where : str
        File and place, for example ``entries.csv row 14 (A3)``.
    what, todo : str
        What is odd, and what to do about it; each a sentence without its full stop.
    kind : str, optional
        What sort of finding it is: several of one sort may be told together. Without it the words
        of ``what`` and ``todo`` are its sort.
    parts : tuple of Finding, optional
        The findings that this one tells together.
    """

    severity: Literal["error", "look"]
    where: str
    what: str
    todo: str
    kind: str = ""
    parts: tuple["Finding", ...] = ()

    def __str__(self) -> str:
        """One line: how bad it is, where, what is odd and what to do."""
        told = ". ".join(filter(None, (self.what, self.todo))).rstrip(".")
        return one_line(f"{self.severity}: {self.where}: {told}.")

    @property
    def each(self) -> tuple["Finding", ...]:
        """The merged findings, or this one alone."""
        return self.parts or (self,)


def told_together(findings: Iterable[Finding]) -> list[Finding]:
    """Merge many findings of one kind into one, at the place of the first."""
    groups: dict[tuple[str, ...], list[Finding]] = {}
    for finding in findings:
        sort = (finding.kind,) if finding.kind else (finding.what, finding.todo)
        groups.setdefault((finding.severity, *sort), []).append(finding)
    together: list[Finding] = []
    for group in groups.values():
        of_rows = all(" row " in finding.where for finding in group)
        many = of_rows and len(group) > MOST_OF_A_KIND
        together += [_as_one(group)] if many else group
    return together


def _as_one(group: Sequence[Finding]) -> Finding:
    first, rest = group[0], len(group) - _PLACES_NAMED
    file = first.where.split(" row ")[0]
    places = [finding.where.removeprefix(f"{file} row ") for finding in group[:_PLACES_NAMED]]
    return Finding(
        first.severity,
        f"{file} rows {', '.join(places)} and {rest} more",
        f"{len(group)} findings of the same kind; the first: {first.what}",
        first.todo,
        first.kind,
        tuple(group),
    )
