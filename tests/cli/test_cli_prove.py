import json

import pytest
from click.testing import CliRunner
from support.known_profile import FROM_ONE_PRINT, known_profile

from coupons import proof_scores
from coupons.cli import main
from coupons.learning.profile_file import write_profile
from coupons.measuring.run import sheet


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.mark.slow
def test_a_proof_is_made_filled_in_and_scored(tmp_path):
    write_profile(known_profile(sd_share=FROM_ONE_PRINT), tmp_path / "profile.json")
    joints = tmp_path / "joints.csv"
    joints.write_text(
        "name,internal,external,size_mm,across,fit\n"
        "a,slot,tongue,6,x,slide\nb,slot,tongue,6,x,gap 0.2\n",
        encoding="utf-8",
    )
    folder = tmp_path / "proof"
    made = run("make", joints, "--prove", tmp_path / "profile.json", "-o", folder)
    assert made.exit_code == 0, made.output
    assert "Left out: b: no fit was asked for." in made.output
    kept = json.loads((folder / "coupon.json").read_text(encoding="utf-8"))["proof"]
    assert kept["machine"] == "bench-1"
    rows, _ = sheet.read_rows(folder / sheet.FILE)
    filled = [
        row.__class__(**{**row.__dict__, "result": "slide" if row.kind == "fit" else ""})
        for row in rows
    ]
    sheet.write_rows(folder / sheet.FILE, filled)
    told = run("check", folder).output
    assert "Proof “proof”: 2 of 2 pairs drawn by the answers fit as wanted; expected" in told
    data = json.loads(run("check", folder, "--json").output)["proofs"]
    (score,) = proof_scores(folder)
    assert data["together"]["hits"] == score.hits == 2
    assert score.trials == 6


def test_a_joint_of_several_pairs_is_left_out_with_the_true_reason(tmp_path):
    write_profile(known_profile(sd_share=FROM_ONE_PRINT), tmp_path / "profile.json")
    joints = tmp_path / "joints.csv"
    joints.write_text(
        "name,internal,external,size_mm,across,fit\na,pocket,plate,24x18,xy,slide\n",
        encoding="utf-8",
    )
    made = run("make", joints, "--prove", tmp_path / "profile.json", "-o", tmp_path / "proof")
    assert made.exit_code == 1
    assert "it has several pairs of faces" in made.output
    assert "no fit was asked for" not in made.output


def test_a_proof_for_another_machine_or_nozzle_is_refused(tmp_path):
    write_profile(known_profile(), tmp_path / "profile.json")
    words = ("make", "--prove", tmp_path / "profile.json", "-o", tmp_path / "proof")
    other = run(*words, "--machine", "attic-1")
    assert other.exit_code == 1
    assert "machine 'bench-1' as in the profile" in other.output
    assert run(*words, "--nozzle", "0.6").exit_code == 2
    assert run("make", "-o", tmp_path / "proof").exit_code == 2
    assert not (tmp_path / "proof").exists()
