"""Bodies whose meetings are known because they were drawn with them: one case a design.

Sizes, gaps and directions are those of the drawing, so nothing here is computed by the tool.
"""

from dataclasses import dataclass, field

import numpy as np
from manifold3d import CrossSection, Manifold, OpType
from support.drawn_bodies import box, round_bar, rounded_plate

TILT = (31.0, 17.0, 60.0)


@dataclass(frozen=True)
class Known:
    """A drawn joint: forms, internal and external body, sizes, gap, directions of the two."""

    forms: str
    bodies: str
    sizes_mm: tuple[float, ...]
    gaps_mm: tuple[float, ...]
    ways: str
    tilt_deg: float = 0.0


@dataclass(frozen=True)
class Case:
    name: str
    bodies: dict[str, Manifold]
    joints: tuple[Known, ...] = ()
    rests: tuple[tuple[str, float], ...] = ()
    ups: dict[str, str] = field(default_factory=dict)
    turn: tuple[float, float, float] = (0.0, 0.0, 0.0)
    free: int = 0

    def placed(self) -> dict[str, Manifold]:
        return {name: solid.rotate(self.turn) for name, solid in self.bodies.items()}


def rail(gap: float, size: float = 8.0, *, chamfer: float = 0.0, fine: int = 1) -> dict:
    """A tongue along y in a slot, resting on its floor; across x."""
    channel = box(size + 20, 40, 14, (-10, 0, 0)) - box(size, 60, 10, (0, -10, 4))
    tongue = box(size - gap, 44, 12, (gap / 2, -2, 4))
    if chamfer:
        flare = _wedge(size, chamfer, 14).translate((0, -5, 0))
        channel -= flare
        tongue -= _wedge_below(size - gap, chamfer).translate((gap / 2, -5, 4))
    return {"channel": channel.refine(fine), "tongue": tongue.refine(fine)}


def _wedge(size: float, chamfer: float, top: float) -> Manifold:
    points = [
        (x, y, z)
        for y in (0, 60)
        for x, z in (
            (0, top - chamfer),
            (size, top - chamfer),
            (-chamfer - 1, top + 1),
            (size + chamfer + 1, top + 1),
        )
    ]
    return Manifold.hull_points(np.array(points, float))


def _wedge_below(size: float, chamfer: float) -> Manifold:
    def one(x: float, sign: int) -> Manifold:
        corners = [(x, 0.0), (x + sign * chamfer, 0.0), (x, chamfer)]
        low = [(a, y, b) for y in (0, 60) for a, b in corners]
        outer = [(x - sign * 0.5, y, z) for y in (0, 60) for z in (-0.5, chamfer)]
        return Manifold.hull_points(np.array(low + outer, float))

    return one(0, 1) + one(size, -1)


def pin_in_plate(gap: float, sides: int, pin_sides: int | None = None, size: float = 6.0) -> dict:
    plate = box(30, 24, 8) - round_bar(size, 20, (15, 12, -5), sides)
    pin = round_bar(size - gap, 14, (15, 12, -3), pin_sides or sides)
    return {"plate": plate, "pin": pin}


def pocket(gap_x: float, gap_y: float, *, radius: float = 0.0, through: bool = False) -> dict:
    hole = rounded_plate(40, 25, 20, radius) if radius else box(40, 25, 20, (-20, -12.5, 0))
    outer = box(60, 45, 12, (-30, -22.5, 0)) - hole.translate((0, 0, -4 if through else 4))
    x, y = 40 - gap_x, 25 - gap_y
    plate = (
        rounded_plate(x, y, 8, radius - gap_x / 2) if radius else box(x, y, 8, (-x / 2, -y / 2, 0))
    )
    return {"frame": outer, "panel": plate.translate((0, 0, 3 if through else 4))}


def legs(gap: float, bar: float = 10.0) -> dict:
    """Two legs, 20 long and 2 thick, over a bar."""
    wide = bar + gap
    clip = box(wide + 4, 8, 26) - box(wide, 8, 20, (2, 0, 6))
    rod = box(bar, 30, 8, (2 + gap / 2, -11, 10))
    return {"clip": clip, "rod": rod}


def dovetail(gap: float, lean_deg: float = 15.0) -> dict:
    """A tongue wider above than below, in a slot that leans alike; the gap is square to a flank."""
    aside = gap / 2 / np.cos(np.radians(lean_deg))
    slope = np.tan(np.radians(lean_deg))

    def prism(half_low: float, low: float, high: float, y0: float, y1: float) -> Manifold:
        half_high = half_low + slope * (high - low)
        flat = [(-half_low, low), (half_low, low), (half_high, high), (-half_high, high)]
        return Manifold.hull_points(np.array([(x, y, z) for y in (y0, y1) for x, z in flat]))

    low = prism(6.0, 4.0, 12.0, -5, 45)
    body = box(40, 40, 12, (-20, 0, 0)) - low
    return {"bed": body, "slide": prism(6.0 - aside, 4.0, 11.5, -2, 42)}


def hinge(gap: float) -> dict:
    """Two leaves on one pin along x: knuckles of the one between those of the other."""
    bore = round_bar(4.0, 80, (0, 0, -10), 48).rotate((0, 90, 0))
    barrel = round_bar(9.0, 12, (0, 0, 0), 64).rotate((0, 90, 0))
    left = barrel + barrel.translate((26, 0, 0)) + box(38, 20, 3, (0, -24.5, -4.5))
    right = round_bar(9.0, 13.4, (0, 0, 0), 64).rotate((0, 90, 0)).translate((12.3, 0, 0))
    right += box(13.4, 24, 3, (12.3, 0, -4.5))
    pin = round_bar(4.0 - gap, 44, (0, 0, -3), 48).rotate((0, 90, 0))
    return {"left": left - bore, "right": right - bore, "pin": pin}


def screws(count: int, gap: float, pitch: float = 16.0) -> dict:
    base, cover = box(70, 20, 6), box(70, 20, 6, (0, 0, 6))
    for n in range(count):
        at = (10 + n * pitch, 10, -1)
        base += round_bar(4 - gap, 11, (at[0], at[1], 1), 48)
        cover -= round_bar(4, 20, at, 48)
    return {"base": base, "cover": cover}


def threaded_nearby() -> dict:
    """A coarse screw beside a post, and the post in its hole: the thread meets nothing."""
    star = CrossSection.circle(3, 24).translate((0.5, 0))
    screw = Manifold.extrude(star, 20, 60, 1440).translate((30, 12, -2))
    bodies = pin_in_plate(0.2, 64)
    return {**bodies, "screw": screw.translate((6, 0, 0))}


def ribbed(gap: float) -> dict:
    """A pin with three ribs in a hole: the ribs stand in the wall, the pin does not reach it."""
    bodies = pin_in_plate(gap, 64)
    ribs = [
        box(0.4, 0.6, 8, (2.75, -0.3, -3)).rotate((0, 0, 120.0 * n)).translate((15, 12, 0))
        for n in range(3)
    ]
    return {
        "plate": bodies["plate"],
        "pin": Manifold.batch_boolean([bodies["pin"], *ribs], OpType.Add),
    }


def drilled(gap: float) -> dict:
    """A slot whose walls are broken by a hole across: each wall is still one face."""
    bodies = rail(gap)
    hole = round_bar(4, 80, (0, 0, -40), 32).rotate((0, 90, 0)).translate((0, 20, 9))
    return {"channel": bodies["channel"] - hole, "tongue": bodies["tongue"]}


def grooved(gap: float) -> dict:
    """A slot cut through by a channel across it: its walls are two pieces each."""
    bodies = rail(gap)
    return {"channel": bodies["channel"] - box(60, 6, 20, (-20, 17, 4)), "tongue": bodies["tongue"]}


def z_gap(gap: float) -> dict:
    """A shelf in a slot whose floor and roof lie in the layers."""
    case = box(40, 30, 20) - box(30, 40, 6, (10, -5, 8))
    return {"case": case, "shelf": box(34, 28, 6 - gap, (12, 1, 8 + gap / 2))}


def turned(profile: list[tuple[float, float]], sides: int = 64) -> Manifold:
    """A body of revolution about z from points (radius, height), counter-clockwise."""
    return Manifold.revolve(CrossSection([np.array(profile, float)]), sides)


def rounding(radius: float, height: float, fillet: float, *, is_low: bool) -> list:
    """Points of a hole's wall that opens into a face with a fillet, from below to above."""
    angles = np.radians(np.linspace(270, 180, 9) if is_low else np.linspace(180, 90, 9))
    middle = (radius + fillet, height + fillet if is_low else height - fillet)
    return [(middle[0] + fillet * np.cos(a), middle[1] + fillet * np.sin(a)) for a in angles]


def rounded_mouths(gap: float) -> dict:
    """A pin with chamfers in a hole whose mouths are rounded at both ends."""
    wall = [*rounding(3, 0, 1.5, is_low=True), *rounding(3, 10, 1.5, is_low=False)]
    bush = turned([*wall, (12, 10), (12, 0)][::-1])
    r = 3 - gap / 2
    pin = turned([(0, -3), (r - 0.5, -3), (r, -2.5), (r, 12.5), (r - 0.5, 13), (0, 13)])
    return {"bush": bush, "pin": pin}


def countersunk(gap: float) -> dict:
    """A pin with a head in a hole with a countersink: the head rests on the plate."""
    hole = turned([(0, -1), (3, -1), (3, 8), (5, 10), (5, 11), (0, 11)])
    r = 3 - gap / 2
    pin = turned([(0, -3), (r - 0.5, -3), (r, -2.5), (r, 10), (6, 10), (6, 13), (0, 13)])
    return {"plate": box(30, 30, 10, (-15, -15, 0)) - hole, "pin": pin}


def hollow_drawer(gap: float) -> dict:
    """An open box in a housing open at both ends: across x and z."""
    housing = box(60, 50, 30) - box(54 + gap, 60, 24 + gap, (3 - gap / 2, -5, 3 - gap / 2))
    return {"housing": housing, "drawer": box(54, 48, 24, (3, 1, 3)) - box(50, 44, 30, (5, 3, 5))}


def comb(gap: float) -> dict:
    """Four teeth in four slots, as wide as the walls between them are narrow."""
    rack, teeth = box(60, 30, 12), box(60, 30, 4, (0, 0, 12.8))
    for n in range(4):
        rack -= box(8 + gap, 40, 8, (4 - gap / 2 + 13 * n, -5, 4))
        teeth += box(8, 30, 8, (4 + 13 * n, 0, 4.8))
    return {"rack": rack, "teeth": teeth}


def clip_ring(gap: float) -> dict:
    """A ring with a slit around a rod: it holds the rod, though it does not close."""
    ring = turned([(4 + gap / 2, 0), (6, 0), (6, 8), (4 + gap / 2, 8)]) - box(
        9, 5, 20, (0, -2.5, -5)
    )
    return {"ring": ring, "rod": round_bar(8, 30, (0, 0, -10))}


def tubes(gap: float) -> dict:
    outer = [(10 + gap / 2, 0), (12, 0), (12, 20), (10 + gap / 2, 20)]
    inner = [(8, 2), (10, 2), (10, 25), (8, 25)]
    return {"sleeve": turned(outer, 128), "tube": turned(inner, 128)}


def taper(gap: float, per_mm: float, sides: int, *, fine: int = 1, pin_sides: int = 0) -> dict:
    """A pin in a hole that narrows by ``per_mm`` of its diameter; the gap is square to the faces.

    Both stand from 0 to 20 along z, where the hole is 8 wide; the pin is longer and starts at 4.
    """
    across = gap / np.cos(np.arctan(per_mm / 2))

    def frustum(low: float, high: float, wide: float, count: int) -> Manifold:
        radii = [(wide + per_mm * z) / 2 for z in (low, high)]
        return Manifold.cylinder(high - low, *radii, count).translate((0, 0, low))

    plate = box(30, 30, 20, (-15, -15, 0)) - frustum(0, 20, 8, sides)
    pin = frustum(4, 26, 8 - across, pin_sides or sides)
    return {"socket": plate.refine(fine), "plug": pin.refine(fine)}


def _taper(gap: float, per_mm: float, ways: str = "z/z") -> Known:
    lean = np.degrees(np.arctan(per_mm / 2))
    return Known("hole/pin", "socket/plug", (8 + 12 * per_mm,), (gap,), ways, tilt_deg=lean)


def _tapers() -> list[Case]:
    five = 2 * np.tan(np.radians(5))
    found = []
    for per_mm, gap, sides in (
        *((1 / 20, 0.2, sides) for sides in (24, 32, 64, 128, 256)),
        *((1 / 10, gap, 64) for gap in (0.0, 0.1, -0.2, 0.5)),
        *((five, gap, sides) for gap, sides in ((0.05, 256), (0.3, 24), (0.2, 48))),
        (1 / 50, 0.1, 96),
        (2 * np.tan(np.radians(30)), 0.3, 64),
    ):
        for turn in ((0.0, 0.0, 0.0), TILT):
            name = f"taper {per_mm:.3f} {gap} {sides}{' turned' if any(turn) else ''}"
            known = (_taper(gap, per_mm),)
            found.append(Case(name, taper(gap, per_mm, sides), known, turn=turn))
    head = turned([(0, -3), (3, -3), (3, 4.9), (6, 7.9), (6, 9), (0, 9)])
    seat = turned([(0, -1), (3.2, -1), (3.2, 5), (6.2, 8), (0, 8)])
    found += [
        Case("taper fine", taper(0.2, five, 32, fine=5), (_taper(0.2, five),), turn=TILT),
        Case("taper 64 in 48", taper(0.2, 0.1, 48, pin_sides=64), (_taper(0.2, 0.1),)),
        Case(
            "taper lying",
            taper(0.2, 0.1, 64),
            (_taper(0.2, 0.1, "z/y"),),
            ups={"plug": "y"},
        ),
        # Other angles are no taper: the faces meet somewhere at the most.
        Case(
            "plug of another angle",
            {"socket": taper(0.2, 0.1, 64)["socket"], "plug": taper(0.2, 0.12, 64)["plug"]},
            free=1,
        ),
        Case(
            "countersunk head",
            {"plate": box(30, 30, 8, (-15, -15, 0)) - seat, "screw": head},
            (Known("hole/pin", "plate/screw", (6.4,), (0.4,), "z/z"),),
            (("plate/screw", 0.2 * np.sqrt(0.5)),),
        ),
    ]
    return found


def slot(gap: float, ways: str = "x/x") -> Known:
    return Known("slot/tongue", "channel/tongue", (8.0,), (gap,), ways)


def cases() -> list[Case]:
    found = []
    floor = (("channel/tongue", 0.0),)
    gaps = (0.0, 0.05, 0.1, 0.2, 0.3, 0.5, -0.1, -0.4)
    found += [Case(f"rail {gap:+.2f}", rail(gap), (slot(gap),), floor) for gap in gaps]
    turns = (TILT, (90.0, 0.0, 0.0), (0.0, 0.0, 37.0), (180.0, 20.0, 5.0))
    found += [
        Case(f"rail turned {turn}", rail(0.2), (slot(0.2),), floor, turn=turn) for turn in turns
    ]
    found += [
        Case("rail of 400,000", rail(0.2, fine=105), (slot(0.2),), floor, turn=TILT),
        Case("rail fine", rail(0.2, fine=6), (slot(0.2),), floor, turn=TILT),
        Case("rail chamfered", rail(0.2, chamfer=1.0), (slot(0.2),), floor),
        Case("rail small chamfers", rail(0.1, chamfer=0.4), (slot(0.1),), floor, turn=TILT),
        Case("rail drilled", drilled(0.2), (slot(0.2),), floor),
        Case("rail grooved", grooved(0.2), (slot(0.2),), floor),
        Case("tongue upright", rail(0.2), (slot(0.2, "x/z"),), floor, ups={"tongue": "x"}),
        Case("tongue on its end", rail(0.2), (slot(0.2, "x/x"),), floor, ups={"tongue": "-y"}),
    ]
    shelf = Known("slot/tongue", "case/shelf", (6.0,), (0.3,), "z/z")
    found += [
        Case("shelf", z_gap(0.3), (shelf,)),
        Case(
            "shelf printed upright",
            z_gap(0.3),
            (Known("slot/tongue", "case/shelf", (6.0,), (0.3,), "z/y"),),
            ups={"shelf": "y"},
        ),
    ]
    for sides in (24, 32, 48, 64, 100, 128, 256):
        for gap in (0.2, 0.05 if sides > 64 else 0.5):
            joint = Known("hole/pin", "plate/pin", (6.0,), (gap,), "z/z")
            turn = TILT if sides in (32, 100) else (0.0, 0.0, 0.0)
            found.append(Case(f"pin {sides} {gap}", pin_in_plate(gap, sides), (joint,), turn=turn))
    for gap in (-0.2, -0.6, 0.0):
        joint = Known("hole/pin", "plate/pin", (6.0,), (gap,), "z/z")
        found.append(Case(f"pin {gap:+.1f}", pin_in_plate(gap, 64), (joint,)))
    joint = Known("hole/pin", "plate/pin", (6.0,), (0.3,), "z/y")
    found += [
        Case("pin lying", pin_in_plate(0.3, 64, 128), (joint,), ups={"pin": "y"}),
        Case(
            "thread nearby",
            threaded_nearby(),
            (Known("hole/pin", "plate/pin", (6.0,), (0.2,), "z/z"),),
        ),
        Case("ribs", ribbed(0.4), (Known("hole/pin", "plate/pin", (6.0,), (0.4,), "z/z"),)),
    ]
    found += [
        Case(
            "rounded mouths",
            rounded_mouths(0.2),
            (Known("hole/pin", "bush/pin", (6.0,), (0.2,), "z/z"),),
            turn=TILT,
        ),
        Case(
            "countersunk",
            countersunk(0.3),
            (Known("hole/pin", "plate/pin", (6.0,), (0.3,), "z/z"),),
            (("plate/pin", 0.0),),
        ),
        Case(
            "hollow drawer",
            hollow_drawer(0.4),
            (Known("sleeve/bar", "housing/drawer", (54.4, 24.4), (0.4, 0.4), "xz/xz"),),
        ),
        Case(
            "comb",
            comb(0.2),
            (Known("slot/tongue", "rack/teeth", (8.2,), (0.2,), "x/x"),) * 4,
        ),
        Case(
            "ring around a rod",
            clip_ring(0.2),
            (Known("hole/pin", "ring/rod", (8.2,), (0.2,), "z/z"),),
        ),
        Case(
            "tubes",
            tubes(-0.1),
            (Known("hole/pin", "sleeve/tube", (19.9,), (-0.1,), "y/x"),),
            ups={"sleeve": "y", "tube": "x"},
        ),
    ]
    panel = (("frame/panel", 0.0),)
    found += [
        Case(
            "pocket",
            pocket(0.3, 0.2),
            (Known("pocket/plate", "frame/panel", (40, 25), (0.3, 0.2), "xy/xy"),),
            panel,
        ),
        Case(
            "pocket with corners",
            pocket(0.2, 0.2, radius=4.0),
            (Known("pocket/plate", "frame/panel", (40, 25), (0.2, 0.2), "xy/xy"),),
            panel,
        ),
        Case(
            "sleeve",
            pocket(0.2, 0.4, through=True),
            (Known("sleeve/bar", "frame/panel", (40, 25), (0.2, 0.4), "xy/xy"),),
        ),
        Case("legs", legs(0.2), (Known("legs/bar", "clip/rod", (10.2,), (0.2,), "x/x"),)),
        Case(
            "legs turned",
            legs(-0.2),
            (Known("legs/bar", "clip/rod", (9.8,), (-0.2,), "x/x"),),
            turn=TILT,
        ),
        Case("dovetail", dovetail(0.2), (_dovetail(0.2, 15.0),), (("bed/slide", 0.0),)),
        Case("dovetail steep", dovetail(0.3, 30.0), (_dovetail(0.3, 30.0),), (("bed/slide", 0.0),)),
        Case(
            "block on plate",
            {"plate": box(40, 40, 5), "block": box(10, 10, 10, (5, 5, 5))},
            (),
            (("plate/block", 0.0),),
        ),
        Case(
            "block over plate",
            {"plate": box(40, 40, 5), "block": box(10, 10, 10, (5, 5, 5.3))},
            (),
            (("plate/block", 0.3),),
        ),
        Case(
            "corner",
            {"angle": box(40, 40, 5) + box(5, 40, 30), "block": box(10, 10, 10, (5.1, 5, 5))},
            (),
            (("angle/block", 0.0), ("angle/block", 0.1)),
        ),
        Case(
            "shim",
            {
                "low": box(40, 40, 5),
                "shim": box(40, 40, 0.4, (0, 0, 5)),
                "high": box(40, 40, 5, (0, 0, 5.4)),
            },
            (),
            (("low/shim", 0.0), ("shim/high", 0.0)),
        ),
        Case("far apart", {"one": box(10, 10, 10), "two": box(10, 10, 10, (13, 0, 0))}),
        Case(
            "two screws",
            screws(2, 0.3),
            (Known("holes/pins", "cover/base", (4.0,), (0.3, 0.3), "zx/zx"),),
            (("base/cover", 0.0),),
        ),
        Case(
            "four screws",
            screws(4, 0.2),
            (
                Known("holes/pins", "cover/base", (4.0,), (0.2, 0.2), "zx/zx"),
                Known("hole/pin", "cover/base", (4.0,), (0.2,), "z/z"),
                Known("hole/pin", "cover/base", (4.0,), (0.2,), "z/z"),
            ),
            (("base/cover", 0.0),),
        ),
        Case(
            "hinge",
            hinge(0.3),
            (
                Known("hole/pin", "left/pin", (4.0,), (0.3,), "x/x"),
                Known("hole/pin", "right/pin", (4.0,), (0.3,), "x/x"),
                Known("slot/tongue", "left/right", (14.0,), (0.6,), "x/x"),
            ),
        ),
        Case(
            "cradle",
            {
                "cradle": box(20, 30, 10, (-10, 0, -10))
                - round_bar(8.1, 40, (0, 0, -5), 96).rotate((-90, 0, 0)),
                "shaft": round_bar(8, 34, (0, 0, -2), 96).rotate((-90, 0, 0)),
            },
            (),
            (("cradle/shaft", 0.1),),
        ),
        Case(
            "two balls",
            {
                "cup": box(20, 20, 20, (-10, -10, -20)) - Manifold.sphere(8, 96),
                "ball": Manifold.sphere(7.9, 96),
            },
            free=1,
        ),
        *_tapers(),
    ]
    return found


def _dovetail(gap: float, lean: float) -> Known:
    # In the middle of the flanks' contact: 8 mm of slot, of which the slide covers 7.5.
    middle = 12.0 + 2 * np.tan(np.radians(lean)) * 3.75
    return Known("slot/tongue", "bed/slide", (middle,), (gap,), "xz/xz", tilt_deg=lean)
