"""What is typed for an option comes back in the error, but never whole pages of it."""

import pytest

from coupons.answering.strength.quantities import (
    ANGLE,
    BORE,
    FRICTION,
    LENGTH,
    MODULUS,
    POISSON,
    STRAIN,
    read_quantities,
)
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


@pytest.mark.parametrize(
    ("kind", "allowed", "refused"),
    [
        (LENGTH, ("0.01", "2000"), ("0", "-0.5", "2000.5", "x")),
        (BORE, ("0", "2000"), ("-0.5", "2000.5")),
        (MODULUS, ("0.5", "1000000", "1000 GPa"), ("0", "1000001", "3 m")),
        (STRAIN, ("0.001", "0.5", "50 %"), ("0", "0.51", "51 %", "2 mm")),
        (POISSON, ("0", "0.5"), ("-0.1", "0.51")),
        (FRICTION, ("0", "2"), ("-0.1", "2.1")),
        (ANGLE, ("0.1", "80"), ("0", "-0.5", "80.1")),
    ],
)
def test_each_kind_of_number_has_its_ends(kind, allowed, refused):
    for text in allowed:
        assert kind.allows(kind.read(text)), text
    for text in refused:
        assert not kind.allows(kind.read(text)), text
