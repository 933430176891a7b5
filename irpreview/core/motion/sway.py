"""Sway: how far leaves, twigs, branches, crowns and stalks move in the wind, and what an exposure makes of it.

The exposure integrals are exact for a sine of random phase. The amplitudes in millimetres are assumptions (no absolute
crown amplitude against wind was found in print): likely values with a factor of about three either way; a clip of the
tree itself replaces them. Frequencies: whole trees after Moore and Maguire 2004 (conifers, D / H^2) and Jackson 2021.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from irpreview.records import Range

LONGEST_S = 3600.0
"""Inversions stop here: an hour. [s]"""
SHORTEST_S = 1e-5


@dataclass(frozen=True, slots=True)
class SwayingPart:
    """One moving part of a plant: amplitude law in the local wind and its own frequency."""

    name: str
    amplitude_at_knee_mm: Range
    """Half the peak-to-peak sway in a local wind of `knee_m_s`."""
    frequency_hz: Range
    cap_mm: float
    exponents: tuple[float, float]
    """Growth with wind below and above `knee_m_s`."""
    knee_m_s: float = 5.0

    def amplitude_mm(self, wind_m_s: float) -> Range:
        """Amplitude in a local wind; never falls with wind. [mm]"""
        power = self.exponents[0] if wind_m_s <= self.knee_m_s else self.exponents[1]
        growth = (wind_m_s / self.knee_m_s) ** power if wind_m_s > 0.0 else 0.0
        a = self.amplitude_at_knee_mm
        return Range(
            min(a.low * growth, self.cap_mm),
            min(a.likely * growth, self.cap_mm),
            min(a.high * growth, 1.5 * self.cap_mm),
        )


TREE_PARTS = (
    SwayingPart("leaf", Range(4.1, 9.8, 22.0), Range(2.0, 3.5, 6.0), 30.0, (2.0, 2.0)),
    SwayingPart("twig", Range(4.0, 12.0, 36.0), Range(2.0, 3.0, 5.0), 100.0, (2.0, 1.5)),
    SwayingPart("branch", Range(6.0, 17.0, 50.0), Range(0.7, 1.3, 2.5), 400.0, (2.0, 1.5)),
    SwayingPart("crown", Range(9.0, 28.0, 85.0), Range(0.3, 0.6, 1.2), 2000.0, (2.0, 1.5)),
)
GRASS_PARTS = (
    SwayingPart("stalk", Range(22.0 / 3.0, 22.0, 66.0), Range(0.7, 1.2, 2.5), 600.0, (2.0, 1.0), knee_m_s=1.5),
)
"""Grass and reeds: 22 mm at 1.5 m/s at the tips, linear above."""


def sway_extent(amplitude: float, frequency_hz: float, shutter_s: float) -> float:
    """Expected extent of a sine sway of random phase in one exposure, in the unit of the amplitude.

    A (2 w + (2 / pi) sin(pi w)) for w = t f <= 1, else 2 A (closed form).
    """
    w = shutter_s * frequency_hz
    return 2.0 * amplitude if w >= 1.0 else amplitude * (2.0 * w + (2.0 / math.pi) * math.sin(math.pi * w))


def sway_halo(amplitude: float, frequency_hz: float, shutter_s: float) -> float:
    """Extent of a random narrow-band sway of the same rms: as the sine within a period, then slow logarithmic growth.

    (2.83 + 0.75 ln w) sigma beyond one period, fitted to simulated sway of damping 0.1 (4.5 sigma at 9 periods,
    5.6 at 36, 6.6 at 180).
    """
    w = shutter_s * frequency_hz
    if w <= 1.0:
        return sway_extent(amplitude, frequency_hz, shutter_s)
    return amplitude * (2.0 + 0.75 / math.sqrt(2.0) * math.log(w))


def together(extents: list[float]) -> float:
    """Independent movements of one thing add as squares."""
    return math.sqrt(sum(e * e for e in extents))


def longest_holding_s(extent_at: Callable[[float], float], limit: float) -> float:
    """Longest exposure whose extent stays within the limit [s]: bisection on a rising function; LONGEST_S if always."""
    if extent_at(LONGEST_S) <= limit:
        return LONGEST_S
    low, high = math.log(SHORTEST_S), math.log(LONGEST_S)
    if extent_at(SHORTEST_S) > limit:
        return SHORTEST_S
    for _ in range(28):
        middle = (low + high) / 2.0
        low, high = (middle, high) if extent_at(math.exp(middle)) <= limit else (low, middle)
    return math.exp(low)
