"""Facts are frozen values: nothing that was handed on changes behind one's back."""

import re
from pathlib import Path

import coupons

HOUSE = Path(coupons.__file__).parent
GROWING = {
    "making/packing.py: _Skyline",
    "answering/meshes/threemf_objects.py: _Object",
    "answering/meshes/threemf_objects.py: _Read",
    "answering/next/bench.py: Bench",
}


def test_values_are_frozen_but_for_what_grows_inside_one_place():
    growing = set()
    for path in sorted(HOUSE.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        for options, name in re.findall(r"^@dataclass(.*)\nclass (\w+)", text, re.MULTILINE):
            if "frozen=True" not in options:
                growing.add(f"{path.relative_to(HOUSE)}: {name}")
    assert growing == GROWING
