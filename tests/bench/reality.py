"""What a virtual machine makes of a drawn gap or size: chances over its prints, and what is best.

*Oracle*: knows the machine, and draws what succeeds most often over its prints. *Best of n prints*:
knows all of the machine but what the prints that it saw had of their own. It saw n prints without
any error and takes their mean for the machine's; nothing known beforehand says what part of it was
theirs. It then draws what succeeds most often, its own doubt counted. That is what any posterior
comes to with many perfect trials on n prints and a wide prior on growth.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from bench.worlds import changed
from scipy.special import ndtr
from support.truth import drawn_pair, mean_clearance_mm, threshold_gap_mm, threshold_mm

from coupons.measuring.virtual.printer import clearance_mm, mean_sizes, print_once, shapes_of_drawn
from coupons.terms import Direction, Grade

N_PRINTS = 120
N_COPIES = 5  # of each pair in each print
TOLERANCE_MM = 0.04  # of a single size: 0.02 mm a face
_STEPS_MM = np.arange(-0.8, 1.6, 0.005)


@dataclass(frozen=True)
class Reality:
    """A quantity over prints: what is needed, what each print shifts, when it is a success.

    ``needed_mm`` is what to draw on average. ``shared_mm`` is what each of many prints moves it by,
    ``single_mm`` the same with what the pair or the feature has of its own, for another sample.
    ``low_mm`` and ``high_mm`` bound success about the middle, judged by ``judgement_mm``; what is
    drawn lies on ``grid_mm``.
    """

    needed_mm: float
    shared_mm: np.ndarray
    single_mm: np.ndarray
    low_mm: float
    high_mm: float
    judgement_mm: float
    grid_mm: np.ndarray

    @cached_property
    def _chances(self):
        """Chance of success at steps off what is needed."""
        off = _STEPS_MM[:, None] + self.single_mm
        sd = max(self.judgement_mm, 1e-9)
        return (ndtr((off - self.low_mm) / sd) - ndtr((off - self.high_mm) / sd)).mean(axis=1)

    def chance(self, drawn_mm):
        """Chance over prints that what is drawn succeeds."""
        return np.interp(np.asarray(drawn_mm) - self.needed_mm, _STEPS_MM, self._chances)

    @property
    def oracle(self):
        """Chance of what is best to draw for who knows the machine."""
        return float(self.chance(self.grid_mm).max())

    def best_of(self, n_prints, rng):
        """Mean chance of what is best to draw for who saw so many prints, and nothing wrong."""
        seen_mm = rng.choice(self.shared_mm, (2 * N_PRINTS, n_prints)).mean(axis=1)
        thought = np.mean([self.chance(self.needed_mm + _STEPS_MM - s) for s in seen_mm], axis=0)
        off_mm = self.grid_mm - self.needed_mm + seen_mm[:, None]
        drawn_mm = self.grid_mm[np.interp(off_mm, _STEPS_MM, thought).argmax(axis=1)]
        return float(self.chance(drawn_mm).mean())

    def held(self, low_mm, high_mm, single=False):
        """Share of prints of which an interval of what is needed holds."""
        needed_mm = self.needed_mm - (self.single_mm if single else self.shared_mm)
        return float(np.mean((low_mm <= needed_mm) & (needed_mm <= high_mm)))

    def squared_miss(self, told_mm, single=False):
        """Mean square over prints of what is told less what is needed."""
        moved_mm = self.single_mm if single else self.shared_mm
        return float(np.mean((told_mm - self.needed_mm + moved_mm) ** 2))


def grid_of(joint, layer_mm):
    """Return the gaps that can be drawn: whole layers across them, 0.01 mm on a face along them."""
    step_mm = layer_mm if joint.direction is Direction.Z and not _is_round(joint) else 0.02
    return np.round(np.arange(-0.4, 1.6, step_mm), 6)


def _is_round(joint):
    return joint.internal.value == "hole"


def realities(machine, questions, contact_mm, rng):
    """Print what is asked for many times, all of it in each print; one `Reality` a question.

    A joint succeeds if it slides, a size if it comes out within the tolerance. What is needed of a
    joint is a gap, of a size how much larger than wanted it is to be drawn.
    """
    parts, middles_mm, spans = [], [], []
    for asked in questions:
        drawn, at_mm = _drawn(machine, asked, contact_mm)
        spans.append(slice(len(parts), len(parts) + len(drawn)))
        parts, middles_mm = parts + drawn, middles_mm + at_mm
    one, many = (shapes_of_drawn(parts * n, middles_mm * n) for n in (1, N_COPIES))
    mean = mean_sizes(machine, one)
    nothing = {"feature_mm": 0.0, "feature_z_mm": 0.0, "blob_chance": 0.0}
    quiet = changed(machine, {"scatter": nothing})
    shared = [print_once(quiet, one, rng) for _ in range(N_PRINTS)]
    single = [print_once(machine, many, rng) for _ in range(N_PRINTS)]
    found = {}
    for asked, span in zip(questions, spans, strict=True):
        at = np.arange(len(parts))[span]
        of_mean = _measure(mean, at)
        copies = [at + n * len(parts) for n in range(N_COPIES)]
        moved = (
            np.array([_measure(sizes, at) for sizes in shared]) - of_mean,
            np.array([_measure(sizes, copy) for sizes in single for copy in copies]) - of_mean,
        )
        found[asked] = _reality(machine, asked, contact_mm, moved, parts[span.start], of_mean)
    return found


def _drawn(machine, asked, contact_mm):
    if asked.feature is not None:
        return [asked.feature], [1.0 + asked.feature.size_mm]
    return drawn_pair(asked.joint, np.mean(_window(machine, asked, contact_mm)), asked.bed)


def _window(machine, asked, contact_mm):
    """Return the gaps from which on a joint slides, and rattles, on average."""
    return [
        threshold_gap_mm(machine, asked.joint, grade, asked.bed, contact_mm)
        for grade in (Grade.SLIDE, Grade.LOOSE)
    ]


def _measure(sizes, at):
    """Return the clearance of a pair, or the size of a single feature."""
    if len(at) == 1:
        return float(sizes.mean_mm[at[0]])
    internal, external = (sizes.of(at[k : k + 1]) for k in (0, 1))
    return float(clearance_mm(internal, external)[0])


def _reality(machine, asked, contact_mm, moved, first, of_mean):
    if asked.feature is not None:
        bounds, judgement_mm = (-TOLERANCE_MM, TOLERANCE_MM), 0.0
        needed_mm, grid_mm = first.size_mm - of_mean, np.round(np.arange(-0.8, 0.8, 0.02), 6)
    else:
        needed_mm = float(np.mean(_window(machine, asked, contact_mm)))
        at_mm = mean_clearance_mm(machine, asked.joint, needed_mm, asked.bed)
        edges = (threshold_mm(machine, g, contact_mm) for g in (Grade.SLIDE, Grade.LOOSE))
        bounds, judgement_mm = tuple(edge - at_mm for edge in edges), machine.person.judgement_mm
        grid_mm = grid_of(asked.joint, machine.layer_height_mm)
    return Reality(needed_mm, *moved, *bounds, judgement_mm, grid_mm)
