import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.data_synth.head import Head
from seamtell.data_synth.scattering.inclusion import CylindricalWaves, inclusion_transition

HEAD = Head()
K, K_PLATE = HEAD.wavenumber_per_mm(), HEAD.plate_wavenumber_per_mm()
ORDERS = np.arange(-8, 9)


def test_hole_meets_the_independent_prototype() -> None:
    # Prototype figures for a 1.2 mm hole at 0.6 MHz, SH0 to SH0, orders 0 to 3.
    expected = [-0.00040 - 0.01987j, -0.03006 - 0.14231j, -0.25847 + 0.40036j, -0.00147 + 0.03745j]
    got = inclusion_transition(np.arange(4), K, K_PLATE, 1.2, 0.0)[:, 1, 1]
    assert np.abs(got - expected).max() < 1e-4


@settings(max_examples=40, deadline=None)
@given(st.floats(0.1, 5.0), st.floats(0.0, 0.95))
def test_what_comes_in_goes_out_as_sh0_and_s0(diameter_mm: float, kept: float) -> None:
    # Energy: 1 + 2T of each order is unitary, as both potentials carry like power.
    scattering = np.eye(2) + 2 * inclusion_transition(ORDERS, K, K_PLATE, diameter_mm, kept)
    kept_energy = np.conj(np.swapaxes(scattering, 1, 2)) @ scattering
    assert np.abs(kept_energy - np.eye(2)).max() < 1e-8


@settings(max_examples=40, deadline=None)
@given(st.floats(0.1, 5.0), st.floats(0.0, 0.95))
def test_sender_and_receiver_may_swap(diameter_mm: float, kept: float) -> None:
    # Reciprocity: order n of one potential into the other equals order -n back.
    t = inclusion_transition(ORDERS, K, K_PLATE, diameter_mm, kept)
    assert np.abs(t - np.swapaxes(t[::-1], 1, 2)).max() < 1e-8


def test_place_of_the_same_thickness_echoes_nothing() -> None:
    assert np.abs(inclusion_transition(ORDERS, K, K_PLATE, 1.2, 1.0)).max() == 0


def test_shallow_wide_place_takes_out_its_mass_and_stiffness_to_first_order() -> None:
    # Born approximation, from memory: order 1 answers the missing mass, i pi (ka)^2 / 8 a unit share each
    # way for a small disc; order 2 the missing shear stiffness, opposite and equal.
    share, radius = 1e-4, 0.02
    t = inclusion_transition(np.array([1, 2]), K, K_PLATE, 2 * radius, 1 - share)[:, 1, 1]
    born = 1j * np.pi * (K * radius) ** 2 / 8 * share
    assert t[0] == pytest.approx(-born, rel=1e-2)
    assert t[1] == pytest.approx(born, rel=1e-2)


@pytest.mark.parametrize("outgoing", [False, True])
def test_displacements_are_the_gradients_of_the_potentials_by_mpmath(outgoing: bool) -> None:
    # Reference library: numerical derivatives of mpmath's Bessel functions.
    z = mpmath.hankel1 if outgoing else mpmath.besselj
    r, n = 0.83, 3
    got = CylindricalWaves.at(np.array([n]), K, K_PLATE, r, outgoing=outgoing).displacements[0]
    phi, psi = (lambda x, k=k: z(n, k * x) for k in (K_PLATE, K))
    expected = [[mpmath.diff(phi, r), 1j * n * psi(r) / r], [1j * n * phi(r) / r, -mpmath.diff(psi, r)]]
    assert np.abs(got - np.array(expected, dtype=complex)).max() < 1e-9 * np.abs(got).max()
