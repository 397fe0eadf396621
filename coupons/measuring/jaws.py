"""What flat inside jaws do in a bore: their edges bridge a chord, so they read too small."""

import math


def bore_from_reading(reading_mm: float, land_mm: float) -> float:
    """Return the diameter of a bore from what inside jaws with flat edges read in it.

    Parameters
    ----------
    reading_mm : float
        What the caliper shows, > 0.
    land_mm : float
        Width of the flat on the jaws' edges, ≥ 0.

    Returns
    -------
    float
        √(reading² + land²), by Pythagoras: the two flats are opposite sides of a rectangle
        inscribed in the bore (derived; no published formula found).

    Examples
    --------
    >>> round(bore_from_reading(4.975, 0.5), 3)
    5.0
    """
    return math.hypot(reading_mm, land_mm)
