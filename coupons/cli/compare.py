"""``coupons compare``: two profiles, or many runs of one machine."""

import json
from pathlib import Path

import click


@click.command()
@click.argument("profiles", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--joints", type=click.Path(path_type=Path), help="Compare answers for a list of joints."
)
@click.option("--json", "as_json", is_flag=True, help="Print the comparison as data.")
def command(profiles: tuple[Path, ...], joints: Path | None, as_json: bool) -> None:
    """Show which answers changed between profiles, and which drawings still work.

    PROFILES are two or more profile.json, the older first: the first and the last are compared.
    With three or more, each answer is also charted over all of them, in the order given. Without
    --joints the questions are a slide fit of each kind in each direction. The fitted effects of
    the printer are compared too.
    """
    from coupons.answering.compare.drift import FEWEST
    from coupons.answering.compare.profiles import compare, drifts
    from coupons.answering.compare.terms import compare_terms
    from coupons.answering.joints.part import questions_of
    from coupons.answering.next.coupon import USUAL
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
    from coupons.cli.listed import read_listed
    from coupons.learning.profile import read_profile

    if len(profiles) < 2:
        raise click.UsageError("Give at least two profiles to compare.")
    known = [read_profile(path) for path in profiles]
    questions = (
        {question.name: question for question in USUAL}
        if joints is None
        else {
            name: question
            for listed in read_listed(joints)
            for name, question in questions_of(listed).items()
        }
    )
    changes = compare(known[0], known[-1], questions)
    terms = compare_terms(known[0], known[-1])
    found = drifts(known, questions)
    if as_json:
        click.echo(json.dumps(as_data(changes, found, terms), indent=1))
        return
    for line in heading(known):
        click.echo(click.wrap_text(line, 80, subsequent_indent="  "))
    click.echo("\n".join(["", *compare_lines(changes), ""]))
    notes = compare_notes(changes, is_same([known[0], known[-1]]))
    tried = all(profile.counts.trials for profile in (known[0], known[-1]))
    table = list(term_lines(terms, every=not tried))
    for note in [*notes, term_note(terms)]:
        click.echo(click.wrap_text(note, 80, subsequent_indent="  "))
    if table:
        click.echo("\n".join(["", *table]))
    # For two profiles the table says what a chart would.
    for note in ["", *drift_lines(found)] if found and len(known) > FEWEST else ():
        indent = "  " if note.startswith("  ") else ""
        text = click.wrap_text(note.strip(), 80, indent, indent + "  ")
        click.echo(text)
