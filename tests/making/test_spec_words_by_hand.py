"""How a spec is read, word by word: what is said of values, and what a row makes of its keys."""

import hashlib

import pytest
from support.gauge_plate import HEAD, part_text

from coupons.errors import SpecError
from coupons.making.part import part_record
from coupons.making.spec.coupon_spec import (
    Spec,
    find_spec,
    load_spec,
    parse_spec,
    shipped_specs,
    spec_bytes,
    spec_name,
)
from coupons.making.spec.part_spec import load_asked, parse_part
from coupons.making.spec.row_kinds import GapRange
from coupons.making.spec.wording import problems_of, unknown_key

ROW = 'kind = "fit"\nform = "hole"\ndirection = "z"\nsize_mm = 5\n'


def spec_of(*rows, head='title = "t"\n'):
    text = head + "".join(f"[[row]]\n{row}\n" for row in rows)
    return parse_spec(text.encode(), "plate", "plate.toml")


def refused(read, *args):
    with pytest.raises(SpecError) as caught:
        read(*args)
    return [str(problem) for problem in caught.value.problems]


def told(kind, message="", loc=("row", 1, "fit", "size_mm"), given=3, **limits):
    error = {"type": kind, "loc": loc, "msg": message, "input": given, "ctx": limits}
    (problem,) = problems_of("a.toml", [error])
    return str(problem)


def test_what_is_wrong_with_a_value_is_told_in_plain_words():
    where = "a.toml row 2 size_mm"
    assert told("missing") == f"{where}: expected a value, got nothing. Add the key."
    assert told("too_short", min_length=2) == f"{where}: expected at least 2 item, got 3."
    assert told("too_long", max_length=9) == f"{where}: expected at most 9 items, got 3."
    assert told("string_too_short", min_length=1, given="") == (
        f"{where}: expected at least 1 character, got ''."
    )
    assert told("string_too_long", max_length=4, given="abcde") == (
        f"{where}: expected at most 4 characters, got 'abcde'."
    )
    assert told("tuple_type") == f"{where}: expected a list, got 3."
    assert told("model_type") == f"{where}: expected a table of keys and values, got 3."
    assert told("finite_number", "Input should be a finite number") == (
        f"{where}: expected a finite number, got 3."
    )
    assert told("value_error", "Value error, rising values, got 2 and 1") == (
        f"{where}: expected rising values, got 2 and 1."
    )
    assert told("extra_forbidden", loc=("row", 0, "list", "gap")) == (
        "a.toml row 1 gap: expected a known key, got gap. Remove it or correct its spelling."
    )
    assert told("missing", loc=()) == "a.toml: expected a value, got nothing. Add the key."
    assert str(unknown_key("a.toml", "hue")) == (
        "a.toml hue: expected a known key, got hue. Remove it or correct its spelling."
    )


def test_kinds_that_are_not_are_told_with_those_that_are():
    kinds = "fit, hardware, insert, sizes, spans, swell or thread"
    for given, got in (({"kind": "fitt"}, "'fitt'"), ({}, "'nothing'"), (7, "7")):
        for kind in ("union_tag_invalid", "union_tag_not_found"):
            assert told(kind, loc=("row", 0), given=given) == (
                f"a.toml row 1 kind: expected {kinds}, got {got}."
            )


def test_patterns_are_told_by_what_they_stand_for():
    from coupons.making.spec.wording import NAME

    assert "expected a letter, then letters, digits, points or dashes, 16 characters at most" in (
        told("string_pattern_mismatch", pattern=NAME, given="1")
    )
    assert "expected one letter from A to Z except I, O and Q, which look like digits" in (
        told("string_pattern_mismatch", pattern="^[A-Z]$", given="1")
    )


def test_long_values_are_cut_after_sixty_characters():
    def shown(given):
        error = {"type": "x", "loc": ("title",), "msg": "m", "input": given}
        (problem,) = problems_of("a", [error])
        return problem.got

    # With its two quotes a text of 58 letters has 60; of a longer one the first 57 are shown.
    assert shown("x" * 58) == "'" + "x" * 58 + "'"
    assert shown("x" * 59) == "'" + "x" * 56 + "..."
    assert shown("x" * 200) == "'" + "x" * 56 + "..."


def test_a_list_is_too_short_only_where_its_items_are_not_at_fault():
    short = {"type": "too_short", "msg": "", "input": (), "ctx": {"min_length": 1}}
    item = {"type": "missing", "msg": "", "input": None}
    alone = problems_of("a", [{**short, "loc": ("row",)}])
    both = problems_of("a", [{**short, "loc": ("row",)}, {**item, "loc": ("row", 0, "title")}])
    beside = problems_of("a", [{**short, "loc": ("row",)}, {**item, "loc": ("rows", 0)}])
    assert [problem.where for problem in alone] == ["a row"]
    assert [problem.where for problem in both] == ["a row 1 title"]
    assert [problem.where for problem in beside] == ["a row", "a rows 1"]


def test_a_range_of_gaps_counts_both_ends_and_rounds_to_a_ten_thousandth():
    def values(start, stop, step):
        return GapRange(start=start, stop=stop, step=step).values()

    assert values(0.0, 0.3, 0.1) == (0.0, 0.1, 0.2, 0.3)
    assert values(-0.1, 0.25, 0.1) == (-0.1, 0.0, 0.1, 0.2)
    assert values(0.2, 0.2, 0.1) == (0.2,)
    third = values(0.0, 1.0, 1 / 3)
    assert third == (0.0, 0.3333, 0.6667, 1.0)


def test_rows_take_what_is_usual_where_they_say_nothing():
    (row,) = spec_of(ROW + "gaps_mm = [0.1]").rows
    assert (row.wall_mm, row.depth_mm, row.length_mm) == (3.0, 3.6, 7.0)
    assert (row.read_every, row.gauges, row.jobs, row.id) == (3, 2, (), None)
    spec = spec_of(ROW + "gaps_mm = [0.1]")
    assert (spec.assumed.layer_height_mm, spec.assumed.nozzle_mm) == (0.2, 0.4)
    assert spec.assumed.bed_mm == (180.0, 180.0)
    assert (spec.name, spec.title, spec.about) == ("plate", "t", "")
    screw = 'kind = "thread"\nname = "s"\nnominal_mm = 4\nholes_mm = [3]\nsource = "a"\n'
    (held,) = spec_of(screw + 'direction = "z"').rows
    assert (held.depth_mm, held.outer_mm, held.form) == (8.0, None, "hole")
    (sizes,) = spec_of('kind = "sizes"\nform = "hole"\ndirection = "z"\nsizes_mm = [3]').rows
    assert sizes.on_bed is True
    (swell,) = spec_of('kind = "swell"\ndirection = "x"\ntongues_mm = [16]').rows
    assert swell.slots_mm == ()


def test_bought_pieces_have_the_middle_of_their_band():
    bought = 'kind = "hardware"\nname = "d"\nform = "hole"\ndirection = "z"\ngaps_mm = [0]\n'
    (row,) = spec_of(bought + "nominal_mm = 8\nlimits_mm = [-0.01, 0.0400001]").rows
    assert row.size_mm == 8.015
    (odd,) = spec_of(bought + "nominal_mm = 8\nlimits_mm = [0.0, 0.0246913]").rows
    assert odd.size_mm in (8.012345, 8.012346)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        (
            'form = "pin"\nouter_mm = 8\n',
            "outer_mm: expected more than 8 mm, its own size, got 8.",
        ),
        (
            'form = "hole"\nouter_mm = 7.5\n',
            "outer_mm: expected at least 8 mm, its own size, got 7.5.",
        ),
        (
            'form = "tongue"\n',
            "outer_mm: expected the outside width of hardware that goes over a post, got nothing.",
        ),
    ],
)
def test_the_outside_of_a_bought_piece_is_wider_than_itself(keys, words):
    bought = (
        'kind = "hardware"\nname = "d"\ndirection = "x"\ngaps_mm = [0.0]\nnominal_mm = 8\n'
        "limits_mm = [0.0, 0.0]\n"
    )
    assert refused(spec_of, bought + keys) == [f"plate.toml row 1 {words}"]


def test_jobs_take_turns_and_come_again():
    rows = [ROW + "gaps_mm = [0.1]\n" + jobs for jobs in ("", "jobs = [1, 3]", "jobs = [2]")]
    spec = spec_of(*rows)
    assert spec.turns == 3
    letters = [spec.of_job(job).row_ids() for job in (1, 2, 3, 4, 5)]
    assert letters == [("A", "B"), ("A", "C"), ("A", "B"), ("A", "B"), ("A", "C")]
    assert all(row.jobs == () for row in spec.of_job(1).rows)
    turn = hashlib.sha256(f"{spec.digest} 2".encode()).hexdigest()
    assert spec.of_job(2).digest == turn[:16] == spec.of_job(5).digest
    plain = spec_of(rows[0])
    assert (plain.turns, plain.of_job(7)) == (1, plain)
    assert refused(spec_of, rows[1], rows[1]) == [
        "plate.toml: expected rows for every job up to 3, got none for 2."
    ]
    assert isinstance(spec_of(rows[1], rows[2]), Spec), "each job has a row of its own"


def test_letters_are_those_claimed_and_the_next_free_ones():
    gaps = ROW + "gaps_mm = [0.1]\n"
    assert spec_of(gaps, gaps + 'id = "A"', gaps).row_ids() == ("B", "A", "C")
    assert refused(spec_of, *[gaps + f'id = "{letter}"' for letter in "CBCB"]) == [
        "plate.toml: expected a different id for each row, got B, C twice."
    ]


def test_the_digest_is_of_the_bytes_with_one_way_to_end_a_line():
    text = f'title = "t"\n[[row]]\n{ROW}gaps_mm = [0.1]\n'
    digest = hashlib.sha256(text.encode()).hexdigest()[:16]
    for data in (text, text.replace("\n", "\r\n")):
        assert parse_spec(data.encode(), "a", "a.toml").digest == digest
    part = part_text()
    assert (
        parse_part(part.encode(), "p", "p.toml").digest
        == (hashlib.sha256(part.encode()).hexdigest()[:16])
    )


def test_names_and_paths_of_specs(tmp_path):
    names = shipped_specs()
    assert names[0] == "first"
    assert list(names[1:]) == sorted(names[1:])
    assert "first" not in names[1:]
    assert find_spec("first").name == "first.toml"
    own = tmp_path / "first"
    own.write_text("")
    assert find_spec(own) == own, "a path is a path, whatever its name"
    assert spec_name(tmp_path / "a\u200bb.toml") == "a_b"
    gone = tmp_path / "gone.toml"
    (words,) = refused(load_spec, gone)
    assert words.startswith(f"coupon spec: expected an existing spec, got '{gone}'. ")
    assert "Give the path of a .toml file or one of first, " in words


def test_a_spec_has_a_million_bytes_at_most(tmp_path):
    path = tmp_path / "large.toml"
    path.write_bytes(b"#" * 1_000_000)
    assert len(spec_bytes(path)) == 1_000_000
    path.write_bytes(b"#" * 1_000_001)
    assert refused(spec_bytes, path) == [
        f"{path}: expected a readable file, got more than 1,000,000 bytes."
    ]


def test_keys_of_ours_are_no_keys_of_a_spec():
    for key in ("name", "digest"):
        head = f'title = "t"\n{key} = "x"\n'
        with pytest.raises(SpecError) as caught:
            spec_of(ROW + "gaps_mm = [0.1]", head=head)
        assert [problem.where for problem in caught.value.problems] == [f"plate.toml {key}"]


@pytest.mark.parametrize("key", ["kind", "size", "instrument", "printed"])
def test_a_file_with_a_key_of_parts_alone_is_read_as_a_part(tmp_path, key):
    path = tmp_path / "own.toml"
    path.write_text(f'title = "t"\n{key} = 3\n')
    words = refused(load_asked, path)
    assert any("own.toml instrument: expected" in each for each in words)
    assert not any("own.toml row" in each for each in words)


SIZED = 'name = "{}"\nform = "{}"\ndirection = "{}"\ndrawn_mm = {}\n'


def test_a_part_s_record_says_what_its_spec_says():
    sizes = [
        SIZED.format("L24", "tongue", "x", 24) + 'datum = "left"',
        SIZED.format("S12", "slot", "x", 12.5) + 'datum = "left"\nat_bed = true',
        SIZED.format("W9", "tongue", "y", 9) + 'datum = "front"',
        SIZED.format("H10", "tongue", "z", 10) + 'on_bed = true\njaws = "depth"',
        SIZED.format("D8", "hole", "z", 8) + 'along = ["y", "x"]',
    ]
    spec = parse_part(part_text(*sizes, head=HEAD).encode(), "plate", "plate.toml")
    record = part_record(spec)
    assert record.part.datums == {"left": ("L24", "S12"), "front": ("W9",)}
    part = record.part
    assert (part.instrument, part.resolution_mm) == ("height gauge", 0.001)
    assert (part.uncertainty_mm, part.jaw_land_mm) == (0.004, 0.0)
    assert [(f.id, f.row, f.size_mm, f.at_bed, f.on_bed) for f in record.features] == [
        ("L24", "tongues, x", 24.0, False, False),
        ("S12", "slots, x", 12.5, True, False),
        ("W9", "tongues, y", 9.0, False, False),
        ("H10", "tongues, z", 10.0, False, True),
        ("D8", "holes, z", 8.0, False, False),
    ]
    assert {(f.body, f.plate, f.place_mm, f.role) for f in record.features} == {
        ("part", 1, None, "span")
    }
    assert [(r.feature, str(r.jaws), r.along) for r in record.readings] == [
        ("L24", "outside", None),
        ("S12", "inside", None),
        ("W9", "outside", None),
        ("H10", "depth", None),
        ("D8", "inside", "y"),
        ("D8", "inside", "x"),
    ]
    assert (record.trials, record.bodies, record.assumed.bed_mm) == ((), (), None)
    assert (record.assumed.layer_height_mm, record.assumed.nozzle_mm) == (0.2, 0.4)
    other = part_record(spec, layer_height_mm=0.3, nozzle_mm=0.6).assumed
    assert (other.layer_height_mm, other.nozzle_mm) == (0.3, 0.6)
    assert (record.spec.name, record.spec.title) == ("plate", "Gauge block plate")
    assert record.spec.digest == spec.digest


def test_each_name_that_is_used_again_and_each_face_that_is_turned_is_told():
    left = '\ndatum = "left"'
    sizes = [
        SIZED.format("L1", "tongue", "x", 24) + left,
        SIZED.format("l1", "tongue", "y", 12) + left,
        SIZED.format("L1", "tongue", "x", 9) + left,
        SIZED.format("B1", "tongue", "z", 9) + 'on_bed = true\ndatum = "base"',
    ]
    found = refused(parse_part, part_text(*sizes).encode(), "p", "p.toml")
    assert found == [
        "p.toml size 2 name: expected a different name, got 'l1', the name of size 1. Rename it.",
        "p.toml size 3 name: expected a different name, got 'L1', the name of size 1. Rename it.",
        "p.toml size 2 datum: expected direction x, as of size 1 from the same face, got y. "
        "Correct the direction, or give each face a datum of its own.",
    ]


def test_values_of_a_size_that_contradict_each_other_are_told():
    def words(text):
        (one,) = refused(parse_part, part_text(text).encode(), "p", "p.toml")
        return one.removeprefix("p.toml size 1 ")

    assert words(SIZED.format("D8", "hole", "z", 8) + "on_bed = true") == (
        "on_bed: expected false, as no face of the hole looks down, got true."
    )
    assert words(SIZED.format("H8", "tongue", "z", 8) + "on_bed = true\nat_bed = true") == (
        "at_bed: expected false for a tongue with z, which crosses layers, got true."
    )
    assert words(SIZED.format("D8", "hole", "x", 8) + "at_bed = true") == (
        "at_bed: expected false for a hole with x, which crosses layers, got true."
    )
    assert words(SIZED.format("H8", "slot", "z", 8) + 'jaws = "outside"') == (
        "jaws: expected inside or depth for a slot, got outside."
    )
    assert words(SIZED.format("D8", "pin", "z", 8) + 'jaws = "depth"') == (
        "jaws: expected outside for a pin, got depth."
    )
    assert words(SIZED.format("D8", "pin", "x", 8) + 'along = ["x"]') == (
        "along: expected y or z, each once, got x."
    )
    assert words(SIZED.format("D8", "pin", "x", 8) + 'along = ["y", "y"]') == (
        "along: expected y or z, each once, got y, y."
    )
