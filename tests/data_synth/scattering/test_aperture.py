import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import gegenbauer

from seamtell.data_synth.scattering.aperture import Aperture, apertures_between


@pytest.mark.parametrize(("low_flush", "high_flush"), [(False, False), (True, False), (False, True)])
def test_overlaps_are_integrals_of_weighted_gegenbauer_polynomials(low_flush: bool, high_flush: bool) -> None:
    # scipy.special.gegenbauer and quad against the table of Bessel functions; one scale for each function.
    exponent, size = 1 / 6, 4
    aperture = Aperture(
        0.0 if low_flush else 0.3, 1.5 if high_flush else 1.1, low_flush, high_flush, exponent, size
    )
    interval = (0.0, 1.5)
    found = aperture.overlap(interval, 12)
    low, high = aperture.low_mm, aperture.high_mm
    for n in range(size):
        exact = np.array([_integral(aperture, n, m, low, high) for m in range(12)])
        ratio = found[:, n] @ exact / (exact @ exact)
        assert np.abs(found[:, n] - ratio * exact).max() < 1e-6 * np.abs(found[:, n]).max()


def _integral(aperture: Aperture, n: int, m: int, low: float, high: float) -> float:
    """Orthonormal mode m of (0, 1.5) times function n, with distance^-1/3 at the open ends; t = 1 - s^3."""
    one_flush = aperture.low_flush or aperture.high_flush
    polynomial = gegenbauer(2 * n if one_flush else n, aperture.exponent)
    half = high - low if one_flush else (high - low) / 2
    middle = low if aperture.low_flush else high if aperture.high_flush else (low + high) / 2
    mode = np.sqrt((2 if m else 1) / 1.5)

    def part(sign: int) -> float:
        def value(s: float) -> float:
            t = 1 - s**3  # (1 - t^2)^(-1/3) dt = 3 s (1 + t)^(-1/3) ds
            z = middle + sign * half * t
            return 3 * s * (1 + t) ** (-1 / 3) * polynomial(sign * t) * mode * np.cos(m * np.pi * z / 1.5)

        return half * quad(value, 0, 1, limit=200)[0]

    signs = (1,) if aperture.low_flush else (-1,) if aperture.high_flush else (-1, 1)
    return sum(part(sign) for sign in signs)


def test_tail_in_closed_form_replaces_many_modes() -> None:
    interval, aperture = (0.0, 1.5), Aperture(0.0, 1.1, True, False, 1 / 6, 3)
    kept = aperture.modes_needed(1.5)
    big = Aperture(0.0, 1.1, True, False, 1 / 6, 20)  # same first functions, many more modes
    many = big.overlap(interval, big.modes_needed(1.5))[:, :3]
    left_out = many[kept:] / np.sqrt(np.arange(kept, len(many)) * np.pi / 1.5)[:, None]
    exact = left_out.T @ left_out + big.tail(interval)[:3, :3]
    assert np.abs(aperture.tail(interval) - exact).max() < 0.03 * np.abs(exact).max()


def test_apertures_are_what_both_sections_share() -> None:
    found = apertures_between([(0.0, 1.5)], [(0.0, 0.4), (0.9, 1.3)], ())
    assert [(a.low_mm, a.high_mm, a.low_flush, a.high_flush) for a in found] == [
        (0.0, 0.4, True, False),
        (0.9, 1.3, False, False),
    ]


def test_crack_narrows_the_aperture_and_ends_on_a_tip() -> None:
    (found,) = apertures_between([(0.0, 1.5)], [(0.0, 1.5)], ([(0.5, 1.5)],))
    assert (found.low_mm, found.high_mm, found.exponent) == (0.5, 1.5, 0.0)
    assert not found.low_flush
    assert found.high_flush
