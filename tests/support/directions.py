"""The directions of the house as unit vectors."""

import math

DIAGONAL = math.sqrt(0.5)
VECTORS = {
    "x": (1, 0, 0),
    "y": (0, 1, 0),
    "z": (0, 0, 1),
    "x+y": (DIAGONAL, DIAGONAL, 0),
    "x-y": (DIAGONAL, -DIAGONAL, 0),
}
