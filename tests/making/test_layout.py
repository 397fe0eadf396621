import numpy as np
import pytest

from coupons.making.packing import arrange


def overlaps(spots, sizes, space: float) -> list[tuple[int, int]]:
    found = []
    for i, (a, (wa, ha)) in enumerate(zip(spots, sizes, strict=True)):
        for j in range(i):
            b, (wb, hb) = spots[j], sizes[j]
            apart = (
                a.x_mm >= b.x_mm + wb + space - 1e-6
                or b.x_mm >= a.x_mm + wa + space - 1e-6
                or a.y_mm >= b.y_mm + hb + space - 1e-6
                or b.y_mm >= a.y_mm + ha + space - 1e-6
            )
            if a.plate == b.plate and not apart:
                found.append((j, i))
    return found


@pytest.mark.parametrize("seed", range(6))
def test_rectangles_keep_apart_and_on_their_plate(seed):
    rng = np.random.default_rng(seed)
    sizes = [(float(w), float(h)) for w, h in rng.uniform(3, 90, (80, 2))]
    spots = arrange(sizes, (120, 150), 4)
    assert overlaps(spots, sizes, 4) == []
    for spot, (width, height) in zip(spots, sizes, strict=True):
        assert 0 <= spot.x_mm <= 120 - width + 1e-6
        assert 0 <= spot.y_mm <= 150 - height + 1e-6


def test_a_full_grid_fits_one_plate_exactly():
    spots = arrange([(20, 20)] * 16, (92, 92), 4)
    assert {(s.plate, s.x_mm, s.y_mm) for s in spots} == {
        (1, 24.0 * i, 24.0 * j) for i in range(4) for j in range(4)
    }


def test_what_no_longer_fits_goes_to_a_further_plate():
    spots = arrange([(50, 50), (50, 50), (50, 50)], (60, 110), 4)
    assert [s.plate for s in spots] == [1, 1, 2]


def test_a_small_piece_still_finds_room_on_an_earlier_plate():
    spots = arrange([(60, 90), (60, 90), (30, 20)], (100, 100), 4)
    assert [s.plate for s in spots] == [1, 2, 1]


def test_plates_are_filled_well():
    rng = np.random.default_rng(3)
    sizes = [(float(w), float(h)) for w, h in rng.uniform(10, 60, (200, 2))]
    spots = arrange(sizes, (200, 200), 4)
    plates = max(s.plate for s in spots)
    used = sum((w + 4) * (h + 4) for w, h in sizes) / (plates * 204 * 204)
    assert used > 0.75
