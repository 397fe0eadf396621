"""Every mate, set into its place as a solid, has room: read from the finished meshes."""

import math
import re
from collections import defaultdict
from functools import cache

import numpy as np
import pytest
from click.testing import CliRunner
from manifold3d import Manifold, Mesh

from coupons.cli import main
from coupons.errors import CouponError, PlanError
from coupons.making.output.agreement import faults_of
from coupons.making.output.run_files import write_coupon_files
from coupons.making.output.seating import crowded
from coupons.making.output.solids import LETTER, Solid, build_solids
from coupons.making.plan import Plan, plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec, parse_spec, shipped_specs

ROOM_MM = 1.0  # what a mate must have round it, said here once more on purpose
SHOULDER_MM = 1.21  # round a post: its own mate's seat, and a hair more
FLAT = ("slot", "tongue")


def fit(form: str, direction: str, size: float, more: str = "") -> str:
    gaps = "[0, 0.2, 0.6]"
    return (
        f'[[row]]\nkind = "fit"\nform = "{form}"\ndirection = "{direction}"\n'
        f"size_mm = {size}\ngaps_mm = {gaps}\n{more}"
    )


def hardware(form: str, direction: str, size: float, more: str = "") -> str:
    return (
        f'[[row]]\nkind = "hardware"\nname = "piece"\nform = "{form}"\ndirection = "{direction}"\n'
        f"nominal_mm = {size}\nlimits_mm = [0, 0]\ngaps_mm = [0, 0.2, 0.6]\n{more}"
    )


def plan_of(text: str, **machine) -> Plan:
    return plan_coupon(parse_spec(f'title = "t"\n{text}'.encode(), "t", "t"), **machine)


def rigid(degrees: float) -> np.ndarray:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


class Rows:
    """The finished bodies of a plan, each turned back to lie with its row along x."""

    def __init__(self, plan: Plan):
        self.coupon = record(plan)
        self.plan = plan
        self.solids = {solid.body: solid for solid in build_solids(plan)}
        self.turn = {item.body.id: item.body.turn_deg for item in plan.placed}
        self.features = {f.id: f for f in self.coupon.features}

    def corners(self, solid: Solid) -> np.ndarray:
        on_plate = solid.vertices_mm.astype(float) + solid.origin_mm
        return on_plate @ rigid(-self.turn[solid.body]).T

    @cache  # noqa: B019  (one instance a test)
    def body(self, name: str) -> Manifold:
        solid = self.solids[name]
        return Manifold(Mesh(self.corners(solid).astype(np.float32), solid.triangles))

    def place(self, feature: str) -> np.ndarray:
        found = self.features[feature]
        return rigid(-self.turn[found.body]) @ np.array(found.place_mm)

    def letters_low_mm(self, name: str) -> float:
        """Height of the face that carries a body's labels."""
        solid = self.solids[name]
        return float(self.corners(solid)[solid.triangles[solid.made_by == LETTER]][..., 2].min())


def moved(solid: Manifold, signs: tuple[int, int, int], shift: np.ndarray) -> Manifold:
    return solid.transform(np.column_stack([np.diag(signs), shift]))


def least_room_mm(rows: Rows) -> dict[tuple[str, str], float]:
    """Let each loose piece slide in till it stops; return its distance from all but its seat."""
    found = {}
    tried = defaultdict(list)
    for trial in rows.coupon.trials:
        if trial.mate in rows.features:
            tried[(trial.mate, rows.features[trial.feature].body)].append(trial)
    for (mate, body), trials in tried.items():
        widest = max(trials, key=lambda t: t.gap_mm)
        assert widest.gap_mm > 0
        one = rows.features[mate]
        along = (one.direction == "z") == (one.form in FLAT)  # goes in along the bed
        way = np.array([0.0, 1.0, 0.0] if along else [0.0, 0.0, 1.0])
        post = one.form in ("pin", "tongue")
        base = np.array([-1, 1, -1]) if post and not along else np.array([1, 1, 1])
        turn = np.array([-1, 1, -1]) if along else np.array([-1, -1, 1])
        inwards = 1 if post and along else -1  # the way that it moves to come to rest
        piece, fixed = rows.body(mate), rows.body(body)
        for signs in (base, base * turn):
            set_at = rows.place(widest.feature) - signs * rows.place(mate)
            out, into = 60.0, -30.0  # apart, and surely too deep
            assert (fixed ^ moved(piece, signs, set_at - inwards * out * way)).volume() < 1e-6
            for _ in range(18):
                middle = (out + into) / 2
                common = fixed ^ moved(piece, signs, set_at - inwards * middle * way)
                out, into = (middle, into) if common.volume() < 1e-3 else (out, middle)
            rest = -inwards * (out + 1e-3) * way
            for trial in trials:
                shift = rows.place(trial.feature) - signs * rows.place(mate)
                shift = shift * (1 - way) + (set_at + rest) * way
                others = without_seat(rows, trial.feature, along, piece_low(piece, signs, shift))
                if others.is_empty():
                    continue
                gap = others.min_gap(moved(piece, signs, shift), 5.0)
                key = (trial.feature, mate)
                found[key] = min(gap, found.get(key, 9.0))
    return found


def piece_low(piece: Manifold, signs: np.ndarray, shift: np.ndarray) -> np.ndarray:
    return np.array(moved(piece, signs, shift).bounding_box()[:3])


def without_seat(rows: Rows, feature: str, along: bool, low: np.ndarray) -> Manifold:
    """Return the fixed body without the feature itself and what its mate comes to rest on."""
    f = rows.features[feature]
    body = rows.body(f.body)
    face = rows.letters_low_mm(f.body)
    if f.form in ("hole", "slot"):
        return body.trim_by_plane((0, 0, 1), face + 1e-3)  # the labels
    solid = rows.solids[f.body]
    own = rows.corners(solid)[solid.triangles[solid.made_by == solid.features.index(feature)]]
    lows, highs = own.min(axis=(0, 1)), own.max(axis=(0, 1))
    if not along:
        wide = np.array([SHOULDER_MM, SHOULDER_MM, 0])
        low, high = lows - wide, highs + wide
        low[2], high[2] = face + 0.01, 99.0
    else:
        low, high = lows - np.array([0.01, 0.2, 0.01]), highs + np.array([0.01, 1, 0.01])
    block = Manifold.cube(tuple(high - low)).translate(tuple(low))
    rest = body - block
    if along:
        back = float(lows[1])  # where posts leave the spine
        spine = Manifold.cube((999, 99 + 0.11, face + 1e-3 + 9)).translate((-499, back - 99, -9))
        rest = rest - spine
    return rest


def assert_roomy(plan: Plan) -> None:
    rows = Rows(plan)
    assert faults_of(plan, tuple(rows.solids.values())) == []
    tight = {key: gap for key, gap in least_room_mm(rows).items() if gap < ROOM_MM - 2e-3}
    assert tight == {}


# Rows along y are rows along x turned, as holes show; tongues and slots have slanted ones as well.
ALL = [
    *(("hole", axis) for axis in "xyz"),
    *(("pin", axis) for axis in "xz"),
    *((form, axis) for form in FLAT for axis in ("x", "z", "x+y")),
]


def grid(rows: list[str]) -> list[Plan]:
    """Return a plan for each row that is not refused in words."""
    plans = []
    for row in rows:
        try:
            plans.append(plan_of(row, bed_mm=(900, 900)))
        except CouponError:
            continue
    return plans


def test_a_lying_tongue_of_three_takes_its_fork():
    assert_roomy(plan_of(fit("tongue", "z", 3)))


@pytest.mark.slow
@pytest.mark.parametrize(("form", "direction"), [("hole", "z"), ("pin", "z"), ("pin", "x")])
def test_mates_have_room(form, direction):
    assert_roomy(plan_of(fit(form, direction, 5)))


@pytest.mark.slow
@pytest.mark.parametrize(("form", "direction"), ALL)
def test_every_size_has_room_for_its_mate(form, direction):
    more = [f"wall_mm = {wall}\ndepth_mm = {deep}\n" for wall, deep in ((3, 3.6), (12, 14))]
    more += ["length_mm = 12\nwall_mm = 5\n"]
    sizes = (1, 3, 6, 12, 60)
    plans = grid([fit(form, direction, size, m) for size in sizes for m in more])
    assert len(plans) > 3
    for plan in plans:
        assert_roomy(plan)


@pytest.mark.parametrize(
    "row",
    [
        fit("slot", "x-y", 10.4).replace("[0, 0.2, 0.6]", "[-0.2]"),
        hardware("hole", "z", 11.8, "outer_mm = 17.8\nwall_mm = 6\n").replace(
            "0, 0.2, 0.6", "-0.2"
        ),
    ],
)
def test_windows_that_are_all_narrower_than_their_mate_leave_it_room_too(row):
    assert crowded(plan_of(row).rows) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", shipped_specs())
def test_every_shipped_coupon_has_room_for_its_mates(name):
    assert_roomy(plan_coupon(load_spec(name)))


def bought(direction: str, size: float, low: float, high: float) -> Manifold:
    """Return a disc of a bought piece, its axis along z or along the row's y."""
    disc = Manifold.cylinder(high - low, size / 2, circular_segments=96).translate((0, 0, low))
    # About x: what was up now lies towards −y, from where pieces go into an upright wall.
    return disc if direction == "z" else disc.rotate((90, 0, 0))


@pytest.mark.parametrize("size", [3, 8, 11])
@pytest.mark.parametrize("direction", ["z", "y"])
def test_a_screw_s_head_comes_down_beside_labels_not_on_them(size, direction):
    rows = Rows(plan_of(hardware("hole", direction, size, "wall_mm = 5\ndepth_mm = 6\n")))
    assert crowded(rows.plan.rows) == []
    letters = without_seat(rows, "A1", direction != "z", np.zeros(3))
    top = rows.letters_low_mm("A")
    for n in (1, 2, 3):
        place = rows.place(f"A{n}")
        rest = (*place[:2], top) if direction == "z" else (place[0], 0.0, place[2])
        if direction != "z":
            rest = (place[0], rows.body("A").bounding_box()[1], place[2])
        head = bought(direction, 2 * size, 0.001, 5).translate(tuple(rest))
        assert (head ^ rows.body("A")).volume() < 1e-6
        assert letters.min_gap(head, 5) >= ROOM_MM - 2e-3, n


@pytest.mark.parametrize("direction", ["z", "x"])
def test_a_ring_on_a_post_stays_clear_of_the_next_post(direction):
    row = hardware("pin", direction, 8, "outer_mm = 22\n")
    rows = Rows(plan_of(row))
    assert crowded(rows.plan.rows) == []
    for n in (1, 2, 3):
        others = without_seat(rows, f"A{n}", direction != "z", np.zeros(3))
        place = rows.place(f"A{n}")
        own = rows.corners(rows.solids["A"])[
            rows.solids["A"].triangles[
                rows.solids["A"].made_by == rows.solids["A"].features.index(f"A{n}")
            ]
        ]
        if direction == "z":
            ring = bought("z", 22, 0, 3.6).translate((*place[:2], own[..., 2].min()))
        else:
            face = own[..., 1].min() + 0.1  # posts start a little inside their spine
            ring = bought("x", 22, -3.6, 0).translate((place[0], face, place[2]))
        assert others.min_gap(ring, 5) >= ROOM_MM - 2e-3, n


@pytest.mark.parametrize(
    "row",
    [fit("tongue", "z", 3), fit("pin", "z", 5), hardware("tongue", "x", 5, "outer_mm = 12\n")],
)
def test_a_layout_without_room_is_found_before_a_file_is_written(row, monkeypatch, tmp_path):
    monkeypatch.setattr("coupons.making.built_rows.ROOM_MM", -1.0)
    plan = plan_of(row)
    found = faults_of(plan, build_solids(plan))
    assert len(found) >= 3
    assert "1 mm of room all round" in str(found[0])
    with pytest.raises(PlanError, match="in its place at A"):
        write_coupon_files(plan, tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_make_leaves_no_folder_behind_when_a_mate_has_no_room(monkeypatch, tmp_path):
    monkeypatch.setattr("coupons.making.built_rows.ROOM_MM", -1.0)
    done = CliRunner().invoke(main, ["make", "sliding", "-o", str(tmp_path / "run")])
    assert done.exit_code == 1
    assert "mm of room all round" in done.stderr
    assert not (tmp_path / "run").exists()


def test_a_mate_that_meets_its_own_body_is_found(monkeypatch):
    monkeypatch.setattr(
        "coupons.making.bodies.posts.SLOT_PLAY_MM", -0.4
    )  # wider than its slot is long
    plan = plan_of(fit("slot", "x", 4))
    assert any("no overlap" in str(problem) for problem in crowded(plan.rows))


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (hardware("hole", "z", 8, "outer_mm = 7\n"), "outer_mm: expected at least 8 mm"),
        (hardware("pin", "z", 8, "outer_mm = 8\n"), "outer_mm: expected more than 8 mm"),
        (hardware("tongue", "z", 8, "outer_mm = 3\n"), "outer_mm: expected more than 8 mm"),
    ],
)
def test_a_piece_narrower_than_itself_is_refused(row, words):
    with pytest.raises(CouponError, match=re.escape(words)):
        plan_of(row)
