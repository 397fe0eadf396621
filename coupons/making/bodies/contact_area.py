"""How deep and how wide a mate and its seat bear on each other once the mate is fully in."""

from coupons.making.bodies.posts import broken_edge_mm
from coupons.making.bodies.proportions import SLOT_PLAY_MM
from coupons.making.bodies.series import Series
from coupons.making.bodies.windows import depth_of_wall_mm


def contact_of(series: Series) -> tuple[float, float | None]:
    """Return depth and width in mm over which the faces of a fixed feature and its mate meet.

    Lead-ins at both mouths are no contact, nor are broken edges. Rounds have no width: they touch
    all around.
    """
    m = series.measures
    through_mm = depth_of_wall_mm(series) if series.lying else series.depth_mm
    deep_mm = round(through_mm - 2 * m.lead_in_mm, 4)
    if series.round:
        return deep_mm, None
    edge_mm = m.foot_mm if series.lying else broken_edge_mm(m)
    return deep_mm, round(series.length_mm - SLOT_PLAY_MM - 2 * edge_mm, 4)
