"""Limits of size as numbers: ``20 ±0.1``, ``20 +0.1/0``, ``19.9..20.1``."""

import re

FORMS = "20 ±0.1, 20 +0.1/0 or 19.9..20.1"
LARGEST_MM = 500.0

_NUMBER = r"\d+(?:[.,]\d+)?(?!\d|[.,]\d)"
_MM = r"\s*(?:mm)?\s*"
_DEVIATION = rf"(?:[+-]\s*{_NUMBER}|0(?:[.,]0+)?)"
_EITHER_WAY = rf"(?:±|\+\s*/?\s*-)\s*({_NUMBER}){_MM}"
_TWO_DEVIATIONS = rf"({_DEVIATION}){_MM}(?:/|\s|;)\s*({_DEVIATION}){_MM}"
_AROUND = re.compile(rf"({_NUMBER}){_MM}{_EITHER_WAY}")
_FROM_NOMINAL = re.compile(rf"({_NUMBER}){_MM}{_TWO_DEVIATIONS}")
_ENDS = re.compile(rf"({_NUMBER}){_MM}(?:\.{{2,3}}|…|–|\bto\b){_MM}({_NUMBER}){_MM}")


def numeric_limits(text: str) -> tuple[str, float, float, float] | None:
    """Read limits of size.

    Returns
    -------
    (str, float, float, float) or None
        Their usual spelling, the nominal size and both limits in mm; None if the text has another
        form. The limits are as they were typed, be they possible or not.

    Examples
    --------
    >>> numeric_limits("20 +0,1/0")
    ('20 +0.1/0', 20.0, 20.0, 20.1)
    >>> numeric_limits("19.9 .. 20.1 mm")
    ('19.9..20.1', 20.0, 19.9, 20.1)
    >>> numeric_limits("20 H7") is None
    True
    """
    text = text.strip().replace("−", "-")
    if match := _AROUND.fullmatch(text):
        size, half = map(_number, match.groups())
        return f"{size:g} ±{half:g}", size, _round(size - half), _round(size + half)
    if match := _FROM_NOMINAL.fullmatch(text):
        size, *ends = map(_number, match.groups())
        lower, upper = sorted(ends)
        code = f"{size:g} {_signed(upper)}/{_signed(lower)}"
        return code, size, _round(size + lower), _round(size + upper)
    if match := _ENDS.fullmatch(text):
        lower, upper = map(_number, match.groups())
        return f"{lower:g}..{upper:g}", _round((lower + upper) / 2), lower, upper
    return None


def two_bands(text: str) -> tuple[str, str]:
    """Split limits of a hole and a shaft, such as ``20 +0.1/0 / 20 -0.1/-0.2``.

    What is one band only is that of both. A second band may leave out the size.

    Examples
    --------
    >>> two_bands("20 ±0.1")
    ('20 ±0.1', '20 ±0.1')
    >>> two_bands("20 +0.1/0 / -0.1/-0.2")
    ('20 +0.1/0', '20 -0.1/-0.2')
    """
    if numeric_limits(text):
        return text, text
    for split in re.finditer(r"\s*[/;]\s*|\s+and\s+", text):
        hole, shaft = text[: split.start()], text[split.end() :]
        sized = re.match(_NUMBER, hole)
        if sized and re.match(r"[+\-−±]|0\s*/", shaft):
            shaft = f"{sized[0]} {shaft}"
        if numeric_limits(hole) and numeric_limits(shaft):
            return hole, shaft
    return "", ""


def _number(text: str) -> float:
    return float(text.replace(" ", "").replace(",", "."))


def _round(mm: float) -> float:
    return round(mm, 6)


def _signed(mm: float) -> str:
    return f"{mm:+g}" if mm else "0"
