"""What a terminal says at the bench: the next task, what is known, when it is enough."""

from coupons.answering.next.bench import Bench
from coupons.answering.next.guide import ENOUGH, MORE, known
from coupons.making.record import CouponTrial
from coupons.measuring.run.entries import SizeEntry

HELP = (
    "grade: no-go, force, push, slide, loose (the first letter will do); if you only",
    "  know whether it goes in: go, or stop (it does not)",
    "reading: a number in mm, or in inches as 0.312 in",
    "skip, undo, row (leave out the rest of it), quit, or an id, to go there",
)
SHORT = {"n": "no-go", "f": "force", "p": "push", "s": "slide", "l": "loose"}


def prompt_for(bench: Bench, number: int) -> str:
    """Return what is asked of one task."""
    asks = "grade" if isinstance(bench.tasks[number], CouponTrial) else "reading, mm"
    return f"  {asks}"


def known_lines(bench: Bench) -> list[str]:
    """Return each wanted number so far, and what more entries would bring."""
    if bench.guide is None or bench.now is None:
        return []
    so_far, chosen = known(bench.guide, bench.now), bench.guide.weights(bench.choice)
    lines = [
        f"  {want.name:<42}{value:>6.2f} ± {half:.2f} mm"
        + (f", {want.grade} with {100 * chance:.0f} %" if want.grade else "")
        for want, value, half, chance, counts in zip(
            bench.guide.wants,
            so_far.values_mm,
            so_far.halves_mm,
            so_far.chances,
            chosen,
            strict=True,
        )
        if counts
    ]
    return [*lines, "  Provisional: the answer is what `coupons fit` says."]


def brings_words(bench: Bench) -> str:
    """Return what the next entries would bring, and whether it is enough."""
    share = bench.brings()
    if share is None:
        return ""
    words = f"{MORE} more entries would narrow the gaps by {100 * share:.0f} %"
    if bench.sheet.entries and share < ENOUGH:
        return f"Enough: {words}, less than {100 * ENOUGH:.0f} %. Type quit to stop here."
    return f"{words}."


def end_lines(bench: Bench, added: int, folder: str) -> list[str]:
    """Return what was done in a session, what is left, and what to do next."""
    made, left = len(bench.sheet.entries), len(bench.tasks) - len(bench.done)
    lines = [f"{added} {'entry' if added == 1 else 'entries'} added to {bench.sheet.path}"]
    if not left:
        lines.append(
            f"All {len(bench.tasks)} trials and readings are done: nothing is left to try."
        )
    elif made:
        lines.append(
            f"{left} of {len(bench.tasks)} trials and readings are left; you may stop here."
        )
    read = any(isinstance(entry, SizeEntry) for entry in bench.sheet.entries)
    if read and any(row.kind == "zero" and row.is_blank for row in bench.sheet.rows):
        lines.append("Close the jaws and type what the caliper shows into the row of kind zero.")
    if not made:
        return [*lines, f"Nothing is entered yet. Next: coupons try {folder}"]
    return [*lines, f"Next: coupons check {folder}, then coupons fit {folder}"]
