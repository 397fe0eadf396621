from coupons.showing.words.terminal_tables import WIDTH, table


def test_numbers_stand_flush_right_and_words_flush_left():
    assert table(("name", "mm"), [("a", "0.30"), ("bcdefg", "−10.05")], right=(1,)) == (
        "name        mm\na         0.30\nbcdefg  −10.05"
    )


def test_a_line_never_passes_80_columns_and_the_widest_cell_gives_way():
    text = table(("a", "b", "c"), [("x" * 200, "y" * 20, "0.30")])
    lines = text.splitlines()
    assert max(map(len, lines)) <= WIDTH
    assert "…" in lines[1]
    assert lines[1].endswith("y" * 20 + "  0.30")


def test_wide_signs_take_two_columns_and_combining_ones_none():
    lines = table(("n", "v"), [("日本", "1"), ("e\u0301e\u0301", "2"), ("ab", "3")]).splitlines()
    assert lines[1] == "日本  1"
    assert lines[2] == "e\u0301e\u0301    2"
    assert lines[3] == "ab    3"
