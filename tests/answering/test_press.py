import pytest
from support.known_profile import known_profile

from coupons.answering.ask import Printer
from coupons.answering.strength.press import fit_strain
from coupons.answering.words.strength import strain_sentences
from coupons.errors import AnswerError
from coupons.terms import Form

NO_ERROR = dict.fromkeys(
    "scale_x scale_y growth_ext growth_int round_ext round_int "
    "curl_int curl_bend round_loss".split(),
    0.0,
)
SURE = {"tau": 1e-4, "rho": 1e-4}


def strain(gap_mm, limit=0.01, **known):
    profile = known_profile(NO_ERROR, **known)
    found = Printer(profile).offset("hole/pin", size_mm=10, across="z", drawn_gap_mm=gap_mm)
    return fit_strain(profile, found, limit)


def test_a_tenth_on_ten_is_one_per_cent():
    found = strain(-0.1, sd_share=0.001, scatters=SURE)
    assert found.expected == pytest.approx(0.01, rel=1e-6)
    assert found.tight == pytest.approx(0.01, rel=0.02)


def test_an_open_gap_strains_nothing():
    found = strain(0.5)
    assert (found.expected, found.tight) == (0, 0)
    assert "within the limit in both cases" in strain_sentences(found)[0]


def test_what_the_printer_adds_to_both_faces_strains_too():
    # Each face 0.02 mm fat: the pin is 0.04 mm thicker and the hole 0.04 mm narrower than drawn.
    fat = {**NO_ERROR, "growth_ext": 0.02, "growth_int": 0.02}
    profile = known_profile(fat, sd_share=0.001, scatters=SURE)
    found = Printer(profile).offset("hole/pin", size_mm=10, across="z", drawn_gap_mm=-0.1)
    assert fit_strain(profile, found, 0.03).expected == pytest.approx(0.018, rel=1e-3)


def test_the_tight_end_goes_beyond_what_is_expected():
    found = strain(-0.05, limit=0.01)
    assert found.expected == pytest.approx(0.005)
    assert found.tight > 0.01
    assert "beyond it in a tight print" in strain_sentences(found)[0]
    assert "BEYOND THE LIMIT" in strain_sentences(strain(-0.2))[0]


def test_cautions_come_with_it():
    assert sum(line.startswith("Caution") for line in strain_sentences(strain(-0.1))) >= 3


def test_the_printed_part_is_strained_not_the_bought_one():
    # A pin pressed into a steel ring: 0.1 mm on 8 mm squeezes the pin by 1.25 %.
    printer = Printer(known_profile(NO_ERROR, 0.001, SURE))
    found = printer.offset(hardware="bearing bore 8", across="z", drawn_gap_mm=-0.1)
    squeezed = fit_strain(printer.profile, found, 0.01)
    assert squeezed.form is Form.PIN
    # The ring is 7.992 to 8 mm, 0.004 mm below its name in the middle.
    assert squeezed.expected == pytest.approx(0.104 / 8, rel=1e-3)
    said = " ".join(strain_sentences(squeezed))
    assert "Strain of the printed pin: 1.30" in said
    assert "BEYOND THE LIMIT: use a looser fit." in said
    assert "hub" not in said
    seat = printer.offset(hardware="bearing outer 22", across="z", drawn_gap_mm=-0.1)
    stretched = fit_strain(printer.profile, seat, 0.01)
    assert stretched.form is Form.HOLE
    assert "Strain of the printed ring around the pin: " in strain_sentences(stretched)[0]


@pytest.mark.parametrize("limit", [0, -1, 1, 5, float("nan")])
def test_limits_are_shares(limit):
    with pytest.raises(AnswerError, match=r"a number such as 0\.01"):
        strain(-0.1, limit=limit)


def test_a_flat_joint_is_no_ring():
    printer = Printer(known_profile())
    found = printer.offset("slot/tongue", size_mm=10, across="x", drawn_gap_mm=-0.1)
    with pytest.raises(AnswerError, match="a pin in a hole, not a flat joint"):
        fit_strain(printer.profile, found, 0.01)
