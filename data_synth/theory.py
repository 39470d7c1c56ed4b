"""What the guided-wave theory is, and its version.

SH0 in thin sheets. The beam is an exact angular spectrum of plane waves. Slots are line
springs whose local strength comes from scalar SH mode matching; holes and blind pores
are circular inclusions in plane stress; both scatter into each other. Slow changes of
the joint (mismatch, bead) are line integrals of local strength. All echoes and the sound
seam's add as complex numbers, at the centre frequency or over the burst.

The version changes whenever an echo does: simulated flaws that were stored under
another one are no longer what the theory says, and are refused.
"""

from __future__ import annotations

__all__ = ["THEORY_VERSION"]

THEORY_VERSION = "2"
"""1: closed forms for the local strength, nothing scatters into anything else. 2: as above."""
