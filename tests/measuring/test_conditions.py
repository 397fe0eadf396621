import datetime

import pytest

from coupons.errors import ConditionsError
from coupons.measuring.run.conditions import conditions_text, read_conditions, set_value

GOOD = """
machine = "bench-1"
material = "grey"
nozzle_mm = 0.4
layer_height_mm = 0.2
"""


def read(tmp_path, text):
    path = tmp_path / "conditions.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_conditions(path)


def test_the_template_reads_as_what_it_was_made_from(tmp_path):
    found = read(tmp_path, conditions_text("bench-1", "grey", 0.6, 0.25))
    assert (found.machine, found.material) == ("bench-1", "grey")
    assert (found.nozzle_mm, found.layer_height_mm) == (0.6, 0.25)
    assert (found.rehearsed, found.rehearsal) == (False, None)


def test_every_commented_line_of_the_template_reads_once_its_mark_is_gone(tmp_path):
    text = conditions_text("bench-1", "grey", 0.4, 0.2)
    keys = ("nozzle_temp_c", "bed_temp_c", "speed_mm_s", "printed_on")
    keys += ("resolution_mm", "jaw_land_mm", "first_layer_height_mm", "outlines_mm", "holes_mm")
    keys += ("first_layer_mm", "wall_order", "flow_percent")
    for key in keys:
        assert f"# {key} = " in text
        text = text.replace(f"# {key} = ", f"{key} = ")
    found = read(tmp_path, text)
    assert found.nozzle_temp_c == 210
    assert found.printed_on == datetime.date(2026, 1, 31)
    assert found.caliper.jaw_land_mm == 0.3


@pytest.mark.parametrize("name", ['quo"te', "back\\slash", "néw", "🖨️", "שלום"])
def test_any_name_survives_the_template(tmp_path, name):
    assert read(tmp_path, conditions_text(name, "grey", 0.4, 0.2)).machine == name.strip()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            conditions_text("", "", 0.4, 0.2),
            "conditions.toml at machine: expected the name of the machine, got nothing."
            " Write it between the quotes.\n"
            "conditions.toml at material: expected the name of the material, got nothing."
            " Write it between the quotes.",
        ),
        (
            GOOD.replace("0.2", "0,25"),
            "conditions.toml line 5: expected a decimal point, got layer_height_mm = 0,25."
            " Write 0.25, not 0,25.",
        ),
        (
            GOOD.replace("0.4", "0,4"),
            "conditions.toml line 4: expected a decimal point, got nozzle_mm = 0,4."
            " Write 0.4, not 0,4.",
        ),
        (
            GOOD.replace('"grey"', "grey"),
            "conditions.toml line 3: expected key = value, got material = grey."
            " Put text in double quotes, but not numbers.",
        ),
        (
            GOOD.replace("nozzle_mm", "nozle_mm"),
            "conditions.toml at nozzle_mm: expected a value, got none."
            " Add a line nozzle_mm = …\n"
            "conditions.toml at nozle_mm: expected one of machine, material, nozzle_mm,"
            " layer_height_mm, nozzle_temp_c, bed_temp_c, speed_mm_s, printed_on, job,"
            " first_layer_height_mm, rehearsed, caliper, slicing, rehearsal, got nozle_mm."
            " Did you mean nozzle_mm?",
        ),
        (
            GOOD + "[caliper]\nresolution = 0.1\n",
            "conditions.toml at caliper.resolution: expected one of resolution_mm, jaw_land_mm,"
            " uncertainty_mm, got resolution. Did you mean resolution_mm?",
        ),
        (
            GOOD.replace("0.4", "-0.4"),
            "conditions.toml at nozzle_mm: expected a number greater than 0.01, got -0.4."
            " Correct the value.",
        ),
        (
            GOOD.replace("0.2", "nan"),
            "conditions.toml at layer_height_mm: expected a finite number, got nan."
            " Correct the value.",
        ),
        (
            GOOD + 'bed_temp_c = "warm"\n',
            "conditions.toml at bed_temp_c: expected a number, got 'warm'. Correct the value.",
        ),
        (
            GOOD.replace("grey", "grey\\n\\u001b[31m\\u202e"),
            "conditions.toml at material: expected words on one line, without control characters,"
            " got 'grey\\n\\x1b[31m\\u202e'. Correct the value.",
        ),
        (
            b'machine = "caf\xe9"',
            "conditions.toml: expected UTF-8 text, got other bytes. Save it as UTF-8.",
        ),
    ],
)
def test_each_fault_is_told(tmp_path, text, message):
    with pytest.raises(ConditionsError) as caught:
        read(tmp_path, text)
    assert caught.value.message == message


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(ConditionsError, match="got no such file"):
        read_conditions(tmp_path / "conditions.toml")


def test_a_file_cut_off_in_the_middle_is_told(tmp_path):
    with pytest.raises(ConditionsError, match="expected key = value"):
        read(tmp_path, GOOD + "[cali")


TEXT = """\
a = 1  # first
# b = 2
name = "with # in it"  # kept

[t]
c = 3

[u]
c = 4
"""


@pytest.mark.parametrize(
    ("table", "key", "old", "new"),
    [
        ("", "a", "a = 1  # first", "a = 9  # first"),
        ("", "b", "# b = 2", "b = 9"),
        ("", "name", 'name = "with # in it"  # kept', "name = 9  # kept"),
        ("t", "c", "c = 3", "c = 9"),
        ("u", "c", "c = 4", "c = 9"),
        ("", "d", "# kept\n", "# kept\nd = 9\n"),
        ("t", "d", "c = 3\n", "c = 3\nd = 9\n"),
        ("u", "d", "c = 4\n", "c = 4\nd = 9\n"),
        ("v", "d", "c = 4\n", "c = 4\n\n[v]\nd = 9\n"),
    ],
)
def test_setting_a_value_leaves_every_other_line(table, key, old, new):
    assert set_value(TEXT, table, key, "9") == TEXT.replace(old, new)


def test_a_value_goes_into_a_table_that_holds_none():
    assert set_value("[t]\n[u]\nc = 4\n", "t", "c", "9") == "[t]\nc = 9\n[u]\nc = 4\n"
