"""What to take care of outdoors."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class CautionKind(StrEnum):
    """What has to be minded."""

    SUN_EYES = "sun_eyes"
    SUN_FRAME = "sun_frame"
    TIDE = "tide"
    """By the sea."""
    TIDE_IF_TIDAL = "tide_if_tidal"
    """By water of which it is not known whether it has a tide."""
    STREAM = "stream"
    """By running or falling water."""
    EDGE = "edge"
    EDGE_WIND_UNKNOWN = "edge_wind_unknown"
    RUIN = "ruin"
    BRANCH = "branch"
    LOCAL_RULES = "local_rules"
    DARK_START = "dark_start"
    """The way to the first place of a day begins before sunrise."""
    DUSK = "dusk"
    """The last stay of a day ends after sunset."""
    DUSK_BACK = "dusk_back"
    """The way back from the last stay ends after sunset."""


@dataclass(frozen=True, slots=True)
class Caution:
    """Something that can hurt someone or the gear, with the figures that it rests on."""

    kind: CautionKind
    gust_m_s: float | None = None
    """Gust to plan on, for edges and branches."""
    shutter_s: float | None = None
    """How long the sun rests on the sensor; None = long, not known how long."""
    sun_in_frame: tuple[datetime, datetime] | None = None
    """First and last time of a plan with the sun in a level frame."""
    sun_line: tuple[datetime, datetime] | None = None
    """Sunrise or sunset, and the moment of the plan that lies on its dark side."""
