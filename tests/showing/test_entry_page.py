import base64
import hashlib
import re

from support.page_coupon import make_record, write_run

from coupons.showing.pages.entry_page import entry_record, write_entry_page

HOSTILE = "</script><script>alert(1)</script>\"'&<!-- עברית 🔩"


def policy_of(html):
    return re.search(r'Content-Security-Policy" content="([^"]+)"', html)[1].replace("&#39;", "'")


def test_the_policy_names_the_one_style_and_the_one_script(tmp_path):
    html = write_entry_page(write_run(tmp_path)).read_text(encoding="utf-8")
    style = re.search(r"<style>(.*?)</style>", html, re.S)[1]
    script = re.search(r"<script>(.*?)</script>", html, re.S)[1]
    for text in (style, script):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy_of(html)
    assert "default-src 'none'" in policy_of(html)
    assert "unsafe" not in policy_of(html)


def test_the_page_is_the_same_bytes_each_time(tmp_path):
    folder = write_run(tmp_path)
    assert write_entry_page(folder).read_bytes() == write_entry_page(folder).read_bytes()


def test_a_coupon_of_78_features_stays_under_300_kilobytes(tmp_path):
    coupon = make_record(rows=10, features=6)
    assert len(coupon.features) >= 78
    assert write_entry_page(write_run(tmp_path, coupon)).stat().st_size <= 300_000


def test_two_prints_of_one_coupon_keep_their_entries_apart():
    coupon = make_record()
    assert entry_record(coupon, "bench-1")["key"] != entry_record(coupon, "bench-2")["key"]


def test_hostile_names_leave_no_markup(tmp_path):
    html = write_entry_page(
        write_run(tmp_path, make_record(title=HOSTILE, hardware_name=HOSTILE))
    ).read_text(encoding="utf-8")
    assert html.count("<script") == 2  # ours and the data
    assert "alert(1)</script>" not in html
