"""What the states on the board mean, and what to do about each."""

from collections.abc import Sequence

from coupons.showing.board.machine_rows import MachineRow

_MEANINGS = {
    "rehearsed": "from a virtual printer, not for real parts.",
    "doubted": (
        "its re-checks, or its values themselves, say that the machine is not as its profile says. "
        "Gaps and chances are still those of the profile; the machine's page says what to do."
    ),
    "watch": "its last re-check looks like a changed machine, or like a single odd print.",
    "stale": "printed more than {days} days ago, and not confirmed since: print a re-check.",
    "undated": (
        "without a print date, so nobody knows how old it is. Fill in printed_on in "
        "conditions.toml and fit again."
    ),
    "future date": "printed_on lies in the future: correct it in conditions.toml and fit again.",
}


def state_notes(rows: Sequence[MachineRow], stale_after_days: int) -> list[str]:
    """Explain each state that a row is in, and that is not as it should be."""
    found = {state for row in rows for state in row.states}
    return [
        f"{state}: {text.format(days=stale_after_days)}"
        for state, text in _MEANINGS.items()
        if state in found
    ]
