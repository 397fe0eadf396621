"""The condition for a joint of several pairs of faces to fit, from the terms of its printers."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from coupons.answering.chances.clearance import Clearance, drawn_sizes
from coupons.answering.chances.demand import Demand
from coupons.answering.chances.extrapolation import size_variance
from coupons.answering.chances.next_print import variances
from coupons.answering.chances.own_spread import OWN_SCATTERS, OwnSpread
from coupons.answering.chances.prints import N_TERMS, MadeFrom
from coupons.answering.chances.whole import Linear, Spread, Whole
from coupons.answering.offset import clearances
from coupons.answering.several.kinds import JointKind, Several
from coupons.learning.effects import EFFECTS, THRESHOLDS, distance_row, effect_row, height_share
from coupons.learning.profile import Profile
from coupons.terms import GRADES, INTERNAL, Direction, Feature, Form, Grade

Array = NDArray[np.floating]

# How far apart two like features of one body come to lie beside what the scale of their print
# does, as a share of the distance: as large as the scale of one print differs from the next.
# Common practice, no source.
DRIFT_SHARE = 0.0002
_PER_STRAIN = 1.5  # strain of a beam's root is 1.5 · thickness · deflection / length²


def whole_demand(
    profile: Profile, asked: Several, gaps_mm: tuple[float, ...], made: MadeFrom | None = None
) -> Demand:
    """Return the demand that a joint, each pair drawn with a gap, fits as a whole.

    Parameters
    ----------
    profile : Profile
    asked : Several
    gaps_mm : tuple of float
        Of each of ``asked.pairs``.
    made : MadeFrom, optional
        Which of all prints of a part its bodies come from; no others if not given.
    """
    made = made or asked.made(profile)
    of_pairs = [
        clearances(profile, pair, np.array([gap_mm]), made)
        for pair, gap_mm in zip(asked.pairs, gaps_mm, strict=True)
    ]
    n_cases = max(map(len, of_pairs))
    first, *others = (
        Demand(
            None, None, 1.0, whole=_Builder(asked, made, [of[n % len(of)] for of in of_pairs]).whole
        )
        for n in range(n_cases)
    )
    return replace(first, or_else=tuple(others))


def pitch_difference(profile: Profile, asked: Several) -> tuple[float, float]:
    """Return by how much the pitch of the internal body prints larger, and its sd, in mm."""
    made = asked.made(profile)
    row = _pitch_row(asked, made)
    spread, weights = variances(made.prints, row[None, :])
    own = _pitch_own(asked, made)
    square = float(weights @ spread[:, 0]) + own.mean_square(made.prints)
    return float(row @ made.prints.mean_vector), float(np.sqrt(square))


class _Builder:
    """Puts the parts of one case together."""

    def __init__(self, asked: Several, made: MadeFrom, pairs: list[Clearance]) -> None:
        self.asked, self.made, self.pairs = asked, made, pairs
        self.n_own = 3 if asked.kind is JointKind.HOLES else 2
        self.n_scatters = len(OWN_SCATTERS) * len(made.prints.profiles)

    @property
    def whole(self) -> Whole:
        clear, own, plays = {JointKind.HOLES: self._holes, JointKind.LEGS: self._legs}.get(
            self.asked.kind, self._two_pairs
        )()
        others, others_own = self._strain()
        judged = OwnSpread(0, 0, 1.0, max(pair.feel_doubt for pair in self.pairs))
        return Whole(
            clearances=clear,
            own=own,
            plays=plays,
            thresholds=self._thresholds(),
            judged=self._spread([judged]),
            corner_mm=self._corner_mm(),
            others=others,
            others_own=others_own,
        )

    def _corner_mm(self) -> float:
        excess_mm = self.asked.corners.excess_mm
        if excess_mm <= 0:  # faces meet first
            return -np.inf
        return excess_mm - float(np.mean([pair.gaps_mm[0] for pair in self.pairs])) / 2

    def _two_pairs(self) -> tuple[Linear, Spread, tuple[tuple[int, ...], ...]]:
        lengths = [self._length(float(p.given_mm[0]), p.rows[0]) for p in self.pairs]
        own = self._spread([self._pair_own(pair) for pair in self.pairs])
        return self._linear(lengths, np.eye(2)), own, ((0,), (1,))

    def _holes(self) -> tuple[Linear, Spread, tuple[tuple[int, ...], ...]]:
        """Two pins in two holes: each in its own, and both along the pitch, either way off."""
        pair = self.pairs[0]
        given_mm, row = float(pair.given_mm[0]), pair.rows[0]
        pitch = _pitch_row(self.asked, self.made)
        lengths = [self._length(given_mm, row + sign * pitch) for sign in (0, 0, 1, -1)]
        counts = np.array([[1, 0, 0], [0, 1, 0], [0.5, 0.5, 1], [0.5, 0.5, -1]])
        alone = self._pair_own(pair)
        own = self._spread([alone, alone, _pitch_own(self.asked, self.made)])
        return self._linear(lengths, counts), own, ((0, 1), (2, 3))

    def _legs(self) -> tuple[Linear, Spread, tuple[tuple[int, ...], ...]]:
        """Draw the bar's deviation by itself: it is in the gap and in how far the legs bend."""
        pair, (inner, outer) = self.pairs[0], self.pairs[0].joint.directions
        lengths = [self._length(float(pair.given_mm[0]), pair.rows[0])]
        gap = self._side_own(inner, internal=True, known_mm2=pair.size_doubt)
        own = self._spread([gap, self._side_own(outer, internal=False)])
        return self._linear(lengths, np.array([[1.0, -1.0]])), own, ((0,),)

    def _strain(self) -> tuple[Linear, Spread]:
        """Lips that still hold the bar, and legs that bear how far it bends them."""
        legs = self.asked.legs
        if legs is None or legs.mouth_mm is None:
            empty = np.zeros((0, self.n_scatters))
            shared = np.zeros((0, len(self.made.prints.shared_row(self._blank()))))
            return Linear(np.zeros(0), shared, np.zeros((0, self.n_own))), Spread(
                np.zeros(0), empty
            )
        bent_mm, row = bent_row(self.asked, self.made, float(self.pairs[0].gaps_mm[0]))
        lengths, weights = [self._length(bent_mm, row)], [[0.0, 1.0]]
        if legs.strain_limit is not None:
            most_mm = legs.strain_limit * legs.length_mm**2 / (_PER_STRAIN * legs.thickness_mm)
            lengths.append(self._length(2 * most_mm - bent_mm, -row))
            weights.append([0.0, -1.0])
        lies = self.pairs[0].joint.direction
        alone = [self._side_own(lies, internal=True)] * len(lengths)
        return self._linear(lengths, np.array(weights)), self._spread(alone)

    def _thresholds(self) -> Linear:
        above = GRADES[GRADES.index(self.asked.fit) + 1 :]
        is_open = not above or self.asked.at_least is not None
        wanted: list[Grade] = [self.asked.fit] if is_open else [self.asked.fit, above[0]]
        lengths = []
        for grade in wanted:
            row = self._blank()
            row[len(EFFECTS) + THRESHOLDS.index(grade)] = 1.0
            lengths.append(self._length(0.0, row))
        return self._linear(lengths, np.zeros((len(lengths), self.n_own)))

    def _blank(self) -> Array:
        return np.zeros(len(self.made.prints.of) * N_TERMS)

    def _length(self, given_mm: float, row: Array) -> tuple[float, Array]:
        prints = self.made.prints
        return given_mm + float(row @ prints.mean_vector), prints.shared_row(row)

    def _linear(self, lengths: list[tuple[float, Array]], own: Array) -> Linear:
        constants, rows = zip(*lengths, strict=True)
        return Linear(np.array(constants), np.array(rows), own)

    def _pair_own(self, pair: Clearance) -> OwnSpread:
        own = pair.own
        return replace(own, known_mm2=own.known_mm2 + pair.size_doubt)

    def _side_own(self, lies: Direction, *, internal: bool, known_mm2: float = 0.0) -> OwnSpread:
        form = Form.SLOT if internal else Form.TONGUE
        z = height_share(Feature(form, 1.0, lies))
        return _own_of(self.made, {internal: (1 - z, z)}, known_mm2)

    def _spread(self, owns: list[OwnSpread]) -> Spread:
        counts = np.zeros((len(owns), self.n_scatters))
        for row, own in zip(counts, owns, strict=True):
            row[: len(own.counts)] = own.counts
        return Spread(np.array([own.known_mm2 for own in owns]), counts)


def bent_row(asked: Several, made: MadeFrom, gap_mm: float) -> tuple[float, Array]:
    """Return bar less mouth as drawn, and how the terms of each print move it, in mm."""
    (pair,), legs = asked.pairs, asked.legs
    if legs is None or legs.mouth_mm is None:
        raise ValueError("legs with a mouth")
    _, bars_mm = drawn_sizes(pair.joint, asked.move, np.array([gap_mm]))
    bar_mm = float(bars_mm[0])
    row = np.zeros(len(made.prints.of) * N_TERMS)
    sides = ((pair.joint.external, bar_mm, 1), (pair.joint.internal, legs.mouth_mm, -1))
    for form, size_mm, sign in sides:
        at = made.place_of(internal=form in INTERNAL) * N_TERMS
        lies = pair.joint.direction_of(form)
        row[at : at + len(EFFECTS)] += sign * effect_row(Feature(form, size_mm, lies))
    return bar_mm - legs.mouth_mm, row


def bent_own(asked: Several, made: MadeFrom) -> OwnSpread:
    """Return what a mouth and a bar deviate by of their own."""
    (pair,) = asked.pairs
    shares = {form in INTERNAL: height_share(Feature(form, 1.0, lies)) for form, lies in pair.ways}
    return _own_of(made, {inner: (1 - z, z) for inner, z in shares.items()}, 0.0)


def _pitch_row(asked: Several, made: MadeFrom) -> Array:
    """Return how the terms of each print move the internal pitch less the external one."""
    row = np.zeros(len(made.prints.of) * N_TERMS)
    for internal, sign, lies in ((True, 1, asked.sides[0][1]), (False, -1, asked.sides[1][1])):
        at = made.place_of(internal=internal) * N_TERMS
        row[at : at + len(EFFECTS)] += sign * distance_row(lies, asked.pitch_mm or 0.0)
    return row


def _pitch_own(asked: Several, made: MadeFrom) -> OwnSpread:
    """Return what two bodies' pitches have of their own.

    The place of a feature is the mean of its two faces, so that its variance is a quarter of that
    of its size, and that of the distance of two of them half of it.
    """
    pitch_mm = asked.pitch_mm or 0.0
    counts, known_mm2 = {}, 0.0
    for internal, (_, lies) in zip((True, False), asked.sides, strict=True):
        z = height_share(Feature(Form.TONGUE, 1.0, lies))
        counts[internal] = ((1 - z) / 2, z / 2)
        beyond = size_variance(made.profile_of(internal=internal), Form.TONGUE, lies, pitch_mm)
        known_mm2 += (DRIFT_SHARE * pitch_mm) ** 2 + beyond
    return _own_of(made, counts, known_mm2)


def _own_of(made: MadeFrom, counts: dict[bool, tuple[float, float]], known_mm2: float) -> OwnSpread:
    """Return deviations in the plane and along z, by whether they are the internal body's."""
    of = np.zeros((len(made.prints.profiles), 2))
    for internal, (in_plane, along_z) in counts.items():
        of[made.prints.of[made.place_of(internal=internal)]] += in_plane, along_z
    (in_plane, along_z), *others = of.tolist()
    return OwnSpread(
        in_plane, along_z, known_mm2=known_mm2, others=tuple((a, b, 0.0) for a, b in others)
    )
