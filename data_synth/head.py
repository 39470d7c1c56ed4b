"""The two things that decide what a flaw echoes: the inspection head and the joint it looks at."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import asin, pi, sin, tan

from seamtell.data_synth.material import STEEL, Material
from seamtell.features.contracts import Channel
from seamtell.features.errors import SeamtellError

__all__ = ["Head", "Joint"]


@dataclass(frozen=True)
class Head:
    """An inspection head that sends and receives SH0 on sheet A, parallel to the seam.

    Parameters
    ----------
    frequency_mhz : float
        Centre frequency.
    aperture_sd_mm : float
        Standard deviation of the Gaussian aperture along the seam.
    stand_off_mm : float
        From the aperture to the seam.
    scatter_tilt_sin : float
        Sine of the tilt of the scatter channel, sending and receiving alike.
    burst_cycles : float
        Length of the sent burst, which rises and falls as a Hann window.
    gate_us : tuple of (float, float)
        Start and end of the gate, from the arrival along the beam's axis.

    Examples
    --------
    >>> round(Head().wavenumber_per_mm(), 5), round(Head().plate_wavenumber_per_mm(), 5)
    (1.16716, 0.69736)
    """

    frequency_mhz: float = 0.6
    aperture_sd_mm: float = 5.047
    stand_off_mm: float = 15.05
    scatter_tilt_sin: float = 0.4
    burst_cycles: float = 4.5
    gate_us: tuple[float, float] = (-3.0, 4.0)
    material: Material = field(default=STEEL)

    def wavenumber_per_mm(self) -> float:
        """Wavenumber of SH0."""
        return 2 * pi * self.frequency_mhz / self.material.c_shear_mm_per_us

    def plate_wavenumber_per_mm(self) -> float:
        """Wavenumber of S0 in a thin plate."""
        return 2 * pi * self.frequency_mhz / self.material.c_plate_mm_per_us

    def at_frequency(self, frequency_mhz: float) -> Head:
        """Return the same head at another frequency of its burst; aperture and tilt stay."""
        return replace(self, frequency_mhz=frequency_mhz)

    def tilt_rad(self, channel: Channel) -> float:
        """Tilt of a channel off the normal to the seam."""
        return asin(self.scatter_tilt_sin) if channel is Channel.SCATTER else 0.0

    def axis_offset_mm(self, channel: Channel) -> float:
        """From the aperture's centre to where the beam's axis meets the seam."""
        return self.stand_off_mm * tan(self.tilt_rad(channel))

    def trace_wavenumber_per_mm(self, channel: Channel) -> float:
        """One-way wavenumber along the seam of a channel's axis."""
        return self.wavenumber_per_mm() * sin(self.tilt_rad(channel))


@dataclass(frozen=True)
class Joint:
    """Two sheets joined edge to edge, bottoms flush, the top surface a smooth ramp.

    Parameters
    ----------
    sheet_a_mm, sheet_b_mm : float
        Thickness on the head's side and on the far side.
    ramp_mm : float
        Width of the ramp across the seam.
    """

    sheet_a_mm: float
    sheet_b_mm: float
    ramp_mm: float = 0.6

    def __post_init__(self) -> None:
        if not (self.sheet_a_mm > 0 and self.sheet_b_mm > 0 and self.ramp_mm > 0):
            raise SeamtellError(
                f"joint of {self.sheet_a_mm} and {self.sheet_b_mm} mm with a ramp of {self.ramp_mm} mm, "
                "expected all above zero"
            )

    @property
    def mean_mm(self) -> float:
        """Thickness in the middle of the ramp."""
        return (self.sheet_a_mm + self.sheet_b_mm) / 2

    @property
    def near_share(self) -> float:
        """Amplitude that an echo made at the joint gains from the thickness change, near side."""
        return self.sheet_a_mm / self.mean_mm

    @property
    def far_share(self) -> float:
        """The same, far side."""
        return self.sheet_b_mm / self.mean_mm
