"""The limits of every value in conditions.toml, each from both sides."""

import pytest

from coupons.errors import ConditionsError
from coupons.measuring.run.conditions import (
    MOST_BYTES,
    conditions_text,
    parse_conditions,
    read_text,
    unsaid_of_slicing,
)

GOOD = {"machine": '"bench-1"', "material": '"grey"', "nozzle_mm": "0.4", "layer_height_mm": "0.2"}


def conditions(table, **values):
    top = GOOD | (values if not table else {})
    text = "\n".join(f"{key} = {value}" for key, value in top.items())
    inside = "\n".join(f"{key} = {value}" for key, value in values.items())
    return f"{text}\n[{table}]\n{inside}\n" if table else text + "\n"


LIMITS = [
    # table, key, least and most that are taken, the nearest that are not
    ("", "nozzle_mm", "0.011", "10", "0.01", "10.1"),
    ("", "layer_height_mm", "0.0011", "5", "0.001", "5.1"),
    ("", "nozzle_temp_c", "0", "600", "-0.1", "600.1"),
    ("", "bed_temp_c", "0", "300", "-0.1", "300.1"),
    ("", "speed_mm_s", "0.1", "2000", "0", "2000.1"),
    ("", "first_layer_height_mm", "0.0011", "5", "0.001", "5.1"),
    ("caliper", "resolution_mm", "0.0001", "1", "0.00009", "1.01"),
    ("caliper", "jaw_land_mm", "0", "5", "-0.1", "5.1"),
    ("caliper", "uncertainty_mm", "0", "1", "-0.1", "1.1"),
    ("slicing", "outlines_mm", "-2", "2", "-2.1", "2.1"),
    ("slicing", "holes_mm", "-2", "2", "-2.1", "2.1"),
    ("slicing", "first_layer_mm", "-2", "2", "-2.1", "2.1"),
    ("slicing", "flow_percent", "20", "300", "19.9", "300.1"),
]


@pytest.mark.parametrize(("table", "key", "least", "most", "below", "above"), LIMITS)
def test_a_number_is_taken_up_to_its_limits(table, key, least, most, below, above):
    for value in (least, most):
        found = parse_conditions(conditions(table, **{key: value}))
        within = getattr(found, table) if table else found
        assert getattr(within, key) == float(value)
    for value in (below, above):
        with pytest.raises(ConditionsError) as error:
            parse_conditions(conditions(table, **{key: value}))
        assert f"{table}.{key}:".removeprefix(".") in str(error.value)


@pytest.mark.parametrize("key", ["machine", "material", "job"])
def test_a_name_has_up_to_sixty_letters(key):
    assert getattr(parse_conditions(conditions("", **{key: f'"{"n" * 60}"'})), key) == "n" * 60
    with pytest.raises(ConditionsError):
        parse_conditions(conditions("", **{key: f'"{"n" * 61}"'}))
    with pytest.raises(ConditionsError):
        parse_conditions(conditions("", **{key: '"  "'}))
    assert getattr(parse_conditions(conditions("", **{key: '" n "'})), key) == "n"


@pytest.mark.parametrize(
    ("rehearsed", "seed", "taken"),
    [
        ("true", 0, True),
        ("true", -1, False),
        ("false", 0, False),
    ],
)
def test_only_rehearsed_entries_come_from_a_virtual_machine(rehearsed, seed, taken):
    text = conditions("rehearsal", virtual_machine='"bench-2"', seed=seed)
    text = text.replace("[rehearsal]", f"rehearsed = {rehearsed}\n[rehearsal]")
    if taken:
        found = parse_conditions(text)
        assert (found.rehearsal.virtual_machine, found.rehearsal.seed) == ("bench-2", 0)
        return
    with pytest.raises(ConditionsError):
        parse_conditions(text)


def test_what_is_not_said_is_a_hundredth_sharp_jaws_and_nothing_known_of_the_slicer():
    found = parse_conditions(conditions(""))
    caliper = found.caliper
    assert (caliper.resolution_mm, caliper.jaw_land_mm, caliper.uncertainty_mm) == (0.01, 0.0, 0.0)
    assert [value for _, value in found.slicing] == [None] * 5
    assert (found.rehearsed, found.rehearsal, found.printed_on, found.job) == (False,) + (None,) * 3


def test_what_is_not_said_of_the_slicer_is_one_word_where_it_is_all():
    every = {"outlines_mm": "0.0", "holes_mm": "0.0", "first_layer_mm": "0.0"}
    every |= {"wall_order": '"inner first"', "flow_percent": "100"}

    def unsaid(height=False, **values):
        text = conditions("slicing", **values)
        if height:
            text = "first_layer_height_mm = 0.2\n" + text
        return unsaid_of_slicing(parse_conditions(text))

    assert unsaid() == ("first_layer_height_mm", "[slicing]")
    assert unsaid(True) == ("[slicing]",)
    assert unsaid(True, outlines_mm="0.0") == tuple(
        f"slicing.{key}" for key in every if key != "outlines_mm"
    )
    assert unsaid(False, **every) == ("first_layer_height_mm",)
    assert unsaid(True, **every) == ()


def test_a_file_of_a_million_bytes_is_read_and_no_larger_one(tmp_path):
    assert MOST_BYTES == 1_000_000
    path = tmp_path / "conditions.toml"
    path.write_bytes(b"#" * 1_000_000)
    assert len(read_text(path)) == 1_000_000
    path.write_bytes(b"#" * 1_000_001)
    with pytest.raises(ConditionsError, match=r"conditions\.toml: expected a file that can be"):
        read_text(path)


def test_the_template_says_what_was_known():
    found = parse_conditions(conditions_text("b", "g", 0.4, 0.2, 35.0, "monday"))
    assert (found.speed_mm_s, found.job) == (35.0, "monday")
    bare = conditions_text("b", "g", 0.4, 0.2)
    assert parse_conditions(bare).speed_mm_s is None
    assert parse_conditions(bare).job is None
    assert '# job = "monday-1"' in bare


def test_what_was_told_elsewhere_fills_only_what_is_blank():
    told = {
        ("", "machine"): "bench-2",
        ("", "job"): "monday",
        ("caliper", "resolution_mm"): 0.02,
        ("slicing", "holes_mm"): 0.1,
    }
    text = conditions("caliper", resolution_mm="0.05").replace('"bench-1"', '" "')
    found = parse_conditions(text, told)
    assert (found.machine, found.job) == ("bench-2", "monday")
    assert (found.caliper.resolution_mm, found.slicing.holes_mm) == (0.05, 0.1)
    assert parse_conditions(conditions(""), told).machine == "bench-1"
    with pytest.raises(ConditionsError):
        parse_conditions("caliper = 3\n" + conditions(""), told)
