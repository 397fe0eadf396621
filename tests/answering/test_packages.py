"""3MF packages: what of the format is followed, and where reading stops."""

import io
import re
import zipfile

import numpy as np
import pytest
from support.drawn_bodies import box, threemf, threemf_object

from coupons.answering.meshes import threemf_objects as module
from coupons.answering.meshes.threemf_objects import TooManyError, read_objects

PEG = threemf_object(box(1, 2, 3), 1, "peg")  # 12 triangles, 8 vertices


def item(number, matrix=None):
    said = "" if matrix is None else f' transform="{matrix}"'
    return f'<item objectid="{number}"{said}/>'


def group(number, *parts, name=""):
    inside = "".join(
        f'<component objectid="{part}"'
        + ("" if matrix is None else f' transform="{matrix}"')
        + "/>"
        for part, matrix in parts
    )
    return f'<object id="{number}" name="{name}"><components>{inside}</components></object>'


def read(objects, build, most=1000, **more):
    return read_objects(threemf(objects, build, **more), most)


def is_little_enough(objects, build, most=1000):
    """Tell whether a package is read, and not refused for holding too much."""
    try:
        return len(read(objects, build, most)) == 1
    except TooManyError:
        return False


def box_of(corners):
    return [*corners.reshape(-1, 3).min(axis=0), *corners.reshape(-1, 3).max(axis=0)]


def volume(corners):
    a, b, c = np.moveaxis(corners, 1, 0)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def test_an_object_is_placed_as_often_as_the_build_says_with_name_and_unit():
    found = read(PEG, item(1) + item(1, "1 0 0 0 1 0 0 0 1 7 8 9"), unit="inch")
    assert [(name, unit, len(corners)) for name, corners, unit in found] == [
        ("peg", "inch", 12)
    ] * 2
    assert [box_of(corners) for _, corners, _ in found] == [
        [0, 0, 0, 1, 2, 3],
        [7, 8, 9, 8, 10, 12],
    ]


def test_a_point_is_a_row_times_the_matrix():
    # x goes to 2·y, y to −x + z, z to z, then all by (10, 20, 30).
    matrix = "0 2 0 -1 0 1 0 0 1 10 20 30"
    ((_, corners, _),) = read(PEG, item(1, matrix))
    assert box_of(corners) == [10 - 2, 20, 30, 10, 20 + 2, 30 + 3 + 2]
    assert volume(corners) == pytest.approx(2 * 6)


def test_a_component_is_placed_in_its_object_and_that_in_the_build():
    # First by 5 along x, then a quarter turn from x to y, then by 100 along x.
    inner, outer = "1 0 0 0 1 0 0 0 1 5 0 0", "0 1 0 -1 0 0 0 0 1 100 0 0"
    objects = PEG + group(2, (1, inner), name="moved")
    ((name, corners, _),) = read(objects, item(2, outer))
    assert name == "moved"
    assert box_of(corners) == [98, 5, 0, 100, 6, 3]


def test_what_is_mirrored_still_faces_outwards():
    flip = "-1 0 0 0 1 0 0 0 1 0 0 0"
    objects = PEG + group(2, (1, flip))
    ((_, once, _),) = read(objects, item(2))
    ((_, twice, _),) = read(objects, item(2, flip))
    assert (volume(once), volume(twice)) == (pytest.approx(6), pytest.approx(6))
    assert box_of(once) == [-1, 0, 0, 0, 2, 3]


@pytest.mark.parametrize(("kind", "many"), [("", 1), ("model", 1), ("support", 0), ("other", 0)])
def test_only_models_are_read(kind, many):
    assert len(read(PEG.replace('type="model"', f'type="{kind}"'), item(1))) == many


def test_an_object_without_triangles_is_left_out():
    assert read(PEG + '<object id="2"><components/></object>', item(2)) == []


@pytest.mark.parametrize(("most", "is_read"), [(12, True), (11, False)])
def test_as_many_triangles_as_allowed_are_read(most, is_read):
    assert is_little_enough(PEG, item(1), most) is is_read


@pytest.mark.parametrize(("most", "is_read"), [(24, True), (23, False)])
def test_triangles_count_once_a_place(most, is_read):
    objects = PEG + group(2, (1, None), (1, None))
    assert is_little_enough(objects, item(2), most) is is_read


@pytest.mark.parametrize(("most", "is_read"), [(3, True), (2, False)])
def test_objects_and_components_count_together(monkeypatch, most, is_read):
    monkeypatch.setattr(module, "_MOST_PLACED", most)
    objects = PEG + group(2, (1, None), (1, None))  # itself and two others
    assert is_little_enough(objects, item(2)) is is_read


@pytest.mark.parametrize(("depth", "is_read"), [(32, True), (33, False)])
def test_components_stand_in_one_another_up_to_thirty_two_deep(depth, is_read):
    objects = PEG + "".join(group(n, (n - 1, None)) for n in range(2, depth + 2))
    build = item(depth + 1)
    if is_read:
        assert len(read(objects, build)[0][1]) == 12
    else:
        with pytest.raises(ValueError, match="contains itself"):
            read(objects, build)


@pytest.mark.parametrize(("elements", "is_read"), [(60, True), (61, False)])
def test_five_elements_a_triangle_are_read(elements, is_read):
    # model, resources, object, mesh, vertices, 8 vertices, triangles, 12 triangles, build, item: 28
    junk = "<a/>" * (elements - 28)
    assert is_little_enough(junk + PEG, item(1), 12) is is_read


def test_a_part_that_unpacks_to_more_is_not_read(monkeypatch):
    data = threemf(PEG, item(1))
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        size = package.getinfo("3D/main.model").file_size
    monkeypatch.setattr(module, "_MOST_BYTES", size)
    assert len(read_objects(data, 1000)) == 1
    monkeypatch.setattr(module, "_MOST_BYTES", size - 1)
    with pytest.raises(TooManyError):
        read_objects(data, 1000)


def test_a_part_is_read_in_small_portions_too(monkeypatch):
    monkeypatch.setattr(module, "_AT_ONCE", 7)
    assert len(read(PEG, item(1))[0][1]) == 12


@pytest.mark.parametrize(
    ("matrix", "fault"),
    [
        ("1 0 0 0 1 0 0 0 1 0 0", "transform 1 0 0"),
        ("1 0 0 0 1 0 0 0 1 0 0 0 0", "transform 1 0 0"),
        ("1 0 0 0 1 0 0 0 1 0 0 nan", "transform 1 0 0"),
        ("1 0 0 0 1 0 0 0 1 0 0 -1000000001", "transform 1 0 0"),
        ("1 0 0 0 1 0 0 0 1 0 0 x", "could not convert"),
    ],
)
def test_a_transform_has_twelve_plain_numbers(matrix, fault):
    with pytest.raises(ValueError, match=fault):
        read(PEG, item(1, matrix))


def test_a_transform_is_told_with_forty_characters_of_it():
    text = "1.5 " * 30
    with pytest.raises(ValueError, match=r"^transform ") as refused:
        read(PEG, item(1, text))
    assert str(refused.value) == "transform " + "1.5 " * 10


def test_a_transform_moves_as_far_as_a_thousand_million():
    ((_, corners, _),) = read(PEG, item(1, "1 0 0 0 1 0 0 0 1 0 0 -1000000000"))
    assert corners[..., 2].min() == -1e9


@pytest.mark.parametrize("corner", [8, -1])
def test_a_triangle_has_vertices_that_are_there(corner):
    with pytest.raises(ValueError, match="a triangle without its vertex"):
        read(re.sub('v2="[0-9]+"', f'v2="{corner}"', PEG, count=1), item(1))


def test_vertices_are_those_of_their_own_object():
    other = threemf_object(box(5, 5, 5), 2, "cube")
    found = read(PEG + other, item(2) + item(1))
    assert [(name, volume(corners)) for name, corners, _ in found] == [
        ("cube", pytest.approx(125)),
        ("peg", pytest.approx(6)),
    ]


@pytest.mark.parametrize("unit", ["yard", ""])
def test_a_unit_is_one_of_the_format(unit):
    with pytest.raises(ValueError, match=f"unit {unit}"):
        read(PEG, item(1), unit=unit)


def test_a_file_without_a_unit_is_in_mm():
    with zipfile.ZipFile(io.BytesIO(threemf(PEG, item(1)))) as package:
        texts = {name: package.read(name) for name in package.namelist()}
    texts["3D/main.model"] = texts["3D/main.model"].replace(b' unit="millimeter"', b"")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as package:
        for name, text in texts.items():
            package.writestr(name, text)
    assert read_objects(packed.getvalue(), 1000)[0][2] == "millimeter"


def test_objects_of_another_part_are_its_own():
    other = threemf_object(box(4, 4, 4), 1, "far")
    path = 'p:path="/3D/other.model"'
    placed = f'<component {path} objectid="1"/>'
    objects = PEG + f'<object id="2"><components>{placed}</components></object>'
    build = item(1) + item(2) + f'<item {path} objectid="1"/>'
    found = read(objects, build, more=[("3D/other.model", other)])
    assert [(name, volume(corners)) for name, corners, _ in found] == [
        ("peg", pytest.approx(6)),
        ("", pytest.approx(64)),
        ("far", pytest.approx(64)),
    ]
