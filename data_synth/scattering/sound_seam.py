"""Echo of the sound seam: the thickness step, softened by the ramp of its top surface.

At low frequency a step reflects (h_A - h_B) / (h_A + h_B), like a step in a string. The
ramp spreads that over its width, so that its parts arrive with different phases. The
strength comes from mode matching.
"""

from __future__ import annotations

from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import free_edge_echo
from seamtell.data_synth.scattering.strength import sound_strength
from seamtell.features.contracts import Channel

__all__ = ["sound_echo"]


def sound_echo(joint: Joint, head: Head, channel: Channel) -> complex:
    """Echo of the sound seam, the same at every position; none in a tilted beam."""
    if head.tilt_rad(channel) != 0:
        return 0j
    return sound_strength(joint, head.wavenumber_per_mm()) * free_edge_echo(head)
