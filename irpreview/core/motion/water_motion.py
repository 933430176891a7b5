"""Water: wave periods from wind and fetch, ripples, running and falling water, and the word for what a shutter makes.

Sources: deep-water dispersion and ripple minimum, standard wave physics (Lamb); growth with fetch, the relations of
the shore-protection handbooks, X = g F / U^2. The scale of words is an assumption that agrees with exposures in use.
"""

from __future__ import annotations

import math
from typing import Literal

from irpreview.records import Range, WaterKind

GRAVITY_M_S2 = 9.81
WaterWord = Literal["frozen", "texture", "silky", "smooth", "mist"]
WORD_LIMITS: tuple[tuple[float, WaterWord], ...] = (
    (0.1, "frozen"),
    (0.5, "texture"),
    (2.0, "silky"),
    (10.0, "smooth"),
)
"""Periods of the waves up to which each word holds; mist beyond."""

FETCH_M = {"pond": (30.0, 100.0, 300.0), "lake": (300.0, 2000.0, 20000.0), "sea": (5000.0, 50000.0, 500000.0)}
"""Low, likely, high fetch per kind of water. [m]"""
RESIDUAL_PERIOD_S = {"pond": (0.2, 0.4, 0.8), "lake": (0.4, 1.0, 2.5), "sea": (3.0, 7.0, 12.0)}
"""What still runs without wind: old waves, swell, fish and springs (assumed). [s]"""
RUNNING_SPEED_M_S = Range(0.3, 1.0, 3.0)
"""Streams 0.3-1, fast ones to 3 m/s (from memory)."""
FALL_HEIGHT_M = Range(1.0, 4.0, 15.0)


def deep_water_length_m(period_s: float) -> float:
    """Wave length in deep water, g T^2 / (2 pi). [m]"""
    return GRAVITY_M_S2 * period_s**2 / (2.0 * math.pi)


def deep_water_speed_m_s(period_s: float) -> float:
    """Crest speed in deep water, g T / (2 pi). [m/s]"""
    return GRAVITY_M_S2 * period_s / (2.0 * math.pi)


def fetch_waves(wind_m_s: float, fetch_m: float) -> tuple[float, float]:
    """Peak period [s] and significant height [m] of waves grown over a fetch in deep water, wind blowing long enough.

    T = 0.286 X^(1/3) U / g up to 8.13 U / g; H = 0.0016 X^0.5 U^2 / g up to 0.243 U^2 / g.
    """
    if wind_m_s < 0.01 or fetch_m <= 0.0:
        return 0.0, 0.0
    x = GRAVITY_M_S2 * fetch_m / wind_m_s**2
    period = min(0.286 * x ** (1.0 / 3.0), 8.13) * wind_m_s / GRAVITY_M_S2
    height = min(0.0016 * math.sqrt(x), 0.243) * wind_m_s**2 / GRAVITY_M_S2
    return period, height


def wave_period(kind: WaterKind, wind: Range) -> Range:
    """Period of the waves that the eye sees [s]; never falls with wind, and never zero: some water always moves.

    `wind` is the 10 m wind over the water [m/s]. Unknown water spans pond to swell.
    """
    if kind in ("stream", "falls"):
        return Range(0.15, 0.4, 1.0)
    names = ("pond", "lake", "sea") if kind == "unknown" else (kind, kind, kind)
    winds = (wind.low, wind.likely, wind.high)
    low, likely, high = (
        max(RESIDUAL_PERIOD_S[name][i], fetch_waves(winds[i], FETCH_M[name][i])[0]) for i, name in enumerate(names)
    )
    likely = max(low, likely)
    return Range(low, likely, max(likely, high))


def water_word(periods: float) -> WaterWord:
    """What the water looks like after this many wave periods."""
    for limit, word in WORD_LIMITS:
        if periods < limit:
            return word
    return "mist"


def fall_speed_m_s(height_m: float) -> float:
    """Speed of falling water after a drop, sqrt(2 g h). [m/s]"""
    return math.sqrt(2.0 * GRAVITY_M_S2 * height_m)
