"""A proof: a coupon of the joints that somebody asked about, drawn by the tool's own answers.

Each joint is a row: the body that moves is printed at the gap of the answer and a step to either
side, the other one is the loose gauge. The chances of all grades are stated for every trial before
anything is printed, and kept with the coupon.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupons.answering.chances.contact_length import unsaid_variance
from coupons.answering.chances.extrapolation import feel_variance, size_variance
from coupons.answering.chances.next_print import variances
from coupons.answering.chances.own_spread import OwnSpread, own_scatters, with_own
from coupons.answering.joints.listed import ListedJoint
from coupons.answering.joints.whole_part import JointAnswer, answer_part
from coupons.answering.next.expected_information import as_if_done
from coupons.answering.offset import Answer
from coupons.answering.several.drawn_pairs import SeveralAnswer
from coupons.errors import CouponError, PlanError, Problem
from coupons.learning.design import Design, design_of
from coupons.learning.effects import EFFECTS, THRESHOLDS
from coupons.learning.profile import Profile
from coupons.making.plan import Plan, plan_coupon
from coupons.making.record import Coupon, CouponProof, ProofTrial
from coupons.making.spec.coupon_spec import Assumed, Spec
from coupons.making.spec.row_kinds import ROW_LETTERS
from coupons.terms import EXTERNAL, GRADES, INTERNAL, MovingBody

Array = NDArray[np.floating]

STEP_MM = 0.08
"""From the answer's gap to the next one on either side, in the layer plane; else one layer."""
_GAUGES = 2
_DRAWS = 4000
_SHARE = 0.90


@dataclass(frozen=True)
class Proof:
    """A planned proof.

    Parameters
    ----------
    plan : Plan
    rows : tuple of JointAnswer
        The joints that have a row of their own, in its order.
    left_out : tuple of (str, str)
        Joints that have none, each with the reason.
    """

    plan: Plan
    rows: tuple[JointAnswer, ...]
    left_out: tuple[tuple[str, str], ...]


def plan_proof(
    profile: Profile, listed: Sequence[ListedJoint], bed_mm: tuple[float, float] | None = None
) -> Proof:
    """Lay out a coupon of joints as the profile answers them.

    Raises
    ------
    PlanError
        If no joint can be laid out, or the bed cannot hold what can.
    """
    assumed: dict[str, object] = {
        "layer_height_mm": profile.layer_height_mm,
        "nozzle_mm": profile.nozzle_mm,
    }
    if bed_mm is not None:
        assumed["bed_mm"] = bed_mm
    rows: list[JointAnswer] = []
    specs: list[dict[str, object]] = []
    left_out: list[tuple[str, str]] = []
    for joint in answer_part(profile, listed).joints:
        spec, why = _row_or_why(joint, specs, assumed)
        if why:
            left_out.append((joint.listed.name, why))
        else:
            rows.append(joint)
            specs.append(spec)
    if not rows:
        got = "; ".join(f"{name}: {why}" for name, why in left_out) or "no joint"
        todo = "Ask for fits of single pairs, such as slot/tongue, that the profile measured"
        raise PlanError([Problem("proof", "a joint that can be proved", got, todo)])
    return Proof(plan_coupon(_spec(specs, assumed)), tuple(rows), tuple(left_out))


def _row_or_why(
    joint: JointAnswer, before: Sequence[dict[str, object]], assumed: dict[str, object]
) -> tuple[dict[str, object], str]:
    """Return the row of a joint, or why it has none."""
    found, piece = joint.found, joint.listed.hardware
    if found is None:
        return {}, "no answer"
    if isinstance(found, SeveralAnswer):
        return {}, "it has several pairs of faces, and a proof tries single pairs"
    if not isinstance(found, Answer) or joint.listed.fit is None:
        return {}, "no fit was asked for"
    if piece is not None and piece.form in INTERNAL:
        return {}, f"a {piece.name} goes over what is printed"
    row = _row_of(joint, found)
    if row in before:
        return row, "the same as a joint before it"
    if len(before) == len(ROW_LETTERS):
        return row, f"a coupon has at most {len(ROW_LETTERS)} rows"
    return row, _cannot_be_made(row, assumed)


def _row_of(joint: JointAnswer, found: Answer) -> dict[str, object]:
    """Write one joint as a row of a spec."""
    piece, asked = joint.listed.hardware, joint.listed.joint
    step_mm = found.layer_mm or STEP_MM
    gaps = [round(found.gap_mm + step * step_mm, 4) for step in (-1, 0, 1)]
    move = joint.listed.move
    form = asked.external if move is MovingBody.EXTERNAL else asked.internal
    row: dict[str, object] = {
        "form": str(form),
        "direction": str(asked.direction),
        "gaps_mm": gaps,
        "read_every": 1,
    }
    if piece is not None:
        limits = [round(mm - piece.nominal_mm, 6) for mm in (piece.lower_mm, piece.upper_mm)]
        named = {"name": piece.name, "nominal_mm": piece.nominal_mm, "limits_mm": limits}
        return {"kind": "hardware", **row, **named}
    stays_mm = asked.size_mm
    if move is MovingBody.BOTH:
        stays_mm = next(m.drawn_mm for m in found.moves if m.form in EXTERNAL)
    elif found.layer_mm is not None:  # both may have been rounded to layers
        stays = asked.internal if move is MovingBody.EXTERNAL else asked.external
        stays_mm = joint.drawn_mm(stays) or stays_mm
    return {"kind": "fit", **row, "size_mm": float(stays_mm), "gauges": _GAUGES}


def _spec(rows: Sequence[dict[str, object]], assumed: dict[str, object]) -> Spec:
    text = json.dumps([list(rows), assumed], sort_keys=True)
    return Spec.model_validate(
        {
            "title": "Proof of answers",
            "about": "Joints drawn by the answers of a profile, and a step to either side.",
            "assumed": Assumed.model_validate(assumed),
            "row": list(rows),
            "name": "proof",
            "digest": hashlib.sha256(text.encode()).hexdigest()[:16],
        }
    )


def _cannot_be_made(row: dict[str, object], assumed: dict[str, object]) -> str:
    """Say why a row by itself cannot be printed; empty if it can."""
    try:
        plan_coupon(_spec([row], assumed))
    except CouponError as error:
        return error.problems[0].todo or str(error.problems[0])
    except ValueError:  # a size or gap beyond what any row may have
        return "its size or gap is beyond what a coupon can hold"
    return ""


def stated_chances(profile: Profile, coupon: Coupon) -> Array:
    """Return what a profile expects of every trial of a coupon on the next print.

    Returns
    -------
    ndarray of shape (n_trials, n_grades)
        The share of lapses that the fit knows of is included.
    """
    design = design_of([as_if_done(coupon)])
    rows, table = _clearance_rows(design), profile.prior_table
    gaps_mm = _drawn_gaps(design)
    doubt, own = _doubts(profile, coupon), _own(design)
    from_grade = [np.ones(len(gaps_mm))]
    for k in range(len(THRESHOLDS)):
        margin = rows.copy()
        margin[:, len(EFFECTS) + k] -= 1
        shared, weights = variances(profile, margin)
        mean = gaps_mm + margin @ profile.mean_vector
        chances = []
        for n, each in enumerate(own):
            both, share = with_own(shared[:, [n]] + doubt[n], weights, each.variance_rule(profile))
            chances.append(float(share @ ndtr(mean[n] / np.sqrt(both[:, 0]))))
        from_grade.append(np.array(chances))
    alone = -np.diff([*from_grade, np.zeros(len(gaps_mm))], axis=0).T
    return np.asarray((1 - table.lapse) * np.maximum(alone, 0) + table.lapse / len(GRADES))


def _clearance_rows(design: Design) -> Array:
    sizes, trials = design.sizes, design.trials
    effects = sizes.effects[trials.internal] - sizes.effects[trials.external]
    none = np.zeros((len(effects), len(THRESHOLDS)))
    return np.concatenate([effects, none, -trials.losses], axis=1)


def _drawn_gaps(design: Design) -> Array:
    drawn, trials = design.sizes.drawn, design.trials
    return np.asarray(drawn[trials.internal] - drawn[trials.external])


def _own(design: Design) -> list[OwnSpread]:
    sizes, found = design.sizes, []
    for pair in zip(design.trials.internal, design.trials.external, strict=True):
        printed = [n for n in pair if sizes.is_printed[n]]
        z = [float(sizes.z_share[n]) for n in printed]
        known = sum(float(sizes.fixed_sd[n]) ** 2 for n in pair if n not in printed)
        found.append(OwnSpread(sum(1 - each for each in z), sum(z), 1.0, known))
    return found


def _doubts(profile: Profile, coupon: Coupon) -> list[float]:
    """Variances in mm² that sizes outside the measured and tried ones add, a trial each."""
    features = {feature.id: feature for feature in coupon.features}
    found = []
    for trial in coupon.trials:
        pair = [features[key] for key in (trial.feature, trial.mate) if key in features]
        one = pair[0]
        doubt = feel_variance(profile, [(f.form, f.direction) for f in pair], one.size_mm)
        doubt += unsaid_variance(profile) if trial.contact_mm is None else 0.0
        doubt += sum(size_variance(profile, f.form, f.direction, f.size_mm) for f in pair)
        found.append(doubt)
    return found


def proof_of(profile: Profile, proof: Proof, coupon: Coupon, seed: int = 0) -> CouponProof:
    """State beforehand what the trials of a proof are expected to give."""
    chances = stated_chances(profile, coupon)
    answers = dict(zip(proof.plan.spec.row_ids(), proof.rows, strict=True))
    row_of = {feature.id: feature.row for feature in coupon.features}
    trials = []
    for trial, of_trial in zip(coupon.trials, chances.tolist(), strict=True):
        joint = answers[row_of[trial.feature]]
        found = joint.found
        at_answer = isinstance(found, Answer) and abs(trial.gap_mm - found.gap_mm) < 1e-6
        trials.append(
            ProofTrial(
                feature=trial.feature,
                mate=trial.mate,
                joint=joint.listed.name,
                wanted=joint.listed.fit or GRADES[-1],
                at_answer=at_answer,
                chances=tuple(round(p, 5) for p in of_trial),
            )
        )
    hits = np.array([[g is t.wanted for g in GRADES] for t in trials]).argmax(axis=1)
    counted = np.array([t.at_answer for t in trials])
    usual = _usual_hits(profile, coupon, hits, counted, seed)
    return CouponProof(
        machine=profile.machine,
        material=profile.material,
        entries_sha256=profile.entries_sha256,
        rehearsed=profile.rehearsed,
        trials=tuple(trials),
        usual_hits=usual,
    )


def _usual_hits(
    profile: Profile, coupon: Coupon, wanted: NDArray[np.intp], counted: Array, seed: int
) -> tuple[int, int]:
    """Return the 90 % range of how many of the answers' trials are as wanted, on one print.

    By draws of all that the trials share: printer, print, gauges.
    """
    rng, design = np.random.default_rng(seed), design_of([as_if_done(coupon)])
    rows, sizes, trials = _clearance_rows(design), design.sizes, design.trials
    terms = rng.multivariate_normal(profile.mean_vector, profile.covariance_matrix, _DRAWS)
    print_sds = np.sqrt(profile.print_squares)
    terms = terms + (rng.normal(size=(_DRAWS, len(print_sds))) * print_sds) @ profile.print_moves.T
    tau, tau_z, omega = (
        spread.median_mm * np.exp(spread.log_sd * rng.normal(size=(_DRAWS, 1)))
        for spread in own_scatters(profile)
    )
    sds = np.sqrt((1 - sizes.z_share) * tau**2 + sizes.z_share * tau_z**2)
    sds = np.where(sizes.is_printed, sds, np.nan_to_num(sizes.fixed_sd))
    own = rng.normal(size=sds.shape) * sds
    felt = _drawn_gaps(design) + terms @ rows.T + own[:, trials.internal] - own[:, trials.external]
    felt = felt + omega * rng.normal(size=felt.shape)
    thresholds = terms[:, len(EFFECTS) : len(EFFECTS) + len(THRESHOLDS)]
    grades = (felt[:, :, None] >= thresholds[:, None, :]).sum(axis=2)
    hits = (grades == wanted)[:, counted.astype(bool)].sum(axis=1)
    low, high = np.quantile(hits, [(1 - _SHARE) / 2, (1 + _SHARE) / 2])
    return int(np.floor(low)), int(np.ceil(high))
