"""``coupons fit``: fit a printer's entries and write its profile."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from coupons.showing.words.fit_summary import Learned


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Profile to write; by default profile.json in the last folder.",
)
@click.option(
    "--without",
    metavar="ROW",
    multiple=True,
    help="Leave out the entry in this row of entries.csv, RUN:ROW with several runs; may be"
    " repeated. The profile keeps a record of it.",
)
@click.option(
    "--yardstick",
    is_flag=True,
    help="Show in the report how well general-purpose regressions predict the same readings; takes"
    " several seconds more.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the result as data.")
def command(
    folders: tuple[Path, ...],
    output: Path | None,
    without: tuple[str, ...],
    yardstick: bool,
    as_json: bool,
) -> None:
    """Fit one or several runs of one machine and material, and write the profile.

    Writes profile.json, which `coupons offset` reads, and beside it report.html to read and
    wall-card.html to hang up; with -o bench-2.json, bench-2-report.html and bench-2-wall-card.html.
    Prints what to do first, the sources of error, the unexpected entries and how well features are
    predicted.
    """
    from coupons.atomic import together
    from coupons.learning.checking.regressors import measure_against
    from coupons.learning.fit import fit_runs
    from coupons.learning.impossible import doubt_aloud
    from coupons.learning.profile import FILE, profile_of, write_profile
    from coupons.learning.without import leave_out
    from coupons.measuring.checks.run_checks import check_run
    from coupons.measuring.run.folder import load_runs
    from coupons.showing.pages.fit_files import fit_files
    from coupons.showing.pages.report import write_report
    from coupons.showing.pages.wall_card import write_wall_card
    from coupons.showing.words.fit_summary import learned_from, summary_lines

    runs, left_out = leave_out(load_runs(folders), without)
    files = fit_files(output or folders[-1] / FILE)
    fitted = fit_runs(runs)
    profile = profile_of(fitted, runs, left_out)
    doubt_aloud(profile)
    findings = [check_run(folder) for folder in folders]
    learned = learned_from(profile, fitted, runs, findings)
    others = measure_against(fitted.design) if yardstick else ()
    with together():
        write_profile(profile, files.profile)
        write_report(files.report, learned, fitted, findings, others)
        write_wall_card(files.card, profile)
    if as_json:
        click.echo(json.dumps(_data(learned, files.profile), indent=1))
    else:
        click.echo("\n".join(summary_lines(learned, files.profile)))
        click.echo(f"Wrote {files.profile}, {files.report.name} and {files.card.name}")


def _data(learned: "Learned", path: Path) -> dict[str, object]:
    from dataclasses import asdict

    from coupons.learning.without import row_name, run_name
    from coupons.measuring.run.differing import differences
    from coupons.showing.words.fit_summary import shared_slips

    surprises = asdict(learned.surprises)
    for one in surprises["found"]:
        one["without"] = row_name(learned.runs, one["run"], one["row"])
    differing = [asdict(one) for one in differences(learned.runs)]
    return {
        "profile": str(path),
        "first": [{"what": head, "how": text} for head, text in learned.steps],
        **({"differs_in": differing} if differing else {}),
        "causes": asdict(learned.causes),
        "unexpected": surprises,
        "shared_slips": [
            {"where": where, "what": one.what, "todo": one.todo}
            for where, one in shared_slips(learned)
        ],
        "held_out": asdict(learned.held_out),
        "runs": [
            {
                "run": run_name(learned.runs, one.run),
                "unlike": [each.name for each in one.unlike],
                "limit_sds": one.limit,
                "differences": [asdict(each) for each in one.differences],
            }
            for one in learned.verdicts
        ],
    }
