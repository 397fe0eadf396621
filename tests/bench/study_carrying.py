"""What carries over from a machine to itself after a change: coverage, and what it is worth.

    PYTHONPATH=tests python tests/bench/study_carrying.py --sets 40 \
        --json results/study/carrying.json

Drawn are machines of the prior and what a change (material, nozzle, layer height) does to each of
their terms: a part alike on all machines, and each machine's own part, both of a size drawn for
each term; on both sides of it a machine is one of the prior. Some other machines are known by a
whole coupon before the change and after it, the machine in question by a whole coupon before it and
by a few entries after it. A whole coupon's information is that of the demo's profile, so nothing is
fitted: the study judges what is learned from pairs, not the fit.

The cases differ in each machine's own part: of any size ("as drawn"), next to none ("alike"), so
large that nothing carries over ("its own way"), and "unlike": the others change alike, the machine
in question by `FAR` prior standard deviations more or less in each growth.
"""

import argparse
import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from coupons.answering.chances.clearance import Clearance
from coupons.learning.carrying import SIZES, carried, change_of_pair, learn_change
from coupons.learning.effects import TERMS, prior_mean, prior_sd
from coupons.learning.like import FAMILIES, OF_MACHINES
from coupons.learning.pooling import MachineEvidence, Pooled, evidence_of, pool
from coupons.learning.profile import Profile
from coupons.learning.profile_file import read_profile
from coupons.terms import SDS_OF_90, Direction, Form, Grade, Joint, MovingBody

Array = NDArray[np.floating]

DEMO = Path("results/filter-drawer/profile.json")
PAIRS = (1, 2, 4)
FEW = 6 / 140
"""Share of a whole coupon's information that a few entries have."""
FAR = 1.0
OWN = {"as drawn": SIZES, "alike": SIZES[:1], "its own way": SIZES[-1:], "unlike": SIZES[:1]}
JOINTS = (
    Joint(Form.SLOT, Form.TONGUE, 8.0, Direction.X),
    Joint(Form.SLOT, Form.TONGUE, 8.0, Direction.Y),
    Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z),
)
_GROWTHS = [TERMS.index(name) for name in ("growth_ext", "growth_int", "round_ext", "round_int")]


def seen(information: Array, terms: Array, rng: np.random.Generator) -> MachineEvidence:
    """Draw what entries of this information say of a machine's terms, in prior sds."""
    values, axes = np.linalg.eigh(information)
    noise = axes @ (np.sqrt(np.maximum(values, 0)) * rng.normal(size=len(terms)))
    return MachineEvidence(information, information @ terms + noise)


def judge(found: Pooled, terms: Array, rows: Array) -> tuple[float, Array, Array]:
    """Return the share of terms and which joints their 90 % interval holds, and the gaps' errors.

    The errors are in mm, one a joint.
    """
    off, sd = found.mean - terms, np.sqrt(np.diag(found.covariance))
    off_mm = rows @ (prior_sd() * off)
    scaled = rows * prior_sd()
    sd_mm = np.sqrt(np.einsum("ji,ik,jk->j", scaled, found.covariance, scaled))
    held = np.abs(off) < SDS_OF_90 * sd
    return float(held.mean()), np.abs(off_mm) < SDS_OF_90 * sd_mm, off_mm


def draw_set(
    pairs: int, case: str, information: Array, rows: Array, rng: np.random.Generator
) -> tuple[tuple[float, Array, Array], tuple[float, Array, Array], float]:
    """Draw a set; judge what is believed with and without what carries over.

    The last value is the chance that the machine did not change as the pairs did.
    """
    n = len(TERMS)
    size = rng.choice(SIZES, n)
    alike = size * rng.normal(size=n)
    spread = rng.choice(OWN[case], n)
    # Machines are of the prior after a change as well, so a change as large as it leaves little.
    kept = 1 / np.sqrt(1 + size**2 + spread**2)

    def draw_machine() -> tuple[Array, Array]:
        was = rng.normal(size=n)
        return was, kept * (was + alike + spread * rng.normal(size=n))

    learned = []
    for _ in range(pairs):
        was, now = (seen(information, terms, rng) for terms in draw_machine())
        learned.append(change_of_pair(was, now))
    was, now = draw_machine()
    if case == "unlike":
        now[_GROWTHS] += FAR * rng.choice([-1, 1], len(_GROWTHS))
    own = seen(FEW * information, now, rng)
    over = carried(seen(information, was, rng), learn_change(learned))
    found = pool(own, [], FAMILIES, carried=over)
    return (
        judge(found, now, rows),
        judge(pool(own, [], FAMILIES), now, rows),
        float(found.new[OF_MACHINES].max()),
    )


def summary(judged: list[tuple[float, Array, Array]]) -> dict[str, float]:
    """Return shares with the standard error over sets, which are independent of each other."""
    terms = np.array([one[0] for one in judged])
    joints = np.array([one[1].mean() for one in judged])
    off = np.array([one[2] for one in judged])
    root = np.sqrt(len(judged))
    return {
        "terms_held": round(float(terms.mean()), 3),
        "terms_held_se": round(float(terms.std(ddof=1) / root), 3),
        "joints_held": round(float(joints.mean()), 3),
        "joints_held_se": round(float(joints.std(ddof=1) / root), 3),
        "rmse_mm": round(float(np.sqrt((off**2).mean())), 4),
    }


def rows_of(demo: Profile) -> Array:
    """Return how each joint's margin for sliding depends on the terms, (n_joints, n_terms)."""
    return np.array(
        [
            Clearance(demo, joint, MovingBody.EXTERNAL, np.array([0.0])).margin_row(Grade.SLIDE)[0]
            for joint in JOINTS
        ]
    )


def main() -> None:
    """Draw sets and write what came of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", type=Path)
    asked = parser.parse_args()
    rng = np.random.default_rng(asked.seed)
    demo = read_profile(DEMO)
    information = evidence_of(
        demo.mean_vector, demo.covariance_matrix, prior_mean(), prior_sd()
    ).information
    rows = rows_of(demo)
    cases: dict[str, object] = {}
    for case in OWN:
        for pairs in PAIRS:
            sets = [draw_set(pairs, case, information, rows, rng) for _ in range(asked.sets)]
            leaning, alone, new = zip(*sets, strict=True)
            cases[f"{case}, pairs {pairs}"] = {
                "carried": summary(list(leaning)),
                "few entries alone": summary(list(alone)),
                "named as changed in another way": round(float(np.mean(np.array(new) > 0.5)), 3),
            }
            print(case, pairs, cases[f"{case}, pairs {pairs}"], flush=True)
    if asked.json:
        report = {
            "command": f"PYTHONPATH=tests python tests/bench/study_carrying.py --sets {asked.sets} "
            f"--seed {asked.seed} --json {asked.json}",
            "sets": asked.sets,
            "few": round(FEW, 3),
            "far": FAR,
            "cases": cases,
        }
        asked.json.write_text(json.dumps(report, indent=1) + "\n")


if __name__ == "__main__":
    main()
