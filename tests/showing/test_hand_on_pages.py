"""Board and wall card say whose hand a profile holds, and stay silent where it says none."""

from datetime import date

import pytest
from support.known_profile import known_profile

from coupons.learning.profile import Hand
from coupons.learning.profile_file import write_profile
from coupons.showing.board.collect import read_posted
from coupons.showing.board.machine_rows import make_board
from coupons.showing.board.site import write_site
from coupons.showing.pages.wall_card import write_wall_card

BO = Hand(by="Bo <b>", trials=8)


@pytest.mark.parametrize(("hand", "count"), [(BO, 1), (None, 0)])
def test_the_board_names_the_hand(tmp_path, hand, count):
    write_profile(known_profile(hand=hand), tmp_path / "profile.json")
    posted, refused = read_posted([tmp_path / "profile.json"])
    write_site(tmp_path / "site", make_board(posted, date(2026, 5, 1)), refused)
    page = (tmp_path / "site" / "index.html").read_text(encoding="utf-8")
    assert page.count("<dt>hand</dt><dd><bdi>Bo &lt;b&gt;</bdi></dd>") == count


@pytest.mark.slow
@pytest.mark.parametrize(("hand", "count"), [(BO, 1), (None, 0)])
def test_the_wall_card_names_the_hand(tmp_path, hand, count):
    write_wall_card(tmp_path / "card.html", known_profile(hand=hand))
    page = (tmp_path / "card.html").read_text(encoding="utf-8")
    assert page.count("Draw these gaps for the hand of <bdi>Bo &lt;b&gt;</bdi>") == count
    assert "Draw these gaps" in page
