"""How far the next print may differ: what is not known of the printer, and that print's own part.

How much prints differ is itself known only roughly (log-normal), so that a chance about the next
print is a small weighted sum of normal ones.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupons.answering.chances.prints import Prints, prints_of
from coupons.learning.effects import prior_sd
from coupons.learning.profile import Profile

Array = NDArray[np.floating]


# Scatters between prints that are averaged over, of all that move an answer: the two largest.
_MOST_AVERAGED = 2
_LEAST_SHARE = 0.01
# A half width whose last step was smaller than this share of it has all digits that matter.
_STEP_SHARE = 1e-9
_TWO_DENSITIES = np.sqrt(2 / np.pi)


def variances(made: Profile | Prints, rows: Array) -> tuple[Array, Array]:
    """Variance of ``rows`` · terms for the next print, at nodes of the print-to-print scatters.

    Parameters
    ----------
    made : Profile or Prints
        A profile stands for one print of its printer.
    rows : ndarray of shape (n, n_prints · n_terms)

    Returns
    -------
    variances : ndarray of shape (n_nodes, n)
        In mm².
    weights : ndarray of shape (n_nodes,)
    """
    of_machine, of_print, weights = variance_parts(made, rows)
    return of_machine + of_print, weights


def variance_parts(made: Profile | Prints, rows: Array) -> tuple[Array, Array, Array]:
    """Return `variances` in two parts, and the weights.

    The first is what is not known of the machine; it goes with the scatters too (see
    `coupons.learning.print_effects`). The second is what the next print has of its own. Both have
    shape (n_nodes, n).
    """
    first, *others = (_of_printer(*part) for part in prints_of(made).by_profile(rows))
    for other in others:  # what is not known of one printer has nothing to do with another
        first = _outer(first, other)
    return first


def _of_printer(
    profile: Profile, terms: Array, acts: Sequence[Array]
) -> tuple[Array, Array, Array]:
    """Return both parts of the variance, and the weights, that one printer brings."""
    taught = profile.taught_shift
    squares = sum(act**2 for act in acts)
    nodes = profile.print_nodes(scatters_that_count(profile, np.asarray(squares)))
    by_print = terms @ taught.slope
    moved = np.sum((by_print @ nodes.taught) * by_print, axis=-1)
    of_machine = np.sum((terms @ taught.root) ** 2, axis=1) + moved
    return of_machine, nodes.squares @ np.asarray(squares).T, nodes.weights


def _outer(
    one: tuple[Array, Array, Array], other: tuple[Array, Array, Array]
) -> tuple[Array, Array, Array]:
    machines, prints = (
        (a[:, None] + b[None]).reshape(-1, a.shape[1]) for a, b in zip(one[:2], other, strict=False)
    )
    return machines, prints, np.outer(one[2], other[2]).ravel()


def scatters_that_count(profile: Profile, act_squares: Array) -> tuple[str, ...]:
    """Name the scatters between prints that move some rows most, the largest first.

    Parameters
    ----------
    profile : Profile
    act_squares : ndarray of shape (n, n_print_effects)
        Squares of how print effects act on each row, summed over the prints.
    """
    squares = profile.print_squares
    moved: dict[str, float] = {}
    of_effects = act_squares.max(axis=0) * squares
    for effect, square in zip(profile.prior_table.prints, of_effects, strict=True):
        moved[effect.scatter] = moved.get(effect.scatter, 0.0) + float(square)
    least = _LEAST_SHARE * sum(moved.values())
    names = sorted((name for name in moved if moved[name] > least), key=lambda n: -moved[n])
    return tuple(names[:_MOST_AVERAGED])


def prior_of_next_print(profile: Profile) -> tuple[Array, Array]:
    """Return what a profile knows beforehand of the terms as the next print will have them.

    A print is a machine whose terms are moved by what that print has of its own. Whoever tries the
    next print starts from here, and not from the table of priors.

    Parameters
    ----------
    profile : Profile

    Returns
    -------
    mean : ndarray of shape (n_terms,)
    covariance : ndarray of shape (n_terms, n_terms)
        Of the machine's terms, and of the print's own effects at their mean squares; in the order
        of `coupons.learning.effects.TERMS`.

    Examples
    --------
    >>> from coupons import load_profile
    >>> profile = load_profile("results/filter-drawer/profile.json").profile
    >>> mean, covariance = prior_of_next_print(profile)
    >>> bool((np.diag(covariance) >= np.diag(profile.covariance_matrix)).all())
    True
    """
    squares = profile.print_squares
    moves = profile.print_moves
    return profile.mean_vector, profile.covariance_matrix + (moves * squares) @ moves.T


def learned_share(made: Profile | Prints, rows: Array) -> Array:
    """Return posterior over prior variance of ``rows`` · terms: 1 where nothing was learned.

    It is 1 as well for a sum of terms that the profile's model does not have. Of several printers
    the one counts of which least was learned.

    Parameters
    ----------
    made : Profile or Prints
    rows : ndarray of shape (n, n_prints · n_terms)

    Returns
    -------
    ndarray of shape (n,)
    """
    shares = [
        _left(profile, terms)
        for profile, terms, _ in prints_of(made).by_profile(rows)
        if terms.any()
    ]
    return np.max(shares, axis=0) if shares else np.ones(len(rows))


def _left(profile: Profile, rows: Array) -> Array:
    before = rows**2 @ prior_sd(profile.prior_table) ** 2
    after = np.sum((rows @ profile.covariance_matrix) * rows, axis=1)
    return np.asarray(np.divide(after, before, out=np.ones(len(before)), where=before > 0))


def interval(
    means: Array, variances: Array, weights: Array, share: float = 0.90
) -> tuple[float, float]:
    """Return the central interval of a mixture of normals, by bisection.

    Parameters
    ----------
    means, variances, weights : ndarray of shape (n,)

    Examples
    --------
    >>> means, ones = np.array([-10.0, 10.0]), np.ones(2)
    >>> [round(end, 2) for end in interval(means, ones, ones / 2)]
    [-11.28, 11.28]
    """
    if np.ptp(means) == 0:
        half = half_width(variances, weights, share)
        return float(means[0]) - half, float(means[0]) + half
    sds = np.sqrt(variances)
    ends = []
    for part in ((1 - share) / 2, (1 + share) / 2):
        low, high = float(np.min(means - 10 * sds)), float(np.max(means + 10 * sds))
        for _ in range(60):
            middle = (low + high) / 2
            below = float(weights @ ndtr((middle - means) / sds))
            low, high = (middle, high) if below < part else (low, middle)
        ends.append(high)
    return ends[0], ends[1]


def half_width(variances: Array, weights: Array, share: float = 0.90) -> float:
    """Half width of the central interval of a mixture of normals with one mean.

    The share inside is concave in the half width: Newton's steps from 0 rise to the end and never
    pass it.

    Examples
    --------
    >>> round(half_width(np.array([1.0]), np.array([1.0])), 3)
    1.645
    """
    sds = np.sqrt(variances)
    half, step = 0.0, np.inf
    while step > _STEP_SHARE * half:
        left = 2 * float(weights @ ndtr(-half / sds)) - (1 - share)
        step = left / float(weights @ (_TWO_DENSITIES * np.exp(-((half / sds) ** 2) / 2) / sds))
        half += step
    return half
