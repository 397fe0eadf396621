"""``coupons check``: list everything that is wrong or unusual in a run folder."""

import json
import textwrap
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import click

from coupons.cli import MOST
from coupons.job.check import check_parts, findings_of
from coupons.measuring.checks.run_checks import Finding, blank_ranges, count_rows
from coupons.measuring.run.folder import Run, Survey, run_of, survey_run
from coupons.measuring.run.tree import refuse_a_tree
from coupons.neutral import one_line

WIDTH = 80

KINDS = {
    "fit": "fit trials",
    "size": "caliper readings",
    "zero": "jaws closed",
    "hold": "pieces driven in",
}


@click.command("check")
@click.argument("folders", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print counts and findings as data.")
def command(folders: tuple[Path, ...], as_json: bool) -> None:
    """Check run folders, or lists of parts, and list their problems.

    Each of FOLDERS is a run folder, or the CSV file that `coupons fit --parts` takes. With several
    and --json, one list of them all.

    An error has to be corrected before the run can be fitted. A look is an entry that looks wrong
    but may be right; it is not changed or dropped. Exit code 1 if there is an error.
    """
    checked = [_checked(folder) for folder in folders]
    if as_json:
        data = [one.data for one in checked]
        click.echo(json.dumps(data[0] if len(data) == 1 else data, indent=1))
    else:
        heads = [f"{one_line(str(folder))}:\n" for folder in folders] if len(folders) > 1 else [""]
        texts = (head + one.text for head, one in zip(heads, checked, strict=True))
        click.echo("\n\n".join(texts))
    if any(one.has_error for one in checked):
        raise SystemExit(1)


@dataclass(frozen=True)
class _Checked:
    """What was found in one folder or list, as text and as data."""

    text: str
    data: dict[str, object]
    has_error: bool


def _checked(folder: Path) -> _Checked:
    if folder.suffix.lower() == ".csv":
        findings: Sequence[Finding] = check_parts(folder)
        text = "\n".join(_told(findings)).lstrip()
        data: dict[str, object] = {"findings": [_data(finding) for finding in findings]}
    else:
        refuse_a_tree(folder)
        found = survey_run(folder)
        findings = findings_of(folder, found)
        proved = _proved(folder, found)
        text = _as_text(found, findings, proved)
        data = _as_data(found, findings, proved)
    return _Checked(text, data, any(finding.severity == "error" for finding in findings))


def _proved(folder: Path, found: Survey) -> Run | None:
    """Return the run if it is a proof that can be read; only then its words are loaded."""
    is_proof = found.coupon is not None and found.coupon.proof is not None
    return run_of(folder, found) if is_proof else None


def _as_data(found: Survey, findings: Sequence[Finding], proved: Run | None) -> dict[str, object]:
    data: dict[str, object] = {
        "counts": [asdict(count) for count in count_rows(found.typed, found.coupon)],
        "blank_rows": blank_ranges(found.typed),
        "findings": [_data(finding) for finding in findings],
    }
    if proved is not None:
        from coupons.showing.words.proof import proof_data, scores_of

        data["proofs"] = proof_data(scores_of([proved]))
    return data


def _data(finding: Finding) -> dict[str, object]:
    """Return a finding as data; if it is about several places, each with its problem."""
    data: dict[str, object] = {
        key: getattr(finding, key) for key in ("severity", "where", "what", "todo")
    }
    if finding.parts:
        data["each"] = [{"where": part.where, "what": part.what} for part in finding.parts]
    return data


def _as_text(found: Survey, findings: Sequence[Finding], proved: Run | None) -> str:
    counts = count_rows(found.typed, found.coupon)
    lines = [
        f"{KINDS[count.kind] + ':':<18}{count.filled:>5} filled in, {count.blank} blank"
        + (f", {count.missing} without a row" if count.missing else "")
        for count in counts
    ]
    if any(count.filled for count in counts) and any(count.blank for count in counts):
        lines += _blank_rows(blank_ranges(found.typed))
    if proved is not None:
        from coupons.showing.words.proof import proof_sentences, scores_of

        for sentence in proof_sentences(scores_of([proved])):
            lines += ["", *textwrap.wrap(sentence, WIDTH)]
    return "\n".join([*lines, *_told(findings)])


def _told(findings: Sequence[Finding]) -> list[str]:
    lines: list[str] = []
    for finding in findings[:MOST]:
        lines += ["", f"{finding.severity:<7}{one_line(finding.where)}"]
        lines += _wrapped(finding.what) + _wrapped(finding.todo)
    if len(findings) > MOST:
        lines += ["", f"and {len(findings) - MOST} more; --json lists all"]
    return [*lines, "", _verdict(findings)]


def _blank_rows(ranges: Sequence[tuple[int, int]]) -> list[str]:
    words = [str(low) if low == high else f"{low}–{high}" for low, high in ranges]
    if len(words) > MOST:
        words = [*words[:MOST], "…"]
    indent = " " * 20
    rows = "row" if len(ranges) == 1 and ranges[0][0] == ranges[0][1] else "rows"
    text = f"  still blank: {rows} {', '.join(words)}"
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent)


def _wrapped(sentence: str) -> list[str]:
    sentence = sentence and sentence[0].upper() + sentence[1:]
    stop = "" if not sentence or sentence.endswith(("?", "…", ".")) else "."
    indent = " " * 7
    return textwrap.wrap(sentence + stop, WIDTH, initial_indent=indent, subsequent_indent=indent)


def _verdict(findings: Sequence[Finding]) -> str:
    errors = sum(finding.severity == "error" for finding in findings)
    looks = len(findings) - errors
    if not findings:
        return "Nothing to correct."
    return f"{_count(errors, 'error')} to correct, {_count(looks, 'thing')} to look at."


def _count(number: int, one: str) -> str:
    return f"{number} {one if number == 1 else one + 's'}"
