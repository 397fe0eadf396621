"""``coupons next``: which shipped coupon would teach most about what is asked."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from coupons.answering.next_coupon import Asked, Gain
    from coupons.learning.profile import Profile

_MOST_SHOWN = 8
_NO_COUPON = (
    "No shipped coupon tries such a joint: write a spec that does (the shipped ones",
    "show how). Of those that ship the first would teach most, by what the model",
    "says of other joints.",
)


@click.command("next")
@click.argument("profile", type=click.Path(path_type=Path))
@click.option("--joints", type=click.Path(path_type=Path), help="Ask about a list of joints.")
@click.option("--joint", help="Ask about one joint: slot/tongue or hole/pin.")
@click.option("--size", "size_mm", type=float, help="Its nominal size, mm.")
@click.option("--along", help="Its printer axis: x, y or z.")
@click.option("--fit", help="force, push, slide (the default) or loose.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as data.")
def command(
    profile: Path,
    joints: Path | None,
    joint: str | None,
    size_mm: float | None,
    along: str | None,
    fit: str | None,
    as_json: bool,
) -> None:
    """Say which coupon to print next, to know more about what is asked.

    PROFILE is the profile.json that `coupons fit` wrote. Without --joints or --joint it asks about
    a sliding fit of each kind in each direction.
    """
    from coupons.answering.next_coupon import gains, shipped_coupons
    from coupons.learning.profile import read_profile

    known = read_profile(profile)
    asked = _questions(known, joints, joint, size_mm, along, fit)
    records, costs = shipped_coupons()
    found = gains(known, asked, records)
    if as_json:
        click.echo(json.dumps(_data(asked, found, costs), indent=1))
    else:
        click.echo("\n".join(_lines(asked, found, costs)))


def _questions(
    profile: "Profile",
    joints: Path | None,
    joint: str | None,
    size_mm: float | None,
    along: str | None,
    fit: str | None,
) -> list["Asked"]:
    from coupons.answering.ask import known, parse_joint
    from coupons.answering.next_coupon import USUAL, ask_about, ask_about_listed
    from coupons.answering.offset import Question, check_question
    from coupons.cli.listed import read_listed
    from coupons.terms import FITS

    alone = {"--joint": joint, "--size": size_mm, "--along": along, "--fit": fit}
    given = [option for option, value in alone.items() if value is not None]
    if joints is not None:
        if given:
            raise click.UsageError(f"Not together with --joints: {', '.join(given)}.")
        return [ask_about_listed(profile, listed) for listed in read_listed(joints)]
    if joint is None:
        if given:
            raise click.UsageError(f"Only with --joint: {', '.join(given)}.")
        return [ask_about(profile, question) for question in USUAL]
    if size_mm is None or along is None:
        raise click.UsageError("--joint takes --size and --along with it.")
    question = Question(parse_joint(joint, size_mm, along), known(FITS, fit or "slide", "fit"))
    check_question(question)
    return [ask_about(profile, question)]


def _lines(asked: list["Asked"], found: tuple["Gain", ...], costs: dict[str, float]) -> list[str]:
    best = found[0]
    order = sorted(range(len(asked)), key=lambda n: -asked[n].known_to_mm)[:_MOST_SHOWN]
    lines = [f"{'asked':<46}{'now':>12}{'after ' + best.coupon:>18}"]
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
