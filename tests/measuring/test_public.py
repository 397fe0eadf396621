"""Runs that may be shown to anybody name nobody, hold no notes, and are the same otherwise."""

from dataclasses import fields, replace
from pathlib import Path

import pytest
from support.small_coupon import small_coupon

from coupons.answering.next.expected_information import as_if_done
from coupons.measuring.run.entries import HoldEntry, ZeroEntry
from coupons.measuring.run.public import without_people
from coupons.terms import Hold


def tried_by(*names):
    """A run with an entry of each kind by each person, in a folder with a name of its own."""
    run = as_if_done(small_coupon())
    sizes = tuple(replace(run.sizes[0], by=name, note=f"size {name}") for name in names)
    fits = tuple(replace(run.fits[0], by=name, note=f"fit {name}") for name in names)
    zeros = tuple(ZeroEntry(9, 0.01, by=name, note=f"zero {name}") for name in names)
    holds = tuple(
        HoldEntry(11, "B1", "dowel", Hold.HOLDS, by=name, note=f"hold {name}") for name in names
    )
    folder = Path("/home/ada/drawer")
    return replace(run, folder=folder, sizes=sizes, fits=fits, zeros=zeros, holds=holds)


KINDS = ("sizes", "fits", "zeros", "holds")


@pytest.mark.parametrize("kind", KINDS)
def test_several_people_are_numbered_in_the_order_of_their_names(kind):
    first, second = without_people([tried_by("Cy", "", "Ada"), tried_by("Bo", "Cy")])
    assert [one.by for one in getattr(first, kind)] == ["person 3", "", "person 1"]
    assert [one.by for one in getattr(second, kind)] == ["person 2", "person 3"]


@pytest.mark.parametrize("kind", KINDS)
def test_whoever_tried_only_one_thing_counts_as_a_person_too(kind):
    run = tried_by("Ada")
    other = replace(run, **{kind: getattr(tried_by("Bo"), kind)})
    shown = without_people([run, other])[1]
    assert [one.by for one in getattr(shown, kind)] == ["person 2"]


def test_one_alone_is_not_named():
    (run,) = without_people([tried_by("Ada", "")])
    assert {one.by for kind in KINDS for one in getattr(run, kind)} == {""}


def test_folders_and_notes_are_gone_and_nothing_else_is_changed():
    runs = [tried_by("Ada", "Bo"), tried_by("Ada")]
    shown = without_people(runs)
    assert [run.folder for run in shown] == [Path("run-1"), Path("run-2")]
    assert {one.note for run in shown for kind in KINDS for one in getattr(run, kind)} == {""}
    for run, other in zip(runs, shown, strict=True):
        for each in fields(run):
            if each.name not in (*KINDS, "folder"):
                assert getattr(other, each.name) == getattr(run, each.name)
        for kind in KINDS:
            pairs = zip(getattr(run, kind), getattr(other, kind), strict=True)
            assert all(replace(a, by="", note="") == replace(b, by="", note="") for a, b in pairs)
