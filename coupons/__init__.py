"""Coupons: learn how far a printer misses the drawn size, and what to draw instead.

The package is a house of five rooms, in the order of the job:
``making`` → ``measuring`` → ``learning`` → ``answering`` → ``showing``.
What a script needs is imported from here:

=====================================================  ============================================
`make_coupon`, `make_jobs`                             laying out a coupon, once or as several jobs
`load_run`, `check`, `fit`                             the job from there, step by step
`fit_each`                                             a whole tree of runs
`fit_hand`                                             another person's hand on the same print
`check_parts`, `prove_profile`, `proof_scores`         one's own parts; a proof of the answers
`load_profile`, `Printer`, `Joint`                     asking what was learned
`OffsetRegressor`, `reading_table`                     caliper readings, as scikit-learn has them
`ObservationModel`, `observation_table`                readings and trials, the same way
`CouponError` and those below it (`coupons.errors`)    what a script catches
=====================================================  ============================================

Lengths are mm. Names are loaded when first used, so that importing the package costs nothing.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coupons.answering.ask import Printer, load_profile
    from coupons.batch import fit_each
    from coupons.errors import (
        AnswerError,
        BodyError,
        ConditionsError,
        CouponError,
        DoubtWarning,
        EntriesError,
        FitError,
        NotMeasuredError,
        PlanError,
        Problem,
        ProfileError,
        RunError,
        SpecError,
        UntriedError,
        WriteError,
    )
    from coupons.job.check import check, check_parts, load_run
    from coupons.job.fit import fit, fit_hand, proof_scores
    from coupons.job.make import make_coupon, make_jobs, prove_profile
    from coupons.learning.estimator import ObservationModel, OffsetRegressor, reading_table
    from coupons.learning.observation_table import observation_table
    from coupons.terms import Joint

__version__ = "0.1.0"
__all__ = [
    "AnswerError",
    "BodyError",
    "ConditionsError",
    "CouponError",
    "DoubtWarning",
    "EntriesError",
    "FitError",
    "Joint",
    "NotMeasuredError",
    "ObservationModel",
    "OffsetRegressor",
    "PlanError",
    "Printer",
    "Problem",
    "ProfileError",
    "RunError",
    "SpecError",
    "UntriedError",
    "WriteError",
    "__version__",
    "check",
    "check_parts",
    "fit",
    "fit_each",
    "fit_hand",
    "load_profile",
    "load_run",
    "make_coupon",
    "make_jobs",
    "observation_table",
    "proof_scores",
    "prove_profile",
    "reading_table",
]

if not TYPE_CHECKING:  # a type checker sees the imports above, and a wrong name as one
    _HOMES = {
        **dict.fromkeys(("Printer", "load_profile"), "coupons.answering.ask"),
        **dict.fromkeys(("make_coupon", "make_jobs", "prove_profile"), "coupons.job.make"),
        **dict.fromkeys(("check", "check_parts", "load_run"), "coupons.job.check"),
        **dict.fromkeys(("fit", "fit_hand", "proof_scores"), "coupons.job.fit"),
        "fit_each": "coupons.batch",
        "Joint": "coupons.terms",
        **dict.fromkeys(
            ("ObservationModel", "OffsetRegressor", "reading_table"), "coupons.learning.estimator"
        ),
        "observation_table": "coupons.learning.observation_table",
    }

    def __getattr__(name):
        """Load a public name from its room on first use."""
        from importlib import import_module

        if name not in __all__:
            raise AttributeError(f"module 'coupons' has no attribute {name!r}")
        return getattr(import_module(_HOMES.get(name, "coupons.errors")), name)

    def __dir__():
        """Return the public names, loaded or not."""
        return sorted(__all__)
