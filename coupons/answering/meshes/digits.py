"""How far the numbers of a file are rounded, where it was written as text with few digits.

Many programs write six digits, or three or four behind the point. Corners of a face are then
farther off one plane than numbers of 32 bits would put them.
"""

import numpy as np

from coupons.answering.meshes.body import Floats

_DIGITS = 6
_DECIMALS = (3, 4)
_BITS = 2.0**-23  # of a number of 32 bits: the text may have been read into these
_CLEAR = 0.2  # of a unit of the last digit: with less left by 32 bits, the digit can be told
_FEW = 24  # numbers, of which too many may fall on short ones by chance
_SAMPLE = 3000
_EXACT = 1e-6  # of a unit: numbers of 64 bits
_SHORT, _MOSTLY = 0.05, 0.5


def rounding_of(numbers: Floats) -> float:
    """Return half a unit of the last digit in which the largest of some numbers are written.

    It is 0 where they have more digits, and where fewer than half of them need the last digit: a
    designer's own numbers are short and exact.

    Parameters
    ----------
    numbers : ndarray of float
        All coordinates of a mesh.

    Examples
    --------
    >>> turned = 20 * np.sin(np.arange(100.0))
    >>> rounding_of(np.array([float(f"{one:.6g}") for one in turned]))
    5e-05
    >>> rounding_of(turned), rounding_of(np.arange(100.0))
    (0.0, 0.0)
    """
    sizes = np.abs(numbers.ravel())
    # Most files can be told by a few of their numbers.
    for some in (sizes[:: max(1, len(sizes) // _SAMPLE)], sizes):
        some = some[some > 0]
        if len(some) < _FEW:
            return 0.0
        digits = 10.0 ** (np.floor(np.log10(some) + 1e-12) - (_DIGITS - 1))
        decimals = [np.full_like(some, 10.0**-place) for place in _DECIMALS]
        found = max(_last_unit(some, units) for units in (digits, *decimals))
        if not found:
            return 0.0
    return found / 2


def _last_unit(sizes: Floats, units: Floats) -> float:
    """Return the largest unit if numbers are whole multiples of theirs, most not of ten; else 0."""
    counts = sizes / units
    off = np.abs(counts - np.rint(counts))
    noise = counts * _BITS + _EXACT
    if (off > _EXACT).any() and (noise.max() >= _CLEAR or (off > noise).any()):
        return 0.0
    is_short = np.abs(counts / 10 - np.rint(counts / 10)) < _SHORT
    return float(units.max()) if is_short.mean() <= _MOSTLY else 0.0
