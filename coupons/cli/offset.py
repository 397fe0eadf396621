"""``coupons offset``: how far to move which face for a wanted fit, size or tolerance."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from coupons.answering.ask import Printer

Spoken = tuple[list[str], dict[str, object]]


@click.command()
@click.argument("profile", type=click.Path(path_type=Path))
@click.option("--joint", help="Internal/external form: slot/tongue or hole/pin.")
@click.option("--size", "size_mm", type=float, help="Nominal size, mm.")
@click.option(
    "--along",
    required=True,
    help="Printer axis across the faces of a flat joint, along the axis of a round one: x, y or z.",
)
@click.option("--fit", help="force, push, slide (the default) or loose.")
@click.option(
    "--move",
    "gives",
    default="external",
    show_default=True,
    help="Which body gives way: internal, external or both.",
)
@click.option(
    "--at-least",
    type=float,
    help="Smallest gap that goes at least this easily with this chance, such as 0.95.",
)
@click.option("--drawn-gap", "drawn_gap_mm", type=float, help="Ask about this gap, mm.")
@click.option("--printed-gap", "printed_gap_mm", type=float, help="Ask for this printed gap, mm.")
@click.option(
    "--hardware",
    help='A bought mate: "pin 8 m6", "screw M3" or, with its clearance hole, "screw M3 medium".',
)
@click.option("--limits", help='ISO 286 limits, such as "12 H9/d9": what comes closest.')
@click.option("--form", help="A single hole, slot, pin or tongue; with --prints.")
@click.option("--prints", "printed_mm", type=float, help="Size that the form is to print with, mm.")
@click.option(
    "--strain-limit", type=float, help="Strain that the ring's material stands, such as 0.01."
)
@click.option("--json", "as_json", is_flag=True, help="Print the answer as data.")
def command(profile: Path, as_json: bool, **asked: Any) -> None:
    """Say how far to move which face of a joint, in which direction, with what chance.

    PROFILE is the profile.json that `coupons fit` wrote. A positive offset moves a face out of its
    material, a negative one into it.

    Ask about a joint of two printed bodies (--joint, --size), about a printed one with a bought
    mate (--hardware), about limits of a standard (--joint, --limits), or about one size by itself
    (--form, --prints).
    """
    from coupons.answering.ask import load_profile

    sentences, data = _answer(load_profile(profile), asked)
    if as_json:
        click.echo(json.dumps(data, indent=1))
    else:
        for sentence in sentences:
            click.echo(click.wrap_text(sentence, 80, subsequent_indent="  "))


def _answer(printer: "Printer", asked: dict[str, Any]) -> Spoken:
    """Choose what is asked by the options that are given."""
    if asked["limits"] is not None:
        return _limits(printer, asked)
    if asked["form"] is not None or asked["printed_mm"] is not None:
        return _single(printer, asked)
    if asked["hardware"] is not None and asked["fit"] is None:
        from coupons.answering.hardware import hardware

        if hardware(asked["hardware"]).printed is not None:
            return _size_words(printer.clearance_hole(asked["hardware"], along=asked["along"]))
    return _joint(printer, asked)


def _limits(printer: "Printer", asked: dict[str, Any]) -> Spoken:
    from coupons.answering.size_words import limits_data, limits_sentences

    if asked["joint"] is None:
        raise click.UsageError("Say with --joint which forms the limits are for: slot/tongue.")
    answer = printer.limits(asked["limits"], joint=asked["joint"], along=asked["along"])
    return limits_sentences(answer), limits_data(answer)


def _single(printer: "Printer", asked: dict[str, Any]) -> Spoken:
    if asked["form"] is None or asked["printed_mm"] is None:
        raise click.UsageError("A single size takes both --form and --prints.")
    return _size_words(
        printer.size(asked["form"], printed_mm=asked["printed_mm"], along=asked["along"])
    )


def _size_words(answer: Any) -> Spoken:
    from coupons.answering.size_words import size_data, size_sentences

    return size_sentences(answer), size_data(answer)


def _joint(printer: "Printer", asked: dict[str, Any]) -> Spoken:
    from coupons.answering.press import fit_strain, strain_sentences
    from coupons.answering.words import as_data, sentences

    if asked["hardware"] is None and (asked["joint"] is None or asked["size_mm"] is None):
        raise click.UsageError(
            "Ask about --joint and --size, --hardware, --limits, or --form and --prints."
        )
    wishes = ("size_mm", "along", "gives", "at_least", "drawn_gap_mm", "printed_gap_mm")
    answer = printer.offset(
        asked["joint"],
        fit=asked["fit"] or "slide",
        bought=asked["hardware"],
        **{name: asked[name] for name in wishes},
    )
    lines, data = sentences(answer), as_data(answer)
    if asked["strain_limit"] is not None:
        strain = fit_strain(printer.profile, answer, asked["strain_limit"])
        lines += strain_sentences(strain)
        data["strain"] = {"expected": strain.expected, "tight": strain.tight}
    return lines, data
