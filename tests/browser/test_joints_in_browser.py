"""The joints of a part on a screen: the size to draw is in sight on a phone as well."""

import pytest
from support.known_profile import known_profile
from support.screens import DESK, HOSTILE, NARROW, PHONE, assert_nothing_runs_over

from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.whole_part import answer_part
from coupons.answering.words.joint_files import answers_csv, sizes_csv
from coupons.learning.profile import MeasuredRange
from coupons.showing.pages.joints_page import part_page
from coupons.terms import Direction, Form

pytestmark = pytest.mark.browser

LIST = """name,internal,external,size_mm,across,fit,move,hardware
drawer,slot,tongue,12,x,slide,external,
lid pin,hole,pin,5,z,push,both,
hinge,hole,pin,8,z,slide,internal,pin 8 m6
a cover screw with a name that goes on and on,,,,z,,,screw M3 medium
"""


@pytest.mark.parametrize("size", [PHONE, NARROW, DESK], ids=["phone", "narrow", "desk"])
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


@pytest.fixture
def page_of(visit, tmp_path):
    def open_page(profile, text, size=DESK):
        joints = tmp_path / "list.csv"
        joints.write_text(text, encoding="utf-8")
        part = answer_part(profile, read_joints(joints).joints)
        path = tmp_path / "joints.html"
        path.write_text(part_page(part, joints.name), encoding="utf-8")
        return visit(path, size), part

    return open_page


def test_the_table_and_the_values_are_one_click_away(page_of):
    seen, part = page_of(known_profile(), LIST)
    wanted = {"joints.csv": answers_csv(part), "drawn-sizes.csv": sizes_csv(part)}
    for name, text in wanted.items():
        with seen.page.expect_download() as download:
            seen.page.click(f"text={name}")
        assert download.value.suggested_filename == name
        assert download.value.path().read_bytes().decode("utf-8-sig") == text
    seen.assert_clean()


def test_the_head_of_a_long_table_stays_in_sight(page_of):
    head, *rows = LIST.splitlines()
    many = [row.replace("drawer", f"drawer {n}") for n in range(40) for row in rows[:1]]
    page = page_of(known_profile(), "\n".join([head, *many]))[0].page
    page.evaluate("window.scrollTo(0, 1500)")
    top = page.locator(".joints thead th").first.bounding_box()["y"]
    assert 0 <= top < 5


def test_a_joint_without_an_answer_says_so_and_shared_cautions_stand_below(page_of):
    flat = tuple(
        MeasuredRange(form=form, direction=Direction.X, low_mm=3.0, high_mm=10.0)
        for form in (Form.SLOT, Form.TONGUE)
    )
    prior_alone = dict.fromkeys(
        ("round_ext", "round_int", "curl_ext", "curl_int", "curl_bend"), 1.0
    )
    text = "\n".join(
        (
            LIST.splitlines()[0],
            "drawer,slot,tongue,24,x,push,external,",
            "lid,slot,tongue,8,x,push,external,",
            "pin,hole,pin,5,z,push,both,",
        )
    )
    page = page_of(known_profile(measured=flat, sd_share=prior_alone), text, PHONE)[0].page
    blocks = page.locator(".joints tbody")
    assert "EXTRAPOLATED" in blocks.nth(0).inner_text()
    assert "May split" not in blocks.nth(0).inner_text()
    assert "Pressing it in may split a part between layers." in page.inner_text(".repeated")
    assert "no answer" in blocks.nth(2).inner_text()
    assert_nothing_runs_over(page)
