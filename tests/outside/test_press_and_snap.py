"""Press and snap checks against textbook examples and against plain integration."""

import math

import numpy as np
import pytest

from coupons.answering.strength.press_and_clip import (
    PressBody,
    cantilever_strain,
    check_press,
    lame_pressure_mpa,
)


def test_compound_cylinder():
    # Radii 150, 200, 250 mm, 200 GPa, 0.1 mm radial: 12.3 MPa and 56.05 MPa hoop in the outer one
    # (Ugural & Fenster, Advanced Strength and Applied Elasticity; its answer, 12.3 and 56.05, from
    # memory). Poisson cancels: one material.
    ring, pin = PressBody(500, 200_000, 0.28), PressBody(300, 200_000, 0.28)
    check = check_press(0.2, 400, ring, pin, strain_limit=0.01)
    assert check.pressure_mpa == pytest.approx(12.3, abs=0.05)
    assert check.ring_stress_mpa == pytest.approx(56.05, abs=0.05)


def test_steel_on_brass_against_the_general_solution_of_a_thick_ring():
    # Posed at tutorsglobe.com question 5735556 (no answer printed there): the pressure must make
    # the two radial displacements of Lamé's solution, u = a·r + b/r, add up to the interference.
    size, interference = 101.6, 0.051
    ring, pin = PressBody(127.0, 206_700, 0.29), PressBody(50.8, 103_400, 0.32)
    p = lame_pressure_mpa(interference, size, ring, pin)

    def radial_shift(inside, outside, p_in, p_out, body, at):
        stress_mean = (p_in * inside**2 - p_out * outside**2) / (outside**2 - inside**2)
        stress_swing = (p_in - p_out) * inside**2 * outside**2 / (outside**2 - inside**2)
        return (
            (1 - body.poisson) * stress_mean * at + (1 + body.poisson) * stress_swing / at
        ) / body.modulus_mpa

    r = size / 2
    ring_out = radial_shift(r, 63.5, p, 0, ring, r)
    pin_in = radial_shift(25.4, r, 0, p, pin, r)
    assert 2 * (ring_out - pin_in) == pytest.approx(interference, rel=1e-9)


def test_clip_of_the_plastics_snap_fit_design_guides():
    # l 19, y 2.4 mm, 2 % strain, taper to half: h = 3.28 mm (worked example of the guide
    # Snap-Fit Joints for Plastics, its numbers from memory).
    assert cantilever_strain(2.4, 19, 3.28, "half") == pytest.approx(0.02, abs=1e-4)
    # The guides print y = 0.67 ε l²/h for an even clip (synectic.net/snap-fit-design).
    assert 0.67 * cantilever_strain(1, 10, 2) * 10**2 / 2 == pytest.approx(1, abs=0.006)


@pytest.mark.parametrize(("taper", "tip_share"), [("none", 1.0), ("half", 0.5)])
def test_strain_against_the_integrated_beam(taper, tip_share):
    length, root, load, modulus = 19.0, 3.0, 10.0, 2000.0
    x = (np.arange(200_000) + 0.5) / 200_000 * length
    height = root * (1 - (1 - tip_share) * x / length)
    inertia = height**3 / 12  # per mm of width
    curvature = load * (length - x) / (modulus * inertia)
    deflection = float(np.sum(curvature * (length - x)) * length / 200_000)
    strain = curvature * height / 2
    assert strain.argmax() < 3000, "the greatest strain is at the root"
    assert cantilever_strain(deflection, length, root, taper) == pytest.approx(
        strain.max(), rel=1e-4
    )


def test_a_thin_ring_approaches_the_pressure_vessel_formula():
    # Thin ring on a rigid pin: p = E·δ·t/(2·r²) with δ over the diameter.
    thin = PressBody(100.2, 3000, 0.36)
    p = lame_pressure_mpa(0.1, 100, thin, PressBody(0, math.inf))
    assert p == pytest.approx(3000 * 0.1 * 0.1 / (2 * 50**2), rel=0.005)
