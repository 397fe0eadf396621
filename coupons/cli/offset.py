"""``coupons offset``: how far to move which face for a wanted fit, size or tolerance."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coupons.cli.length_options import length, sizes

if TYPE_CHECKING:
    from coupons.answering.ask import Printer

# Number of sentences in the head, all sentences, and the same as data.
Spoken = tuple[int, list[str], dict[str, object]]

_OPTIONS = {
    "joint": "--joint",
    "size_mm": "--size",
    "fit": "--fit",
    "move": "--move",
    "at_least": "--at-least",
    "drawn_gap_mm": "--drawn-gap",
    "printed_gap_mm": "--printed-gap",
    "hardware": "--hardware",
    "limits": "--limits",
    "form": "--form",
    "prints_mm": "--prints",
    "drawn_mm": "--drawn",
    "strain_limit": "--strain-limit",
    "bed": "--bed",
    "contact_mm": "--contact",
    "other": "--other",
    "other_makes": "--other-makes",
    "two_prints": "--two-prints",
    "slant_deg": "--slant",
    "pitch_mm": "--pitch",
    "corners": "--corners",
    "leg": "--leg",
    "mouth_mm": "--mouth",
    "choices": "--choices",
    "loose_costs": "--loose-costs",
}
_OF_SEVERAL = ("pitch_mm", "corners", "leg", "mouth_mm")
_SIDES = ("other", "other_makes", "two_prints")
_GAPS = ("at_least", "drawn_gap_mm", "printed_gap_mm")


@click.command()
@click.argument("profile", type=click.Path(path_type=Path))
@click.option(
    "--joint",
    help="Internal/external: slot/tongue or hole/pin; with more than one pair of faces "
    "pocket/plate, sleeve/bar, holes/pins, legs/bar.",
)
@click.option(
    "--size", "size_mm", type=sizes, help="Nominal size, mm; of a pocket or sleeve both: 40x25."
)
@click.option(
    "--across",
    required=True,
    help="Printer axis across the faces; of a round joint, along its axis: x, y or z. "
    "Bodies that are printed lying unlike: internal/external, such as z/x. Two axes in a row for "
    "pockets and sleeves (each size: xy), holes (axis, pitch: zx), slanted faces (across, pull: "
    "xz).",
)
@click.option("--fit", help="force, push, slide (the default) or loose.")
@click.option(
    "--move",
    help="Body whose faces move: internal, external (the default) or both.",
)
@click.option(
    "--at-least",
    type=float,
    help="Ask for the smallest gap with this chance of the fit or a looser one, such as 0.95.",
)
@click.option("--drawn-gap", "drawn_gap_mm", type=length, help="Ask about this drawn gap, mm.")
@click.option("--printed-gap", "printed_gap_mm", type=length, help="Ask for this printed gap, mm.")
@click.option(
    "--hardware",
    help='Hardware as mate: "pin 8 m6", "screw M3" or, with its clearance hole, "screw M3 medium".',
)
@click.option(
    "--limits",
    help='Limits: "12 H9/d9" with --joint, "12 H13" with --form, or numbers such as "12 ±0.1", '
    '"12 +0.1/0", "11.9..12.1": what to draw, and the chance to meet them.',
)
@click.option(
    "--form", help="A single hole, slot, pin or tongue; with --prints, --drawn or --limits."
)
@click.option("--prints", "prints_mm", type=length, help="Printed size wanted, mm.")
@click.option("--drawn", "drawn_mm", type=length, help="Ask what this drawn size prints as, mm.")
@click.option(
    "--strain-limit", type=float, help="Strain limit of the printed material, such as 0.01 for 1 %."
)
@click.option(
    "--bed",
    help="Across z: whose lower face is the first layer: external, internal, both or none.",
)
@click.option(
    "--contact",
    "contact_mm",
    type=length,
    help="How long the bodies bear on each other, mm: the depth of engagement, or the width if that"
    " is longer. By default as on the coupon.",
)
@click.option(
    "--slant",
    "slant_deg",
    type=float,
    help="Angle of slanted faces or a taper to the way that the bodies are pulled, degrees.",
)
@click.option("--pitch", "pitch_mm", type=length, help="Distance of the two axes of holes, mm.")
@click.option(
    "--corners",
    help="Drawn corner radii of pocket/plate, mm: 2/0.5, or relief/0.5 where they are cut free.",
)
@click.option("--leg", help="Free length x thickness of the legs, mm: 20x2.")
@click.option("--mouth", "mouth_mm", type=length, help="Drawn opening between the legs' lips, mm.")
@click.option(
    "--other",
    type=click.Path(path_type=Path),
    help="Profile of the printer that makes one of the two bodies, if not PROFILE's.",
)
@click.option("--other-makes", help="The body that it makes: external (the default) or internal.")
@click.option(
    "--two-prints",
    is_flag=True,
    default=None,
    help="The two bodies come from two prints of PROFILE's printer, not from one.",
)
@click.option(
    "--choices",
    type=int,
    help="Print so many pieces of the moving body, 2 to 6, to choose from: their sizes, and the "
    "chance that one fits.",
)
@click.option(
    "--loose-costs",
    type=float,
    help="How much a joint that is too loose costs, such as 3, where one that is too tight costs 1:"
    " asks for the gap of the least expected cost.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the answer as data.")
def command(profile: Path, as_json: bool, **asked: Any) -> None:
    """Say how far to move which face of a joint, in which direction, with what chance.

    PROFILE is the profile.json that `coupons fit` wrote, or the folder with it. A positive offset
    moves a face out of its material, a negative one into it.

    Ask about a joint of two printed bodies (--joint, --size), a printed body with hardware
    (--hardware), limits of a standard (--joint, --limits), or a single size (--form with --prints,
    --drawn or --limits). Joints with more than one pair of faces are answered as a whole.
    """
    from coupons.answering.ask import load_profile

    if asked["other"] is not None:
        asked["other"] = load_profile(asked["other"])
    head, sentences, data = _answer(load_profile(profile), asked)
    if as_json:
        click.echo(json.dumps(data, indent=1))
        return
    lines = [click.wrap_text(sentence, 80, subsequent_indent="  ") for sentence in sentences]
    click.echo("\n".join([*lines[:head], "", *lines[head:]]))


def _answer(printer: "Printer", asked: dict[str, Any]) -> Spoken:
    """Choose the kind of question by the options."""
    gaps = _given(asked, *_GAPS)
    if len(gaps) > 1:
        raise click.UsageError(f"Not together: {', '.join(gaps)}. Ask for one of them.")
    from coupons.answering.several.typed_kinds import kind_of

    if kind_of(asked["joint"]) is not None:
        return _several(printer, asked)
    odd = _given(asked, *_OF_SEVERAL)
    if odd:
        raise click.UsageError(
            f"Only with --joint pocket/plate, sleeve/bar, holes/pins or legs/bar: {', '.join(odd)}."
        )
    if isinstance(asked["size_mm"], tuple):
        raise click.UsageError("Two sizes belong to --joint pocket/plate or sleeve/bar.")
    if asked["limits"] is not None:
        return _limits(printer, asked)
    if _given(asked, "form", "prints_mm", "drawn_mm"):
        return _single(printer, asked)
    if asked["hardware"] is not None:
        return _hardware(printer, asked)
    return _joint(printer, asked)


def _given(asked: dict[str, Any], *names: str) -> list[str]:
    return [_OPTIONS[name] for name in names if asked[name] is not None]


def _allow_only(asked: dict[str, Any], what: str, allowed: tuple[str, ...], todo: str) -> None:
    """Refuse every option that the answer would ignore."""
    odd = _given(asked, *(name for name in _OPTIONS if name not in allowed))
    if odd:
        raise click.UsageError(f"Not together with {what}: {', '.join(odd)}. {todo}.")


def _limits(printer: "Printer", asked: dict[str, Any]) -> Spoken:
    from coupons.answering.words.sizes import limits_data, limits_headline, limits_sentences

    todo = "The limits already set the sizes: leave out the rest"
    of_one = ("limits", "form", "drawn_mm", "bed")
    allowed = of_one if asked["form"] else ("limits", "joint", *_SIDES)
    _allow_only(asked, "--limits", allowed, todo)
    code, across = asked["limits"], asked["across"]
    if (asked["joint"] is None) is (asked["form"] is None):
        raise click.UsageError(
            "Say what the limits are for: with --joint slot/tongue for both sides, such as "
            '"12 H9/d9", or with --form hole for one, such as "12 H13".'
        )
    if asked["form"] is not None:
        more = {name: asked[name] for name in ("drawn_mm", "bed")}
        return _size_words(printer.size(asked["form"], across=across, limits=code, **more))
    answer = printer.limits(code, joint=asked["joint"], across=across, **_sides(asked))
    return len(limits_headline(answer)), limits_sentences(answer), limits_data(answer)


def _sides(asked: dict[str, Any]) -> dict[str, Any]:
    """Return what was said of the two bodies' printers and prints."""
    return {name: asked[name] for name in _SIDES[:2]} | {"two_prints": bool(asked["two_prints"])}


def _several(printer: "Printer", asked: dict[str, Any]) -> Spoken:
    from coupons.answering.words.several import (
        several_data,
        several_headline,
        several_sentences,
    )

    joint = ("across", "size_mm", "move", "at_least", "drawn_gap_mm", "hardware", "bed")
    same = (*joint, *_OF_SEVERAL, "strain_limit")
    allowed = ("joint", "fit", *same, *_SIDES)
    _allow_only(asked, f"--joint {asked['joint']}", allowed, "Leave it out")
    answer = printer.several(
        asked["joint"],
        fit=asked["fit"] or "slide",
        **_sides(asked),
        **{name: asked[name] for name in same},
    )
    return len(several_headline(answer)), several_sentences(answer), several_data(answer)


def _single(printer: "Printer", asked: dict[str, Any]) -> Spoken:
    todo = "For a fit use --joint with --size, or --hardware"
    sizes_given = _given(asked, "prints_mm", "drawn_mm")
    what = " and ".join([*_given(asked, "form"), *sizes_given])
    _allow_only(asked, what, ("form", "prints_mm", "drawn_mm", "bed"), todo)
    if asked["form"] is None or len(sizes_given) != 1:
        raise click.UsageError(
            "A single size needs --form with --prints or --drawn, not both, or with --limits."
        )
    return _size_words(
        printer.size(
            asked["form"],
            prints_mm=asked["prints_mm"],
            drawn_mm=asked["drawn_mm"],
            across=asked["across"],
            bed=asked["bed"],
        )
    )


def _hardware(printer: "Printer", asked: dict[str, Any]) -> Spoken:
    from coupons.answering.standards.hardware import hardware

    name = asked["hardware"]
    where = ("strain_limit", "bed", "contact_mm", "other", "other_makes", "choices", "loose_costs")
    allowed = ("hardware", "joint", "fit", *_GAPS, *where)
    todo = "The hardware sets the size, and only the printed body moves: leave it out"
    _allow_only(asked, "--hardware", allowed, todo)
    piece = hardware(name)
    of_a_fit = _given(asked, "fit", "choices", "loose_costs", *_GAPS)
    if piece.printed is None or of_a_fit:  # both together are refused there
        return _joint(printer, asked)
    todo = f"Its standard sets the hole: leave out {piece.series} to ask for a fit, or leave it out"
    _allow_only(asked, f'--hardware "{name}"', ("hardware", "joint"), todo)
    return _size_words(printer.clearance_hole(name, across=asked["across"], joint=asked["joint"]))


def _size_words(answer: Any) -> Spoken:
    from coupons.answering.words.sizes import size_data, size_headline, size_sentences

    return len(size_headline(answer)), size_sentences(answer), size_data(answer)


def _joint(printer: "Printer", asked: dict[str, Any]) -> Spoken:
    from coupons.answering.strength.press import fit_strain
    from coupons.answering.words.choices import as_data, headline, sentences
    from coupons.answering.words.strength import strain_sentences

    several = _given(asked, "choices", "strain_limit")
    if len(several) > 1:
        raise click.UsageError(f"Not together: {', '.join(several)}. Ask about one drawn gap.")
    if asked["hardware"] is None and (asked["joint"] is None or asked["size_mm"] is None):
        raise click.UsageError(
            "Use --joint with --size, or --hardware, or --limits, or --form with --prints or "
            "--drawn."
        )
    where = ("size_mm", "across", "move", "bed", "contact_mm", "slant_deg")
    wishes = (*where, *_GAPS)
    answer = printer.offset(
        asked["joint"],
        fit=asked["fit"] or "slide",
        hardware=asked["hardware"],
        **_sides(asked),
        choices=1 if asked["choices"] is None else asked["choices"],
        loose_costs=1.0 if asked["loose_costs"] is None else asked["loose_costs"],
        **{name: asked[name] for name in wishes},
    )
    lines, data = sentences(answer), as_data(answer)
    if asked["strain_limit"] is not None:
        strain = fit_strain(printer.profile, answer, asked["strain_limit"])
        lines += strain_sentences(strain)
        data["strain"] = {
            "part": str(strain.form),
            "expected": strain.expected,
            "tight": strain.tight,
            "limit": strain.limit,
        }
    return len(headline(answer)), lines, data
