"""``coupons next``: which coupon would reduce the uncertainty most, shipped or new."""

import json
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coupons.cli.length_options import length
from coupons.cli.make import BedSize

if TYPE_CHECKING:
    from coupons.answering.next.coupon import CoveredQuestion, Gain
    from coupons.answering.next.goal import JointWant
    from coupons.learning.profile import Profile
    from coupons.making.spec.coupon_spec import Assumed

_MOST_SHOWN = 8
_NO_COUPON = (
    "No shipped coupon tries such a joint: write a spec that does (see the shipped",
    "ones). Of the shipped ones the first would help most, as predicted from other",
    "joints.",
)
_NOT_WORTH_IT = (
    "No shipped coupon is worth a print for this: each narrows the intervals by less",
    "than {share} %. Should you print all the same:",
)


@click.command("next")
@click.argument("profile", type=click.Path(path_type=Path), required=False)
@click.option("--from-prior", is_flag=True, help="Nothing was printed yet: no profile is needed.")
@click.option(
    "--want",
    "wants",
    multiple=True,
    metavar="WANT",
    help='A joint to know, such as "slide slot/tongue across x at 12 within 0.03"; repeatable.',
)
@click.option("--joints", type=click.Path(path_type=Path), help="Ask about a list of joints.")
@click.option("--joint", help="Ask about one joint: slot/tongue or hole/pin.")
@click.option("--size", "size_mm", type=length, help="Nominal size of the joint, mm.")
@click.option(
    "--across",
    help="Printer axis across its faces; of a round one, along its axis; a body each: z/x.",
)
@click.option("--fit", help="force, push, slide (the default) or loose.")
@click.option(
    "--minutes",
    type=click.FloatRange(1, 1440),
    help="Write a new coupon that takes so long to print, try and measure; with -o.",
)
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), help="The spec to write; with --minutes."
)
@click.option(
    "--speed",
    "speed_mm_s",
    type=click.FloatRange(1, 2000),
    metavar="MM/S",
    help="Printing speed, from which the time of a new coupon is estimated.",
)
@click.option("--bed", "bed_mm", type=BedSize(), metavar="XxY", help="Bed size of a new coupon.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as data.")
def command(profile: Path | None, from_prior: bool, as_json: bool, **asked: Any) -> None:
    """Suggest the coupon to print next, or write a new one for what you want to know.

    PROFILE is the profile.json that `coupons fit` wrote, or the folder with it. Without --want,
    --joints or --joint the questions are a slide fit of each kind of joint that was tried.

    With --minutes and -o a new coupon is chosen for the questions: rows, sizes, gaps and gauges
    that teach most in these minutes of print, trials and readings. A want ends with how well the
    gap is to be known: half of its 90 % interval, in mm.
    """
    from coupons.answering.next.from_nothing import profile_from_nothing
    from coupons.learning.profile_file import read_profile

    if (profile is None) is not from_prior:
        raise click.UsageError("Give a PROFILE, or --from-prior where nothing was printed yet.")
    known = profile_from_nothing() if profile is None else read_profile(profile)
    wants = _wants(known, asked)
    if asked["minutes"] is not None or asked["output"] is not None:
        told, data = _new_coupon(known, wants, asked, profile)
    else:
        _refuse_without_minutes(asked)
        told, data = _shipped_coupon(known, [want.asked for want in wants], profile)
    if as_json:
        click.echo(json.dumps(data if from_prior else data | _origin(known), indent=1))
        return
    click.echo("\n".join(told))
    if not from_prior:
        from coupons.answering.origin import origin_of, origin_sentence

        click.echo(click.wrap_text(origin_sentence(origin_of(known)), 80, subsequent_indent="  "))


def _origin(profile: "Profile") -> dict[str, object]:
    from coupons.answering.origin import origin_data, origin_of

    return {"origin": origin_data(origin_of(profile))}


def _refuse_without_minutes(asked: dict[str, Any]) -> None:
    options = {"--speed": asked["speed_mm_s"], "--bed": asked["bed_mm"]}
    given = [option for option, value in options.items() if value is not None]
    if given:
        raise click.UsageError(f"Only with --minutes: {', '.join(given)}.")


def _shipped_coupon(
    profile: "Profile", asked: list["CoveredQuestion"], path: Path | None
) -> tuple[list[str], dict[str, object]]:
    from coupons.answering.next.coupon import gains, shipped_coupons

    records, costs = shipped_coupons()
    found = gains(profile, asked, records)
    lines = _lines(asked, found, costs, _after(path))
    return [*lines, *_untried(profile, asked)], _data(asked, found, costs)


def _after(path: Path | None) -> str:
    """Return the option by which `make` takes machine, material and nozzle from a profile."""
    return "" if path is None else f" \\\n    --after {shlex.quote(str(path))}"


def _new_coupon(
    profile: "Profile", wants: list["JointWant"], asked: dict[str, Any], path: Path | None
) -> tuple[list[str], dict[str, object]]:
    """Choose a new coupon, write its spec and say what it brings."""
    from coupons.answering.next.new_coupon import propose
    from coupons.answering.words.new_coupon import met_lines, proposal_data, proposal_lines, spec_of
    from coupons.atomic import write_text
    from coupons.making.bodies.proportions import DEFAULT_SPEED_MM_S

    output, minutes = asked["output"], asked["minutes"]
    if output is None or minutes is None:
        raise click.UsageError("A new coupon needs both --minutes and -o.")
    _refuse_standing(output)
    met = met_lines([want.asked.name for want in wants if want.is_met])
    left = [want for want in wants if not want.is_met]
    if not left:
        return [*met, "Nothing is left to print: no spec is written."], {"met": met, "wants": []}
    found = propose(
        profile,
        left,
        minutes,
        _assumed(profile, asked["bed_mm"]),
        asked["speed_mm_s"] or DEFAULT_SPEED_MM_S,
    )
    write_text(output, spec_of(found))
    speed = "" if asked["speed_mm_s"] is None else f" --speed {asked['speed_mm_s']:g}"
    spec = shlex.quote(str(output))
    make = f"coupons make {spec} -o runs/{shlex.quote(output.stem)}{speed}{_after(path)}"
    make = f"Written: {output}. Make it:\n  {make}"
    return [*met, *proposal_lines(found), "", make], {"met": met, **proposal_data(found)}


def _assumed(profile: "Profile", bed_mm: tuple[float, float] | None) -> "Assumed":
    from coupons.making.spec.coupon_spec import Assumed

    usual = Assumed()
    return Assumed(
        bed_mm=bed_mm or usual.bed_mm,
        nozzle_mm=profile.nozzle_mm,
        layer_height_mm=profile.layer_height_mm,
    )


def _refuse_standing(output: Path) -> None:
    from coupons.errors import Problem, WriteError
    from coupons.reading import stands

    if stands(output):
        todo = "Give another path with -o; what stands there is not replaced"
        raise WriteError([Problem(str(output), "a new file", "one that exists", todo)])


def _wants(profile: "Profile", asked: dict[str, Any]) -> list["JointWant"]:
    """Return what is asked for: wants, a list of joints, one joint or the usual ones."""
    from coupons.answering.next.coupon import ask_about
    from coupons.answering.next.goal import JointWant
    from coupons.answering.wanted_text import parse_want

    names = ("joints", "joint", "size_mm", "across", "fit")
    if not asked["wants"]:
        return [JointWant(one) for one in _questions(profile, *(asked[name] for name in names))]
    given = [f"--{name.removesuffix('_mm')}" for name in names if asked[name] is not None]
    if given:
        raise click.UsageError(f"Not together with --want: {', '.join(given)}.")
    parsed = dict.fromkeys(parse_want(text) for text in asked["wants"])
    return [JointWant(ask_about(profile, question), within_mm) for question, within_mm in parsed]


def _questions(
    profile: "Profile",
    joints: Path | None,
    joint: str | None,
    size_mm: float | None,
    across: str | None,
    fit: str | None,
) -> list["CoveredQuestion"]:
    from coupons.answering.joint_text import parse_joint
    from coupons.answering.next.coupon import ask_about, ask_about_listed, usual_of
    from coupons.answering.question import Question
    from coupons.answering.typed_words import known
    from coupons.cli.list_argument import read_listed
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
        return [ask_about(profile, question) for question in usual_of(profile)]
    if size_mm is None or across is None:
        raise click.UsageError("--joint also needs --size and --across.")
    question = Question(parse_joint(joint, size_mm, across), known(FITS, fit or "slide", "fit"))
    return [ask_about(profile, question)]


def _lines(
    asked: list["CoveredQuestion"],
    found: tuple["Gain", ...],
    costs: dict[str, float],
    after: str,
) -> list[str]:
    from coupons.answering.next.coupon import WORTH_ANOTHER, most_for_its_time

    best = most_for_its_time(found, costs)
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
    make = f"coupons make {best.coupon} -o runs/{best.coupon}{after}"
    known = any(best.tries) and all(question.measured for question in asked)
    if known and best.narrower < WORTH_ANOTHER:
        told = [line.format(share=f"{100 * WORTH_ANOTHER:.0f}") for line in _NOT_WORTH_IT]
        return [*lines, "", *told, f"  {make}"]
    return [*lines, "", f"Print next: {make}"]


def _untried(profile: "Profile", asked: list["CoveredQuestion"]) -> list[str]:
    """Say which of the usual joints are not asked about, where the usual ones are."""
    from coupons.answering.next.coupon import USUAL, usual_of

    usual = usual_of(profile)
    left = [question.name for question in USUAL if question not in usual]
    if not left or [one.question for one in asked] != list(usual):
        return []
    told = f"Not tried, and not asked about: {'; '.join(left)}. Ask with --joint or --want."
    return [click.wrap_text(told, 80, subsequent_indent="  ")]


def _data(
    asked: list["CoveredQuestion"], found: tuple["Gain", ...], costs: dict[str, float]
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
