"""The figures that the board compares: the same few questions asked of every profile."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from coupons.answering.offset import Question, answer
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.showing.learned import half_of_90, is_learned
from coupons.showing.plots.plot import Scale, number
from coupons.terms import Direction, Form, Grade, Joint, MovingBody

_WIDTH, _HEIGHT = 150.0, 26.0


@dataclass(frozen=True)
class Value:
    """An answer with its 90 % interval, in the figure's unit."""

    value: float
    low: float
    high: float

    @property
    def words(self) -> str:
        """The answer with two decimals and a real minus; what rounds to zero has no sign."""
        return f"{self.value:z.2f}".replace("-", "−")


@dataclass(frozen=True)
class Figure:
    """One question with every profile's answer; None where it was not measured.

    ``strips`` draws the answers on one scale, in the order of the profiles.
    """

    title: str
    unit: str
    values: tuple[Value | None, ...]
    strips: tuple[Markup, ...]


Ask = Callable[[Profile], Value | None]


def figures(profiles: Sequence[Profile]) -> tuple[Figure, ...]:
    """Ask every profile every question."""
    found = []
    for title, unit, ask in _QUESTIONS:
        values = tuple(ask(profile) for profile in profiles)
        found.append(Figure(title, unit, values, _strips(values)))
    return tuple(found)


def _gap(internal: Form, external: Form, size_mm: float, direction: Direction, fit: Grade) -> Ask:
    joint = Joint(internal, external, size_mm, direction)

    def ask(profile: Profile) -> Value | None:
        try:
            found = answer(profile, Question(joint, fit, MovingBody.EXTERNAL))
        except AnswerError:
            return None
        if found.extrapolated:
            return None
        return Value(found.gap_mm, found.low_mm, found.high_mm)

    return ask


def _term(name: str, factor: float) -> Ask:
    def ask(profile: Profile) -> Value | None:
        if not is_learned(profile, name):
            return None
        middle, half = factor * profile.means[name], factor * half_of_90(profile, name)
        return Value(middle, middle - half, middle + half)

    return ask


_QUESTIONS: tuple[tuple[str, str, Ask], ...] = (
    (
        "Gap for a sliding tongue in a slot, 5 mm, across x",
        "mm",
        _gap(Form.SLOT, Form.TONGUE, 5.0, Direction.X, Grade.SLIDE),
    ),
    (
        "Gap for a sliding tongue in a slot, 5 mm, across y",
        "mm",
        _gap(Form.SLOT, Form.TONGUE, 5.0, Direction.Y, Grade.SLIDE),
    ),
    (
        "Gap for a sliding pin in a hole, 5 mm, axis along z",
        "mm",
        _gap(Form.HOLE, Form.PIN, 5.0, Direction.Z, Grade.SLIDE),
    ),
    (
        "Gap for a pushed pin in a hole, 5 mm, axis along z",
        "mm",
        _gap(Form.HOLE, Form.PIN, 5.0, Direction.Z, Grade.PUSH),
    ),
    ("Growth of each outer face", "mm", _term("growth_ext", 1.0)),
    ("Growth of each inner face", "mm", _term("growth_int", 1.0)),
    ("Scale error along x", "%", _term("scale_x", 100.0)),
    ("Scale error along y", "%", _term("scale_y", 100.0)),
)


def _strips(values: Sequence[Value | None]) -> tuple[Markup, ...]:
    """Draw each answer on one scale that shows them all, and zero."""
    known = [value for value in values if value is not None]
    if not known:
        return tuple(Markup("") for _ in values)
    low = min(0.0, *(value.low for value in known))
    high = max(0.0, *(value.high for value in known))
    room = 0.06 * (high - low) or 0.01
    scale = Scale(low - room, high + room, 4, _WIDTH - 4)
    return tuple(Markup("") if value is None else _strip(scale, value) for value in values)


def _strip(scale: Scale, value: Value) -> Markup:
    ticks = Markup("").join(
        Markup(
            '<path class="grid" d="M{0} 4V18"/><text class="mid" x="{0}" y="25">{1}</text>'
        ).format(scale(at), number(at))
        for at in scale.ticks(3)
    )
    return Markup(
        '<svg class="plot strip" viewBox="0 0 {:g} {:g}" aria-hidden="true" focusable="false">'
        '{}<path class="zero" d="M{} 2V18"/><path class="reach" d="M{} 11H{}"/>'
        '<circle class="mark ext" cx="{}" cy="11" r="4.5"/></svg>'
    ).format(
        _WIDTH,
        _HEIGHT,
        ticks,
        scale(0),
        scale(value.low),
        scale(value.high),
        scale(value.value),
    )
