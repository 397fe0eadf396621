import json

import pytest
from support.gauge_plate import HEAD, SIZES, part_text

from coupons import make_coupon
from coupons.errors import PlanError, RunError, SpecError
from coupons.making.spec.part_spec import load_asked, parse_part

FLAT = 'name = "L24"\nform = "tongue"\ndirection = "x"\ndrawn_mm = 24'
ROUND = 'name = "D8"\nform = "hole"\ndirection = "z"\ndrawn_mm = 8'


def problems(text):
    with pytest.raises(SpecError) as caught:
        parse_part(text.encode(), "part", "part.toml")
    return [str(problem) for problem in caught.value.problems]


def test_a_shipped_coupon_is_still_one():
    assert load_asked("first").name == "first"


@pytest.mark.parametrize(
    ("size", "told"),
    [
        (FLAT.replace("24", "0"), "size 1 drawn_mm: expected greater than or equal to 0.5, got 0"),
        (FLAT.replace("24", "501"), "size 1 drawn_mm: expected less than or equal to 500"),
        (FLAT.replace('"tongue"', '"groove"'), "size 1 form: expected 'pin', 'tongue', 'hole' or"),
        (FLAT + "\nlength_mm = 3", "size 1 length_mm: expected a known key, got length_mm"),
        (FLAT.replace('"L24"', '"24"'), "size 1 name: expected a letter, then"),
        (FLAT.replace('"x"', '"z"'), "size 1 on_bed: expected true or false: is the lower face"),
        (FLAT + "\non_bed = true", "size 1 on_bed: expected false, as no face of the tongue"),
        (FLAT + '\njaws = "inside"', "size 1 jaws: expected outside for a tongue, got inside"),
        (FLAT + '\nalong = ["y"]', "size 1 along: expected no such key for a tongue, got y"),
        (
            FLAT.replace('"x"', '"z"') + "\non_bed = true\nat_bed = true",
            "size 1 at_bed: expected f",
        ),
        (ROUND.replace('"z"', '"x+y"'), "size 1 direction: expected one of x, y, z for a hole"),
        (ROUND + '\nalong = ["z"]', "size 1 along: expected x or y, each once, got z"),
        (ROUND + '\nalong = ["x", "x"]', "size 1 along: expected x or y, each once, got x, x"),
        (ROUND + '\ndatum = "left"', "size 1 datum: expected no such key for a hole"),
    ],
)
def test_a_size_that_cannot_be_is_refused_with_its_place(size, told):
    found = problems(part_text(size))
    assert len(found) == 1
    assert told in found[0]


def test_all_problems_of_a_file_are_told_at_once():
    text = part_text(
        FLAT,
        FLAT.replace("L24", "l24"),
        ROUND.replace('"z"', '"x-y"').replace("= 8", "= 0"),
        head=HEAD.split("[instrument]")[0] + "colour = 1\n",
    )
    found = problems(text)
    for told in (
        "part.toml instrument: expected a value, got nothing",
        "part.toml colour: expected a known key, got colour",
        "size 2 name: expected a different name, got 'l24', the name of size 1",
        "size 3 direction: expected one of x, y, z for a hole, got x-y",
        "size 3 drawn_mm: expected greater",
    ):
        assert sum(told in one for one in found) == 1, told
    assert len(found) == 5


@pytest.mark.parametrize(
    ("head", "told"),
    [
        (HEAD.replace("uncertainty_mm = 0.004", ""), "instrument uncertainty_mm: expected a value"),
        (HEAD.replace("0.004", "0"), "instrument uncertainty_mm: expected greater than 0, got 0"),
        (HEAD.replace("0.001", '"fine"'), "instrument resolution_mm: expected a valid number"),
        (HEAD.replace('kind = "part"', ""), "part.toml kind: expected a value, got nothing"),
        (HEAD.replace('"part"', '"plate"'), "part.toml kind: expected 'part', got 'plate'"),
    ],
)
def test_a_part_without_a_proper_head_is_refused(head, told):
    (found,) = problems(part_text(head=head))
    assert told in found


def test_sizes_from_one_face_lie_in_one_direction():
    left = '\ndatum = "left"'
    turned = FLAT.replace("L24", "B30").replace('"x"', '"y"')
    (found,) = problems(part_text(FLAT + left, turned + left))
    assert "size 2 datum: expected direction x, as of size 1 from the same face, got y" in found


def test_too_many_sizes_are_refused():
    sizes = [FLAT.replace("L24", f"L{number}") for number in range(301)]
    (found,) = problems(part_text(*sizes))
    assert "part.toml size: expected at most 300 items" in found


@pytest.mark.parametrize(
    ("sizes", "told"),
    [
        ("size = 3\n", "part.toml size: expected a list, got 3"),
        ("size = [3]\n", "part.toml size 1: expected a table of keys and values, got 3"),
    ],
)
def test_sizes_of_another_shape_are_refused(sizes, told):
    (found,) = problems(HEAD.replace("[instrument]", sizes + "[instrument]"))
    assert told in found


def test_a_part_without_its_kind_is_not_taken_for_a_coupon(tmp_path):
    path = tmp_path / "part.toml"
    path.write_text(part_text(head=HEAD.replace('kind = "part"', "")))
    with pytest.raises(SpecError, match=r"part.toml kind: expected a value"):
        load_asked(path)


def test_the_record_holds_sizes_as_drawn_and_nothing_to_print(tmp_path):
    path = tmp_path / "part.toml"
    path.write_text(part_text())
    made = make_coupon(path, tmp_path / "run", layer_height_mm=0.3)
    assert sorted(one.name for one in made.folder.iterdir()) == [
        "conditions.toml",
        "coupon.json",
        "entries.csv",
        "entry.html",
        "sheet.html",
    ]
    record = json.loads((made.folder / "coupon.json").read_text())
    sizes = {one["id"]: (one["size_mm"], one["on_bed"]) for one in record["features"]}
    assert sizes["H10"] == (10.13, True), "not rounded to 10.2, whole layers of 0.3 mm"
    assert len(sizes) == len(SIZES)
    assert record["assumed"] == {"bed_mm": None, "layer_height_mm": 0.3, "nozzle_mm": 0.4}


def test_a_part_needs_no_bed(tmp_path):
    path = tmp_path / "part.toml"
    path.write_text(part_text())
    with pytest.raises(PlanError, match="none for a part that exists already"):
        make_coupon(path, tmp_path / "run", bed_mm=(200, 200))
    assert not (tmp_path / "run").exists()


def test_a_part_is_not_made_over_another_coupon(tmp_path):
    path = tmp_path / "part.toml"
    path.write_text(part_text())
    make_coupon(path, tmp_path / "run")
    path.write_text(part_text(FLAT))
    with pytest.raises(RunError, match="no other coupon in the folder"):
        make_coupon(path, tmp_path / "run")
