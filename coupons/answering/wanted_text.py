"""Wants as people type them: a joint to be known, and how far."""

import re

from coupons.answering.joint_text import parse_joint
from coupons.answering.lengths import length_mm
from coupons.answering.question import Question
from coupons.answering.typed_words import known
from coupons.errors import AnswerError, Problem
from coupons.terms import FITS

_EXAMPLE = "slide slot/tongue across x at 12 within 0.03"
_FORM = re.compile(
    r"(?P<fit>\S+)\s+(?P<joint>[^\s/]+\s*/\s*[^\s/]+)"
    r"\s+(?:across|axis along|along)\s+(?P<across>\S+)"
    r"\s+at\s+(?P<size>\S+?)(?:\s*mm)?(?:\s+within\s+(?P<within>\S+?)(?:\s*mm)?)?",
    re.IGNORECASE,
)
_MOST_MM = 1.0


def parse_want(text: str) -> tuple[Question, float | None]:
    """Read a want such as ``slide slot/tongue across x at 12 within 0.03``.

    Parameters
    ----------
    text : str
        A fit, a joint, the axis across its faces (of a round one, along its axis), its size in mm,
        and if it is said within how many mm the gap is to be known: half of its 90 % interval.

    Returns
    -------
    question : Question
    within_mm : float or None

    Raises
    ------
    AnswerError
        If it cannot be read.

    Examples
    --------
    >>> question, within_mm = parse_want("push hole/pin across z at 8 within 0,05")
    >>> question.name, within_mm
    ('push hole/pin 8 mm axis along z', 0.05)
    """
    where = f"--want {text.strip()[:80]!r}"
    found = _FORM.fullmatch(text.strip())
    if found is None:
        several = text.count("/") > 1 or ";" in text
        todo = "Give one joint a --want, and --want once for each" if several else ""
        raise AnswerError([Problem(where, f"a want such as {_EXAMPLE!r}", todo=todo)])
    size_mm = length_mm(found["size"])
    within_mm = length_mm(found["within"]) if found["within"] else None
    problems = []
    if size_mm is None:
        problems.append(Problem(where, "a size in mm after 'at'", repr(found["size"])))
    if found["within"] and (within_mm is None or not 0 < within_mm <= _MOST_MM):
        expected = f"more than 0 and up to {_MOST_MM:g} mm after 'within'"
        problems.append(Problem(where, expected, repr(found["within"])))
    if problems or size_mm is None:
        raise AnswerError(problems)
    joint = parse_joint(re.sub(r"\s", "", found["joint"]), size_mm, found["across"])
    return Question(joint, known(FITS, found["fit"], "fit")), within_mm
