"""Noise of a mid grey by a stated sensor model: shot noise, read noise and dark current.

SNR = S / sqrt(S + D t + R^2), all in electrons (any text on image sensors; first seen in a camera maker's test
glossary). The numbers stand for a class of sensors, not for one: full well 50 ke on a 6 um pixel, mid grey at 12.7 %
of saturation (ISO 12232), R 3 e (1.5 e from ISO 800), D 0.1 e/s at 20 degC doubling every 6 K (assumed).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from irpreview.records import Kit

ROUGH_SNR = 10.0
FAIR_SNR = 20.0
CLEAN_SNR = 40.0
"""Mid grey: rough, fair, clean (assumed guide)."""

_ISOS = (
    "25 32 40 50 64 80 100 125 160 200 250 320 400 500 640 800 1000 1250 1600 2000 2500 3200 4000 5000 6400 8000 10000 "
    "12800 16000 20000 25600 32000 40000 51200 64000 80000 102400"
)
ISOS = tuple(map(float, _ISOS.split()))
"""Nominal third stops, ISO 12232."""


@dataclass(frozen=True, slots=True)
class Sensor:
    """What noise is reckoned from: full well, dark current and reading, as of a usual full-frame sensor."""

    full_well_e: float = 50_000.0
    """At ISO 100, per pixel."""
    mid_grey_share: float = 0.127
    read_e: float = 3.0
    read_high_iso_e: float = 1.5
    high_iso: float = 800.0
    dark_e_per_s: float = 0.1
    """At 20 degC."""
    dark_doubles_per_k: float = 6.0

    def signal_e(self, iso: float) -> float:
        """Electrons of a mid grey that is exposed right at `iso`."""
        return self.full_well_e * self.mid_grey_share * 100.0 / iso

    def snr(self, iso: float, shutter_s: float, temperature_c: float = 20.0, frames: int = 1) -> float:
        """Signal to noise of mid grey, one pixel; `frames` of this time each, averaged."""
        signal = self.signal_e(iso)
        dark = self.dark_e_per_s * 2.0 ** ((temperature_c - 20.0) / self.dark_doubles_per_k) * shutter_s
        read = self.read_high_iso_e if iso >= self.high_iso else self.read_e
        return math.sqrt(frames) * signal / math.sqrt(signal + dark + read**2)


def sensor_of(kit: Kit) -> Sensor:
    """The class of sensor scaled to the kit's pixel: well and dark current grow with its area."""
    area = (kit.pixel_pitch_um / 6.0) ** 2
    return Sensor(full_well_e=50_000.0 * area, dark_e_per_s=0.1 * area)


def noise_word(snr: float) -> str:
    """The word for a mid grey of this signal to noise, as rounded for people."""
    snr = round(snr)
    if snr >= CLEAN_SNR:
        return "clean"
    if snr >= FAIR_SNR:
        return "fair"
    if snr >= ROUGH_SNR:
        return "rough"
    return "very rough"
