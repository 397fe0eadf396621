"""What a record may hold, each limit from both sides, and what is said of one that breaks them."""

import json
import re

import pytest
from pydantic import ValidationError
from support.small_coupon import feature, small_coupon

from coupons.errors import RunError
from coupons.making.record import (
    Coupon,
    CouponHold,
    CouponPart,
    CouponProof,
    CouponRun,
    CouponTrial,
    ProofTrial,
    left_out,
    long_row_sentence,
    name_run,
    off_layers,
    read_coupon,
    write_coupon,
)
from coupons.terms import Form

PROOF = CouponProof(
    machine="bench-1",
    material="",
    entries_sha256="0" * 64,
    rehearsed=False,
    trials=(
        ProofTrial(
            feature="A1",
            mate="G1",
            joint="drawer",
            wanted="slide",
            at_answer=True,
            chances=(0.1, 0.2, 0.3, 0.2, 0.2),
        ),
    ),
    usual_hits=(0, 1),
)
PART = CouponPart(instrument="caliper", resolution_mm=0.01, uncertainty_mm=0.01, jaw_land_mm=0.0)
RUN = CouponRun(id="0123456789abcdef", machine="bench-1", material="grey")
BODY = {"id": "A", "plate": 1, "origin_mm": [0, 0, 0], "extent_mm": [1, 1, 1]}
SECTION = {"area_mm2": 9.0, "middle_mm": [0, 0, 0], "second_mm4": [1, 1, 0]}
BAR = {"body": "A", "direction": "x", "at_notch": SECTION, "at_block": SECTION}


def whole():
    data = small_coupon(proof=PROOF, part=PART, run=RUN).model_dump(mode="json")
    return data | {"bodies": [BODY], "bars": [BAR]}


def is_held(path, value):
    data = at = json.loads(json.dumps(whole()))
    *steps, last = path.split(".")
    for step in steps:
        at = at[int(step)] if step.isdigit() else at[step]
    at[int(last) if last.isdigit() else last] = value
    try:
        return Coupon.model_validate_json(json.dumps(data)) is not None
    except ValidationError:
        return False


HUGE = float("inf")
LIMITS = [
    ("features.0.size_mm", [0.001, 2000], [0, -1, 2000.1, HUGE]),
    ("features.0.place_mm.0", [-2000, 2000, None], [-2000.1, 2000.1]),
    ("features.0.place_mm", [None, [1, 2, 3]], [[1, 2], [1, 2, 3, 4]]),
    ("features.0.plate", [1, 90], [0, -1]),
    ("bodies.0.plate", [1, 90], [0, -1]),
    ("bodies.0.origin_mm", [[-2000, 0, 2000]], [[-2001, 0, 0]]),
    ("bodies.0.extent_mm", [[0.1, 1, 2000]], [[0, 1, 1], [1, 1, 2001]]),
    ("hardware.0.sd_mm", [0, 1], [-0.001, 1.001, HUGE]),
    ("trials.0.deep_mm", [None, 0.5, 2000], [0, 2001]),
    ("trials.0.wide_mm", [None, 0.5, 2000], [0, 2001]),
    ("bars.0.at_notch.area_mm2", [0.001, 9e9], [0, -1, HUGE]),
    ("bars.0.at_notch.second_mm4.2", [-9e9, 0], [HUGE]),
    ("assumed.bed_mm", [None, [10, 2000]], [[0, 10], [10, 2001]]),
    ("assumed.layer_height_mm", [0.05], [0]),
    ("run.id", ["f" * 16], ["f" * 15, "f" * 17, "F" * 16, "g" * 16]),
    ("run.machine", ["", "m" * 60], ["m" * 61]),
    ("run.material", ["", "m" * 60], ["m" * 61]),
    ("proof.machine", ["m" * 60], ["m" * 61]),
    ("proof.material", ["m" * 60], ["m" * 61]),
    ("proof.entries_sha256", ["a" * 64], ["a" * 63, "a" * 65]),
    ("proof.usual_hits", [[0, 0], [3, 9]], [[-1, 0], [0]]),
    ("proof.trials.0.joint", ["j" * 60], ["j" * 61]),
    ("proof.trials.0.chances", [[0, 0, 0, 0, 1]], [[0, 0, 0, 1], [0] * 6]),
    ("proof.trials.0.chances.0", [0, 1], [-0.001, 1.001]),
    ("part.instrument", ["g" * 60], ["g" * 61]),
    ("part.resolution_mm", [0.0001, 1], [0.00009, 1.01]),
    ("part.uncertainty_mm", [0.00001, 1], [0, 1.01]),
    ("part.jaw_land_mm", [None, 0, 5], [-0.1, 5.1]),
    ("version", [1], [0, 2]),
]


@pytest.mark.parametrize(("path", "last", "past"), LIMITS, ids=[path for path, _, _ in LIMITS])
def test_a_record_holds_values_up_to_their_limits(path, last, past):
    for value in last:
        if not (path == "features.0.place_mm.0" and value is None):
            assert is_held(path, value), value
    for value in past:
        assert not is_held(path, value), value


def test_what_an_older_record_did_not_say_is_not_known():
    plain = feature("A1", "pin", "z", 5.0)
    assert (plain.at_bed, plain.seam, plain.on_bed) == (False, None, None)
    trial = CouponTrial(feature="A1", mate="AG", gap_mm=0.1)
    assert (trial.deep_mm, trial.wide_mm, trial.contact_mm) == (None, None, None)
    run = CouponRun(id="0" * 16)
    assert (run.machine, run.material) == ("", "")
    part = CouponPart(instrument="g", resolution_mm=0.01, uncertainty_mm=0.01)
    assert (part.jaw_land_mm, part.datums) == (None, {})
    coupon = small_coupon()
    assert (coupon.format, coupon.version) == ("coupon-record", 1)
    assert (coupon.run, coupon.proof, coupon.part) == (None, None, None)
    assert (coupon.bars, coupon.holds) == ((), ())
    none = whole()["hardware"][0] | {"sd_mm": -0.0}
    made = Coupon.model_validate(whole() | {"hardware": [none]}).hardware[0].sd_mm
    assert f"{made:g}" == "0", "not −0"


def pair(row, deep_mm, wide_mm=None):
    return CouponTrial(
        feature=f"{row}1", mate=f"{row}G", gap_mm=0.0, deep_mm=deep_mm, wide_mm=wide_mm
    )


def test_the_length_of_a_contact_is_the_longer_of_depth_and_width():
    assert [pair("A", *each).contact_mm for each in ((3, 5), (5, 3), (4, None))] == [5, 5, 4]


def test_rows_of_twenty_millimetres_and_more_are_long_ones():
    assert long_row_sentence([]) == ""
    assert (
        long_row_sentence([pair("A", 19.99), CouponTrial(feature="B1", mate="BG", gap_mm=0)]) == ""
    )
    told = long_row_sentence([pair("C", 3.0, 25.4), pair("A", 20.0), pair("B", 3.0)])
    assert told == (
        "Row A is the long one: its pairs bear on each other over 20 mm. "
        "Row C is the long one: its pairs bear on each other over 25 mm."
    )


@pytest.mark.parametrize(
    ("form", "direction", "size_mm", "off"),
    [
        ("tongue", "z", 4.0, False),
        ("tongue", "z", 4.0049, False),
        ("tongue", "z", 4.0051, True),
        ("slot", "z", 3.9949, True),
        ("slot", "z", 3.9951, False),
        ("slot", "z", 4.1, True),
        ("slot", "x", 4.1, False),
        ("hole", "z", 4.1, False),
        ("pin", "z", 4.1, False),
    ],
)
def test_a_height_is_off_layers_by_more_than_five_thousandths(form, direction, size_mm, off):
    one = feature("A1", form, direction, size_mm)
    assert off_layers([one], 0.2) == (("A1",) if off else ())
    # With layers of 0.1 mm every tenth is whole.
    assert off_layers([feature("A1", "slot", "z", 4.1)], 0.1) == ()


def test_a_print_keeps_its_id_while_its_folder_holds_the_same_coupon(tmp_path):
    first = name_run(tmp_path, "d1", "bench-1", "grey")
    assert re.fullmatch("[0-9a-f]{16}", first.id)
    assert (first.machine, first.material) == ("bench-1", "grey")
    assert name_run(tmp_path, "d1", "bench-1", "grey").id != first.id, "nothing is there yet"
    path = tmp_path / "coupon.json"
    write_coupon(small_coupon(run=first), path)
    assert name_run(tmp_path, "d1", "bench-2", "blue") == CouponRun(
        id=first.id, machine="bench-2", material="blue"
    )
    assert name_run(tmp_path, "d2", "bench-1", "grey").id != first.id
    write_coupon(small_coupon(), path)
    assert re.fullmatch("[0-9a-f]{16}", name_run(tmp_path, "d1", "", "").id)
    path.write_text("{", encoding="utf-8")
    assert re.fullmatch("[0-9a-f]{16}", name_run(tmp_path, "d1", "", "").id)


def test_a_record_leaves_out_what_there_is_not_and_comes_back_as_it_was(tmp_path):
    path = tmp_path / "coupon.json"
    write_coupon(small_coupon(), path)
    text = path.read_text(encoding="utf-8")
    assert text.startswith('{\n "format": "coupon-record",\n "version": 1,\n "spec": {\n')
    assert text.endswith("\n}\n")
    assert json.loads(text).keys().isdisjoint({"run", "holds", "proof", "part"})
    assert read_coupon(path) == small_coupon()
    hold = CouponHold(feature="B1", mate="dowel", held_by="thread")
    full = small_coupon(run=RUN, proof=PROOF, part=PART, holds=(hold,))
    assert left_out(full) == set()
    assert left_out(small_coupon(run=RUN)) == {"holds", "proof", "part"}
    write_coupon(full, path)
    assert read_coupon(path) == full


def problems(tmp_path, data):
    path = tmp_path / "coupon.json"
    text = data if isinstance(data, str) else json.dumps(data)
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RunError) as caught:
        read_coupon(path)
    return [str(problem) for problem in caught.value.problems]


AGAIN = " Make the coupon again with `coupons make` into a new folder."
TWICE = "expected a different id for each piece, got "
NO_FEATURE, NO_MATE = (
    "expected a feature in the record, got ",
    "expected a mate in the record, got ",
)
LONG = "Z" * 70


def tried(feature_id, mate):
    return CouponTrial(feature=feature_id, mate=mate, gap_mm=0)


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        (
            {"trials": [tried("A1", "X1")]},
            f"trials.0.mate: {NO_MATE}'X1'",
        ),
        (
            {
                "trials": [
                    *small_coupon().trials[:2],
                    tried("X1", "G1"),
                ]
            },
            f"trials.2.feature: {NO_FEATURE}'X1'",
        ),
        (
            {"trials": [tried(LONG, "G1")]},
            f"trials.0.feature: {NO_FEATURE}'{'Z' * 60}'",
        ),
        (
            {"holds": [CouponHold(feature="dowel", mate="dowel", held_by="insert")]},
            f"holds.0.feature: {NO_FEATURE}'dowel'",
        ),
        (
            {"holds": [CouponHold(feature="B1", mate="screw", held_by="insert")]},
            f"holds.0.mate: {NO_MATE}'screw'",
        ),
        (
            {"readings": [*small_coupon().readings[:1], {"feature": "Q", "jaws": "inside"}]},
            f"readings.1.feature: {NO_FEATURE}'Q'",
        ),
        (
            {"part": PART.model_copy(update={"datums": {"f" * 25: ("A1", "Y9")}})},
            f"part.datums.{'f' * 20}: {NO_FEATURE}'Y9'",
        ),
    ],
)
def test_an_id_that_a_record_does_not_hold_is_told_with_its_place(tmp_path, changes, told):
    data = small_coupon().model_dump(mode="json")
    for name, value in changes.items():
        each = value if isinstance(value, list) else [value]
        plain = [v if isinstance(v, dict) else v.model_dump(mode="json") for v in each]
        data[name] = plain if isinstance(value, list) else plain[0]
    assert problems(tmp_path, data) == [f"coupon.json at {told}.{AGAIN}"]


@pytest.mark.parametrize(("name", "mate"), [("A1", "dowels"), ("A9", "G1"), ("dowel", "G1")])
def test_a_proof_of_a_pair_that_is_not_there_is_told(tmp_path, name, mate):
    trial = PROOF.trials[0].model_copy(update={"feature": name, "mate": mate})
    proof = PROOF.model_copy(update={"trials": (*PROOF.trials, trial)})
    assert problems(tmp_path, small_coupon(proof=proof).model_dump(mode="json")) == [
        f"coupon.json at proof.trials.1: expected a pair in the record, got '{name} {mate}'.{AGAIN}"
    ]


def test_ids_are_told_apart_without_regard_to_capitals(tmp_path):
    features = (*small_coupon().features, feature("a1", "slot", "x", 12.0))
    found = problems(tmp_path, small_coupon(features=features).model_dump(mode="json"))
    assert found == [f"coupon.json at id {len(features)}: {TWICE}'a1'.{AGAIN}"]
    hardware = small_coupon().hardware[0].model_copy(update={"id": "G1"})
    data = small_coupon(hardware=(hardware,), trials=small_coupon().trials[:-1])
    found = problems(tmp_path, data.model_dump(mode="json"))
    # Bought pieces are counted after all features.
    assert found == [f"coupon.json at id {len(data.features) + 1}: {TWICE}'G1'.{AGAIN}"]


def test_a_file_that_is_no_record_is_told_as_what_it_is(tmp_path):
    whole_text = json.dumps(small_coupon().model_dump(mode="json"), indent=1)
    cut = whole_text[: whole_text.index('"trials"') + 20]
    line = cut.count("\n") + 1
    copy = " Make the same coupon in a new folder and copy its coupon.json here."
    assert problems(tmp_path, cut) == [
        f"coupon.json: expected a complete JSON file, got one that breaks off at line {line}.{copy}"
    ]
    (first,) = problems(tmp_path, "[]")
    assert first.startswith("coupon.json at top: expected ")
    assert first.endswith(f", got [].{AGAIN}")
    data = small_coupon().model_dump(mode="json")
    data["features"][3]["size_mm"] = "w" * 80
    (told,) = problems(tmp_path, data)
    assert told.startswith("coupon.json at features.3.size_mm: expected ")
    assert told.endswith(f", got '{'w' * 59}.{AGAIN}"), (
        "sixty characters, its first quote among them"
    )


def test_a_record_that_is_missing_or_cannot_be_read_is_told(tmp_path):
    with pytest.raises(RunError) as caught:
        read_coupon(tmp_path / "coupon.json")
    (problem,) = caught.value.problems
    assert (problem.expected, problem.got) == ("a coupon record", "no such file")
    with pytest.raises(RunError) as caught:
        read_coupon(tmp_path)
    (problem,) = caught.value.problems
    assert problem.expected == "a file that can be read"
    assert "directory" in problem.got.lower()


def test_a_flat_feature_alone_lies_on_layers():
    every = [feature("A1", form, "z", 4.1) for form in Form]
    assert off_layers(every, 0.2) == ("A1", "A1")
