"""Wind: the Beaufort scale, the profile near the ground, gusts, and what is left of it where plants and cameras stand.

Sources: Beaufort limits and criteria, WMO table at 10 m; profile, Stull, Practical Meteorology (log law, roughness
classes of Davenport and Wieringa); gusts, G = 1 + g I with I = 1 / ln(z / z0). Ratios for crowns, grass and lakes are
assumptions within those laws and marked so.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from irpreview.errors import BadValue
from irpreview.records import Conditions, Range

STRONGEST_M_S = 60.0
"""Beyond any wind in which somebody photographs; refused above. [m/s]"""


@dataclass(frozen=True, slots=True)
class BeaufortForce:
    """One force: limits of the 10 m mean wind [m/s] and what is seen on land and water."""

    force: int
    low_m_s: float
    high_m_s: float
    land: str
    water: str


BEAUFORT = (
    BeaufortForce(0, 0.0, 0.2, "smoke rises straight up", "the water is a mirror"),
    BeaufortForce(1, 0.3, 1.5, "smoke drifts, leaves barely move", "ripples like scales"),
    BeaufortForce(2, 1.6, 3.3, "leaves rustle", "small glassy wavelets"),
    BeaufortForce(3, 3.4, 5.4, "leaves and small twigs move all the time", "crests begin to break"),
    BeaufortForce(4, 5.5, 7.9, "small branches move", "small waves, some white horses"),
    BeaufortForce(5, 8.0, 10.7, "small trees in leaf begin to sway", "moderate waves"),
    BeaufortForce(6, 10.8, 13.8, "large branches move, wires whistle", "large waves"),
    BeaufortForce(7, 13.9, 17.1, "whole trees move", "the sea heaps up"),
    BeaufortForce(8, 17.2, 20.7, "twigs break off", "moderately high waves"),
    BeaufortForce(9, 20.8, 24.4, "slates and branches come down", "high waves"),
    BeaufortForce(10, 24.5, 28.4, "trees are uprooted", "very high waves"),
    BeaufortForce(11, 28.5, 32.6, "widespread damage", "exceptionally high waves"),
    BeaufortForce(12, 32.7, STRONGEST_M_S, "devastation", "air filled with foam"),
)

UNKNOWN_WIND_M_S = Range(1.3, 4.0, 9.8)
"""Not given: 5, 50 and 95 % of a Rayleigh-distributed wind of mean 5 m/s, common in open country (from memory)."""

CROWN_RATIO = Range(0.65, 0.8, 1.0)
"""Wind at a tree crown over the 10 m wind (assumed; log law gives 0.66-0.84 for lone crowns at 4-8 m)."""
GRASS_RATIO = Range(0.25, 0.35, 0.5)
"""Wind at the tips of tall grass or reeds over the 10 m wind (assumed; log law 0.24-0.48)."""
LAKE_RATIO = 1.1
"""Wind over open water over the 10 m wind on land (assumed; log law 1.12)."""
TRIPOD_RATIO = 0.7
"""Wind at a camera 1.5-2 m above short grass over the 10 m wind (log law 0.67-0.72)."""
OPEN_COUNTRY_ROUGHNESS_M = 0.03
CALM_M_S = 0.05
"""Nothing measures or feels less; taken as no wind. [m/s]"""


def check_wind(wind_m_s: float, what: str = "wind") -> float:
    """The value itself, or BadValue outside 0..60 m/s."""
    if not math.isfinite(wind_m_s) or not 0.0 <= wind_m_s <= STRONGEST_M_S:
        raise BadValue(
            f"{what} of {wind_m_s:g} m/s cannot be used: 0 to {STRONGEST_M_S:g} m/s (10 m mean); "
            "give a number in that range, or leave it out if you do not know"
        )
    return wind_m_s


def beaufort_of(wind_m_s: float) -> int:
    """Beaufort force of a 10 m mean wind [m/s]. Between two printed limits the middle decides (0.2 | 0.3 -> 0.25)."""
    check_wind(wind_m_s)
    for below, above in itertools.pairwise(BEAUFORT):
        if wind_m_s < (below.high_m_s + above.low_m_s) / 2.0:
            return below.force
    return 12


def land_criterion(wind_m_s: float) -> str:
    """What is seen on land in this wind, by the Beaufort table."""
    return BEAUFORT[beaufort_of(wind_m_s)].land


def gust_factor(roughness_m: float = OPEN_COUNTRY_ROUGHNESS_M, height_m: float = 10.0, peak: float = 3.0) -> float:
    """Three-second gust over the ten-minute mean, 1 + g / ln(z / z0). [1]"""
    return 1.0 + peak / math.log(height_m / roughness_m)


def wind_range(conditions: Conditions) -> Range:
    """The 10 m mean wind [m/s] as known: given exactly, or unknown and spanning a range, never zero."""
    if conditions.wind_m_s is None:
        return UNKNOWN_WIND_M_S
    wind = check_wind(conditions.wind_m_s)
    if wind < CALM_M_S:
        wind = 0.0
    return Range(wind, wind, wind)


def gust_of(conditions: Conditions, wind_m_s: float) -> float:
    """The gust to plan on [m/s]: the one given, never below the mean; else the open-country gust factor."""
    if conditions.gust_m_s is not None:
        return max(check_wind(conditions.gust_m_s, "gust"), wind_m_s)
    return wind_m_s * gust_factor()
