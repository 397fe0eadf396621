"""``coupons press``: the strain of a ring with a pin pressed into it."""

import click

from coupons.cli.spoken import say


@click.command()
@click.option("--size", required=True, help="Diameter of the joint, such as 10 or 10 mm.")
@click.option(
    "--interference",
    required=True,
    help="How much larger the pin is than the hole, in diameter.",
)
@click.option("--ring-outside", required=True, help="Outside diameter of the ring.")
@click.option("--ring-modulus", required=True, help="Its Young's modulus, such as 3500 MPa.")
@click.option("--ring-poisson", help="Its Poisson's ratio; 0.36 if not given.")
@click.option("--pin-bore", help="Bore of the pin; solid if not given.")
@click.option(
    "--pin-modulus",
    help="Young's modulus of the pin; rigid, as metal, if not given.",
)
@click.option("--pin-poisson", help="Poisson's ratio of the pin; 0.36 if not given.")
@click.option(
    "--strain-limit", required=True, help="Strain limit of the ring's material: 0.01 or 1 %."
)
@click.option("--json", "as_json", is_flag=True, help="Print the answer as data.")
@click.pass_context
def command(ctx: click.Context, /, as_json: bool, **typed: str | None) -> None:
    """Check the strain of a ring with a pin pressed into it.

    Calculated for two round elastic bodies, the ring and the pin in it. Take the values of the
    material from its data sheet. For the fits of your own printer, with their scatter, use
    `coupons offset` with --strain-limit.

    Exit code 1 if the strain is beyond the limit.
    """
    from coupons.answering.strength.asked import ask_press
    from coupons.answering.words.strength import press_data, press_sentences

    check = ask_press({name.replace("_", "-"): text for name, text in typed.items()})
    say(press_sentences(check), press_data(check), as_json)
    if not check.within_limit:
        ctx.exit(1)
