"""The Python way to ask: load a profile, ask it."""

from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from coupons.answering.offset import Answer, Question, answer
from coupons.errors import AnswerError
from coupons.learning.profile import Profile, read_profile
from coupons.terms import Direction, Form, Gives, Grade, Joint

Word = TypeVar("Word", bound=StrEnum)


@dataclass(frozen=True)
class Printer:
    """A printer as its profile knows it.

    Parameters
    ----------
    profile : Profile
    """

    profile: Profile

    def offset(
        self,
        joint: str,
        *,
        size_mm: float,
        along: str,
        fit: str = "slide",
        gives: str = "external",
        at_least: float | None = None,
        drawn_gap_mm: float | None = None,
    ) -> Answer:
        """Say how far to move which face of a joint.

        Parameters
        ----------
        joint : str
            Internal and external form, such as ``"slot/tongue"`` or ``"hole/pin"``.
        size_mm : float
            Nominal size.
        along : str
            Printer axis across the faces of a flat joint, along the axis of a round one.
        fit : str
            ``"force"``, ``"push"``, ``"slide"`` or ``"loose"``.
        gives : str
            The body whose faces move: ``"internal"``, ``"external"`` or ``"both"``.
        at_least : float, optional
            Ask for the smallest gap that goes at least this easily with this chance.
        drawn_gap_mm : float, optional
            Ask about a gap that is drawn already.

        Raises
        ------
        AnswerError
            If a word is not known or the wish makes no sense.
        NotMeasuredError
            If the profile holds no evidence on it.
        """
        question = Question(
            parse_joint(joint, size_mm, along),
            known(Grade, fit, "fit"),
            known(Gives, gives, "body that gives way"),
            at_least,
            drawn_gap_mm,
        )
        return answer(self.profile, question)


def load_profile(path: str | Path) -> Printer:
    """Load a profile to ask it.

    Parameters
    ----------
    path : str or Path
        A ``profile.json``.

    Raises
    ------
    ProfileError
        If it cannot be read as a profile.
    """
    return Printer(read_profile(Path(path)))


def parse_joint(text: str, size_mm: float, along: str) -> Joint:
    """Read ``slot/tongue`` with its size and direction.

    Raises
    ------
    AnswerError
        If the text is not two forms with a stroke between.
    """
    parts = text.strip().lower().split("/")
    if len(parts) != 2:
        raise AnswerError(
            f"A joint is written internal/external, such as slot/tongue, not {text!r}."
        )
    internal, external = (known(Form, part, "form") for part in parts)
    return Joint(internal, external, size_mm, known(Direction, along, "direction"))


def known(words: type[Word], text: str, what: str) -> Word:
    """Return the word of a vocabulary that a text is.

    Raises
    ------
    AnswerError
        With all words, and the nearest one.
    """
    try:
        return words(text.strip().lower())
    except ValueError:
        near = get_close_matches(text.strip().lower(), list(words), 1)
        hint = f" Did you mean {near[0]}?" if near else ""
        listed = ", ".join(words)
        raise AnswerError(f"Expected a {what} ({listed}), got {text!r}.{hint}") from None
