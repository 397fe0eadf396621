"""After how many prints answers are worked out, of which runs, and what another one is of."""

from types import SimpleNamespace

import pytest
from support.known_profile import EVERYTHING, known_profile
from support.small_coupon import small_coupon

from coupons.answering import print_gains
from coupons.answering.next.coupon import USUAL, ask_about, gains
from coupons.answering.print_gains import Narrowed, PrintGains, what_prints_added
from coupons.learning.profile import Carried, Like
from coupons.showing.words.print_gains import another_sentence
from coupons.terms import Direction

FLAT = tuple(
    one.model_copy(update={"tried_mm": (3.0, 80.0)})
    for one in EVERYTHING
    if one.direction is Direction.X
)


def run(job="", coupon=None, parts=None):
    return SimpleNamespace(job=job, coupon=coupon or small_coupon(), parts=parts)


@pytest.fixture
def fitted(monkeypatch):
    """Note what is fitted; each run more leaves a smaller share of the prior's sds."""
    asked = []

    def fit_runs(part):
        asked.append(tuple(part))
        return tuple(part)

    def profile_of(of, part, entries_sha256):
        assert tuple(of) == tuple(part)
        assert entries_sha256 == "0" * 64
        return known_profile(sd_share=0.9 / len(part), measured=FLAT)

    monkeypatch.setattr(print_gains, "fit_runs", fit_runs)
    monkeypatch.setattr(print_gains, "profile_of", profile_of)
    return asked


def profile(**changes):
    return known_profile(**({"measured": FLAT} | changes))


@pytest.mark.parametrize(
    ("prints", "after"),
    [
        (2, (1, 2)),
        (3, (1, 2, 3)),
        (4, (1, 2, 3, 4)),
        # Of more than four the first and the last three are told.
        (5, (1, 3, 4, 5)),
        (7, (1, 5, 6, 7)),
    ],
)
def test_the_first_and_the_last_prints_are_told(fitted, prints, after):
    runs = [run() for _ in range(prints)]
    found = what_prints_added(runs, profile())
    assert found.after == after
    assert [len(part) for part in fitted] == list(after[:-1])
    assert all(part == tuple(runs[: len(part)]) for part in fitted)
    for one in found.fits:
        # After one print next to nothing was learned: 0.81 of the variance is left.
        assert one.half_mm[0] is None
        assert one.half_mm[-1] == ask_about(profile(), one.question).known_to_mm
        if prints > 2:
            second = known_profile(sd_share=0.9 / after[1], measured=FLAT)
            assert one.half_mm[1] == ask_about(second, one.question).known_to_mm


def test_runs_of_one_job_are_one_print_and_a_fit_that_is_there_is_taken(fitted):
    runs = [run("night"), run("day"), run("night"), run()]
    found = what_prints_added(runs, profile())
    assert found.after == (1, 2, 3)
    # The first print has both runs of its job.
    assert fitted == [(runs[0], runs[2]), tuple(runs[:3])]
    fitted.clear()
    again = what_prints_added(runs, profile(), first=("none",))
    assert again.fits == found.fits
    assert len(fitted) == 2, "the first run alone is no print here"
    fitted.clear()
    alone = [run(), run(), run()]
    what_prints_added(alone, profile(), first=(alone[0],))
    assert fitted == [tuple(alone[:2])]


def test_one_print_and_profiles_that_lean_on_others_have_nothing_to_tell(fitted):
    assert what_prints_added([run()], profile()) is None
    assert what_prints_added([run("night"), run("night")], profile()) is None
    like = Like(machines=("bench-2",), unlike=0.1)
    assert what_prints_added([run(), run()], profile(like=like)) is None
    carried = Carried(
        material="white",
        nozzle_mm=0.4,
        layer_height_mm=0.2,
        pairs=("bench-2",),
        over=(),
        moved={},
        anew=(),
        unlike=0.1,
    )
    assert what_prints_added([run(), run()], profile(carried=carried)) is None
    assert fitted == []


@pytest.mark.usefixtures("fitted")
def test_up_to_four_of_the_usual_joints_that_were_measured_are_told():
    tried = tuple(one.model_copy(update={"tried_mm": (3.0, 80.0)}) for one in EVERYTHING)
    found = what_prints_added([run(), run()], profile(measured=tried))
    assert [one.question for one in found.fits] == list(USUAL[:4])
    vague = {"growth_int_z": 1.0, "growth_ext_z": 1.0, "scale_z": 1.0}
    found = what_prints_added([run(), run()], profile(measured=tried, sd_share=vague))
    across = [one.question for one in found.fits if one.question.joint.direction is Direction.Z]
    assert USUAL[2] not in across


@pytest.mark.usefixtures("fitted")
def test_another_print_is_foreseen_of_the_coupon_with_most_entries():
    whole = small_coupon()
    less = small_coupon(readings=whole.readings[:2])
    least = small_coupon(trials=whole.trials[:2])
    renamed = {
        name: one.model_copy(update={"spec": one.spec.model_copy(update={"name": name})})
        for name, one in (("less", less), ("whole", whole), ("least", least))
    }
    runs = [run(coupon=one) for one in renamed.values()]
    found = what_prints_added(runs, profile())
    assert found.coupon == "whole"
    asked = [ask_about(profile(), one.question) for one in found.fits]
    (gain,) = gains(profile(), asked, {"whole": whole})
    assert tuple(one.another_mm for one in found.fits) == pytest.approx(gain.known_to_mm)
    # A part that exists is not printed again.
    only_parts = [run(parts=("lid",)), run(parts=("lid",))]
    found = what_prints_added(only_parts, profile())
    assert (found.coupon, {one.another_mm for one in found.fits}) == ("", {None})
    mixed = [run(coupon=renamed["least"]), run(coupon=renamed["whole"], parts=("lid",))]
    assert what_prints_added(mixed, profile()).coupon == "least"


@pytest.mark.parametrize(("after_mm", "is_little"), [(0.189, False), (0.192, True)])
def test_another_print_is_worth_its_time_from_a_twentieth_on(after_mm, is_little):
    told = (Narrowed(USUAL[0], (0.3, 0.2), after_mm),)
    said = another_sentence(PrintGains((1, 2), told, "first")).replace("\N{NO-BREAK SPACE}", " ")
    assert "(worth it from 5 % on)" in said
    assert ("by only" in said) is is_little
