"""What is said of a value in a spec or a part that cannot be, in full and with its numbers."""

import hashlib

import pytest
from support.gauge_plate import HEAD, part_text
from support.toml_text import told

from coupons.errors import CouponError, Problem, SpecError
from coupons.making.bodies.proportions import Measures
from coupons.making.own_part import part_record
from coupons.making.plan import plan_coupon
from coupons.making.printable import row_problems, rule_items
from coupons.making.spec.coupon_spec import (
    Assumed,
    find_spec,
    load_spec,
    parse_spec,
    shipped_specs,
    spec_name,
)
from coupons.making.spec.part_spec import load_asked, parse_part
from coupons.making.spec.row_kinds import GapRange
from coupons.making.spec.spec_problems import problems_of

HOLE = {"kind": "fit", "form": "hole", "direction": "z", "size_mm": 5, "gaps_mm": [0.0, 0.2]}


def spec_text(*rows, head='title = "t"\n'):
    each = ["\n".join(f"{key} = {told(value)}" for key, value in row.items()) for row in rows]
    return head + "".join(f"[[row]]\n{lines}\n" for lines in each)


def said(text, **machine):
    with pytest.raises(CouponError) as caught:
        plan_coupon(parse_spec(text.encode(), "bad", "bad.toml"), **machine)
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize(("length", "kept"), [(58, 60), (59, 57), (200, 57)])
def test_a_long_value_is_told_by_its_first_57_characters(length, kept):
    # With its two quotes; sixty characters are told whole.
    with pytest.raises(CouponError) as caught:
        parse_spec(spec_text({**HOLE, "size_mm": "w" * length}).encode(), "t", "t.toml")
    value = f"'{'w' * length}'"
    assert caught.value.problems[0].got == (value if kept == 60 else value[:57] + "...")


def error(kind, loc=("row", 0, "fit", "size_mm"), message="Input should be a number", **more):
    return {"type": kind, "loc": loc, "msg": message, "input": 3, **more}


@pytest.mark.parametrize(
    ("found", "problem"),
    [
        (error("other"), Problem("f row 1 size_mm", "a number", "3")),
        (
            error("missing", ("row", 2, "spans", "tongues_mm", 4)),
            Problem("f row 3 tongues_mm 5", "a value", "nothing", "Add the key"),
        ),
        (
            error("extra_forbidden", ("row", 0, "fit", "gap")),
            Problem("f row 1 gap", "a known key", "gap", "Remove it or correct its spelling"),
        ),
        (
            error("value_error", message="Value error, one thing, got another, got a third"),
            Problem("f row 1 size_mm", "one thing", "another, got a third"),
        ),
        (
            error("union_tag_invalid", ("row", 1), input={"kind": "fitt"}),
            Problem(
                "f row 2 kind",
                "fit, hardware, insert, sizes, spans, swell or thread",
                "'fitt'",
            ),
        ),
        (
            error("union_tag_not_found", ("row", 1), input={}),
            Problem(
                "f row 2 kind", "fit, hardware, insert, sizes, spans, swell or thread", "'nothing'"
            ),
        ),
        (
            error("union_tag_not_found", ("row", 1), input=7),
            Problem("f row 2 kind", "fit, hardware, insert, sizes, spans, swell or thread", "7"),
        ),
        (
            error("too_short", ctx={"min_length": 2}),
            Problem("f row 1 size_mm", "at least 2 item", "3"),
        ),
        (
            error("string_too_short", ctx={"min_length": 1}),
            Problem("f row 1 size_mm", "at least 1 character", "3"),
        ),
        (
            error("too_long", ctx={"max_length": 2}),
            Problem("f row 1 size_mm", "at most 2 items", "3"),
        ),
        (
            error("string_too_long", ctx={"max_length": 9}),
            Problem("f row 1 size_mm", "at most 9 characters", "3"),
        ),
        (error("tuple_type"), Problem("f row 1 size_mm", "a list", "3")),
        (error("model_type", ()), Problem("f", "a table of keys and values", "3")),
        (
            error("string_pattern_mismatch", ctx={"pattern": "^[A-Z]$"}),
            Problem(
                "f row 1 size_mm",
                "one letter from A to Z except I, O and Q, which look like digits",
                "3",
            ),
        ),
    ],
)
def test_each_kind_of_finding_has_its_words(found, problem):
    assert problems_of("f", [found]) == [problem]


def test_a_list_is_not_too_short_where_its_items_are_at_fault():
    short = error("too_short", ("row", 0, "gaps_mm"), ctx={"min_length": 1})
    item, other = error("missing", ("row", 0, "gaps_mm", 0)), error("missing", ("row", 1))
    assert len(problems_of("f", [short, item])) == 1
    assert len(problems_of("f", [short, other])) == 2
    assert len(problems_of("f", [short, short])) == 2
    assert len(problems_of("f", [error("missing", ("row", 0, "gaps_mm")), item])) == 2


def test_a_digest_is_the_head_of_the_hash_of_its_bytes():
    data = spec_text(HOLE).encode()
    whole = hashlib.sha256(data).hexdigest()
    spec = parse_spec(data, "t", "t.toml")
    assert (spec.digest, len(spec.digest)) == (whole[:16], 16)
    assert (spec.name, spec.about) == ("t", "")
    part = parse_part(part_text().encode(), "p", "p.toml")
    assert part.digest == hashlib.sha256(part_text().encode()).hexdigest()[:16]
    # A job's digest is that of its spec's and its number among those that differ.
    turns = parse_spec(spec_text({**HOLE, "jobs": [1]}, {**HOLE, "jobs": [2]}).encode(), "t", "t")
    one, two, three = (turns.of_job(job) for job in (1, 2, 3))
    assert one.digest == hashlib.sha256(f"{turns.digest} 1".encode()).hexdigest()[:16]
    assert two.digest == hashlib.sha256(f"{turns.digest} 2".encode()).hexdigest()[:16]
    assert three == one
    assert spec.of_job(7) is spec, "all jobs are alike"


def test_every_job_up_to_the_last_has_rows():
    text = spec_text({**HOLE, "jobs": [1]}, {**HOLE, "jobs": [4]})
    assert said(text) == ["bad.toml: expected rows for every job up to 4, got none for 2."]
    turns = parse_spec(
        spec_text({**HOLE, "jobs": [1, 2]}, {**HOLE, "jobs": [3]}).encode(), "t", "t"
    )
    assert turns.turns == 3
    assert [turns.of_job(job).row_ids() for job in (1, 2, 3)] == [("A",), ("A",), ("B",)]
    assert parse_spec(spec_text(HOLE).encode(), "t", "t").turns == 1


def test_all_ids_that_come_twice_are_told():
    rows = [{**HOLE, "id": letter} for letter in "CACAB"]
    (line,) = said(spec_text(*rows))
    assert line == "bad.toml: expected a different id for each row, got A, C twice."


def test_a_spec_is_found_by_its_name_or_its_path(tmp_path):
    assert shipped_specs()[0] == "first"
    assert list(shipped_specs()[1:]) == sorted(shipped_specs()[1:])
    assert find_spec("first").name == "first.toml"
    path = tmp_path / "my\tspec.toml"
    path.write_text(spec_text(HOLE), encoding="utf-8")
    assert find_spec(path) == path
    assert spec_name(path) == "my_spec"
    assert load_spec(path).name == load_asked(path).name == "my_spec"
    with pytest.raises(SpecError) as caught:
        find_spec(tmp_path / "none.toml")
    (problem,) = caught.value.problems
    assert (problem.where, problem.expected) == ("coupon spec", "an existing spec")
    assert problem.todo == f"Give the path of a .toml file or one of {', '.join(shipped_specs())}"
    with pytest.raises(SpecError) as caught:
        load_spec(tmp_path)
    assert caught.value.problems[0].expected == "a readable file"


@pytest.mark.parametrize("key", ["name", "digest"])
def test_a_key_of_our_own_cannot_be_written(key):
    (line,) = said(f'{key} = "x"\n' + spec_text(HOLE))
    assert line == (
        f"bad.toml {key}: expected a known key, got {key}. Remove it or correct its spelling."
    )


def test_a_range_of_gaps_steps_to_its_end_and_not_beyond():
    assert GapRange(start=-0.1, stop=0.2, step=0.1).values() == (-0.1, 0.0, 0.1, 0.2)
    assert GapRange(start=0.0, stop=0.25, step=0.1).values() == (0.0, 0.1, 0.2)
    assert GapRange(start=0.3, stop=0.3, step=0.1).values() == (0.3,)
    assert GapRange(start=0.0, stop=0.00014, step=0.00007).values() == (0.0, 0.0001, 0.0001)


RULE = {"kind": "spans", "direction": "x", "tongues_mm": [12, 12], "slots_mm": [8]}
USUAL = Assumed()


def problems(row, **machine):
    spec = parse_spec(spec_text(row).encode(), "t", "t")
    return row_problems(spec.rows[0], "A", Assumed(**machine), "here")


def test_a_rule_s_items_are_its_blocks_and_notches_in_turn():
    spec = parse_spec(
        spec_text({**RULE, "tongues_mm": [12, 9, 15], "slots_mm": [8, 6]}).encode(), "t", "t"
    )
    found = [(item.id, item.size_mm) for item in rule_items(spec.rows[0], "C")]
    assert found == [("C1", 12), ("C2", 8), ("C3", 9), ("C4", 6), ("C5", 15)]


def test_the_labels_that_meet_are_named_or_else_the_first_two():
    # Labels of 6.18 mm and 0.8 mm: 12 and 8 are far enough apart, 4 and 4 are not.
    (found,) = [
        each
        for each in problems({**RULE, "tongues_mm": [12, 4, 4], "slots_mm": [8, 4]})
        if "label" in each.expected
    ]
    assert found.got == "A2 and A3 overlapping"
    # With a wide nozzle ids do not meet of usual width, but even numbers do, of a wide one.
    (found,) = [
        each
        for each in problems(RULE | {"tongues_mm": [12, 12], "slots_mm": [8]}, nozzle_mm=1.5)
        if "label" in each.expected
    ]
    assert found.got == "A1 and A2 overlapping"
    assert found.todo == "Put a wide slot beside a narrow tongue"
    assert Measures(1.5, 0.2).text_mm("A1") > 20


def test_every_narrow_notch_is_told_by_its_number():
    row = {**RULE, "tongues_mm": [12, 12, 12], "slots_mm": [3.5, 8]}
    found = [each for each in problems(row) if "slots_mm" in each.where and "jaw" in each.expected]
    assert [(each.where, each.got) for each in found] == [("here slots_mm 1", "3.5")]
    found = problems({**row, "slots_mm": [8, 3.99]})
    assert ("here slots_mm 2", "3.99") in [(each.where, each.got) for each in found]


def test_gaps_that_become_one_are_told_with_what_they_become():
    level = {**HOLE, "form": "slot", "size_mm": 4, "gaps_mm": [0.11, 0.12, 0.13, 0.14, 0.15]}
    assert [str(each) for each in problems(level)] == [
        "here gaps_mm: expected gaps across z that differ by a layer of 0.2 mm, got 0.11, 0.12, "
        "0.13, 0.14, which all round to 0.2. Use gaps further apart, or thinner layers."
    ]
    assert problems({**level, "gaps_mm": [0.11]}) == []
    assert problems({**level, "gaps_mm": [0.09, 0.11]}) == []


def test_a_wall_that_bends_is_told_with_how_far_and_how_long_it_is():
    # A slot of 14 mm in a wall of 3 mm by 3.6 mm: 20 N bend it by
    # 20 · 14³/(192 · 2000 · 8.1) + 20 · 14/(4 · 5/6 · 740.74 · 10.8) = 0.0176 + 0.0105 mm.
    slot = {**HOLE, "form": "slot", "direction": "x", "length_mm": 14}
    (found,) = problems(slot)
    assert (found.where, found.expected) == (
        "here wall_mm",
        "walls that bend less than 0.01 mm under 20 N",
    )
    assert found.got == "0.028 mm on a wall 14.0 mm long"
    # Around a round window counts what lies within 45° of its thinnest place: 0.7071 · 20.2 mm.
    (found,) = problems({**HOLE, "size_mm": 20})
    assert found.got.endswith("on a wall 14.3 mm long")


@pytest.mark.parametrize("form", ["pin", "tongue", "hole", "slot"])
def test_a_slender_post_is_told_on_whichever_side_it_is(form):
    # 1 mm stands out of the mate; the thinnest of all sizes counts.
    direction = "z" if form in ("pin", "hole") else "x"
    row = {**HOLE, "form": form, "direction": direction, "size_mm": 3, "gaps_mm": [0.0, 0.4]}
    found = problems({**row, "depth_mm": 9})
    thin = "2.6" if form in ("pin", "tongue") else "3"
    slender = [each for each in found if "as tall as thick" in each.expected]
    assert [each.got for each in slender] == [f"10 mm tall and {thin} mm thick"]
    assert slender[0].where == "here depth_mm"
    assert not [each for each in problems({**row, "depth_mm": 6}) if "tall" in each.expected]


def test_bought_pieces_are_not_held_to_what_prints():
    row = {
        "kind": "hardware",
        "name": "rod",
        "form": "hole",
        "direction": "z",
        "nominal_mm": 2,
        "limits_mm": [0.0, 0.0],
        "gaps_mm": [0.1],
        "depth_mm": 12,
    }
    assert problems(row) == [], "a rod of 2 mm is six times as tall as thick, and was bought"
    found = problems({**row, "gaps_mm": [-0.1, 0.1]})
    assert [each.got for each in found] == ["1.9 mm"]
    found = problems({**row, "nominal_mm": 8, "gaps_mm": [-0.5, 0.1]})
    assert [each.got for each in found if "splits" in each.expected] == ["-0.5"]


def test_a_part_is_recorded_as_it_is_drawn_and_read():
    text = part_text(
        'name = "L24"\nform = "tongue"\ndirection = "x"\ndrawn_mm = 24\ndatum = "left"',
        'name = "H10"\nform = "tongue"\ndirection = "z"\ndrawn_mm = 10.13\non_bed = true',
        'name = "L54"\nform = "tongue"\ndirection = "x"\ndrawn_mm = 54\ndatum = "left"',
        'name = "D8"\nform = "hole"\ndirection = "z"\ndrawn_mm = 8\nalong = ["y", "x"]\n'
        "at_bed = true",
        head=HEAD + "[printed]\nlayer_height_mm = 0.25\nnozzle_mm = 0.5\n",
    )
    part = parse_part(text.encode(), "plate", "plate.toml")
    coupon = part_record(part)
    assert (coupon.assumed.bed_mm, coupon.assumed.layer_height_mm, coupon.assumed.nozzle_mm) == (
        None,
        0.25,
        0.5,
    )
    given = part_record(part, layer_height_mm=0.3, nozzle_mm=0.8).assumed
    assert (given.layer_height_mm, given.nozzle_mm) == (0.3, 0.8)
    assert coupon.part.datums == {"left": ("L24", "L54")}
    assert (coupon.part.instrument, coupon.part.resolution_mm) == ("height gauge", 0.001)
    assert (coupon.part.uncertainty_mm, coupon.part.jaw_land_mm) == (0.004, 0)
    read = [(r.feature, str(r.jaws), r.along) for r in coupon.readings]
    assert read == [
        ("L24", "outside", None),
        ("H10", "outside", None),
        ("L54", "outside", None),
        ("D8", "inside", "y"),
        ("D8", "inside", "x"),
    ]
    features = [(f.id, f.row, f.role, f.body, f.plate, f.place_mm) for f in coupon.features]
    assert features[1] == ("H10", "tongues, z", "span", "part", 1, None)
    assert [(f.at_bed, f.on_bed) for f in coupon.features] == [
        (False, False),
        (False, True),
        (False, False),
        (True, False),
    ]
    assert [f.size_mm for f in coupon.features] == [24, 10.13, 54, 8]
    assert (coupon.spec.name, coupon.spec.title) == ("plate", "Gauge block plate")


def part_said(*sizes, head=HEAD):
    with pytest.raises(SpecError) as caught:
        parse_part(part_text(*sizes, head=head).encode(), "part", "part.toml")
    return [str(each) for each in caught.value.problems]


LENGTH = 'name = "{}"\nform = "tongue"\ndirection = "{}"\ndrawn_mm = 24\ndatum = "{}"'


def test_names_that_come_twice_and_datums_that_turn_are_told_with_their_numbers():
    sizes = [("a", "x", "left"), ("b", "y", "low"), ("A", "x", "left"), ("c", "y", "left")]
    assert part_said(*(LENGTH.format(*size) for size in sizes)) == [
        "part.toml size 3 name: expected a different name, got 'A', the name of size 1. Rename it.",
        "part.toml size 4 datum: expected direction x, as of size 1 from the same face, got y. "
        "Correct the direction, or give each face a datum of its own.",
    ]


@pytest.mark.parametrize(("count", "is_read"), [(300, True), (301, False)])
def test_a_part_has_three_hundred_sizes_at_most(count, is_read):
    sizes = [LENGTH.format(f"s{n}", "x", "left") for n in range(count)]
    if is_read:
        assert len(parse_part(part_text(*sizes).encode(), "p", "p").sizes) == 300
    else:
        (line,) = part_said(*sizes)
        assert line.startswith("part.toml size: expected at most 300 items, got [")


@pytest.mark.parametrize(
    ("form", "direction", "more", "told_"),
    [
        ("slot", "z", 'jaws = "outside"', "inside or depth for a slot, got outside"),
        ("tongue", "z", 'on_bed = false\njaws = "inside"', "outside or depth for a tongue, got in"),
        ("pin", "z", 'jaws = "depth"', "outside for a pin, got depth"),
        ("hole", "x", "at_bed = true", "false for a hole with x, which crosses layers, got true"),
        ("slot", "z", "at_bed = true", "false for a slot with z, which crosses layers, got true"),
        ("hole", "z", "on_bed = true", "false, as no face of the hole looks down, got true"),
        ("slot", "x", "on_bed = true", "false, as no face of the slot looks down, got true"),
        ("hole", "y", 'along = ["y"]', "x or z, each once, got y"),
        ("hole", "x", 'along = ["y", "y"]', "y or z, each once, got y, y"),
        ("pin", "z", 'datum = "left"', "no such key for a pin, which starts from no face, got lef"),
        ("slot", "x", 'along = ["x"]', "no such key for a slot, got x"),
    ],
)
def test_what_cannot_be_said_of_a_size_is_told_in_full(form, direction, more, told_):
    size = f'name = "s"\nform = "{form}"\ndirection = "{direction}"\ndrawn_mm = 8\n{more}'
    (line,) = part_said(size)
    assert f": expected {told_}" in line


@pytest.mark.parametrize(
    ("form", "direction", "more", "found"),
    [
        ("slot", "z", 'jaws = "depth"', (False, False, "depth")),
        ("slot", "z", "on_bed = true", (False, True, "inside")),
        ("hole", "x", "on_bed = true", (False, True, "inside")),
        ("pin", "y", "on_bed = true", (False, True, "outside")),
        ("pin", "z", "at_bed = true", (True, False, "outside")),
        ("tongue", "x", "at_bed = true", (True, False, "outside")),
        ("slot", "x+y", "at_bed = true", (True, False, "inside")),
        ("tongue", "z", "on_bed = false", (False, False, "outside")),
    ],
)
def test_what_can_be_said_of_a_size_is_kept(form, direction, more, found):
    size = f'name = "s"\nform = "{form}"\ndirection = "{direction}"\ndrawn_mm = 8\n{more}'
    (one,) = parse_part(part_text(size).encode(), "p", "p").sizes
    assert (one.at_bed, one.on_bed, str(one.jaws)) == found
