"""``coupons next``: which shipped coupon would reduce the uncertainty most."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from coupons.cli.lengths import length

if TYPE_CHECKING:
    from coupons.answering.next.coupon import Asked, Gain
    from coupons.learning.profile import Profile

_MOST_SHOWN = 8
_NO_COUPON = (
    "No shipped coupon tries such a joint: write a spec that does (see the shipped",
    "ones). Of the shipped ones the first would help most, as predicted from other",
    "joints.",
)


@click.command("next")
@click.argument("profile", type=click.Path(path_type=Path))
@click.option("--joints", type=click.Path(path_type=Path), help="Ask about a list of joints.")
@click.option("--joint", help="Ask about one joint: slot/tongue or hole/pin.")
@click.option("--size", "size_mm", type=length, help="Nominal size of the joint, mm.")
@click.option("--across", help="Printer axis across its faces; of a round one, along its axis.")
@click.option("--fit", help="force, push, slide (the default) or loose.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as data.")
def command(
    profile: Path,
    joints: Path | None,
    joint: str | None,
    size_mm: float | None,
    across: str | None,
    fit: str | None,
    as_json: bool,
) -> None:
    """Suggest the coupon to print next, to reduce the uncertainty most.

    PROFILE is the profile.json that `coupons fit` wrote. Without --joints or --joint the
    questions are a slide fit of each kind in each direction.
    """
    from coupons.answering.next.coupon import gains, shipped_coupons
    from coupons.answering.origin import origin_data, origin_of, origin_sentence
    from coupons.learning.profile import read_profile

    known = read_profile(profile)
    asked = _questions(known, joints, joint, size_mm, across, fit)
    records, costs = shipped_coupons()
    found = gains(known, asked, records)
    if as_json:
        data = {**_data(asked, found, costs), "origin": origin_data(origin_of(known))}
        click.echo(json.dumps(data, indent=1))
    else:
        click.echo("\n".join(_lines(asked, found, costs)))
        whose = origin_sentence(origin_of(known))
        click.echo(click.wrap_text(whose, 80, subsequent_indent="  "))


def _questions(
    profile: "Profile",
    joints: Path | None,
    joint: str | None,
    size_mm: float | None,
    across: str | None,
    fit: str | None,
) -> list["Asked"]:
    from coupons.answering.ask import parse_joint
    from coupons.answering.next.coupon import USUAL, ask_about, ask_about_listed
    from coupons.answering.offset import Question
    from coupons.answering.wording import known
    from coupons.cli.listed import read_listed
    from coupons.terms import FITS

    alone = {"--joint": joint, "--size": size_mm, "--across": across, "--fit": fit}
    given = [option for option, value in alone.items() if value is not None]
    if joints is not None:
        if given:
            raise click.UsageError(f"Not together with --joints: {', '.join(given)}.")
        return [
            asked for listed in read_listed(joints) for asked in ask_about_listed(profile, listed)
        ]
    if joint is None:
        if given:
            raise click.UsageError(f"Only with --joint: {', '.join(given)}.")
        return [ask_about(profile, question) for question in USUAL]
    if size_mm is None or across is None:
        raise click.UsageError("--joint also needs --size and --across.")
    question = Question(parse_joint(joint, size_mm, across), known(FITS, fit or "slide", "fit"))
    return [ask_about(profile, question)]


def _lines(asked: list["Asked"], found: tuple["Gain", ...], costs: dict[str, float]) -> list[str]:
    best = found[0]
    order = sorted(range(len(asked)), key=lambda n: -asked[n].known_to_mm)[:_MOST_SHOWN]
    lines = [f"{'question':<46}{'now':>12}{'after ' + best.coupon:>18}"]
    for n in order:
        now = f"±{asked[n].known_to_mm:.2f} mm" + ("" if asked[n].measured else " *")
        lines.append(f"{asked[n].name[:45]:<46}{now:>12}{f'±{best.known_to_mm[n]:.2f} mm':>18}")
    if not all(question.measured for question in asked):
        lines.append("* not measured: the profile has no answer yet")
    lines += ["", f"{'coupon':<12}{'tries':>10}{'intervals narrower by':>24}{'time':>10}"]
    for gain in found:
        tries = f"{sum(gain.tries)} of {len(gain.tries)}"
        share, minutes = f"{100 * gain.narrower:.0f} %", f"{costs[gain.coupon]:.0f} min"
        lines.append(f"{gain.coupon:<12}{tries:>10}{share:>24}{minutes:>10}")
    if not any(best.tries):
        lines += ["", *_NO_COUPON]
    return [*lines, "", f"Print next: coupons make {best.coupon} -o results/…"]


def _data(
    asked: list["Asked"], found: tuple["Gain", ...], costs: dict[str, float]
) -> dict[str, object]:
    return {
        "asked": [
            {"name": q.name, "known_to_mm": q.known_to_mm, "measured": q.measured} for q in asked
        ],
        "coupons": [
            {
                "name": gain.coupon,
                "tries": [q.name for q, tried in zip(asked, gain.tries, strict=True) if tried],
                "narrower": gain.narrower,
                "known_to_mm": list(gain.known_to_mm),
                "minutes": costs[gain.coupon],
            }
            for gain in found
        ],
    }
