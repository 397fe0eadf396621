"""A machine with few entries leans on others of its kind, and not on what is no kin."""

import numpy as np
import pytest
from support.known_profile import known_profile

from coupons import DoubtWarning, ProfileError
from coupons.learning.effects import TERMS, prior_mean, prior_sd
from coupons.learning.like import lean_on
from coupons.learning.profile_file import profile_text, read_profile
from coupons.measuring.run.conditions import Slicing

GROWTH = TERMS.index("growth_ext")


def machine(name, growth_mm, sd_share=0.15, **changes):
    digest = f"{abs(hash((name, growth_mm))):064x}"
    fields = {"machine": name, "entries_sha256": digest} | changes
    return known_profile({"growth_ext": growth_mm}, sd_share, **fields)


def fleet(*growths_mm, **changes):
    return [machine(f"bench-{n}", mm, **changes) for n, mm in enumerate(growths_mm, start=1)]


def sd_of(profile, term="growth_ext"):
    return float(np.sqrt(profile.covariance_matrix[TERMS.index(term)][TERMS.index(term)]))


def test_a_machine_of_which_little_is_known_is_taken_for_one_of_its_kind():
    others = fleet(0.10, 0.105, 0.095, 0.1)
    bare = machine("bench-9", 0.06, sd_share=0.8)
    found = lean_on(bare, others)
    assert found.means["growth_ext"] == pytest.approx(0.1, abs=0.02)
    assert sd_of(found) < 0.4 * sd_of(bare)
    assert found.like.machines == ("bench-1", "bench-2", "bench-3", "bench-4")
    assert found.like.unlike < 1 / 2, "even odds beforehand"


def test_the_farther_machines_differ_the_less_is_taken_over():
    bare = machine("bench-9", 0.08, sd_share=0.8)
    alike, apart = (lean_on(bare, fleet(*mm)) for mm in ((0.1, 0.1, 0.1), (0.0, 0.1, 0.2)))
    # What remains of the first is mostly the tail for a machine that is unlike them.
    assert sd_of(alike) < 0.7 * sd_of(apart)


def test_a_machine_that_is_well_known_stays_itself():
    known = machine("bench-9", 0.15, sd_share=0.05)
    with pytest.warns(DoubtWarning, match="does not look like"):
        found = lean_on(known, fleet(0.02, 0.02, 0.025, 0.02, sd_share=0.03))
    assert found.means["growth_ext"] == pytest.approx(0.15, abs=0.004)
    assert found.like.unlike > 0.5


def test_clones_do_not_make_it_sure():
    """Four machines that came out the same: the spread between them is small, not nothing."""
    bare = machine("bench-9", 0.04, sd_share=0.99)
    found = lean_on(bare, fleet(0.1, 0.1, 0.1, 0.1, sd_share=0.001))
    assert sd_of(found) > 0.1 * prior_sd()[GROWTH]


def test_a_fleet_of_one_is_told_to_say_little():
    bare = machine("bench-9", 0.04, sd_share=0.9)
    with pytest.warns(DoubtWarning, match="says little"):
        found = lean_on(bare, fleet(0.1))
    assert sd_of(found) > 0.4 * prior_sd()[GROWTH]


def test_hands_are_not_taken_from_machines_that_other_hands_tried():
    """Thresholds have a spread of their own: machines alike do not make hands alike."""
    names = [f"from_{grade}" for grade in ("force", "push", "slide", "loose")]
    means = dict(zip(TERMS, prior_mean(), strict=True))
    others = [
        known_profile(
            {"growth_ext": 0.1} | {name: means[name] + off for name in names},
            0.05,
            machine=f"bench-{n}",
            entries_sha256=f"{n:064x}",
        )
        for n, off in enumerate((-0.08, 0.0, 0.08, 0.03), start=1)
    ]
    found = lean_on(machine("bench-9", 0.04, sd_share=0.8), others)
    slide = TERMS.index("from_slide")
    assert sd_of(found) < 0.35 * prior_sd()[GROWTH]
    assert sd_of(found, "from_slide") > 0.45 * prior_sd()[slide]


def test_the_profile_can_be_written_and_read(tmp_path):
    found = lean_on(machine("bench-9", 0.06, sd_share=0.8), fleet(0.1, 0.1, 0.1))
    (tmp_path / "profile.json").write_text(profile_text(found))
    assert read_profile(tmp_path) == found


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"material": "black"}, "material grey"),
        ({"layer_height_mm": 0.3}, "layer_height_mm 0.2 mm"),
        ({"nozzle_mm": 0.6}, "nozzle_mm 0.4 mm"),
        ({"machine": "bench-9"}, "another machine"),
        ({"slicing": Slicing(outlines_mm=0.1)}, "outlines_mm -0.1"),
        ({"first_layer_height_mm": 0.3}, "first_layer_height_mm 0.2"),
        ({"rehearsed": True}, "a real printer"),
        ({"entries_sha256": "9" * 64}, "those of this run"),
    ],
)
def test_what_does_not_belong_is_refused_in_words(changes, words):
    said = {"slicing": Slicing(outlines_mm=-0.1), "first_layer_height_mm": 0.2}
    bare = machine("bench-9", 0.06, sd_share=0.8, entries_sha256="9" * 64, **said)
    others = fleet(0.1, 0.1, **said)
    odd = machine("bench-7", 0.1, **(said | changes))
    with pytest.raises(ProfileError) as told:
        lean_on(bare, [*others, odd])
    assert words in str(told.value)
    assert "--like profile 3" in str(told.value)


def test_all_that_is_wrong_is_told_at_once():
    others = [machine("bench-1", 0.1, material="black"), machine("bench-2", 0.1, nozzle_mm=0.6)]
    with pytest.raises(ProfileError) as told:
        lean_on(machine("bench-9", 0.06), [*others, others[0]])
    assert len(told.value.problems) == 4


def test_a_profile_that_leans_already_is_no_evidence():
    leaning = lean_on(machine("bench-8", 0.06, sd_share=0.8), fleet(0.1, 0.1))
    with pytest.raises(ProfileError, match="count twice"):
        lean_on(machine("bench-9", 0.06), [leaning])


def test_corrections_that_nobody_told_are_a_doubt():
    others = fleet(0.1, 0.1, slicing=Slicing(outlines_mm=0.0))
    with pytest.warns(DoubtWarning, match=r"not known whether bench-1, bench-2"):
        lean_on(machine("bench-9", 0.06, sd_share=0.8), others)
