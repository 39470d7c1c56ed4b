from __future__ import annotations

import numpy as np

from seamtell.data_synth.echo_novelty import novelty_misfits
from seamtell.data_synth.expected_ranges import FlawRanges, SoundRange


def test_draws_depend_on_their_seed_alone(library):
    ranges = FlawRanges(lack_of_fusion=None, mismatch=None)
    together = novelty_misfits(library, ranges, [3, 5, 8])
    alone = novelty_misfits(library, ranges, [5])
    assert together[0][1] == alone[0][0]
    assert together[1][1] == alone[1][0]


def test_flaws_like_those_of_the_table_are_fitted_about_as_well_as_noise_allows(library):
    # A misfit of 1 is a residual of one sigma; the draws err by about the theory's own error.
    assert 0.3 < np.median(library.novelty_misfits) < 1.2


def test_sound_metal_is_drawn_too(library):
    only = FlawRanges(pinhole=None, edge_notch=None, lack_of_fusion=None, mismatch=None, sound=SoundRange())
    misfits, extents = novelty_misfits(library, only, range(4))
    assert len(misfits) == len(extents) == 4
