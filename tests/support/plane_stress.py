"""A small finite-element program for flat bars: plane stress, square elements, nothing shared."""

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu


def element_stiffness(modulus_mpa, poisson, thick_mm):
    """The 8 × 8 stiffness of a square bilinear element by 2 × 2 Gauss points (any textbook)."""
    law = (modulus_mpa / (1 - poisson**2)) * np.array(
        [[1, poisson, 0], [poisson, 1, 0], [0, 0, (1 - poisson) / 2]]
    )
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    stiffness = np.zeros((8, 8))
    for a in (-1, 1):
        for b in (-1, 1):
            at = np.array([a, b]) / np.sqrt(3)
            by_x = corners[:, 0] * (1 + corners[:, 1] * at[1]) / 4
            by_y = corners[:, 1] * (1 + corners[:, 0] * at[0]) / 4
            strain = np.zeros((3, 8))
            strain[0, 0::2], strain[1, 1::2] = by_x, by_y
            strain[2, 0::2], strain[2, 1::2] = by_y, by_x
            stiffness += strain.T @ law @ strain
    return thick_mm * stiffness  # the element's size cancels: two derivatives, one area


class FlatBar:
    """A bar seen from above as a mask of square cells; it reads how far two faces come together."""

    def __init__(self, solid, cell_mm, thick_mm, modulus_mpa=2000.0, poisson=0.35):
        self.solid, self.cell_mm = solid, cell_mm
        wide, deep = solid.shape
        self.node = lambda i, j: i * (deep + 1) + j
        i, j = np.nonzero(solid)
        nodes = np.stack(
            [self.node(i, j), self.node(i + 1, j), self.node(i + 1, j + 1), self.node(i, j + 1)], 1
        )
        freedoms = np.stack([2 * nodes, 2 * nodes + 1], axis=2).reshape(len(nodes), 8)
        one = element_stiffness(modulus_mpa, poisson, thick_mm)
        rows = np.repeat(freedoms, 8, axis=1).ravel()
        columns = np.tile(freedoms, (1, 8)).ravel()
        size = 2 * (wide + 1) * (deep + 1)
        whole = coo_matrix(
            (np.tile(one.ravel(), len(nodes)), (rows, columns)), (size, size)
        ).tocsc()
        used = np.unique(freedoms)
        # The load is in balance, so three freedoms may be held anywhere: two nodes of a rail.
        held = {2 * nodes[0, 0], 2 * nodes[0, 0] + 1, 2 * self.node(wide // 2, 0) + 1}
        self.free = np.array([f for f in used if f not in held])
        self.size = size
        self.solve = splu(whole[self.free][:, self.free])

    def face(self, at_mm, low_mm, high_mm):
        """Shares of an even load along x on the nodes of an upright face, as (freedom, share)."""
        i = round(at_mm / self.cell_mm)
        j = np.arange(round(low_mm / self.cell_mm), round(high_mm / self.cell_mm) + 1)
        share = np.ones(len(j))
        share[[0, -1]] = 0.5
        return 2 * self.node(i, j), share / share.sum()

    def closing_mm(self, left, right, force_n):
        """How much nearer two faces come when they are pressed together."""
        load = np.zeros(self.size)
        for (freedoms, share), sign in ((left, 1.0), (right, -1.0)):
            load[freedoms] += sign * force_n * share
        moved = np.zeros(self.size)
        moved[self.free] = self.solve.solve(load[self.free])
        return float(load @ moved) / force_n
