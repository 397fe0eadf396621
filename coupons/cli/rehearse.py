"""``coupons rehearse``: fill in a run from a virtual printer."""

from pathlib import Path

import click


@click.command("rehearse")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--machine",
    help="A shipped virtual machine (bench-1, bench-2, attic-1) or the path of a TOML file; by "
    "default the one with the run's machine name, or bench-1.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    help="Seed of the random numbers; by default 1, or the number of the job among those made "
    "together, as jobs differ.",
)
def command(folder: Path, machine: str | None, seed: int | None) -> None:
    """Fill in a run from a virtual printer, to see the whole job before printing.

    The run stays marked as rehearsed, and everything made from it says so. Entries that were typed
    are never overwritten. The same seed makes the same entries.
    """
    from coupons.measuring.virtual.rehearsal import namesake, rehearse, seed_of

    machine = machine or namesake(folder)
    seed = seed_of(folder) if seed is None else seed
    found = rehearse(folder, machine, seed)
    text = (
        f"{len(found.grades)} fit trials and {len(found.readings_mm)} caliper readings filled in"
        f" from the virtual machine {machine}, seed {seed}."
    )
    click.echo(click.wrap_text(text, 80))
    click.echo("This run is rehearsed, not measured; its conditions say so.")
    click.echo(f"Next: coupons check {folder}, then coupons fit {folder}")
