"""What a check has to say about a run."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Finding:
    """One thing to correct (*error*) or to look at (*look*: it may well be right).

    Parameters
    ----------
    severity : {"error", "look"}
    where : str
        File and place, for example ``entries.csv row 14 (A3)``.
    what, todo : str
        What is odd, and what to do about it; each a sentence without its full stop.
    """

    severity: Literal["error", "look"]
    where: str
    what: str
    todo: str
