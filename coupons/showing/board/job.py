"""What keeps a machine from a chance for a whole job, and what would help."""

from collections.abc import Mapping

from coupons.answering.joints.rank import JobChance
from coupons.answering.joints.whole_part import Lack

Job = Mapping[tuple[str, str], JobChance]
"""The chance of a job by machine and material."""

_HELP = {
    Lack.DATA: (
        "the machine has almost no data on such a joint. `coupons next` says which coupon to print "
        "on it."
    ),
    Lack.TRIALS: (
        "the list takes one body from a printer of another material, and nobody tried the two "
        "together. Name a profile of the machine's own material in the list (columns "
        "internal_profile, external_profile), or print a coupon in the other material on this "
        "machine, try it and fit it."
    ),
    Lack.ANSWER: "the joint cannot be drawn as asked. `coupons joints` with that profile says why.",
}


def missing_words(found: JobChance) -> str:
    """Name the joints without an answer, by what is missing; empty if all have one."""
    return "; ".join(f"{lack}: {', '.join(names)}" for lack, names in found.missing.items())


def job_notes(job: Job) -> list[str]:
    """Say what each missing thing is and what would help, as far as any machine misses it."""
    missed = {lack for found in job.values() for lack in found.missing}
    return [f"{lack}: {_HELP[lack]}" for lack in Lack if lack in missed]
