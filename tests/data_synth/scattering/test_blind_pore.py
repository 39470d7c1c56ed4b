import numpy as np
import pytest
from scipy.sparse import lil_array
from scipy.sparse.linalg import spsolve

from seamtell.data_synth.head import Head
from seamtell.data_synth.scattering.blind_pore import (
    blind_pore_transition,
    freedom,
    scalar_polarisability,
)
from seamtell.data_synth.scattering.inclusion import inclusion_transition

K, K_PLATE = Head().wavenumber_per_mm(), Head().plate_wavenumber_per_mm()
ORDERS = np.arange(-8, 9)


@pytest.mark.parametrize("depth_share", [0.2, 0.5, 0.8])
def test_wide_shallow_pore_is_a_thinner_disc_in_the_scalar_problem(depth_share: float) -> None:
    # Textbook: a disc of conductance 1 - d in a sheet of 1 has the dipole d / (2 - d).
    assert scalar_polarisability(100.0, depth_share) == pytest.approx(
        depth_share / (2 - depth_share), rel=0.02
    )


@pytest.mark.parametrize("depth_share", [0.2, 0.5, 0.8])
def test_narrow_deep_pore_acts_over_its_depth_alone_in_the_scalar_problem(depth_share: float) -> None:
    assert scalar_polarisability(0.003, depth_share) == pytest.approx(depth_share, rel=0.01)


def test_scalar_pore_meets_a_finite_volume_solution() -> None:
    # Independent: steady flow past the pore on an r-z grid, for the first angular order.
    assert scalar_polarisability(0.3, 0.5) == pytest.approx(_by_finite_volumes(0.3, 0.5), rel=0.02)


def _by_finite_volumes(radius: float, depth: float) -> float:
    step, far = 0.025, 3.0
    nz, nr, pore = round(1 / step), round(far / step), round(radius / step)
    floor = round(depth / step)
    r = (np.arange(nr) + 0.5) * step

    def solid(i: int, j: int) -> bool:
        return i >= pore or j >= floor

    number = np.arange(nr * nz).reshape(nr, nz)
    matrix, right = lil_array((nr * nz, nr * nz)), np.zeros(nr * nz)
    for i in range(nr):
        for j in range(nz):
            here = number[i, j]
            if not solid(i, j):
                matrix[here, here] = 1.0
                continue
            # (1/r) d/dr (r d/dr) - 1/r^2 + d^2/dz^2, each cell times r
            matrix[here, here] -= step**2 / r[i]
            for di, dj, weight in (
                (1, 0, r[i] + step / 2),
                (-1, 0, r[i] - step / 2),
                (0, 1, r[i]),
                (0, -1, r[i]),
            ):
                a, b = i + di, j + dj
                if a < 0 or not 0 <= b < nz or (a < nr and not solid(a, b)):
                    continue
                matrix[here, here] -= weight
                if a < nr:
                    matrix[here, number[a, b]] += weight
                else:  # r + B/r outside: value at the ghost cell follows from the last one
                    ghost = r[i] + step
                    ratio = r[i] / ghost
                    matrix[here, here] += weight * ratio
                    right[here] -= weight * (ghost - r[i] * ratio)
    field = spsolve(matrix.tocsr(), right)
    edge = field[number[-1]].mean()
    return float((edge - r[-1]) * r[-1] / radius**2)


@pytest.mark.parametrize("ratio", [0.1, 0.3, 1.0])
@pytest.mark.parametrize("depth_share", [0.1, 0.5, 0.9])
def test_pore_lies_between_locked_and_free(ratio: float, depth_share: float) -> None:
    # Dirichlet's principle: forcing the field raises, freeing lowers the stiffness.
    assert 0 < freedom(ratio, depth_share) < 1


def test_pore_keeps_energy() -> None:
    scattering = np.eye(2) + 2 * blind_pore_transition(ORDERS, K, K_PLATE, 0.84, 0.5, 1.4)
    kept = np.conj(np.swapaxes(scattering, 1, 2)) @ scattering
    assert np.abs(kept - np.eye(2)).max() < 1e-8


def test_pore_stays_between_its_bounds_in_the_shear_order() -> None:
    locked = inclusion_transition(ORDERS, K, K_PLATE, 0.84, 0.5)[10, 1, 1]
    through = inclusion_transition(ORDERS, K, K_PLATE, 0.84, 0.0)[10, 1, 1]
    pore = blind_pore_transition(ORDERS, K, K_PLATE, 0.84, 0.5, 1.4)[10, 1, 1]
    assert abs(locked) < abs(pore) < abs(through) / 2 * 1.1
