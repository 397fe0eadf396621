import zipfile
from io import BytesIO

import pytest

from coupons.making.output.solids import build_solids
from coupons.making.output.threemf import MODEL_PATH, threemf_bytes
from coupons.making.plan import plan_coupon
from coupons.making.spec.coupon_spec import load_spec, shipped_specs


def package(spec: str = "first") -> bytes:
    solids = build_solids(plan_coupon(load_spec(spec)))
    return threemf_bytes(solids, "First & <only>", {"spec": "first", "digest": "0123"})


@pytest.mark.slow
def test_bytes_are_the_same_on_every_build():
    assert package() == package()


def test_own_metadata_stand_in_a_namespace_declared_on_the_model():
    model = zipfile.ZipFile(BytesIO(package())).read(MODEL_PATH).decode()
    opening = model[model.index("<model") : model.index(">", model.index("<model"))]
    assert 'xmlns:coupon="urn:coupons:record:1"' in opening
    assert '<metadata name="coupon:spec">first</metadata>' in model
    assert "First &amp; &lt;only&gt;" in model


@pytest.mark.parametrize("spec", shipped_specs())
@pytest.mark.slow
def test_the_strict_reader_of_the_format_has_no_warning(spec, tmp_path):
    lib3mf = pytest.importorskip("lib3mf", reason="no wheel for this machine")
    path = tmp_path / "plate.3mf"
    path.write_bytes(package(spec))
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    objects = model.GetMeshObjects()
    names = []
    while objects.MoveNext():
        mesh = objects.GetCurrentMeshObject()
        assert mesh.IsManifoldAndOriented()
        names.append(mesh.GetName())
    assert names == [item.body.id for item in plan_coupon(load_spec(spec)).placed]
