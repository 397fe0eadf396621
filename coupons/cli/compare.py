"""``coupons compare``: two profiles, or many runs of one machine."""

import json
from collections.abc import Iterable
from pathlib import Path

import click


@click.command()
@click.argument("profiles", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--joints", type=click.Path(path_type=Path), help="Compare answers for a list of joints."
)
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Page to write of the same.")
@click.option("--json", "as_json", is_flag=True, help="Print the comparison as data.")
def command(
    profiles: tuple[Path, ...], joints: Path | None, output: Path | None, as_json: bool
) -> None:
    """Show which answers changed between profiles, and which drawings still work.

    PROFILES are two or more profile.json, the older first: the first and the last are compared.
    With three or more, each answer is also charted over all of them, in the order given. Without
    --joints the questions are a slide fit of each kind in each direction. The causes of error are
    compared too: cured, better, unchanged or worse since.
    """
    from coupons.answering.compare.before_after import before_after
    from coupons.answering.compare.drift import FEWEST
    from coupons.answering.compare.effect_changes import compare_terms
    from coupons.answering.compare.side_by_side import compare, drifts
    from coupons.answering.words.before_after import before_after_lines, cause_data
    from coupons.answering.words.comparison import (
        as_data,
        compare_lines,
        compare_notes,
        drift_lines,
        heading,
        is_same,
        term_lines,
        term_note,
    )
    from coupons.cli.list_argument import asked_of
    from coupons.learning.profile_file import read_profile
    from coupons.showing.pages.compare_page import write_compare_page

    if len(profiles) < 2:
        raise click.UsageError("Give at least two profiles to compare.")
    known = [read_profile(path) for path in profiles]
    questions = asked_of(joints)
    changes = compare(known[0], known[-1], questions)
    terms = compare_terms(known[0], known[-1])
    found = drifts(known, questions)
    causes = before_after(known[0], known[-1])
    if output is not None:
        write_compare_page(output, known[0], known[-1], changes)
    if as_json:
        data = as_data(changes, found, terms) | cause_data(causes)
        click.echo(json.dumps(data, indent=1))
        return
    _say(heading(known))
    click.echo("\n".join(["", *compare_lines(changes), ""]))
    notes = compare_notes(changes, is_same([known[0], known[-1]]))
    tried = all(profile.counts.trials for profile in (known[0], known[-1]))
    table = list(term_lines(terms, every=not tried))
    _say([*notes, term_note(terms)])
    if table:
        click.echo("\n".join(["", *table]))
    click.echo("\n".join(["", *before_after_lines(causes)]))
    # For two profiles the table says what a chart would.
    _say(["", *drift_lines(found)] if found and len(known) > FEWEST else ())
    _say([f"Wrote {output}"] if output else ())


def _say(lines: Iterable[str]) -> None:
    """Print lines wrapped to 80 columns; what begins with blanks stays below them."""
    for line in lines:
        indent = "  " if line.startswith("  ") else ""
        click.echo(click.wrap_text(line.strip(), 80, indent, indent + "  "))
