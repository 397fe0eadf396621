"""A body with its regions, and the outlines of its flat regions in their planes."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from coupons.answering.meshes.body import Body, Floats, Ints, boxes_of
from coupons.answering.meshes.regions import Region, regions_of


@dataclass(frozen=True, eq=False)
class Surface:
    """The regions of a body, and which of them each triangle is in.

    Parameters
    ----------
    body : Body
    regions : tuple of Region
    label : ndarray of int, shape (m,)
        Number of the region of each triangle.
    """

    body: Body
    regions: tuple[Region, ...]
    label: Ints

    @cached_property
    def boxes_mm(self) -> tuple[Floats, Floats]:
        """Lowest and highest coordinates of each region, shape (r, 3) each."""
        order = np.concatenate([region.faces for region in self.regions])
        starts = np.cumsum([0] + [len(region.faces) for region in self.regions[:-1]])
        corners = self.body.corners_mm[order]
        low, high = boxes_of(corners)
        return np.minimum.reduceat(low, starts), np.maximum.reduceat(high, starts)

    @cached_property
    def rims(self) -> tuple[Ints, Ints]:
        """Directed rim edges, shape (e, 2), region by region, and where each region's begin."""
        edges = self.body.edges
        sides = self.label[edges.triangles]
        rim = np.flatnonzero(sides[:, 0] != sides[:, 1])
        ends = edges.vertices[rim]
        owner = np.concatenate([sides[rim, 0], sides[rim, 1]])
        directed = np.concatenate([ends, ends[:, ::-1]])
        order = np.argsort(owner, kind="stable")
        return directed[order], np.searchsorted(owner[order], np.arange(len(self.regions) + 1))

    def loops(self, region: Region) -> list[Ints]:
        """Return the rim of a region as closed runs of vertices, its material on the left."""
        directed, starts = self.rims
        own = directed[starts[region.number] : starts[region.number + 1]]
        return closed_runs(own)

    def outlines_mm(self, region: Region) -> list[Floats]:
        """Return the rim of a region as closed lines in space, shape (k, 3) each."""
        return [self.body.vertices_mm[loop] for loop in self.loops(region)]


def surface_of(body: Body) -> Surface:
    """Divide a body into regions, and keep the way back from triangle to region."""
    regions = regions_of(body)
    label = np.empty(len(body.triangles), dtype=np.int64)
    for region in regions:
        label[region.faces] = region.number
    return Surface(body, regions, label)


def closed_runs(directed: Ints) -> list[Ints]:
    """Chain directed edges, shape (e, 2), to closed runs of their ends."""
    following: dict[int, list[int]] = {}
    for start, stop in directed.tolist():
        following.setdefault(start, []).append(stop)
    runs = []
    while following:
        first = next(iter(following))
        run, at = [], first
        while at in following:
            run.append(at)
            stops = following[at]
            step = stops.pop()
            if not stops:
                del following[at]
            at = step
        runs.append(np.array(run, dtype=np.int64))
    return [run for run in runs if len(run) > 2]
