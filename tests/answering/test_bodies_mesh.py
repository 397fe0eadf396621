import numpy as np
import pytest
import trimesh
from manifold3d import Manifold
from support.drawn_bodies import (
    as_trimesh,
    box,
    drawn,
    read_one,
    round_bar,
    threemf,
    threemf_object,
    write,
)

from coupons.answering.meshes import mesh, raw_meshes, soundness, threemf_objects
from coupons.answering.meshes.mesh import merged, read_bodies
from coupons.answering.meshes.soundness import crossings
from coupons.errors import BodyError

PLATE = box(40, 30, 8) - round_bar(10, 20, (20, 15, -5))


def refusal(*paths, units=None) -> str:
    with pytest.raises(BodyError) as caught:
        read_bodies(list(paths), units)
    return str(caught.value)


@pytest.mark.parametrize("kind", ["stl", "obj", "ply"])
def test_a_body_is_read_from_each_format(tmp_path, kind):
    body = read_one(write(PLATE, tmp_path / f"plate.{kind}"))
    assert body.name == "plate"
    assert body.volume_mm3 == pytest.approx(PLATE.volume(), rel=1e-6)
    np.testing.assert_allclose(body.box_mm, [[0, 0, 0], [40, 30, 8]], atol=1e-5)
    assert not len(body.edges.opened)


def test_stl_as_text_is_read(tmp_path):
    (tmp_path / "plate.stl").write_text(as_trimesh(PLATE).export(file_type="stl_ascii"))
    assert read_one(tmp_path / "plate.stl").volume_mm3 == pytest.approx(PLATE.volume(), rel=1e-5)


def test_placed_objects_of_a_package_are_bodies_in_their_places(tmp_path):
    objects = threemf_object(box(10, 6, 4), 1, "peg") + threemf_object(box(20, 20, 2), 2, "floor")
    quarter_turn = "0 1 0 -1 0 0 0 0 1 100 50 3"  # x to y, then moved
    build = f'<item objectid="1" transform="{quarter_turn}"/><item objectid="2"/>'
    (tmp_path / "two.3mf").write_bytes(threemf(objects, build))
    peg, floor = read_bodies([tmp_path / "two.3mf"]).bodies
    assert (peg.name, floor.name) == ("peg", "floor")
    np.testing.assert_allclose(peg.box_mm, [[94, 50, 3], [100, 60, 7]])
    assert peg.volume_mm3 == pytest.approx(240)


def test_components_units_and_mirrors_of_a_package_are_followed(tmp_path):
    objects = threemf_object(box(1, 2, 3), 1, "half")
    part = '<object id="1" name="far">' + threemf_object(box(1, 1, 1), 1).split(">", 1)[1]
    objects += (
        '<object id="7" name="both"><components>'
        '<component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/>'
        '<component objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>'
        '<component p:path="/3D/other.model" objectid="1" transform="1 0 0 0 1 0 0 0 1 0 9 0"/>'
        "</components></object>"
    )
    build = '<item objectid="7"/>'
    (tmp_path / "inch.3mf").write_bytes(threemf(objects, build, "inch", [("3D/other.model", part)]))
    read = read_bodies([tmp_path / "inch.3mf"])
    assert [body.name for body in read.bodies] == ["both 1", "both 2", "both 3"]
    inch3 = 25.4**3
    volumes = [body.volume_mm3 for body in read.bodies]
    assert volumes == pytest.approx([6 * inch3, 6 * inch3, inch3])
    assert read.bodies[1].box_mm[0, 0] == pytest.approx(-25.4)
    assert read.notes == (
        "inch.3mf is in inch: read in mm.",
        "inch.3mf holds 3 bodies: both 1, both 2, both 3.",
    )


def test_shells_of_one_file_are_bodies_and_a_cavity_stays_with_its_own(tmp_path):
    hollow = box(20, 20, 20) - box(4, 4, 4, (8, 8, 8))
    both = Manifold.compose([hollow, box(5, 5, 5, (30, 0, 0))])
    first, second = read_bodies([write(both, tmp_path / "two.stl")]).bodies
    assert sorted([first.volume_mm3, second.volume_mm3]) == pytest.approx([125, 8000 - 64])


def test_objects_of_a_text_mesh_are_bodies_with_their_names(tmp_path):
    text, first = "", 1
    for name, solid in {"peg": box(5, 5, 9), "lid": box(20, 20, 3, (0, 0, 9))}.items():
        mesh = as_trimesh(solid)
        text += f"o {name}\n" + "".join(f"v {x} {y} {z}\n" for x, y, z in mesh.vertices)
        text += "".join("f {} {} {}\n".format(*(face + first)) for face in mesh.faces)
        first += len(mesh.vertices)
    (tmp_path / "two.obj").write_text(text)
    read = read_bodies([tmp_path / "two.obj"])
    assert sorted(body.name for body in read.bodies) == ["lid", "peg"]


def test_bodies_of_one_name_are_numbered(tmp_path):
    (tmp_path / "a").mkdir()
    one, two = write(box(9, 9, 9), tmp_path / "peg.stl"), write(PLATE, tmp_path / "a" / "peg.stl")
    assert [body.name for body in read_bodies([one, two]).bodies] == ["peg (1)", "peg (2)"]


def test_a_unit_is_asked_where_mm_is_not_plausible(tmp_path):
    path = write(PLATE.scale((1e-3, 1e-3, 1e-3)), tmp_path / "plate.stl")
    said = refusal(path)
    assert "plate.stl: expected a unit, got none, and a longest side of 0.04" in said
    assert "40 mm if in m" in said
    assert read_one(path, "m").box_mm[1, 0] == pytest.approx(40, rel=1e-6)
    inches = write(PLATE.scale((1 / 25.4,) * 3), tmp_path / "inches.obj")
    assert "40 mm if in in" in refusal(inches)
    assert read_one(inches, "in").box_mm[1, 0] == pytest.approx(40, rel=1e-6)


def test_everything_wrong_is_told_at_once(tmp_path):
    mesh = as_trimesh(PLATE)
    opened = trimesh.Trimesh(mesh.vertices, mesh.faces[1:], process=False)
    inward = trimesh.Trimesh(mesh.vertices, mesh.faces[:, ::-1], process=False)
    turned = trimesh.Trimesh(mesh.vertices, np.vstack([mesh.faces[:1, ::-1], mesh.faces[1:]]))
    (tmp_path / "note.txt").write_text("no mesh")
    (tmp_path / "half.stl").write_bytes(write(PLATE, tmp_path / "x.stl").read_bytes()[:-30])
    (tmp_path / "empty.obj").write_text("# nothing\n")
    cube = as_trimesh(box(20, 20, 20))
    pulled = cube.vertices.copy()
    pulled[pulled[:, 0].argmax()] = [-30, 5, 4]  # a corner goes out through the far wall
    bow = trimesh.Trimesh(pulled, cube.faces, process=False)
    said = refusal(
        write(opened, tmp_path / "opened.stl"),
        write(inward, tmp_path / "inward.stl"),
        write(turned, tmp_path / "turned.stl"),
        write(bow, tmp_path / "bow.stl"),
        tmp_path / "note.txt",
        tmp_path / "half.stl",
        tmp_path / "empty.obj",
    )
    for words in (
        "opened.stl: expected a closed surface, got 3 open edges, the first at (",
        "inward.stl: expected outward normals, got inward ones",
        "turned.stl: expected triangles that face outwards, got 3 edges where it turns over",
        "bow.stl: expected a surface without crossings, got one that crosses itself in",
        "note.txt: expected a file in .stl, .3mf, .obj, .ply, got .txt",
        "half.stl: expected a whole STL file, got one that is damaged",
        "empty.obj: expected a",
    ):
        assert words in said, said


def test_two_parts_left_in_each_other_are_two_bodies(tmp_path):
    parts = [as_trimesh(box(20, 20, 20)), as_trimesh(box(20, 20, 20, (5, 6, 7)))]
    read = read_bodies([write(trimesh.util.concatenate(parts), tmp_path / "both.stl")])
    assert [body.volume_mm3 for body in read.bodies] == pytest.approx([8000, 8000])


def test_triangles_without_area_do_no_harm(tmp_path):
    mesh = as_trimesh(box(20, 20, 20))
    a, b, _ = mesh.faces[0]
    middle = mesh.vertices[[a, b]].mean(axis=0)
    corners = np.concatenate([mesh.triangles, [[mesh.vertices[a], middle, mesh.vertices[b]]]])
    # The neighbour across this edge gets the new corner, so that the surface stays closed.
    at = next(n for n, f in enumerate(mesh.faces) if n and {a, b} <= set(f.tolist()))
    face = mesh.faces[at].tolist()
    k = face.index(b)
    p, q, r = (mesh.vertices[face[(k + n) % 3]] for n in range(3))
    corners = np.concatenate([np.delete(corners, at, axis=0), [[p, middle, r], [middle, q, r]]])
    flat = trimesh.Trimesh(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3))
    body = read_one(write(flat, tmp_path / "flat.stl"))
    assert (body.areas_mm2 == 0).sum() == 1
    assert body.volume_mm3 == pytest.approx(8000)


def test_damage_is_told_in_one_line_a_file(tmp_path):
    whole = as_trimesh(PLATE).export(file_type="stl_ascii")
    (tmp_path / "words.stl").write_text(whole.replace("vertex 0", "vertex x", 1))
    (tmp_path / "cut.stl").write_text(as_trimesh(PLATE).export(file_type="stl_ascii")[:-700])
    (tmp_path / "none.ply").write_bytes(b"ply\nformat ascii 1.0\nelement face 3\nend_header\n1")
    said = refusal(*(tmp_path / name for name in ("words.stl", "cut.stl", "none.ply")))
    assert len(said.splitlines()) == 3


def test_too_many_triangles_are_refused_before_they_are_read(tmp_path, monkeypatch):
    monkeypatch.setattr(raw_meshes, "MOST_TRIANGLES", 20)
    paths = [write(PLATE, tmp_path / f"many.{kind}") for kind in ("stl", "obj", "ply")]
    (tmp_path / "text.stl").write_text(as_trimesh(PLATE).export(file_type="stl_ascii"))
    (tmp_path / "many.3mf").write_bytes(threemf(threemf_object(PLATE, 1), '<item objectid="1"/>'))
    monkeypatch.setattr(raw_meshes, "_loaded", None)  # would fail if it were called
    said = refusal(*paths, tmp_path / "text.stl", tmp_path / "many.3mf")
    assert said.count("expected at most 20 triangles, got") == 5


def test_crossings_agree_with_every_pair_tried():
    rng = np.random.default_rng(5)
    shape = Manifold.sphere(10, 16).warp_batch(lambda p: p * (1 + 0.02 * np.sin(p[:, [2, 0, 1]])))
    body = drawn(shape)
    assert not len(crossings(body))
    spoiled = body.vertices_mm.copy()
    spoiled[rng.integers(len(spoiled), size=6)] *= -0.4
    from coupons.answering.meshes.body import Body

    crossed = Body("b", "b.stl", spoiled, body.triangles.copy())
    i, j = np.triu_indices(len(crossed.triangles), 1)
    keep = soundness._straddle(crossed, i, j) & soundness._straddle(crossed, j, i)
    i, j = i[keep], j[keep]
    met = soundness._edge_through(crossed, i, j) | soundness._edge_through(crossed, j, i)
    naive = {frozenset(pair) for pair in zip(i[met].tolist(), j[met].tolist(), strict=True)}
    found = {frozenset(pair) for pair in crossings(crossed).tolist()}
    assert len(naive) > 20
    assert found == naive


def nested(levels: int, first: str) -> bytes:
    """A package whose objects each hold the one before twice: two to the power of levels."""
    doubled = "".join(
        f'<object id="{n}"><components><component objectid="{n - 1}"/>'
        f'<component objectid="{n - 1}"/></components></object>'
        for n in range(2, levels + 2)
    )
    return threemf(first + doubled, f'<item objectid="{levels + 1}"/>')


@pytest.mark.parametrize(
    "first", [threemf_object(PLATE, 1), '<object id="1"><components/></object>']
)
def test_objects_that_multiply_within_one_another_are_refused_soon(tmp_path, monkeypatch, first):
    monkeypatch.setattr(threemf_objects, "_MOST_PLACED", 1000)
    (tmp_path / "much.3mf").write_bytes(nested(30, first))
    assert "much.3mf: expected at most 2,000,000 triangles, got more" in refusal(
        tmp_path / "much.3mf"
    )


@pytest.mark.parametrize("junk", ["<a/>", '<vertex x="0" y="0" z="0"/>'])
def test_a_package_of_other_elements_is_not_read_to_its_end(tmp_path, monkeypatch, junk):
    monkeypatch.setattr(raw_meshes, "MOST_TRIANGLES", 20)
    (tmp_path / "junk.3mf").write_bytes(threemf(junk * 200 + threemf_object(PLATE, 1), ""))
    assert "junk.3mf: expected at most 20 triangles, got more" in refusal(tmp_path / "junk.3mf")


def test_elements_that_are_not_needed_leave_those_that_are(tmp_path):
    more = '<metadata name="a">b</metadata><c><d/></c>'
    one = threemf_object(PLATE, 1, "plate").replace("<mesh>", f"{more}<mesh>{more}", 1)
    (tmp_path / "plate.3mf").write_bytes(threemf(more + one, f'{more}<item objectid="1"/>{more}'))
    assert read_one(tmp_path / "plate.3mf").volume_mm3 == pytest.approx(PLATE.volume())


def test_a_face_of_many_corners_counts_as_its_triangles(tmp_path, monkeypatch):
    monkeypatch.setattr(raw_meshes, "MOST_TRIANGLES", 20)
    ring = "".join(f"v {np.cos(n)} {np.sin(n)} 0\n" for n in range(30))
    (tmp_path / "ring.obj").write_text(ring + "f " + " ".join(str(n + 1) for n in range(30)))
    assert "at most 20 triangles, got 28" in refusal(tmp_path / "ring.obj")


@pytest.mark.parametrize("scale", [1e8, 1e30])
def test_a_body_far_away_is_refused(tmp_path, scale):
    write(PLATE.scale((scale,) * 3), tmp_path / "far.stl")
    with pytest.raises(
        BodyError, match=r"far\.stl: expected a body within 1 km of the origin, got"
    ):
        read_bodies([tmp_path / "far.stl"], "mm")


def test_one_body_twice_in_one_place_is_refused(tmp_path):
    path, other = write(PLATE, tmp_path / "plate.stl"), write(PLATE, tmp_path / "copy.stl")
    said = refusal(path, other)
    assert "plate.stl and copy.stl: expected each body once, got plate and copy, which are" in said
    both = trimesh.util.concatenate([as_trimesh(PLATE), as_trimesh(PLATE)])
    assert "got twice 1 and twice 2, which" in refusal(write(both, tmp_path / "twice.stl"))


def test_more_bodies_than_are_met_are_refused_in_one_line(tmp_path, monkeypatch):
    monkeypatch.setattr(mesh, "MOST_BODIES", 3)
    many = [as_trimesh(box(5, 5, 5, (9 * n, 0, 0))) for n in range(4)]
    said = refusal(write(trimesh.util.concatenate(many), tmp_path / "many.stl"))
    assert said.splitlines()[0].startswith("many.stl: expected at most 3 bodies, got 4. Give only")


def test_a_cloud_of_triangles_is_refused_without_counting_all_its_crossings(tmp_path, monkeypatch):
    monkeypatch.setattr(soundness, "_MOST_CROSSINGS", 50)
    corners = np.random.default_rng(3).uniform(0, 50, (900, 3))
    cloud = trimesh.Trimesh(corners, np.arange(900).reshape(-1, 3), process=False)
    said = refusal(write(cloud, tmp_path / "cloud.stl"))
    assert "one that crosses itself in more than 50 places, the first at" in said


def test_an_object_that_is_placed_and_not_there_is_named(tmp_path):
    (tmp_path / "lost.3mf").write_bytes(threemf(threemf_object(PLATE, 1), '<item objectid="7"/>'))
    assert "damaged (object 7 is placed, and not in it)" in refusal(tmp_path / "lost.3mf")


def mixed(number: float, odd: int) -> int:
    """How the merging of corners mixes the bits of one coordinate, in whole numbers."""
    bits = int(np.float64(number).view(np.uint64))
    return (bits ^ (bits >> 29)) * odd % 2**64


def unmixed(value: int, odd: int) -> float:
    bits = whole = value * pow(odd, -1, 2**64) % 2**64
    for _ in range(3):
        bits = whole ^ (bits >> 29)
    return float(np.uint64(bits).view(np.float64))


def test_two_corners_that_share_a_key_by_chance_stay_two():
    """Keys of 64 bits meet once in ages, so a pair that has one key is worked out here."""
    first, second = 0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F
    for x in np.arange(2.0, 300.0):
        differ = mixed(1.0, first) ^ mixed(x, first)
        y = unmixed(mixed(3.0, second) ^ (differ >> 1), second)
        if differ % 2 == 0 and 1e-200 < abs(y) < 1e200:
            break
    a, b, c = (1.0, 3.0, 0.0), (float(x), y, 0.0), (5.0, 5.0, 5.0)
    assert unmixed(mixed(3.0, second), second) == 3.0
    vertices, triangles = merged(np.array([[a, b, c], [c, b, a]]))
    assert len(vertices) == 3
    np.testing.assert_array_equal(vertices[triangles], [[a, b, c], [c, b, a]])


def test_corners_of_a_file_are_merged_in_its_order():
    corners = np.array([[(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, 0), (1, 0, 0), (-0.0, 1, 1)]])
    vertices, triangles = merged(corners.astype(float))
    assert len(vertices) == 4
    np.testing.assert_array_equal(vertices[triangles], corners)
    assert not np.signbit(vertices).any(), "a −0 is a plain 0"


@pytest.mark.parametrize("prefix", ["", "c:"])
@pytest.mark.parametrize(("tag", "said"), [("vertex", "60 corners"), ("triangle", "20 triangles")])
def test_a_package_is_searched_for_too_many_before_it_is_read(
    tmp_path, monkeypatch, tag, said, prefix
):
    """61 corners are more than three for each of 20 triangles; none of them could be read."""
    monkeypatch.setattr(raw_meshes, "MOST_TRIANGLES", 20)
    monkeypatch.setattr(threemf_objects, "_AT_ONCE", 37)  # portions that cut tags in two
    monkeypatch.setattr(threemf_objects, "_PartReader", None)
    many = f"<{prefix}{tag} a='b'/>" * (61 if tag == "vertex" else 21)
    (tmp_path / "many.3mf").write_bytes(threemf(f"<vertices>{many}</vertices>", ""))
    assert f"got more than {said}" in refusal(tmp_path / "many.3mf")


def test_as_many_corners_as_there_may_be_are_read(tmp_path, monkeypatch):
    """12 triangles with 8 corners, searched in portions that cut tags in two."""
    monkeypatch.setattr(raw_meshes, "MOST_TRIANGLES", 12)
    monkeypatch.setattr(threemf_objects, "_CORNERS_A_TRIANGLE", 8 / 12)
    monkeypatch.setattr(threemf_objects, "_AT_ONCE", 23)
    block = threemf_object(box(4, 5, 6), 1)
    (tmp_path / "block.3mf").write_bytes(threemf(block, '<item objectid="1"/>'))
    assert read_one(tmp_path / "block.3mf").volume_mm3 == pytest.approx(120)


@pytest.mark.parametrize("ending", ["stl", "ply"])
def test_a_file_that_says_too_many_at_its_start_is_not_read(tmp_path, monkeypatch, ending):
    path = write(PLATE, tmp_path / f"plate.{ending}")
    monkeypatch.setattr(raw_meshes, "MOST_TRIANGLES", PLATE.num_tri() - 1)
    monkeypatch.setattr(raw_meshes, "read_plain", None)
    assert f"got {PLATE.num_tri():,}. Export it" in refusal(path)


def test_too_many_objects_are_refused_before_they_are_read(tmp_path, monkeypatch):
    monkeypatch.setattr(raw_meshes, "_loaded", None)
    (tmp_path / "many.obj").write_text("".join(f"o part{n}\nv 0 0 0\n" for n in range(501)))
    assert refusal(tmp_path / "many.obj").startswith(
        "many.obj: expected at most 500 bodies, got 501"
    )


def test_of_many_bodies_the_first_few_are_named(tmp_path):
    """13 blocks a centimetre apart: more than are written out."""
    blocks = [box(5, 5, 5, (10 * n, 0, 0)) for n in range(13)]
    write(sum(blocks[1:], blocks[0]), tmp_path / "row.stl")
    (note,) = read_bodies([tmp_path / "row.stl"]).notes
    names = ", ".join(f"row {n}" for n in range(1, 9))
    assert note == f"row.stl holds 13 bodies: {names} and 5 more."


def loose(solid, apart_mm, seed=0):
    """Each triangle with corners of its own, moved a little by lot."""
    corners = as_trimesh(solid).triangles
    moved = corners + np.random.default_rng(seed).uniform(-apart_mm, apart_mm, corners.shape)
    return trimesh.Trimesh(
        moved.reshape(-1, 3), np.arange(3 * len(moved)).reshape(-1, 3), process=False
    )


@pytest.mark.parametrize("seed", range(3))
def test_triangles_with_corners_of_their_own_are_sewn(tmp_path, seed):
    pin = round_bar(6, 10, sides=48)
    found = read_bodies([write(loose(pin, 1e-5, seed), tmp_path / "pin.stl")])
    (body,) = found.bodies
    assert not len(body.edges.opened)
    assert len(body.triangles) == pin.num_tri()
    assert body.volume_mm3 == pytest.approx(pin.volume(), rel=1e-5)
    assert found.notes == ("pin.stl: corners up to 0.0001 mm apart were joined to close it.",)


def test_corners_that_are_farther_apart_are_not_sewn(tmp_path):
    path = write(loose(round_bar(6, 10, sides=48), 1e-3), tmp_path / "pin.stl")
    assert "expected a closed surface" in refusal(path)


def test_a_body_without_a_triangle_is_not_sewn(tmp_path):
    mesh = as_trimesh(PLATE)
    mesh.faces = mesh.faces[1:]
    assert "expected a closed surface, got 3 open edges" in refusal(write(mesh, tmp_path / "p.stl"))
