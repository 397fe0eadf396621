"""``coupons clip``: whether a clip stands being bent."""

import click

from coupons.cli.spoken import say


@click.command()
@click.option(
    "--deflection",
    required=True,
    help="How far the tip must give way, such as 2.4 or 2.4 mm: the depth of its hook.",
)
@click.option("--length", required=True, help="Free length from the root to the hook.")
@click.option("--thickness", required=True, help="Thickness at the root, in the way it bends.")
@click.option(
    "--taper", default="none", help="none (the default), or half: half as thick at the tip."
)
@click.option("--strain-limit", required=True, help="Strain that its material stands: 0.02 or 2 %.")
@click.option("--width", help="Width of the clip; with --modulus, for the force that bends it.")
@click.option("--modulus", help="Young's modulus of its material, such as 2000 MPa; with --width.")
@click.option("--friction", help="Coefficient of friction; with --angle, for the push to close.")
@click.option("--angle", help="Slope of the hook against the way it is pushed, degrees.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as data.")
@click.pass_context
def command(ctx: click.Context, /, taper: str, as_json: bool, **typed: str | None) -> None:
    """Say whether a clip stands being bent aside as it snaps in.

    Reckoned for a beam that is held at its root. The material's figures are yours: its data sheet
    has them, and most stand less if they are bent often.

    Ends with 1 if the strain is beyond the limit.
    """
    from coupons.answering.sanity_ask import ask_clip
    from coupons.answering.sanity_words import clip_data, clip_sentences

    clip = ask_clip({name.replace("_", "-"): text for name, text in typed.items()}, taper)
    say(clip_sentences(clip), clip_data(clip), as_json)
    if not clip.check.within_limit:
        ctx.exit(1)
