"""Two fastened holes against the arithmetic of positional tolerances.

A fastener fixed in one part passes a hole in the other if T1 + T2 = H − F, the sum of the two
positional tolerances is at most hole less fastener (fixed fastener formula, ASME Y14.5-2018 8.3, as
stated at https://draftertoolbox.com/tools/fixed-fastener-formula). A positional tolerance T lets an
axis lie T/2 off its place, so that at worst two pitches differ by T1 + T2.
"""

import numpy as np
import pytest
from scipy.special import ndtr
from support.known_profile import known_profile

from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import chance_together
from coupons.answering.several.faces import whole_demand
from coupons.answering.several.kinds import JointKind, Several
from coupons.learning.effects import TERMS
from coupons.terms import Direction, Grade

HOLE_LESS_FASTENER_MM = 0.4
PITCH_MM = 50.0


@pytest.mark.parametrize(("t1_mm", "t2_mm"), [(0.2, 0.2), (0.3, 0.1), (0.4, 0.0)])
@pytest.mark.parametrize("more_mm", [-0.02, 0.02])
def test_pins_pass_up_to_the_sum_of_the_tolerances(t1_mm, t2_mm, more_mm):
    # A printer of which all is known, and whose scales along x and y put the holes of one body T1
    # and the pins of the other T2 off, apart from one another; "slides" begins at no clearance.
    zero = dict.fromkeys(TERMS, 0.0)
    means = zero | {
        "scale_x": (t1_mm + more_mm) / PITCH_MM,
        "scale_y": -t2_mm / PITCH_MM,
        "from_force": -3.0,
        "from_push": -2.0,
        "from_loose": 9.0,
    }
    scatters = dict.fromkeys(("tau", "tau_z", "omega", "rho", "rho_scale"), 1e-5)
    profile = known_profile(means, sd_share=1e-6, scatters=scatters)
    sides = ((Direction.Z, Direction.X), (Direction.Z, Direction.Y))
    asked = Several(JointKind.HOLES, (5.0,), sides, Grade.SLIDE, pitch_mm=PITCH_MM)
    # Scales act on hole and pin as well; as drawn, the gap makes up for it.
    pair = whole_demand(profile, asked, (HOLE_LESS_FASTENER_MM,)).whole
    shrunk = HOLE_LESS_FASTENER_MM - pair.clearances.constants[0]
    demand = whole_demand(profile, asked, (HOLE_LESS_FASTENER_MM + shrunk,))
    assert demand.whole.clearances.constants[0] == pytest.approx(HOLE_LESS_FASTENER_MM, abs=1e-3)
    passes = chance_together([demand], shared_of(profile)).chance
    drift_mm = np.sqrt(2) * 0.0002 * PITCH_MM
    assert passes == pytest.approx(ndtr(-more_mm / drift_mm), abs=0.02)
