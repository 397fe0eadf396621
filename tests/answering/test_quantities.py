"""What is typed for an option comes back in the error, but never whole pages of it."""

import pytest

from coupons.answering.strength.quantities import LENGTH, read_quantities
from coupons.errors import AnswerError


def test_what_cannot_be_used_is_told_with_sixty_characters_of_it_all_at_once():
    typed = {"length": "x" * 99, "width": "", "depth": None, "height": "19,0 mm"}
    with pytest.raises(AnswerError) as refused:
        read_quantities(typed, dict.fromkeys(typed, LENGTH))
    said = str(refused.value)
    assert f"got '{'x' * 60}'" in said
    assert "--width: " in said
    assert "got nothing" in said
    assert "--height" not in said
    assert read_quantities({"height": "19,0 mm"}, {"height": LENGTH}) == {"height": 19.0}
