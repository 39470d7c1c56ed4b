import pytest

from seamtell.features.descriptors.registry import names
from seamtell.features.kernel import descriptor_channel, descriptor_cross  # noqa: F401  (they state what they write)
from seamtell.features.kernel.descriptor_places import KNOWN, place_of_both


def test_kernel_computes_every_descriptor_of_the_registry():
    missing = sorted(set(names()) - set(KNOWN))
    assert not missing, (
        f"descriptors without compiled twin: {missing}. To do: compute them in "
        "features/kernel/descriptor_channel.py (of one channel) or descriptor_cross.py"
    )
    assert set(KNOWN) == set(names())


def test_figure_of_one_channel_alone_has_no_pair():
    with pytest.raises(ValueError, match="not in"):
        place_of_both("extent_mm")
