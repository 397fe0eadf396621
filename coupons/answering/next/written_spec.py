"""A coupon spec written out as TOML, with comments that say why each row is there."""

import textwrap
from collections.abc import Iterable, Sequence

from coupons.making.spec.coupon_spec import Assumed
from coupons.making.spec.row_kinds import FitRow, Row, SpansRow

_WIDTH = 100


def spec_text(
    title: str,
    about: str,
    head: Iterable[str],
    assumed: Assumed,
    rows: Sequence[tuple[Row, str]],
) -> str:
    """Return the text of a spec.

    Parameters
    ----------
    title, about : str
    head : iterable of str
        Paragraphs of the comment at the top.
    assumed : Assumed
    rows : sequence of (Row, str)
        Each with its comment.

    Examples
    --------
    >>> from coupons.making.spec.row_kinds import SizesRow
    >>> row = SizesRow(kind="sizes", form="hole", direction="z", sizes_mm=(4, 12.5))
    >>> text = spec_text("Holes", "", ["Two holes."], Assumed(), [(row, "For the caliper.")])
    >>> print(text.split("bed_mm = [180, 180]")[1].strip())
    # For the caliper.
    [[row]]
    kind = "sizes"
    form = "hole"
    direction = "z"
    sizes_mm = [4, 12.5]
    wall_mm = 3
    depth_mm = 3.6
    """
    parts = ["\n#\n".join(map(_comment, head))]
    parts.append("\n".join([_line("title", title), *([_line("about", about)] if about else [])]))
    parts.append("\n".join(["[assumed]", *_lines(assumed.model_dump(mode="json"))]))
    parts += ["\n".join([_comment(why), "[[row]]", *_lines(_keys(row))]) for row, why in rows]
    return "\n\n".join(parts) + "\n"


def _comment(text: str) -> str:
    return textwrap.fill(text, _WIDTH, initial_indent="# ", subsequent_indent="# ")


_ORDER = (
    *("kind", "form", "direction", "size_mm", "gaps_mm", "gauges", "read_every"),
    *("sizes_mm", "tongues_mm", "slots_mm", "wall_mm", "depth_mm", "length_mm"),
)
# Keys that are not written where they have their usual values.
_SILENT: dict[type, tuple[str, ...]] = {
    FitRow: (),
    SpansRow: ("length_mm", "depth_mm", "wall_mm"),
}


def _keys(row: Row) -> dict[str, object]:
    """Return the keys of a row that say something, in the order of the shipped specs."""
    data = row.model_dump(mode="json", exclude_defaults=True)
    whole = row.model_dump(mode="json")
    said = set(whole) - set(_SILENT.get(type(row), ("length_mm",))) | set(data)
    return {key: whole[key] for key in _ORDER if key in said}


def _lines(values: dict[str, object]) -> list[str]:
    return [_line(key, value) for key, value in values.items()]


def _line(key: str, value: object) -> str:
    return f"{key} = {_value(value)}"


def _value(value: object) -> str:
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return f"{value:g}"
