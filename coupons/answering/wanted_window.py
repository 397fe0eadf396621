"""What decides a question: rows of the wanted window, and the normals that its interval is of."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.next_print import variance_parts
from coupons.answering.chances.own_spread import with_own
from coupons.answering.chances.prints import Prints
from coupons.answering.question import Question
from coupons.terms import GRADES, Grade

Array = NDArray[np.floating]


def next_grade(grade: Grade) -> Grade | None:
    """Return the next looser grade; None after the loosest."""
    rank = GRADES.index(grade) + 1
    return GRADES[rank] if rank < len(GRADES) else None


def interval_mixture(
    cases: Sequence[Clearance], question: Question, covariance: Array | None = None
) -> tuple[Array, Array, Array]:
    """Return the normals whose mixture a question's interval is of.

    Parameters
    ----------
    cases : sequence of Clearance
        From `clearances`, at one gap.
    question : Question
    covariance : ndarray of shape (n_terms, n_terms), optional
        How well the terms of the profile that is asked are known, if otherwise than it says.

    Returns
    -------
    means, variances, weights : ndarray of shape (n,)
        In mm and mm².
    """
    wanted_mm = question.printed_gap_mm or 0.0
    means, variances, weights = [], [], []
    for one in cases:
        row = window_row(one, question)
        of_machine = None if covariance is None else _of_machines(one.prints, row, covariance)
        squares, shares = interval_variances(one, question, row, of_machine)
        margin_mm = float(one.given_mm[0] + row[0] @ one.prints.mean_vector)
        means.append(np.full(len(squares), one.gaps_mm[0] + wanted_mm - margin_mm))
        variances.append(squares)
        weights.append(shares / len(cases))
    return np.concatenate(means), np.concatenate(variances), np.concatenate(weights)


def _of_machines(prints: Prints, row: Array, covariance: Array) -> float:
    """Variance of a row in mm², with another covariance of the first profile's terms."""
    parts = [(terms[0], profile.covariance_matrix) for profile, terms, _ in prints.by_profile(row)]
    (first, _), *others = parts
    known = [(first, covariance), *others]
    return sum(float(terms @ matrix @ terms) for terms, matrix in known)


def interval_variances(
    clearance: Clearance, question: Question, row: Array, of_machine: float | None = None
) -> tuple[Array, Array]:
    """Variances in mm² of the normals whose mixture a question's interval is of, with weights.

    Parameters
    ----------
    clearance : Clearance
        At one gap.
    question : Question
    row : ndarray of shape (1, n_prints · n_terms)
        From `window_row`.
    of_machine : float, optional
        Variance that is not known of the machine, if another than the profile leaves.
    """
    prints = clearance.prints
    known, of_print, weights = variance_parts(prints, row)
    variances = (known if of_machine is None else of_machine) + of_print
    variances = variances + clearance.size_doubt
    if question.printed_gap_mm is None:
        variances = variances + clearance.feel_doubt
    else:  # what one pair measures, own deviations and all
        variances, weights = with_own(variances, weights, clearance.own.variance_rule(prints))
    return variances[:, 0], weights


def window_row(clearance: Clearance, question: Question) -> Array:
    """Rows of what decides a question: clearance − middle of the wanted window.

    Where the window has no upper edge, or its lower one is asked for, clearance − lower edge; for a
    printed gap, that gap.
    """
    if question.printed_gap_mm is not None:
        return clearance.printed_rows
    lower = clearance.margin_row(question.fit)
    above = next_grade(question.fit)
    if above is None or asks_for_edge(question):
        return lower
    middle: Array = (lower + clearance.margin_row(above)) / 2
    return middle


def asks_for_edge(question: Question) -> bool:
    """Tell whether an answer is about where a grade begins, not about its middle."""
    if question.printed_gap_mm is not None:
        return False
    return question.at_least is not None or question.fit is GRADES[-1]
