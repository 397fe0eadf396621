"""Files with few digits: how far their numbers are rounded, and that their faces are found."""

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import as_trimesh, box

from coupons.answering.chances.drawing import FaceMove
from coupons.answering.meet.meetings import meet
from coupons.answering.meshes.digits import rounding_of
from coupons.answering.meshes.mesh import read_bodies
from coupons.answering.relieve.asked_faces import DrawnFacePair, wanted_pair
from coupons.answering.relieve.relieved_files import relieve_into_files
from coupons.terms import Form


def as_written(numbers, form):
    return np.array([float(form % one) for one in numbers])


def spread(largest, many=300):
    return np.random.default_rng(5).uniform(-largest, largest, many)


@pytest.mark.parametrize("bits", [np.float64, np.float32])
@pytest.mark.parametrize(
    ("form", "largest", "rounding"),
    [
        ("%.6g", 60, 5e-5),
        ("%.5e", 60, 5e-5),
        ("%.6g", 9, 5e-6),
        ("%.6g", 250, 5e-4),
        ("%.4f", 60, 5e-5),
        ("%.4f", 9, 5e-5),
        ("%.3f", 250, 5e-4),
        ("%.9g", 60, 0),
        ("%.8f", 60, 0),
        ("%.1f", 60, 0),  # short numbers, as somebody designs
    ],
)
def test_half_a_unit_of_the_last_digit_is_told(form, largest, rounding, bits):
    numbers = as_written(spread(largest), form).astype(bits).astype(float)
    assert rounding_of(numbers) == pytest.approx(rounding, rel=1e-6)


@pytest.mark.parametrize("at", [0, 17, 4999])
def test_a_single_longer_number_is_enough_to_know_better(at):
    numbers = as_written(spread(60, 5000), "%.4f")
    assert rounding_of(numbers) == 5e-5
    numbers[at] = 12.345678901
    assert rounding_of(numbers) == 0


def test_what_is_mostly_short_is_exact():
    long, short = as_written(spread(60, 40), "%.4f"), as_written(spread(60, 60), "%.1f")
    assert rounding_of(np.concatenate([long, short])) == 0
    assert rounding_of(np.concatenate([long, short[:30]])) == 5e-5


def test_a_few_numbers_tell_nothing():
    assert rounding_of(as_written(spread(60, 23), "%.4f")) == 0
    assert rounding_of(np.zeros(100)) == 0


def text_stl(solid, path, form):
    lines = ["solid"]
    for corners in as_trimesh(solid).triangles:
        lines += ["facet normal 0 0 0", "outer loop"]
        lines += ["vertex " + " ".join(form % value for value in corner) for corner in corners]
        lines += ["endloop", "endfacet"]
    path.write_text("\n".join([*lines, "endsolid"]))
    return path


def rounded_block(width, radius):
    inner = CrossSection.square((width - 2 * radius, 30 - 2 * radius), True)
    return Manifold.extrude(inner.offset(radius, circular_segments=64), 12).translate((0, 0, 4))


@pytest.mark.parametrize("form", ["%.6g", "%.4f"])
def test_a_turned_pocket_with_rounded_corners_in_six_digits_is_met_and_relieved(tmp_path, form):
    """A block of 19.8 by 29.8 mm in a pocket of 20 by 30, with corners of 1.9 and 2 mm."""
    solids = {
        "tray": box(60, 60, 12, (-30, -30, 0)) - rounded_block(20.0, 2.0),
        "block": rounded_block(19.8, 1.9).scale((1, 29.8 / 30, 1)),
    }
    paths = [
        text_stl(solid.rotate((31, 17, 60)), tmp_path / f"{name}.stl", form)
        for name, solid in solids.items()
    ]
    met = meet(read_bodies(paths).bodies)
    counts = [len(one.surface.regions) for one in met.bodies]
    assert counts == [15, 10]  # the faces of the tray and the block, and four corners each
    (joint,) = met.joints
    assert joint.group.internal == "pocket"
    wanted = []
    for number, pair in enumerate(joint.group.pairs):
        assert pair.gap_mm == pytest.approx(0.2, abs=0.002)
        size_mm = pair.sizes_mm[0]
        move = FaceMove(Form.TONGUE, -0.15, 2, size_mm - 0.3)
        drawn = DrawnFacePair(0.3, (move,))
        wanted.append(wanted_pair(met, joint, number, joint.letter, drawn, size_mm))
    divided = [one.surface.regions for one in met.bodies]
    written = relieve_into_files(divided, wanted, dict.fromkeys(solids, 0.8), {})
    assert written.relieved.refused == {}
    assert written.gaps_mm == pytest.approx([0.3, 0.3], abs=0.002)
