"""What a spec means where it says nothing, and which bytes and keys it may have."""

import hashlib

import pytest
from support.gauge_plate import part_text

from coupons.errors import SpecError
from coupons.making.spec.coupon_spec import (
    find_spec,
    parse_spec,
    spec_bytes,
)
from coupons.making.spec.part_spec import load_asked, parse_part
from coupons.making.spec.row_kinds import GapRange

ROW = 'kind = "fit"\nform = "hole"\ndirection = "z"\nsize_mm = 5\n'


def spec_of(*rows, head='title = "t"\n'):
    text = head + "".join(f"[[row]]\n{row}\n" for row in rows)
    return parse_spec(text.encode(), "plate", "plate.toml")


def refused(read, *args):
    with pytest.raises(SpecError) as caught:
        read(*args)
    return [str(problem) for problem in caught.value.problems]


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


def test_a_spec_has_a_million_bytes_at_most(tmp_path):
    path = tmp_path / "large.toml"
    path.write_bytes(b"#" * 1_000_000)
    assert len(spec_bytes(path)) == 1_000_000
    path.write_bytes(b"#" * 1_000_001)
    assert refused(spec_bytes, path) == [
        f"{path}: expected a readable file, got more than 1,000,000 bytes."
    ]


@pytest.mark.parametrize("key", ["kind", "size", "instrument", "printed"])
def test_a_file_with_a_key_of_parts_alone_is_read_as_a_part(tmp_path, key):
    path = tmp_path / "own.toml"
    path.write_text(f'title = "t"\n{key} = 3\n')
    words = refused(load_asked, path)
    assert any("own.toml instrument: expected" in each for each in words)
    assert not any("own.toml row" in each for each in words)


def test_a_path_is_a_path_whatever_its_name(tmp_path):
    own = tmp_path / "first"
    own.write_text("")
    assert find_spec(own) == own


def test_a_name_that_is_none_is_told_what_one_is():
    sized = 'name = "{}"\nform = "tongue"\ndirection = "x"\ndrawn_mm = 24\n'
    for name in ("1a", "a b", ""):
        (found,) = refused(parse_part, part_text(sized.format(name)).encode(), "p", "p.toml")
        assert found == (
            "p.toml size 1 name: expected a letter, then letters, digits, points or dashes, "
            f"16 characters at most, got {name!r}."
        )
