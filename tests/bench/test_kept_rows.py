"""A study that was cut short goes on with whole printers, whatever its last line looks like."""

import json

import pytest
from bench.kept_rows import add_rows, rows_of_whole_printers

ROWS = [{"printer": n, "case": case, "fit": 0.5 + n / 10} for n in range(3) for case in "ab"]
LINES = [json.dumps(row) for row in ROWS]


@pytest.mark.parametrize(
    ("text", "printers"),
    [
        ("\n".join(LINES) + "\n", [0, 1, 2]),
        ("\n".join(LINES)[:-9], [0, 1]),  # cut off within the last line
        ("\n".join(LINES[:5]) + "\n", [0, 1]),  # cut off between two rows of a printer
        ("\n".join(LINES[:5]) + '\n{"prin', [0, 1]),
        (LINES[0] + '\n{"case": ' + "\n".join(LINES[1:]) + "\n", [1, 2]),  # written on after that
        ("", []),
        ("7\n[]\n", []),
    ],
)
def test_only_whole_printers_are_kept_and_the_rest_is_done_again(tmp_path, text, printers):
    path = tmp_path / "rows.jsonl"
    path.write_text(text, encoding="utf-8")
    kept = rows_of_whole_printers(path, 2)
    assert kept == [row for row in ROWS if row["printer"] in printers]
    add_rows(path, [row for row in ROWS if row["printer"] not in printers])
    again = rows_of_whole_printers(path, 2)
    assert sorted(again, key=ROWS.index) == ROWS
    assert [p.name for p in tmp_path.iterdir()] == ["rows.jsonl"]


def test_a_study_begins_without_a_file(tmp_path):
    assert rows_of_whole_printers(tmp_path / "rows.jsonl", 2) == []
