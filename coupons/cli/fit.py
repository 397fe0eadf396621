"""``coupons fit``: learn the printer from its entries."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from coupons.showing.fit_summary import Learned


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Where to write the profile; profile.json in the last folder if not given.",
)
@click.option(
    "--without",
    metavar="ROW",
    multiple=True,
    help="Leave out the entry in this row of entries.csv, RUN:ROW with several runs; repeatable."
    " The profile keeps it on record.",
)
@click.option(
    "--yardstick",
    is_flag=True,
    help="Show in the report how general-purpose regressions do on the same readings; takes"
    " several seconds more.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
def command(
    folders: tuple[Path, ...],
    output: Path | None,
    without: tuple[str, ...],
    yardstick: bool,
    as_json: bool,
) -> None:
    """Learn a printer from one or several runs of one machine and material.

    Writes profile.json, which answers `coupons offset`, and beside it report.html to look at and
    wall-card.html to hang up; with -o bench-2.json, bench-2-report.html and bench-2-wall-card.html.
    Says what to do first, what the printer does wrong, which entries are surprising and how well
    features are foretold.
    """
    from coupons.atomic import together
    from coupons.learning.decisions import leave_out
    from coupons.learning.doubt import doubt_aloud
    from coupons.learning.fit import fit_runs
    from coupons.learning.profile import FILE, profile_of, write_profile
    from coupons.learning.yardstick import measure_against
    from coupons.measuring.checks import check_run
    from coupons.measuring.run import load_runs
    from coupons.showing.fit_files import fit_files
    from coupons.showing.fit_summary import learned_from, summary_lines
    from coupons.showing.report import write_report
    from coupons.showing.wall_card import write_wall_card

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

    from coupons.learning.decisions import row_name, run_name
    from coupons.measuring.differing import differences
    from coupons.showing.fit_summary import shared_slips

    surprises = asdict(learned.surprises)
    for one in surprises["found"]:
        one["without"] = row_name(learned.runs, one["run"], one["row"])
    differing = [asdict(one) for one in differences(learned.runs)]
    return {
        "profile": str(path),
        "first": [{"what": head, "how": text} for head, text in learned.steps],
        **({"differs_in": differing} if differing else {}),
        "causes": asdict(learned.causes),
        "surprises": surprises,
        "shared_slips": [
            {"where": where, "what": one.what, "todo": one.todo}
            for where, one in shared_slips(learned)
        ],
        "held_out": asdict(learned.held_out),
        "runs": [
            {
                "run": run_name(learned.runs, one.run),
                "unlike": [apart.name for apart in one.unlike],
                "limit_sds": one.limit,
                "apart": [asdict(apart) for apart in one.apart],
            }
            for one in learned.verdicts
        ],
    }
