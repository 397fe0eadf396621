"""Whatever stands in the files of a run, reading them ends in an answer or in an error of ours."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.small_coupon import small_coupon

from coupons.errors import CouponError
from coupons.making.record import write_coupon
from coupons.measuring.checks.run_checks import check_run
from coupons.measuring.run.folder import load_run, start_run

FILES = ("coupon.json", "conditions.toml", "entries.csv")


def good_files(folder):
    start_run(folder, small_coupon(), machine="bench-1", material="grey")
    write_coupon(small_coupon(), folder / "coupon.json")
    path = folder / "entries.csv"
    path.write_bytes(path.read_bytes().replace(b"fit,A1,G1,,", b"fit,A1,G1,slide,"))
    return {name: (folder / name).read_bytes() for name in FILES}


def read(folder):
    findings = check_run(folder)
    try:
        load_run(folder)
    except CouponError:
        assert "error" in {finding.severity for finding in findings}
    else:
        assert "error" not in {finding.severity for finding in findings}


@given(st.sampled_from(FILES), st.binary(max_size=60), st.floats(0, 1), st.booleans())
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150)
def test_any_bytes_anywhere(tmp_path, name, junk, where, cut):
    good = good_files(tmp_path / "run") if not (tmp_path / "run").exists() else {}
    path = tmp_path / "run" / name
    kept = good.get(name) or path.read_bytes()
    at = int(where * len(kept))
    try:
        path.write_bytes(kept[:at] + junk + (b"" if cut else kept[at:]))
        read(tmp_path / "run")
    finally:
        path.write_bytes(kept)


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x00" * 100,
        b"\xff\xfe\x00",
        b"a=" + b"[" * 5000,
        b"a=1" + b"0" * 5000,
        b"[" * 100_000,
        b'{"a":' * 10_000,
        b"printed_on = 2026-02-31",
        b"nozzle_mm = 1e400",
        b"[caliper]\n[caliper]\n",
        b"machine = 7\ncaliper = 3\nrehearsal = []",
        b"kind,feature,result\n" + b'"' * 101,
    ],
)
def test_spoiled_in_every_way(tmp_path, name, data):
    good_files(tmp_path)
    (tmp_path / name).write_bytes(data)
    read(tmp_path)


@pytest.mark.parametrize("name", FILES)
def test_a_folder_in_the_place_of_a_file(tmp_path, name):
    good_files(tmp_path)
    (tmp_path / name).unlink()
    (tmp_path / name).mkdir()
    read(tmp_path)
