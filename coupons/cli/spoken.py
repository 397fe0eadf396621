"""Saying an answer for a command: as sentences for a terminal, or as data."""

import json
from collections.abc import Mapping, Sequence

import click


def say(sentences: Sequence[str], data: Mapping[str, object], as_json: bool) -> None:
    """Print an answer, wrapped at 80 columns, or as data."""
    if as_json:
        click.echo(json.dumps(data, indent=1, ensure_ascii=False))
        return
    for sentence in sentences:
        click.echo(click.wrap_text(sentence, 80, subsequent_indent="  "))
