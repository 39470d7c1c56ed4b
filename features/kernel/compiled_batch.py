"""Goes away: `describe_batch` is in ``batch``."""

from seamtell.features.kernel.batch import _networks, _pad, describe_batch

__all__ = ["_networks", "_pad", "describe_batch"]
