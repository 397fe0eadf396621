"""``coupons press``: whether a ring stands what is pressed into it."""

import click

from coupons.cli.spoken import say


@click.command()
@click.option("--size", required=True, help="Diameter of the joint, such as 10 or 10 mm.")
@click.option(
    "--interference",
    required=True,
    help="How much larger the pin is than the hole, over the diameter.",
)
@click.option("--ring-outside", required=True, help="Outside diameter of the ring.")
@click.option("--ring-modulus", required=True, help="Its Young's modulus, such as 3500 MPa.")
@click.option("--ring-poisson", help="Its Poisson's ratio; 0.36 if not given.")
@click.option("--pin-bore", help="Bore of the pin; solid if not given.")
@click.option(
    "--pin-modulus",
    help="Young's modulus of the pin; if not given, a metal one that stays as it is.",
)
@click.option("--pin-poisson", help="Poisson's ratio of the pin; 0.36 if not given.")
@click.option(
    "--strain-limit", required=True, help="Strain that the ring's material stands: 0.01 or 1 %."
)
@click.option("--json", "as_json", is_flag=True, help="Print the answer as data.")
@click.pass_context
def command(ctx: click.Context, /, as_json: bool, **typed: str | None) -> None:
    """Say whether a ring stands the pin that is pressed into it.

    Reckoned for two round elastic bodies, the ring and the pin in it. The material's figures are
    yours: its data sheet has them. How tight the fits of your printer come out, and how often
    tighter, is told by `coupons offset` with --strain-limit.

    Ends with 1 if the strain is beyond the limit.
    """
    from coupons.answering.sanity_ask import ask_press
    from coupons.answering.sanity_words import press_data, press_sentences

    check = ask_press({name.replace("_", "-"): text for name, text in typed.items()})
    say(press_sentences(check), press_data(check), as_json)
    if not check.within_limit:
        ctx.exit(1)
