"""Text of unknown origin, made safe for a terminal and its encoding.

Names, cells, keys and paths may come from anywhere. Characters that control a terminal, change
the direction of writing or are unassigned are shown as their codes, only here.
"""

import codecs
import re
import unicodedata

_SEPARATORS = "\u2028\u2029"  # which start a line in some terminals and not in others
_ASCII = {
    **dict.fromkeys("−–—―‐─", "-"),
    **dict.fromkeys("“”″", '"'),
    **dict.fromkeys("‘’′", "'"),
    "×": "x",
    "⌀": "dia.",
    "±": "+/-",
    "°": " deg ",
    "·": ".",
    "⁄": "/",
    "≤": "<=",
    "≥": ">=",
    "→": "->",
    "µ": "u",
    "μ": "u",
}


def neutral(text: str) -> str:
    r"""Write control, formatting and unassigned characters as their codes; line ends and tabs stay.

    Examples
    --------
    >>> neutral("bench\u202e-1\x1b[31m")
    'bench\\u202e-1\\u001b[31m'
    """
    if text.isprintable():
        return text
    return "".join(sign if _is_harmless(sign) else _code(sign) for sign in text)


def one_line(text: str) -> str:
    r"""Write text as `neutral` does, on one line.

    Examples
    --------
    >>> one_line("two\r\nlines")
    'two lines'
    """
    return neutral(text.replace("\r\n", " ").translate(dict.fromkeys(map(ord, "\t\r\n"), " ")))


def encodable(text: str, encoding: str) -> str:
    """Replace characters that an encoding lacks by similar ASCII, or by their codes.

    Examples
    --------
    >>> encodable("−½ cm³", "cp1252"), encodable("−½ cm³", "ascii")
    ('-½ cm³', '-1/2 cm3')
    """
    return text.encode(encoding, _HANDLER).decode(encoding)


def _is_harmless(sign: str) -> bool:
    return sign in "\n\t" or (unicodedata.category(sign)[0] != "C" and sign not in _SEPARATORS)


def _code(sign: str) -> str:
    """Return the code as JSON writes it, so that data stay data."""
    number = ord(sign)
    if number <= 0xFFFF:
        return f"\\u{number:04x}"
    high, low = divmod(number - 0x10000, 0x400)
    return f"\\u{0xD800 + high:04x}\\u{0xDC00 + low:04x}"


def _in_ascii(sign: str) -> str:
    parts = _ASCII.get(sign) or "".join(
        _ASCII.get(part, part)
        for part in unicodedata.normalize("NFKD", sign)
        if not unicodedata.combining(part)
    )
    return parts if parts and parts.isascii() else _code(sign)


def _replacement(error: UnicodeError) -> tuple[str | bytes, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(map(_in_ascii, error.object[error.start : error.end])), error.end


_HANDLER = "coupons-ascii"
codecs.register_error(_HANDLER, _replacement)


def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """Return what sorts names as people do: capitals do not count, numbers by their value.

    Examples
    --------
    >>> sorted(["bench-10", "Bench-2", "attic-1"], key=natural_key)
    ['attic-1', 'Bench-2', 'bench-10']
    """
    parts = re.split(r"([0-9]+)", text.casefold())
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts if part)


def file_stem(name: str, instead: str) -> str:
    """Return a name as a file may have it: letters, digits, dots, underscores and hyphens.

    Parameters
    ----------
    name : str
    instead : str
        Taken where nothing is left of it.

    Examples
    --------
    >>> file_stem("bench 1 / grey", "machine"), file_stem("...", "machine")
    ('bench-1-grey', 'machine')
    """
    return re.sub(r"[^\w.-]+", "-", name).strip("-.") or instead
