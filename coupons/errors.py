"""Every error that the package raises on purpose.

::

    CouponError                 root; carries one or more Problems
    ├── SpecError               a coupon spec that cannot be made
    ├── PlanError               a coupon that does not fit its bed or its own rules
    ├── RunError                a run folder that is missing, incomplete or would be overwritten
    ├── ConditionsError         conditions.toml
    ├── EntriesError            entries.csv
    ├── FitError                observations that no model can be fitted to
    ├── ProfileError            profile.json
    ├── WriteError              a file that cannot be written, or that is somebody's own
    └── AnswerError             a question that has no answer as asked
        └── NotMeasuredError    the profile holds no evidence on what is asked

Anything else that escapes is a fault of ours and keeps its traceback. ``DoubtWarning`` is no error:
what was read can be used, and should not be trusted.
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
        What should have stood there and what did. Empty if a sentence in ``expected`` says it all.
    todo : str
        What to do about it.
    """

    where: str
    expected: str
    got: str = ""
    todo: str = ""

    def __str__(self) -> str:
        """One line for a person, whatever characters stand in the input."""
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
        A plain sentence, or every problem that was found.
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
    """A file that cannot be written, or that would replace what somebody else wrote."""


class AnswerError(CouponError):
    """A question that has no answer as it was asked."""


class NotMeasuredError(AnswerError):
    """A question on which the profile holds no evidence."""


class DoubtWarning(UserWarning):
    """Something was read that can hardly be so; the command line says it on stderr."""
