"""Where each rectangle comes to lie, by hand and by a plain search over quarters of a mm."""

import numpy as np
import pytest

from coupons.making.packing import arrange


def spots(*args, **named):
    return [(spot.plate, spot.x_mm, spot.y_mm) for spot in arrange(*args, **named)]


def test_the_lowest_place_is_taken_and_of_two_the_left_one():
    # With 4 mm of space the first takes 34 × 24, the second 24 × 14 beside it, of 58 in all; the
    # third rests on the second, 14 up, not on the first, 24 up.
    assert spots([(30, 20), (20, 10), (10, 10)], (54, 60), 4) == [
        (1, 0, 0),
        (1, 34, 0),
        (1, 34, 14),
    ]
    # A wide one rests on the higher of the two.
    assert spots([(30, 20), (20, 10), (50, 5)], (54, 60), 4)[2] == (1, 0, 24)
    # Equal ones keep their order, wider ones go first.
    assert spots([(10, 10), (10, 10), (20, 10)], (100, 60), 4) == [
        (1, 24, 0),
        (1, 38, 0),
        (1, 0, 0),
    ]


def test_what_is_to_come_last_comes_last_however_tall():
    sizes = [(10, 30), (10, 10), (10, 20)]
    assert spots(sizes, (100, 60), 4) == [(1, 0, 0), (1, 28, 0), (1, 14, 0)]
    late = [True, False, True]
    assert spots(sizes, (100, 60), 4, last=late) == [(1, 14, 0), (1, 0, 0), (1, 28, 0)]


def test_a_bed_is_filled_to_its_edge_and_not_beyond():
    assert spots([(50, 20), (46, 20)], (100, 20), 4) == [(1, 0, 0), (1, 54, 0)]
    assert spots([(50, 20), (46.001, 20)], (100, 20), 4)[1][0] == 2
    assert spots([(50, 20), (50, 20)], (50, 44), 4) == [(1, 0, 0), (1, 0, 24)]
    assert spots([(50, 20), (50, 20)], (50, 43.999), 4) == [(1, 0, 0), (2, 0, 0)]
    assert spots([], (50, 50), 4) == []


def plain_search(sizes, bed, space, last):
    """Let each rectangle down on whole steps: lowest, then leftmost, on the first plate."""
    order = sorted(range(len(sizes)), key=lambda i: (last[i], -sizes[i][1], -sizes[i][0], i))
    plates, found = [], {}
    for i in order:
        wide, high = sizes[i][0] + space, sizes[i][1] + space
        for number in range(len(plates) + 1):
            if number == len(plates):
                plates.append(np.zeros(bed[0] + space, int))
            top = plates[number]
            rests = [top[x : x + wide].max() for x in range(len(top) - wide + 1)]
            y = min(rests)
            if y + high <= bed[1] + space:
                x = rests.index(y)
                top[x : x + wide] = y + high
                found[i] = (number + 1, x, y)
                break
    return [found[i] for i in range(len(sizes))]


@pytest.mark.parametrize("seed", range(8))
def test_the_layout_is_that_of_a_plain_search(seed):
    rng = np.random.default_rng(seed)
    sizes = [(int(w), int(h)) for w, h in rng.integers(3, 40, (40, 2))]
    last = [bool(each) for each in rng.random(40) < 0.3]
    # Steps are quarters of a millimetre, which binary fractions hold exactly.
    in_mm = [(w / 4, h / 4) for w, h in sizes]
    found = [(plate, 4 * x, 4 * y) for plate, x, y in spots(in_mm, (22.5, 17.5), 1, last=last)]
    assert found == plain_search(sizes, (90, 70), 4, last)
