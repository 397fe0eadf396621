"""`make` reads its own print files back, and writes nothing if they are not what was built."""

import numpy as np
import pytest

from coupons import WriteError, make_coupon
from coupons.making.output import readback
from coupons.making.output import run_files as folder_module
from coupons.making.output.run_files import checked_solids, write_coupon_files
from coupons.making.plan import plan_coupon
from coupons.making.spec.coupon_spec import load_spec


@pytest.fixture(scope="module")
def made():
    plan = plan_coupon(load_spec("recheck"))
    return plan, checked_solids(plan)


def stl_with(change):
    def spoil(stl_bytes):
        def written(*args, **named):
            data = stl_bytes(*args, **named)
            facets = np.frombuffer(data[84:], "V50").copy()
            facets = change(facets)
            return data[:80] + np.uint32(len(facets)).tobytes() + facets.tobytes()

        return written

    return "stl_bytes", spoil


def scaled(facets):
    numbers = np.frombuffer(b"".join(f.tobytes()[:48] for f in facets), "<f4").reshape(-1, 12)
    numbers = (numbers * [1, 1, 1, *[1.001] * 9]).astype("<f4")
    return np.array([np.void(row.tobytes() + b"\0\0") for row in numbers])


def threemf_with(before, after):
    def spoil(threemf_bytes):
        def written(*args, **named):
            monkey = pytest.MonkeyPatch()
            with monkey.context() as patched:
                from coupons.making.output import threemf

                whole = threemf._model
                patched.setattr(threemf, "_model", lambda *a: whole(*a).replace(before, after, 1))
                return threemf_bytes(*args, **named)

        return written

    return "threemf_bytes", spoil


SPOILED = [
    (stl_with(lambda facets: facets[1:]), "plate-1.stl: expected a closed surface"),
    (stl_with(scaled), "plate-1.stl: expected "),
    (threemf_with('<triangle v1="0"', '<triangle v1="1"'), "expected a closed surface"),
    (
        threemf_with('type="model" name="', 'type="model" name="other '),
        "plate-1.3mf: expected bodies",
    ),
]


@pytest.mark.parametrize(("spoiled", "says"), SPOILED, ids=["gap", "size", "3mf gap", "3mf name"])
@pytest.mark.slow
def test_what_does_not_read_back_is_not_written(made, tmp_path, monkeypatch, spoiled, says):
    name, spoil = spoiled
    monkeypatch.setattr(folder_module, name, spoil(getattr(folder_module, name)))
    plan, solids = made
    with pytest.raises(WriteError) as caught:
        write_coupon_files(plan, tmp_path / "run", solids)
    assert says in caught.value.message
    assert "nothing was written" in caught.value.message
    assert not (tmp_path / "run").exists()


@pytest.mark.slow
def test_make_holds_every_plate_against_the_kernel(tmp_path, monkeypatch):
    read = []
    monkeypatch.setattr(
        folder_module, "read_back", lambda *given: read.append(given) or readback.read_back(*given)
    )
    made = make_coupon("recheck", tmp_path / "run", bed_mm=(120, 120))
    ((files, plates),) = read
    assert {name for name in files if "-plate-" in name} == set(plates)
    assert len(plates) == 2 * made.cost.plates
    assert sum(len(solids) for solids in plates.values()) == 2 * made.cost.bodies
    for name in files:
        assert (made.folder / "print" / name).read_bytes() == files[name]


@pytest.mark.slow
def test_plates_of_an_earlier_layout_go_and_a_file_of_somebodys_own_stays(made, tmp_path):
    plan, solids = made
    write_coupon_files(plan, tmp_path / "run", solids)
    prints = tmp_path / "run" / "print"
    earlier, own = prints / "recheck-plate-8.3mf", prints / "recheck-plate-9.3mf"
    earlier.write_bytes((prints / "recheck-plate-1.3mf").read_bytes())
    own.write_bytes(b"mine")
    write_coupon_files(plan, tmp_path / "run", solids)
    assert not earlier.exists()
    assert own.read_bytes() == b"mine"
