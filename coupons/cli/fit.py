"""``coupons fit``: fit a printer's entries and write its profile."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from coupons.showing.words.fit_summary import Learned


@click.command()
@click.argument("folders", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Profile to write; by default profile.json in the last folder, in the one above for jobs"
    " that `make --jobs` laid out, or beside the parts.",
)
@click.option(
    "--parts",
    type=click.Path(path_type=Path, dir_okay=False),
    help="List of joints of your own parts: what was drawn and what the hand found, in which job."
    " It is fitted with the runs, or by itself.",
)
@click.option(
    "--without",
    metavar="ROW",
    multiple=True,
    help="Leave out the entry in this row of entries.csv, RUN:ROW with several runs; may be"
    " repeated. The profile keeps a record of it.",
)
@click.option(
    "--before",
    type=click.Path(path_type=Path),
    metavar="PROFILE",
    help="Profile from before a change of the machine: show what each cause was and is now.",
)
@click.option(
    "--yardstick",
    is_flag=True,
    help="Show in the report how well general-purpose regressions predict the same readings; takes"
    " several seconds more.",
)
@click.option(
    "--like",
    metavar="PROFILE",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Profile of another machine of the same kind and material, on which a machine with few"
    " entries leans; may be repeated. After a change of material, nozzle or layer height: this"
    " machine's profile from before, and both profiles of other machines that changed so.",
)
@click.option(
    "--public",
    is_flag=True,
    help="Leave people's names, notes and folders out of every file, so that it can be shared.",
)
@click.option(
    "--each",
    is_flag=True,
    help="Fit every run below the folders by itself. What is up to date is left as it is, so that a"
    " stopped batch goes on where it was.",
)
@click.option(
    "--each-machine",
    is_flag=True,
    help="Fit all runs below the folders that are of one machine and material together; re-checks,"
    " which are later and smaller prints, by themselves.",
)
@click.option(
    "--jobs",
    type=click.IntRange(min=1),
    metavar="N",
    help="With --each or --each-machine: how many to fit at a time; by default 1.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the result as data.")
@click.pass_context
def command(
    ctx: click.Context,
    folders: tuple[Path, ...],
    output: Path | None,
    parts: Path | None,
    without: tuple[str, ...],
    before: Path | None,
    yardstick: bool,
    like: tuple[Path, ...],
    public: bool,
    each: bool,
    each_machine: bool,
    jobs: int | None,
    as_json: bool,
) -> None:
    """Fit one or several runs of one machine and material, and write the profile.

    Writes profile.json, which `coupons offset` reads, and beside it report.html to read and
    wall-card.html to hang up; with -o bench-2.json, bench-2-report.html and bench-2-wall-card.html.
    Prints what to do first, the sources of error, the unexpected entries and how well features are
    predicted.

    With --each or --each-machine it fits a whole tree of runs. A run that cannot be fitted does not
    stop the others: it stands in the table at the end, and the exit code is 1. A machine that has
    other runs is fitted from those.

    The list for --parts is a CSV file with the columns name, job, internal, internal_drawn_mm,
    external, external_drawn_mm, across, hardware, bed, contact_mm, result, by and note, one trial a
    row. The table that `coupons joints -o` writes is one, with a column result added.
    """
    if each or each_machine:
        of_one = {
            "-o": output,
            "--parts": parts,
            "--without": without,
            "--before": before,
            "--yardstick": yardstick,
            "--like": like,
        }
        _refuse_of_one(of_one)
        if each and each_machine:
            raise click.UsageError("--each cannot go with --each-machine.")
        _fit_tree(ctx, folders, each_machine, jobs, public, as_json)
        return
    if jobs is not None:
        raise click.UsageError("--jobs goes with --each or --each-machine.")
    if not folders and parts is None:
        raise click.UsageError("Give the folder of a run, or several, or --parts with a list.")
    from coupons.answering.words.before_after import before_after_lines, cause_data
    from coupons.job.fit import fit_to_files
    from coupons.showing.words.fit_summary import summary_lines

    done = fit_to_files(
        folders,
        output,
        parts=parts,
        without=without,
        before=before,
        yardstick=yardstick,
        public=public,
        like=like,
    )
    files = done.files
    if as_json:
        since = {} if done.changed is None else {"before": cause_data(done.changed)}
        click.echo(json.dumps(_data(done.learned, files.profile) | since, indent=1))
    else:
        click.echo("\n".join(summary_lines(done.learned, files.profile)))
        if done.changed is not None:
            click.echo("\n".join(["", *before_after_lines(done.changed, every=True), ""]))
        click.echo(f"Wrote {files.profile}, {files.report.name} and {files.card.name}")
        if done.started:
            names = ", ".join(folder.name for folder in done.started)
            told = f"The entry pages of {names} now start from this profile and ask for less."
            click.echo(click.wrap_text(told, 80))


def _refuse_of_one(given: Mapping[str, object]) -> None:
    wrong = [name for name, value in given.items() if value]
    if wrong:
        raise click.UsageError(f"{' and '.join(wrong)} cannot go with --each or --each-machine.")


def _fit_tree(
    ctx: click.Context,
    folders: tuple[Path, ...],
    by_machine: bool,
    jobs: int | None,
    public: bool,
    as_json: bool,
) -> None:
    from dataclasses import asdict

    from coupons.batch import BatchOutcome, BatchStopped, fit_each
    from coupons.showing.words.batch_table import batch_lines

    try:
        done = fit_each(folders, by_machine=by_machine, jobs=jobs, public=public)
    except BatchStopped as stop:
        told = f"Stopped; {stop.done} of {stop.of} done. The same command goes on from here."
        click.echo(told, err=True)
        ctx.exit(1)
    if as_json:
        click.echo(json.dumps([asdict(one) for one in done], indent=1, default=str))
    else:
        rows = [(str(one.where), str(one.outcome), one.said) for one in done]
        click.echo("\n".join(batch_lines(rows)))
    if any(one.outcome in (BatchOutcome.FAILED, BatchOutcome.IN_PART) for one in done):
        ctx.exit(1)


def _data(learned: "Learned", path: Path) -> dict[str, object]:
    from dataclasses import asdict

    from coupons.learning.without import row_name, run_name
    from coupons.measuring.run.differing import differences
    from coupons.showing.words.fit_summary import shared_slips
    from coupons.showing.words.print_gains import job_sentences, prints_data
    from coupons.showing.words.proof import proof_data, scores_of

    surprises = asdict(learned.surprises)
    for one in surprises["found"]:
        one["without"] = row_name(learned.runs, one["run"], one["row"])
    drifts = [asdict(one) | {"found": one.is_found} for one in learned.drifts]
    differing = [asdict(one) for one in differences(learned.runs)]
    proofs = scores_of(learned.runs)
    return {
        "profile": str(path),
        "first": [{"what": head, "how": text} for head, text in learned.steps],
        **({"differs_in": differing} if differing else {}),
        **({"prints": prints_data(learned.prints)} if learned.prints else {}),
        **({"jobs": said} if (said := job_sentences(learned.runs)) else {}),
        **({"proofs": proof_data(proofs)} if proofs else {}),
        "causes": asdict(learned.causes),
        "unexpected": surprises,
        "shared_slips": [
            {"where": where, "what": one.what, "todo": one.todo}
            for where, one in shared_slips(learned)
        ],
        "held_out": asdict(learned.held_out),
        **({"drifts": drifts} if drifts else {}),
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
