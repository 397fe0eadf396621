"""The joints of a part on a screen: the size to draw is in sight on a phone as well."""

import pytest
from known_profile import known_profile
from screens import DESK, HOSTILE, PHONE, assert_nothing_runs_over

from coupons.answering.joint_list import read_joints
from coupons.answering.joints import answer_part
from coupons.showing.joints_page import part_page

pytestmark = pytest.mark.browser

LIST = """name,internal,external,size_mm,across,fit,gives,hardware
drawer,slot,tongue,12,x,slide,external,
lid pin,hole,pin,5,z,push,both,
hinge,hole,pin,8,z,slide,internal,pin 8 m6
a cover screw with a name that goes on and on,,,,z,,,screw M3 medium
"""


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_to_draw_is_in_sight_and_axe_finds_nothing_serious(
    visit, tmp_path, size, scheme, axe_findings
):
    joints = tmp_path / "joints.csv"
    joints.write_text(LIST, encoding="utf-8")
    part = answer_part(known_profile(rehearsed=True, machine=HOSTILE), read_joints(joints).joints)
    path = tmp_path / "joints.html"
    path.write_text(part_page(part, joints.name), encoding="utf-8")
    seen = visit(path, size, color_scheme=scheme, bypass_csp=True)
    assert axe_findings(seen.page) == []
    assert_nothing_runs_over(seen.page)
    drawn = seen.page.locator(".number b").first.bounding_box()
    assert drawn["x"] + drawn["width"] < seen.page.viewport_size["width"]
    ends = [box["x"] + box["width"] for box in _boxes(seen.page.locator("td.number b:not(:empty)"))]
    assert max(ends) - min(ends) < 1, "the sizes of all joints stand below each other"
    assert HOSTILE in seen.page.inner_text("header")
    seen.assert_clean()


def _boxes(found):
    return [one.bounding_box() for one in found.all()]
