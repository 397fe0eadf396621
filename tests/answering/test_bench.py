"""Working through a coupon: what is done, what comes next, what is passed over."""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from support.small_coupon import small_coupon

from coupons.answering.next import bench as module
from coupons.answering.next.bench import Bench
from coupons.answering.next.guide import best_task, guide_of, narrowing
from coupons.errors import EntriesError
from coupons.learning.posterior.stepwise import NormalPosterior
from coupons.making.bench_time import in_hand
from coupons.measuring.run.entries import FitEntry, SizeEntry
from coupons.terms import Grade, Jaws

COUPON = small_coupon()
TASKS = (*COUPON.trials, *COUPON.readings)
GUIDE = guide_of(COUPON)


@pytest.fixture
def saved(monkeypatch):
    """Keep what would be written to disk, and take each result for a grade or a size."""
    written = []

    def with_result(sheet, task, result, unit, by):
        if in_hand(task) == "caliper":
            new = SizeEntry(0, task.feature, float(result), task.jaws, task.along)
        else:
            new = FitEntry(0, task.feature, task.mate, Grade(result), Grade(result), by)
        assert unit == "mm"
        return SimpleNamespace(coupon=COUPON, entries=(*sheet.entries, new))

    monkeypatch.setattr(module, "with_result", with_result)
    monkeypatch.setattr(module, "save_sheet", written.append)
    return written


def bench(*entries, guide=GUIDE, **more):
    return Bench(SimpleNamespace(coupon=COUPON, entries=entries), guide, **more)


def tried(number, grade=Grade.SLIDE):
    task = TASKS[number]
    return FitEntry(0, task.feature, task.mate, grade, grade)


def test_without_a_guide_the_tasks_come_by_the_list():
    one = bench(tried(0), tried(2), guide=None)
    assert one.done == {0, 2}
    assert one.open_tasks() == [1, *range(3, len(TASKS))]
    assert one.next_task() == 1
    assert (one.now, one.brings(), one.held) == (None, None, None)
    one.skip(1)
    assert one.next_task() == 3
    for number in range(3, len(TASKS)):
        one.skip(number)
    assert one.next_task() is None


def test_the_guide_chooses_of_what_is_left_by_what_the_hand_holds(saved):
    one = bench(by="mk")
    everything = range(len(TASKS))
    first = one.next_task()
    assert first == best_task(GUIDE, GUIDE.start, everything)
    one.enter(first, "slide")
    assert one.sheet.entries[0].by == "mk"
    assert saved == [one.sheet]
    assert one.held == in_hand(TASKS[first])
    left = [n for n in everything if n != first]
    assert one.next_task() == best_task(GUIDE, one.now, left, one.held)
    assert bench(choice="screw").next_task() == best_task(
        GUIDE, GUIDE.start, everything, choice="screw"
    )


def test_undo_takes_back_the_last_entry_and_asks_for_it_again(saved):
    one = bench()
    assert one.undo() is None
    one.enter(3, "slide")
    one.enter(5, "push")
    assert one.undo() == 5
    assert [entry.feature for entry in one.sheet.entries] == [TASKS[3].feature]
    assert saved[-1] is one.sheet
    assert one.next_task() == 5
    assert one.held == in_hand(TASKS[3])
    one.enter(5, "slide")
    assert one.next_task() != 5
    one.undo()
    one.skip(5)
    assert one.next_task() != 5
    assert one.undo() == 3
    assert one.undo() is None


def test_a_reading_is_doubted_once():
    one = bench()
    number = next(n for n, task in enumerate(TASKS) if task.feature == "G1" and n >= 12)
    assert not one.doubts(number, 12.05)
    assert one.doubts(number, 21.05)
    assert not one.doubts(number, 21.05), "typed again it is meant"
    assert not one.doubts(number, 21.05), "as often as it is typed"
    assert one.doubts(number, 21.06), "another number is another doubt"
    assert not one.doubts(number, 12.0)
    assert one.doubts(number, 21.06), "and after a plain one it is doubted anew"
    other = next(n for n, task in enumerate(TASKS) if task.feature == "A1" and n >= 12)
    assert one.doubts(other, 21.05)


def rows(letter):
    features = {feature.id: feature.row for feature in COUPON.features}
    return [n for n, task in enumerate(TASKS) if features[task.feature] == letter]


def test_the_rest_of_a_row_is_left_out():
    of_b = rows("B")
    one = bench(tried(of_b[0]))
    assert one.leave_row(of_b[1]) == len(of_b) - 1
    assert not set(one.open_tasks()) & set(of_b)
    assert one.leave_row(of_b[1]) == 0
    assert len(one.open_tasks()) == len(TASKS) - len(of_b)


def test_whoever_names_a_feature_is_asked_for_it_next():
    one = bench(tried(0))
    one.go_to("a1")
    assert one.next_task() == 1, "the first trial of A1 is done"
    one.go_to("H1")
    assert TASKS[one.next_task()].feature == "H1"
    one.leave_row(one.next_task())
    assert TASKS[one.next_task()].feature != "H1"
    # What is done altogether is asked for again.
    again = bench(*(tried(n) for n in range(12)), guide=None)
    again.go_to("B3")
    assert again.next_task() == next(n for n, task in enumerate(TASKS) if task.feature == "B3")
    with pytest.raises(EntriesError) as refused:
        one.go_to("q" * 50)
    (problem,) = refused.value.problems
    assert (problem.where, problem.got) == ("what was typed", repr("q" * 40))


def test_what_some_tasks_bring_is_how_they_narrow_the_wants():
    one = bench(tried(0))
    order = [one.next_task()]
    assert 0 < one.brings(order) < one.brings()
    assert one.brings([]) == 0
    everything = one.brings(one.open_tasks())
    assert everything > one.brings()
    assert narrowing(GUIDE, one.now, one.now) == 0


def test_a_row_brings_little_where_all_of_it_would_narrow_by_less_than_three_in_a_hundred():
    of_a = rows("A")
    assert not bench().row_brings_little(of_a[0]), "nothing was entered yet"
    one = bench(tried(of_a[0]))
    for letter in "ABG":
        rest = [n for n in one.open_tasks() if n in rows(letter)]
        expected = len(rest) > 1 and one.brings(rest) < 0.03
        assert one.row_brings_little(rows(letter)[0]) is expected
    assert not bench(tried(0), guide=None).row_brings_little(of_a[0])
    # Where next to nothing is open no row brings anything; one last task is quickly done anyhow.
    start = NormalPosterior(GUIDE.start.mean, GUIDE.start.covariance * 1e-8)
    known = replace(GUIDE, start=start)
    span = rows("D")
    assert len(span) == 2
    assert bench(tried(0), guide=known).row_brings_little(span[0])
    read = SizeEntry(0, "D1", 80.0, Jaws.OUTSIDE, None)
    assert not bench(tried(0), read, guide=known).row_brings_little(span[1])
    assert not bench(guide=known).row_brings_little(span[0]), "nothing was entered yet"
