"""The package against the 3MF Core Specification 1.4.0 (3MFConsortium, spec_core on GitHub)."""

import zipfile
from collections import Counter
from io import BytesIO
from xml.etree import ElementTree

import pytest

from coupons.making.output.solids import build_solids
from coupons.making.output.threemf import threemf_bytes
from coupons.making.plan import plan_coupon
from coupons.making.spec.coupon_spec import load_spec

CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
MODEL_TYPE = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
START = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"


@pytest.fixture(scope="module")
def package() -> zipfile.ZipFile:
    solids = build_solids(plan_coupon(load_spec("recheck")))
    return zipfile.ZipFile(BytesIO(threemf_bytes(solids, "facts", {"spec": "recheck"})))


@pytest.fixture(scope="module")
def model(package) -> ElementTree.Element:
    return ElementTree.fromstring(package.read("3D/3dmodel.model"))


def test_members_are_stored_or_deflated_and_carry_no_date(package):
    for member in package.infolist():
        assert member.compress_type in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
        assert member.date_time == (1980, 1, 1, 0, 0, 0)


def test_the_start_part_is_declared_by_type_and_relationship(package):
    types = ElementTree.fromstring(package.read("[Content_Types].xml"))
    assert MODEL_TYPE in {e.get("ContentType") for e in types}
    relations = list(ElementTree.fromstring(package.read("_rels/.rels")))
    assert [(r.get("Type"), r.get("Target")) for r in relations] == [(START, "/3D/3dmodel.model")]


def test_the_unit_is_the_millimetre_and_no_dtd_is_used(package, model):
    assert model.get("unit") == "millimeter"
    assert b"<!DOCTYPE" not in package.read("3D/3dmodel.model")


def test_objects_have_positive_ids_and_each_is_built_once(model):
    ids = [int(o.get("id")) for o in model.iter(f"{CORE}object")]
    assert all(0 < i < 2**31 for i in ids)
    assert len(set(ids)) == len(ids)
    assert sorted(int(i.get("objectid")) for i in model.iter(f"{CORE}item")) == sorted(ids)


def test_meshes_are_closed_and_oriented(model):
    for mesh in model.iter(f"{CORE}mesh"):
        count = len(list(mesh.iter(f"{CORE}vertex")))
        triangles = [
            tuple(int(t.get(key)) for key in ("v1", "v2", "v3"))
            for t in mesh.iter(f"{CORE}triangle")
        ]
        assert len(triangles) >= 4
        assert all(len(set(t)) == 3 and min(t) >= 0 and max(t) < count for t in triangles)
        edges = Counter(edge for a, b, c in triangles for edge in ((a, b), (b, c), (c, a)))
        assert set(edges.values()) == {1}
        assert all((b, a) in edges for a, b in edges)


def test_everything_lies_in_the_positive_octant(model):
    for item in model.iter(f"{CORE}item"):
        assert min(float(n) for n in item.get("transform").split()[9:]) >= 0
    for vertex in model.iter(f"{CORE}vertex"):
        assert min(float(vertex.get(key)) for key in "xyz") >= 0
