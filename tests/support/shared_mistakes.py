"""Mistakes planted in many entries at once, in runs of machines drawn at random."""

from dataclasses import replace

import numpy as np
from support.rehearsed import run_by

from coupons.learning.effects import EFFECTS, TERMS, effect_row
from coupons.measuring.virtual.machine import random_machine
from coupons.terms import GRADES, Direction, Feature, Form


def drawn_machine(rng, **tables):
    """A machine drawn at random whose person swaps no digits, with some values set.

    Single slips are another test's: here they would be counted as what they are not.
    """
    machine = random_machine(rng)
    tables["caliper"] = {"slip_chance": 0.0} | tables.get("caliper", {})
    return machine.model_copy(
        update={
            name: getattr(machine, name).model_copy(update=values)
            for name, values in tables.items()
        }
    )


def run_of(machine, coupon, rng, folder="run-a"):
    return run_by(machine, coupon, rng, machine.caliper.jaw_land_mm, folder)


def with_gauge_slipped(run, mate, step):
    """Each grade of one mate stands where the next place's belongs; the end says its own twice."""
    size = {part.id: part.size_mm for part in run.coupon.features}
    mine = sorted((fit for fit in run.fits if fit.mate == mate), key=lambda fit: size[fit.feature])
    last = len(mine) - 1
    moved = {
        fit.row: (other.tightest, other.loosest)
        for at, fit in enumerate(mine)
        for other in (mine[min(max(at + step, 0), last)],)
    }
    fits = tuple(
        replace(fit, tightest=moved[fit.row][0], loosest=moved[fit.row][1])
        if fit.row in moved
        else fit
        for fit in run.fits
    )
    return replace(run, fits=fits)


def with_zero_off(run, off_mm, first=0, last=None):
    """The readings from one to another, in the order of the sheet, by a caliper that is off."""
    chosen = {size.row for size in run.sizes[first:last]}
    sizes = tuple(
        replace(size, value_mm=size.value_mm + off_mm) if size.row in chosen else size
        for size in run.sizes
    )
    return replace(run, sizes=sizes)


# In the coupon `first` rows B and F along x are like rows C and G along y.
LIKE = str.maketrans("BCFG", "CBGF")
# Bars have their length along one axis and their width along the other.
LENGTHS = {"BX": "CY", "CY": "BX", "BY": "CX", "CX": "BY"}


def like_of(name):
    return LENGTHS.get(name, name[0].translate(LIKE) + name[1:])


def with_coupon_turned(run):
    """What belongs to x stands in the rows of y, and the other way round; rounds' axes too."""
    read = {(size.feature, size.along): size.value_mm for size in run.sizes}
    tried = {(fit.feature, fit.mate): (fit.tightest, fit.loosest) for fit in run.fits}
    axis = {"x": "y", "y": "x", None: None}
    sizes = tuple(
        replace(size, value_mm=read[like_of(size.feature), axis[size.along]]) for size in run.sizes
    )
    grades = [tried[like_of(fit.feature), like_of(fit.mate)] for fit in run.fits]
    fits = tuple(
        replace(fit, tightest=tightest, loosest=loosest)
        for fit, (tightest, loosest) in zip(run.fits, grades, strict=True)
    )
    return replace(run, sizes=sizes, fits=fits)


def answers():
    """Weights of the terms in what is asked: sizes along x and y, holes and pins, sliding gaps."""
    rows = []
    for along in (Direction.X, Direction.Y):
        parts = [Feature(Form.TONGUE, size, along) for size in (12.0, 25.0, 60.0)]
        parts += [Feature(Form.SLOT, size, along) for size in (12.0, 25.0)]
        rows += [_of(effect_row(part)) for part in parts]
        slot, tongue = Feature(Form.SLOT, 12.0, along), Feature(Form.TONGUE, 12.0, along)
        rows.append(_gap(effect_row(slot) - effect_row(tongue)))
    hole, pin = (Feature(form, 5.0, Direction.Z) for form in (Form.HOLE, Form.PIN))
    rows += [_of(effect_row(hole)), _of(effect_row(pin))]
    rows.append(_gap(effect_row(hole) - effect_row(pin), round_loss=-1.0))
    return np.array(rows)


def _of(effects, **terms):
    row = np.zeros(len(TERMS))
    row[: len(EFFECTS)] = effects
    for name, weight in terms.items():
        row[TERMS.index(name)] = weight
    return row


def _gap(effects, **terms):
    """The clearance less the middle of the range that slides."""
    slide, loose = (f"from_{grade}" for grade in GRADES[-2:])
    return _of(effects, **{slide: -0.5, loose: -0.5}, **terms)


def moves_an_answer(sound, spoiled):
    """Tell whether any answer moves by more than its posterior sd."""
    rows = answers()
    sd = np.sqrt(np.einsum("ij,jk,ik->i", rows, sound.covariance, rows))
    return bool((np.abs(rows @ (spoiled.mean - sound.mean)) > sd).any())
