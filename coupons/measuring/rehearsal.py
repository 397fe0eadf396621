"""Rehearse a run: a virtual printer prints the coupon, virtual hands fill in its entries.

A rehearsed run is marked in its conditions, and everything learned from it says so.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from coupons.atomic import write_text
from coupons.errors import RunError
from coupons.making.record import Coupon, read_coupon
from coupons.measuring import conditions as conditions_file
from coupons.measuring import sheet
from coupons.measuring.conditions import Conditions, load_toml, parse_conditions, toml_text
from coupons.measuring.entries import FitEntry, SizeEntry
from coupons.measuring.hands import decimals, grade_of, read_caliper
from coupons.measuring.machine import Machine, load_machine
from coupons.measuring.printer import Shapes, Sizes, clearance_mm, print_once, shapes_of
from coupons.measuring.run import RECORD_FILE, typed_entries
from coupons.terms import GRADES, INTERNAL, ROUND, Grade, Jaws

BY = "rehearsal"


@dataclass(frozen=True)
class Plan:
    """A coupon laid out for rehearsing it often: who goes into whom, and what is read."""

    coupon: Coupon
    shapes: Shapes
    hardware_mm: NDArray[np.floating]
    hardware_sd_mm: NDArray[np.floating]
    internal: NDArray[np.int_]
    external: NDArray[np.int_]
    round_pair: NDArray[np.bool_]
    read: NDArray[np.int_]
    read_on: NDArray[np.int_]
    in_bore: NDArray[np.bool_]


@dataclass(frozen=True)
class Found:
    """What the hands found: a grade a trial, a number a reading, in the coupon's order."""

    grades: NDArray[np.int_]
    readings_mm: NDArray[np.floating]


_BOTH_AXES = 2


def plan_rehearsal(coupon: Coupon) -> Plan:
    """Lay out a coupon so that many machines can print and try it quickly."""
    forms = {part.id: part.form for part in coupon.features}
    forms |= {piece.id: piece.form for piece in coupon.hardware}
    at = {name: index for index, name in enumerate(forms)}
    pairs = [
        (trial.feature, trial.mate)
        if forms[trial.feature] in INTERNAL
        else (trial.mate, trial.feature)
        for trial in coupon.trials
    ]
    shapes = shapes_of(coupon.features)
    read = [at[reading.feature] for reading in coupon.readings]
    return Plan(
        coupon=coupon,
        shapes=shapes,
        hardware_mm=np.array([piece.size_mm for piece in coupon.hardware], dtype=float),
        hardware_sd_mm=np.array([piece.sd_mm for piece in coupon.hardware], dtype=float),
        internal=np.array([at[internal] for internal, _ in pairs], dtype=int),
        external=np.array([at[external] for _, external in pairs], dtype=int),
        round_pair=np.array([forms[a] in ROUND and forms[b] in ROUND for a, b in pairs], bool),
        read=np.array(read, dtype=int),
        read_on=np.array(
            [
                _read_on(shapes.axes[index], reading.along)
                for index, reading in zip(read, coupon.readings, strict=True)
            ],
            dtype=int,
        ),
        in_bore=np.array(
            [
                reading.jaws is Jaws.INSIDE and forms[reading.feature] in ROUND
                for reading in coupon.readings
            ],
            dtype=bool,
        ),
    )


def _read_on(axes: NDArray[np.int_], along: str | None) -> int:
    """Return which of a feature's two axes a reading is taken on, or both."""
    wanted = "xyz".find(along) if along else -1
    return int(np.flatnonzero(axes == wanted)[0]) if wanted in axes else _BOTH_AXES


def try_out(machine: Machine, plan: Plan, rng: np.random.Generator) -> Found:
    """Print the coupon once on a virtual machine and let its person try and measure everything."""
    sizes = _with_hardware(print_once(machine, plan.shapes, rng), plan, rng)
    clearances_mm = clearance_mm(
        _of(sizes, plan.internal), _of(sizes, plan.external), plan.round_pair
    )
    grades = grade_of(clearances_mm, machine.person, rng)
    met_mm = _met_by_jaws(machine, sizes, plan)
    return Found(grades, read_caliper(met_mm, plan.in_bore, machine.caliper, rng))


def _with_hardware(sizes: Sizes, plan: Plan, rng: np.random.Generator) -> Sizes:
    bought_mm = rng.normal(plan.hardware_mm, plan.hardware_sd_mm)
    return Sizes(
        np.concatenate([sizes.across_mm, np.stack([bought_mm, bought_mm], axis=1)]),
        np.concatenate([sizes.bump_mm, np.zeros_like(bought_mm)]),
    )


def _of(sizes: Sizes, parts: NDArray[np.int_]) -> Sizes:
    return Sizes(sizes.across_mm[parts], sizes.bump_mm[parts])


def _met_by_jaws(machine: Machine, sizes: Sizes, plan: Plan) -> NDArray[np.floating]:
    """Return the size on the diameter that each reading is taken on, seam bump included."""
    three = np.column_stack([sizes.across_mm, sizes.mean_mm])[plan.read, plan.read_on]
    seam_axis = "xy".index(machine.bead.seam_along)
    on_seam = plan.shapes.axes[plan.read, np.minimum(plan.read_on, 1)] == seam_axis
    on_seam &= plan.read_on < _BOTH_AXES
    met: NDArray[np.floating] = (
        three + plan.shapes.sign[plan.read] * sizes.bump_mm[plan.read] * on_seam
    )
    return met


def as_entries(plan: Plan, found: Found) -> tuple[tuple[SizeEntry, ...], tuple[FitEntry, ...]]:
    """Return what was found as entries, without any file; grades stand alone, never as sets."""
    trials, readings = plan.coupon.trials, plan.coupon.readings
    fits = tuple(
        FitEntry(row, trial.feature, trial.mate, GRADES[grade], GRADES[grade], BY)
        for row, (trial, grade) in enumerate(zip(trials, found.grades, strict=True), start=2)
    )
    sizes = tuple(
        SizeEntry(row, reading.feature, float(value), reading.jaws, reading.along, BY)
        for row, (reading, value) in enumerate(
            zip(readings, found.readings_mm, strict=True), start=2 + len(trials)
        )
    )
    return sizes, fits


def rehearse(folder: Path, virtual_machine: str = "bench-1", seed: int = 1) -> Found:
    """Fill in the entries of a run from a virtual machine and mark the run as rehearsed.

    The virtual hands use the layer height and the caliper that conditions.toml states; what it
    leaves blank is filled in from the machine. The same seed fills in the same entries.

    Raises
    ------
    RunError
        If anything was typed into the entries already, or the machine is not known.
    ConditionsError
        If the conditions cannot be read.
    """
    coupon = read_coupon(folder / RECORD_FILE)
    machine = load_machine(virtual_machine)
    typed = typed_entries(folder)
    if typed:
        raise RunError(typed)
    text = _marked(conditions_file.read_text(folder / conditions_file.FILE), machine, seed)
    machine = _as_stated(machine, parse_conditions(text))
    found = try_out(machine, plan_rehearsal(coupon), np.random.default_rng(seed))
    # Marked first: should the second write fail, no unmarked rehearsal is left behind.
    write_text(folder / conditions_file.FILE, text)
    sheet.write_rows(folder / sheet.FILE, _filled(coupon, found, machine))
    return found


def _filled(coupon: Coupon, found: Found, machine: Machine) -> list[sheet.Row]:
    places = decimals(machine.caliper.resolution_mm)
    results = [_word(GRADES[grade], machine.person.plain) for grade in found.grades]
    results += [f"{value:.{places}f}" for value in found.readings_mm]
    rows = sheet.blank_rows(coupon)
    return [replace(row, result=result, by=BY) for row, result in zip(rows, results, strict=True)]


def _word(grade: Grade, plain: bool) -> str:
    """Return what the person writes for a grade; a plain one says only go or stop."""
    if not plain:
        return grade
    return "stop" if grade in (Grade.NO_GO, Grade.FORCE) else "go"


def _as_stated(machine: Machine, conditions: Conditions) -> Machine:
    """Return the machine with the layer height and caliper that the conditions state."""
    caliper = machine.caliper.model_copy(update=conditions.caliper.model_dump())
    return machine.model_copy(
        update={"layer_height_mm": conditions.layer_height_mm, "caliper": caliper}
    )


def _marked(text: str, machine: Machine, seed: int) -> str:
    """Return the conditions marked as rehearsed, with what they leave blank filled in."""
    said = load_toml(text)
    for key, value in (("machine", machine.name), ("material", machine.material)):
        if not str(said.get(key, "")).strip():
            text = set_value(text, "", key, toml_text(value))
    caliper: Mapping[str, object] = said.get("caliper", {})
    for key in ("resolution_mm", "jaw_land_mm"):
        if key not in caliper:
            text = set_value(text, "caliper", key, str(getattr(machine.caliper, key)))
    text = set_value(text, "", "rehearsed", "true")
    text = set_value(text, "rehearsal", "virtual_machine", toml_text(machine.name))
    return set_value(text, "rehearsal", "seed", str(seed))


def set_value(text: str, table: str, key: str, literal: str) -> str:
    """Set one value of a TOML text and leave every other line, with its comments, as it is.

    A line of that key is replaced, be it commented out or not; otherwise one is added at the end of
    the table, and the table at the end of the text if there is none.
    """
    lines = text.splitlines()
    starts = [at for at, line in enumerate(lines) if line.lstrip().startswith("[")]
    if table:
        heads = [at for at in starts if lines[at].split("#")[0].strip() == f"[{table}]"]
        if not heads:
            return "\n".join([*lines, "", f"[{table}]", f"{key} = {literal}"]) + "\n"
        first = heads[0] + 1
    else:
        first = 0
    last = next((at for at in starts if at >= first), len(lines))
    for at in range(first, last):
        match = re.fullmatch(rf"(?:#\s*)?{key}\s*=\s*(?:\"[^\"]*\"|[^\"#]*?)(\s+#.*)?", lines[at])
        if match:
            lines[at] = f"{key} = {literal}{match[1] or ''}"
            return "\n".join(lines) + "\n"
    while last > first and not lines[last - 1].strip():
        last -= 1
    return "\n".join([*lines[:last], f"{key} = {literal}", *lines[last:]]) + "\n"
