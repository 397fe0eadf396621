"""What was learned from runs that live in memory alone."""

from pathlib import Path

from coupons.learning.fit import fit_runs
from coupons.learning.profile_of_fit import profile_of
from coupons.measuring.run.findings import Finding
from coupons.showing.words.fit_summary import learned_from

PATH = Path("results/spring/profile.json")
LOOK = Finding("look", "entries.csv row 99 (Z1)", "odd", "Look")


def learned(runs, left_out=(), findings=()):
    fitted = fit_runs(runs)
    return learned_from(profile_digestless(fitted, runs, left_out), fitted, runs, findings)


def profile_digestless(fitted, runs, left_out):
    """A profile of runs that live in memory alone."""
    return profile_of(fitted, runs, left_out, "0" * 64)
