"""Hardware as the mate of a printed feature: pins, screws, nuts, washers, ball bearings.

A maker states limits, not a distribution. The size is taken as uniform between them, so its mean
is the middle of the band and its standard deviation is width/√12 (common practice, no source).
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from coupons.answering.standards.iso286 import Limits, limits
from coupons.answering.standards.published import Row, rows, step_of
from coupons.errors import AnswerError, Problem
from coupons.terms import EXTERNAL, Form, MovingBody

SERIES = ("fine", "medium", "coarse")
_HOLE_GRADES = {"fine": "H12", "medium": "H13", "coarse": "H14"}
_RINGS = ("outer", "bore")
_PAIRS = ((Form.HOLE, Form.PIN), (Form.SLOT, Form.TONGUE))
_NUMBER = r"\d+(?:[.,]\d+)?"


@dataclass(frozen=True)
class Hardware:
    """A bought part whose size is known within limits.

    Parameters
    ----------
    name : str
        As it was asked for, in its usual spelling: ``pin 8 m6``, ``screw M3 medium``.
    form : Form
        What it is to the printed feature: a pin or a tongue goes in, a hole goes over.
    nominal_mm : float
        Nominal size.
    size_mm, sd_mm : float
        Middle of its limits, and the standard deviation that their width implies.
    lower_mm, upper_mm : float
        Limits of size.
    source : str
        Where the limits come from.
    printed : Limits or None
        Limits that the standard gives the printed feature around it, as ISO 273 does for clearance
        holes.
    """

    name: str
    form: Form
    nominal_mm: float
    size_mm: float
    sd_mm: float
    lower_mm: float
    upper_mm: float
    source: str
    printed: Limits | None = None

    @property
    def forms(self) -> tuple[Form, Form]:
        """Internal and external form of the joint that it makes with what is printed."""
        return next(pair for pair in _PAIRS if self.form in pair)

    @property
    def move(self) -> MovingBody:
        """The printed body, which is the one that can move."""
        return MovingBody.INTERNAL if self.form in EXTERNAL else MovingBody.EXTERNAL

    @property
    def series(self) -> str:
        """The word in its name that asks for the hole of its standard; empty without one."""
        return self.name.rsplit(" ", 1)[1] if self.printed else ""

    @property
    def alone(self) -> "Hardware":
        """The same piece without a series, as a fit or a gap is asked with it."""
        return replace(self, name=self.name.removesuffix(f" {self.series}").strip(), printed=None)


def hardware(text: str) -> Hardware:
    """Read the name of a piece of hardware.

    Parameters
    ----------
    text : str
        ``pin 8 m6``, ``pin 7.98 ±0.01`` (a size measured by hand), ``screw M3`` (its shank),
        ``screw M3 medium`` (with its clearance hole), ``nut M4``, ``head M4``, ``washer M4``,
        ``bearing outer 22``, ``bearing bore 8``.

    Raises
    ------
    AnswerError
        If there is no such kind or size; the message lists the available ones.

    Examples
    --------
    >>> dowel = hardware("pin 8 m6")
    >>> dowel.lower_mm, dowel.upper_mm, round(dowel.sd_mm, 4)
    (8.006, 8.015, 0.0026)
    >>> hardware("screw M3 medium").printed.nominal_mm
    3.4
    """
    kind, _, rest = text.strip().partition(" ")
    reader = _KINDS.get(kind.lower())
    if reader is None:
        raise _no(f"one of {', '.join(_KINDS)}", text, "Write it as pin 8 m6 or screw M3 medium")
    return reader(rest.strip())


def two_holes(piece: Hardware, wish: str) -> Problem | None:
    """Return the problem if both a series and a fit or a gap are asked for.

    Each of them sets the size of the hole, so that one would be ignored.

    Parameters
    ----------
    piece : Hardware
    wish : str
        What else is asked, as it was written: ``fit slide``.
    """
    if piece.printed is None:
        return None
    return Problem(
        "hardware",
        f"either {piece.name}, whose standard sets the hole ({piece.printed.code}), or a fit",
        f"{wish} as well",
        f"Leave out {wish} for the hole of the standard, or leave out {piece.series} for the fit",
    )


def _pin(rest: str) -> Hardware:
    measured = re.fullmatch(rf"({_NUMBER})\s*(?:±|\+-|\+/-)\s*({_NUMBER})", rest)
    if measured:
        size_mm, half_mm = (float(part.replace(",", ".")) for part in measured.groups())
        if not 0 < size_mm <= 1000 or half_mm >= size_mm / 2:
            raise _no("a size and a half width well below it", f"pin {rest}", "Check both numbers")
        return _within(
            f"pin {size_mm:g} ±{half_mm:g}",
            Form.PIN,
            Limits(rest, size_mm, size_mm - half_mm, size_mm + half_mm),
            "measured by hand",
        )
    if re.fullmatch(_NUMBER, rest):
        raise _no(
            f"a class after the size, such as {rest} m6, {rest} h6 or {rest} h8",
            f"pin {rest}",
            f"Write a pin that you measured as pin {rest} ±0.01",
        )
    band = limits(rest)
    if band.is_hole:
        raise _no(
            "the class of a shaft, such as m6, h6 or h8",
            f"pin {rest}",
            "Capital letters are for holes",
        )
    given = band.grade_number is None
    source = "limits as given" if given else f"ISO 286-1 {band.code.split()[1]}"
    return _within(f"pin {band.code}", Form.PIN, band, source)


def _screw(rest: str) -> Hardware:
    thread, _, series = rest.partition(" ")
    row = _thread_row("screw", thread, "screws")
    name = f"screw {row['thread']}"
    band = _band(name, row, "major_min_mm", "major_max_mm")
    source = "ISO 965 class 6g, major diameter"
    series = series.strip().lower()
    if not series:
        return _within(name, Form.PIN, band, source)
    if series not in SERIES:
        raise _no(f"one of {', '.join(SERIES)} after {name}", series, "Leave it out for the shank")
    grade = _HOLE_GRADES[series]
    return _within(
        f"{name} {series}",
        Form.PIN,
        band,
        source,
        printed=limits(f"{row[f'{series}_mm']} {grade}"),
    )


def _flats(kind: str, source: str) -> Callable[[str], Hardware]:
    def read(rest: str) -> Hardware:
        row = _thread_row(kind, rest, "nuts")
        name = f"{kind} {row['thread']}"
        return _within(name, Form.TONGUE, _band(name, row, "flats_min_mm", "flats_max_mm"), source)

    return read


def _washer(rest: str) -> Hardware:
    row = _thread_row("washer", rest, "washers")
    band = limits(f"{row['outside_mm']} h14")
    return _within(
        f"washer {row['thread']}", Form.PIN, band, "ISO 7089 outside diameter; h14 from memory"
    )


def _bearing(rest: str) -> Hardware:
    match = re.fullmatch(rf"(\w+)\s+({_NUMBER})", rest)
    if match is None or match[1].lower() not in _RINGS:
        raise _no(
            "bearing outer or bearing bore, and a diameter",
            f"bearing {rest}",
            "Write it as bearing bore 8",
        )
    ring, size_mm = match[1].lower(), float(match[2].replace(",", "."))
    steps = tuple(row for row in rows("bearings") if row["ring"] == ring)
    row = step_of(size_mm, steps)
    if row is None:
        lowest, highest = steps[0]["over_mm"], steps[-1]["to_incl_mm"]
        raise _no(
            f"a bearing {ring} diameter over {lowest} and up to {highest} mm",
            f"{size_mm:g}",
            "For others, write a measured size as pin 22.01 ±0.01",
        )
    name = f"bearing {ring} {size_mm:g}"
    band = Limits(name, size_mm, size_mm + float(row["lower_um"]) / 1000, size_mm)
    form = Form.PIN if ring == "outer" else Form.HOLE
    return _within(name, form, band, "ISO 492 Normal class, mean diameter")


_KINDS: dict[str, Callable[[str], Hardware]] = {
    "pin": _pin,
    "screw": _screw,
    "nut": _flats("nut", "ISO 4032 across flats"),
    "head": _flats("head", "ISO 4014 grade A across flats, from memory"),
    "washer": _washer,
    "bearing": _bearing,
}


def _within(
    name: str, form: Form, band: Limits, source: str, printed: Limits | None = None
) -> Hardware:
    return Hardware(
        name=name,
        form=form,
        nominal_mm=band.nominal_mm,
        size_mm=band.middle_mm,
        sd_mm=band.width_mm / math.sqrt(12),
        lower_mm=band.lower_mm,
        upper_mm=band.upper_mm,
        source=source,
        printed=printed,
    )


def _band(name: str, row: Row, lower: str, upper: str) -> Limits:
    nominal_mm = float(row["thread"].removeprefix("M")) if "major" in upper else float(row[upper])
    return Limits(name, nominal_mm, float(row[lower]), float(row[upper]))


def _thread_row(kind: str, thread: str, table: str) -> Row:
    wanted = thread.strip().upper().replace(",", ".")
    for row in rows(table):
        if row["thread"] == wanted:
            return row
    there = " ".join(row["thread"] for row in rows(table))
    raise _no(f"{kind} with one of {there}", repr(f"{kind} {thread}"), "Choose one of these")


def _no(expected: str, got: str, todo: str) -> AnswerError:
    return AnswerError([Problem("hardware", expected, got, todo)])
