"""What is lost because printers are not the model: intervals on virtual machines of physics.

Machines are drawn at random from ``machines/ranges.toml``. Each prints a coupon, its person tries
and measures it, and all goes through the files of a run: sheet, fit, profile, answer. The answer's
90 % interval for the gap at which a grade begins is held against what the machine would give on
its next print. Run from the root of the project:

    PYTHONPATH=tests nice python tests/bench/study_misfit.py --machines 250 \\
        --json results/bench/misfit.json
"""

import argparse
import json
import os
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from itertools import product
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from bench.study import next_print_of

from coupons.answering.offset import Question, answer
from coupons.errors import NotMeasuredError
from coupons.learning.fit import fit_runs
from coupons.learning.profile import profile_of
from coupons.making.plan import plan_coupon, record
from coupons.making.record import write_coupon
from coupons.making.spec import load_spec
from coupons.measuring.machine import Machine, random_machine
from coupons.measuring.rehearsal import rehearse
from coupons.measuring.run import Run, load_run, start_run
from coupons.measuring.truth import threshold_gap_mm
from coupons.terms import Direction, Form, Gives, Grade, Joint

SEED = 20261
GRADES_ASKED = {"press": Grade.FORCE, "push": Grade.PUSH, "slide": Grade.SLIDE}
ASKED = {
    "first": (
        Joint(Form.SLOT, Form.TONGUE, 4.0, Direction.X),
        Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.Y),
        Joint(Form.HOLE, Form.PIN, 5.0, Direction.Z),
        Joint(Form.HOLE, Form.PIN, 10.0, Direction.Z),
    ),
    "round": (
        Joint(Form.HOLE, Form.PIN, 6.0, Direction.Z),
        Joint(Form.HOLE, Form.PIN, 6.0, Direction.X),
    ),
    "upright": (Joint(Form.SLOT, Form.TONGUE, 4.0, Direction.Z),),
}


@dataclass(frozen=True)
class Held:
    """One interval against the truth."""

    question: str
    low_mm: float
    high_mm: float
    truth_mm: float


def run_of(machine: Machine, spec: str, seed: int, folder: Path) -> Run:
    coupon = record(plan_coupon(load_spec(spec)))
    start_run(folder, coupon)
    write_coupon(coupon, folder / "coupon.json")
    rehearse(folder, machine, seed)
    return load_run(folder)


def study_one(spec: str, number: int) -> list[Held | str]:
    """Return the intervals of one machine and coupon; of a refused question only its name."""
    rng = np.random.default_rng([SEED, number])
    machine = random_machine(rng)
    after = next_print_of(machine, rng)
    with tempfile.TemporaryDirectory() as folder:
        run = run_of(machine, spec, number, Path(folder))
        profile = profile_of(fit_runs([run]), [run])
    found: list[Held | str] = []
    for joint, (word, grade) in product(ASKED[spec], GRADES_ASKED.items()):
        name = (
            f"{spec}: {word}, {joint.internal}/{joint.external} {joint.size_mm:g} {joint.direction}"
        )
        try:
            given = answer(profile, Question(joint, grade, Gives.INTERNAL, at_least=0.5))
        except NotMeasuredError:
            found.append(name)
            continue
        found.append(Held(name, given.low_mm, given.high_mm, threshold_gap_mm(after, joint, grade)))
    return found


def study_all(machines: int) -> Iterator[list[Held | str]]:
    """Run every machine and coupon on all cores, with a line of progress on stderr."""
    tasks = list(product(ASKED, range(machines)))
    with ProcessPoolExecutor() as pool:
        waiting = [pool.submit(study_one, *task) for task in tasks]
        for done, future in enumerate(as_completed(waiting), start=1):
            if sys.stderr.isatty():
                sys.stderr.write(f"\r{done} of {len(tasks)} prints")
            yield future.result()


def table(results: Iterable[Held | str]) -> list[dict[str, float | str]]:
    by_question: defaultdict[str, list[Held]] = defaultdict(list)
    refused: defaultdict[str, int] = defaultdict(int)
    for result in results:
        if isinstance(result, Held):
            by_question[result.question].append(result)
        else:
            refused[result] += 1
    return [
        _line(name, by_question.get(name, []), refused.get(name, 0))
        for name in sorted({*by_question, *refused})
    ]


def _line(name: str, held: list[Held], refused: int) -> dict[str, float | str]:
    if not held:
        return {"question": name, "answers": 0, "refused": refused}
    low, high, truth = np.array([(one.low_mm, one.high_mm, one.truth_mm) for one in held]).T
    miss = (low + high) / 2 - truth
    share = float(np.mean((low <= truth) & (truth <= high)))
    return {
        "question": name,
        "answers": len(held),
        "refused": refused,
        "held": round(share, 4),
        "standard_error": round(float(np.sqrt(share * (1 - share) / len(held))), 4),
        "bias_mm": round(float(miss.mean()), 4),
        "rmse_mm": round(float(np.sqrt((miss**2).mean())), 4),
        "mean_width_mm": round(float((high - low).mean()), 4),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=100)
    parser.add_argument("--json", type=Path, help="write the figures here")
    chosen = parser.parse_args()
    lines = table(result for results in study_all(chosen.machines) for result in results)
    print(f"{'question':<36}{'held':>7}{'± se':>7}{'bias':>8}{'rmse':>7}{'width':>7}{'refused':>9}")
    for line in lines:
        if not line["answers"]:
            print(f"{line['question']:<36} refused {line['refused']} times")
            continue
        print(
            f"{line['question']:<36}{line['held']:>7.3f}{line['standard_error']:>7.3f}"
            f"{line['bias_mm']:>8.3f}{line['rmse_mm']:>7.3f}{line['mean_width_mm']:>7.3f}"
            f"{line['refused']:>9}"
        )
    if chosen.json:
        figures = {
            "command": "PYTHONPATH=tests python tests/bench/study_misfit.py "
            f"--machines {chosen.machines}",
            "seed": SEED,
            "lines": lines,
        }
        chosen.json.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
