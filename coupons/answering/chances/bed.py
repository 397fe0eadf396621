"""Which body of a joint stands on the bed, and what it costs not to say so.

A size across layers whose lower face is the first layer varies with the height of the nozzle above
the bed, all others do not. Where nobody says which body stands so, an answer covers both usual
cases evenly, as a mixture: none does, or the external one does. The lower face of an opening is the
first layer only where somebody says so.
"""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import EFFECTS, height_share, prior_sd
from coupons.learning.profile import Profile
from coupons.terms import EXTERNAL, Bed, Direction, Feature, Form

Array = NDArray[np.floating]

Ways: TypeAlias = Sequence[tuple[Form, Direction]]
"""What is printed of a joint, each form with how it lies."""

_BED_HEIGHT = EFFECTS.index("bed_height")


def bed_cases(profile: Profile, ways: Ways, bed: Bed | None) -> tuple[Bed, ...]:
    """Return the cases that an answer covers, each as likely as the others.

    Parameters
    ----------
    profile : Profile
        Of the printer of the external body.
    ways : sequence of (Form, Direction)
        What is printed.
    bed : Bed or None
        What was said.
    """
    if bed is not None:
        return (bed,)
    is_known_of = prior_sd(profile.prior_table)[_BED_HEIGHT] > 0  # older models were not
    stands = [form for form, lies in ways if form in EXTERNAL and crosses_layers(form, lies)]
    return (Bed.NONE, Bed.EXTERNAL) if stands and is_known_of else (Bed.NONE,)


def crosses_layers(form: Form, direction: Direction) -> bool:
    """Tell whether a form has a lower face, which can be the first layer."""
    return height_share(Feature(form, 1.0, direction)) > 0


def odd_bed(ways: Ways, bed: Bed | None) -> str:
    """Say why a joint or a size cannot stand on the bed as said; empty if it can."""
    if bed is None:
        return ""
    if not any(crosses_layers(form, direction) for form, direction in ways):
        return (
            "What stands on the bed matters across z and for lying rounds alone: here no face "
            "looks down. Leave it out."
        )
    forms = [form for form, _ in ways]
    held = [form for form in Form if bed.holds(form)]
    if held and not any(form in forms for form in held):
        return f"The {bed} body is not printed here, so that it stands on no bed. Leave it out."
    upright = [(form, lies) for form, lies in ways if form in held]
    for form, lies in upright:
        if not crosses_layers(form, lies):
            return f"No face of the {form} looks down as it is printed ({lies}). Leave it out."
    if bed is Bed.BOTH and len(forms) == 1:
        return f"Only the {forms[0]} is printed here: say which stands on the bed, or none."
    return ""


def unsaid_sentence(unsaid_mm: float, said: Sequence[tuple[Bed, float]]) -> str:
    r"""Say what it would bring to say which body stands on the bed; empty if nothing.

    Parameters
    ----------
    unsaid_mm : float
        Width of the answer's interval.
    said : sequence of (Bed, float)
        Cases that it covers, each with the width that its own interval would have.

    Examples
    --------
    >>> unsaid_sentence(0.4, [(Bed.NONE, 0.3), (Bed.EXTERNAL, 0.42)])[:54]
    'Which body stands on the bed was not said: this covers'
    """
    if len(said) < 2:
        return ""
    changes = ", ".join(
        f"with --bed {bed} the interval would "
        f"{'narrow' if mm < unsaid_mm else 'widen'} from {unsaid_mm:.2f} to {mm:.2f} mm"
        for bed, mm in said
    )
    return f"Which body stands on the bed was not said: this covers both cases; {changes}."
