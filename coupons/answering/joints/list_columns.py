"""``joints.csv``: the joints of one part, as a designer lists them in a spreadsheet.

One row a joint; ``name`` and ``across`` are needed, every other column may be missing or blank.
Where a cell has something for each body, the internal body comes first: ``z/x``.

name
    A name of its own.
internal, external
    ``slot`` with ``tongue``, ``hole`` with ``pin``; with more than one pair of faces ``pocket``
    with ``plate``, ``sleeve`` with ``bar``, ``holes`` with ``pins``, ``legs`` with ``bar``. The one
    that hardware replaces is left blank.
size_mm
    Nominal size over both faces. Of ``pocket`` and ``sleeve`` both sizes, ``40x25``; of ``legs``
    the width of the bar; of ``holes`` their diameter; of a slanted pair the width across in the
    middle of the contact.
across
    Printer axis across the faces; of a round joint, along its axis. One for both bodies, ``x``, or
    one for each as that body is printed, ``z/x``. Two axes where a joint has two directions:
    ``xy``, across the first size and across the second (``pocket``, ``sleeve``); ``zx``, along the
    axes and along the pitch (``holes``); ``xz``, across and along the pull (slanted flat pairs).
    For each body: ``xy/xz``; with a diagonal a comma between: ``z,x+y``.
fit, move, hardware, at_least, bed
    As in `coupons.answering.question.Question`; ``fit`` may be a printed gap in mm.
internal_profile, external_profile
    Path, from the list's folder, of the profile of the printer of this body. Blank: the profile
    that is asked. The feel of a fit always comes from the profile that is asked.
internal_print, external_print
    A word for the print that this body comes from: bodies with the same word share what that print
    has of its own. Blank: the one print of all bodies of its profile of which it is not said.
pitch_mm
    Of ``holes``, the distance between the two axes.
corner_mm
    Of ``pocket`` and ``sleeve``, the drawn radii of the corners, ``2/0.5``; ``relief/0.5`` where
    the internal corners are cut free. Blank: sharp.
leg_mm, mouth_mm, strain_limit
    Of ``legs``: free length x thickness at the root, ``20x2``; drawn opening between the lips
    (blank: no lips); strain limit of the material (blank: the strain is told, not judged).
slant_deg
    Angle between the mating faces and the pull, half the angle of a wedge or cone.
"""

from coupons.answering.joints.lone_rows import ALONE
from coupons.answering.joints.several_cells import SEVERAL_COLUMNS

COLUMNS = (
    "name",
    "internal",
    "external",
    "size_mm",
    "across",
    "fit",
    "move",
    "hardware",
    "at_least",
    "bed",
    "contact_mm",
    "internal_profile",
    "external_profile",
    "internal_print",
    "external_print",
    *SEVERAL_COLUMNS,
    "slant_deg",
    "choices",
    "loose_costs",
)
UNIT_COLUMNS = ("unit", "units")
OFF_AXIS = "off_axis_deg"
"""How far the joint is drawn off the directions in ``across``; blank: not at all."""
# What `coupons meet` found in the bodies, for `coupons relieve` and for the eye.
MET_COLUMNS = (
    ALONE,
    "faces",
    "internal_body",
    "external_body",
    "drawn_gap_mm",
    "area_mm2",
    "depth_mm",
    "across_flats_mm",
    "by_area_mm",
    "sagitta_mm",
    OFF_AXIS,
)
