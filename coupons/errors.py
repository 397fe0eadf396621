"""All errors that the package raises on purpose.

::

    CouponError                 root; holds one or more Problems
    ├── SpecError               a coupon spec that cannot be made
    ├── PlanError               a coupon that does not fit its bed or its own rules
    ├── RunError                a run folder that is missing, incomplete or would be overwritten
    ├── ConditionsError         conditions.toml
    ├── EntriesError            entries.csv
    ├── FitError                observations that no model can be fitted to
    ├── ProfileError            profile.json
    ├── WriteError              a file that cannot be written, or that the tool did not write
    ├── BodyError               a mesh file that cannot be used as a body
    └── AnswerError             a question that cannot be answered as asked
        ├── NotMeasuredError    the profile has almost no data on what is asked
        └── UntriedError        the two bodies are of materials that nobody tried together

Any other exception is a bug and keeps its traceback. ``DoubtWarning`` is not an error: what was
read can be used, but is doubtful.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from coupons.neutral import one_line


@dataclass(frozen=True)
class Problem:
    """One thing wrong with an input.

    Parameters
    ----------
    where : str
        File and place, for example ``entries.csv row 14``.
    expected, got : str
        What was expected and what came. ``got`` is empty if ``expected`` says it all.
    todo : str
        What to do about it.
    """

    where: str
    expected: str
    got: str = ""
    todo: str = ""

    def __str__(self) -> str:
        """Return one line, whatever characters are in the input."""
        return one_line(self._sentence())

    def _sentence(self) -> str:
        line = f"{self.where}: expected {self.expected}"
        if self.got:
            line += f", got {self.got}"
        line = f"{line}. {self.todo}".rstrip(" .")
        return line if line.endswith(("?", "…")) else f"{line}."


class CouponError(Exception):
    """Root of all errors of this package.

    Parameters
    ----------
    problems : str or iterable of Problem
        A plain sentence, or all problems that were found.
    """

    problems: tuple[Problem, ...]
    message: str

    def __init__(self, problems: str | Iterable[Problem]) -> None:
        if isinstance(problems, str):
            self.problems, self.message = (), problems
        else:
            self.problems = tuple(problems)
            self.message = "\n".join(map(str, self.problems))
        super().__init__(self.message)


class SpecError(CouponError):
    """A coupon spec that cannot be read or made."""


class PlanError(CouponError):
    """A coupon that does not fit the bed, or whose geometry breaks a rule."""


class RunError(CouponError):
    """A run folder that is missing, incomplete or would be overwritten."""


class ConditionsError(CouponError):
    """A conditions.toml that cannot be used."""


class EntriesError(CouponError):
    """An entries.csv that cannot be used."""


class FitError(CouponError):
    """Observations that no model can be fitted to."""


class ProfileError(CouponError):
    """A profile.json that cannot be used."""


class WriteError(CouponError):
    """A file that cannot be written, or that would replace one the tool did not write."""


class BodyError(CouponError):
    """A mesh file that cannot be used as a body."""


class AnswerError(CouponError):
    """A question that cannot be answered as asked."""


class NotMeasuredError(AnswerError):
    """A question on which the profile has almost no data."""


class UntriedError(AnswerError):
    """A joint of two materials that nobody tried together."""


class DoubtWarning(UserWarning):
    """Something implausible was read; the command line reports it on stderr."""
