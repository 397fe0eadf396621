"""``coupons clip``: the strain of a clip that bends as it snaps in."""

import click

from coupons.cli.spoken import say


@click.command()
@click.option(
    "--deflection",
    required=True,
    help="How far the tip must bend, such as 2.4 or 2.4 mm: the depth of its hook.",
)
@click.option("--length", required=True, help="Free length from the root to the hook.")
@click.option("--thickness", required=True, help="Thickness at the root, as it bends.")
@click.option(
    "--taper", default="none", help="none (the default), or half: half as thick at the tip."
)
@click.option("--strain-limit", required=True, help="Strain limit of its material: 0.02 or 2 %.")
@click.option("--width", help="Width of the clip; with --modulus, for the force that bends it.")
@click.option("--modulus", help="Young's modulus of its material, such as 2000 MPa; with --width.")
@click.option("--friction", help="Coefficient of friction; with --angle, for the push to close.")
@click.option("--angle", help="Angle of the hook to the direction of pushing, degrees.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as data.")
@click.pass_context
def command(ctx: click.Context, /, taper: str, as_json: bool, **typed: str | None) -> None:
    """Check the strain of a clip that bends as it snaps in.

    Calculated for a beam that is fixed at its root. Take the values of the material from its data
    sheet; most materials need a lower limit if they are bent often.

    Exit code 1 if the strain is beyond the limit.
    """
    from coupons.answering.strength.asked import ask_clip
    from coupons.answering.words.strength import clip_data, clip_sentences

    clip = ask_clip({name.replace("_", "-"): text for name, text in typed.items()}, taper)
    say(clip_sentences(clip), clip_data(clip), as_json)
    if not clip.check.within_limit:
        ctx.exit(1)
