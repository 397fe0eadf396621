import sys
import unicodedata

import pytest

from coupons.neutral import encodable, neutral, one_line


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[31mred\x1b[0m", r"\u001b[31mred\u001b[0m"),
        ("two\nlines\tand\rmore", "two lines and more"),
        ("two\r\nlines", "two lines"),
        ("turned\u202eback", r"turned\u202eback"),
        ("\x07bell\x00", r"\u0007bell\u0000"),
        ("one\x9bcode", r"one\u009bcode"),
        ("no text \udcff", r"no text \udcff"),
        ("line\u2028end", r"line\u2028end"),
        ("plain עברית", "plain עברית"),
        ("−½ cm³ …", "−½ cm³ …"),
    ],
)
def test_signs_that_steer_a_terminal_are_shown_as_their_codes(text, shown):
    assert one_line(text) == shown


@pytest.mark.slow
def test_no_character_passes_that_is_no_visible_one():
    for number in range(sys.maxunicode + 1):
        sign = chr(number)
        shown = neutral(sign)
        kind = unicodedata.category(sign)
        if sign in "\n\t":
            assert shown == sign
        elif kind[0] == "C" or kind in ("Zl", "Zp"):
            assert shown.isascii()
            assert shown.startswith("\\u")
        else:
            assert shown == sign


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252", "cp437", "utf-8", "utf-16"])
def test_whatever_is_said_can_be_encoded(encoding):
    said = "−0.15 mm × 2, ½ of 11.9 cm³ ± 1 °C: “drawer”… ≥ 3 → 4 日本 ─ é"
    shown = encodable(said, encoding)
    assert shown.encode(encoding).decode(encoding) == shown
    if encoding.startswith("utf"):
        assert shown == said


def test_ascii_says_the_same():
    assert encodable("−0.15 mm × 2, ½ of 11.9 cm³…", "ascii") == "-0.15 mm x 2, 1/2 of 11.9 cm3..."
    assert encodable("Größe 日", "ascii") == r"Gro\u00dfe \u65e5"
