import numpy as np
import pytest

from seamtell.data_synth.scattering.table_reading import read_table

START, SPACING = -4.0, 0.05
PLACES = START + SPACING * np.arange(161)
TABLE = np.exp(-((PLACES / 2) ** 2)) * np.exp(0.3j * PLACES)


def plainly(at):  # type: ignore[no-untyped-def]
    inside = (at >= PLACES[0]) & (at < PLACES[-1])
    value = np.interp(at, PLACES, TABLE.real) + 1j * np.interp(at, PLACES, TABLE.imag)
    return np.where(inside, value * np.exp(0.7j * at), 0)


@pytest.mark.parametrize(("down", "right"), [(0.1, -0.25), (0.4, 0.5), (-0.2, -0.05), (0.1, 0.1)])
def test_two_even_grids_are_read_as_each_pair_would_be(down: float, right: float) -> None:
    at = 0.0123 + down * np.arange(30)[:, None] + right * np.arange(40)[None, :]
    assert np.abs(read_table(TABLE, START, SPACING, 0.7, at) - plainly(at)).max() < 1e-9


def test_uneven_places_are_interpolated_one_by_one() -> None:
    at = np.sort(np.random.default_rng(1).uniform(-6, 6, (20, 30)), axis=1)
    assert np.abs(read_table(TABLE, START, SPACING, 0.7, at) - plainly(at)).max() < 1e-12


def test_outside_of_the_table_there_is_nothing() -> None:
    assert not read_table(TABLE, START, SPACING, 0.7, np.array([-4.01, 4.01, 99.0])).any()
