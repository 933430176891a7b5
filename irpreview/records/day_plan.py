"""A day out: the places asked for, the stays planned there, what is left out and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from irpreview.records.caution import Caution
from irpreview.records.common import Doubt
from irpreview.records.light import Hardness, SunSide
from irpreview.records.photo import Place


@dataclass(frozen=True, slots=True)
class Viewpoint:
    """A place with the direction of its picture."""

    name: str
    place: Place
    heading_deg: float | None = None
    """Bearing of the view, degrees true; None = not known, any sun side is taken as middling."""
    focal_35mm_mm: float | None = None
    stay_min: int = 40
    hours: tuple[datetime, datetime] | None = None
    """The stay has to lie within these, both aware; None = any time of the day asked for."""
    snaps: tuple[str, ...] = ()
    """Names of the snaps taken here."""
    sha256: str = ""
    """Of the first snap's content, else empty."""


@dataclass(frozen=True, slots=True)
class Travelling:
    """How the ways are reckoned: straight distance, times a factor for detours, at one speed."""

    speed_km_h: float = 4.0
    detour: float = 1.3


@dataclass(frozen=True, slots=True)
class ViewHours:
    """The light of one viewpoint between the first and the last hour asked for."""

    right: tuple[tuple[datetime, datetime], ...]
    """Spans in which the light is right for this view."""
    hard_light_h: float
    """Hours of hard light, from whichever side. [h]"""
    highest_deg: float
    """Highest sun. [degrees]"""


@dataclass(frozen=True, slots=True)
class Stay:
    """One stay of the plan, and the way there."""

    view: Viewpoint
    distance_m: float
    """Straight, from where the day starts or from the stay before. [m]"""
    travel_min: int
    arrive: datetime
    begin: datetime
    end: datetime
    spare_min: int
    """Time in hand between arriving and beginning. [min]"""
    may_slip_min: int
    """How much later it may begin with no other stay moved and its own light kept. [min]"""
    right_light: bool
    """Whether the light is right from the first to the last minute."""
    light: float
    """Mean worth of the light over the stay, 0..1."""
    sun_height_deg: tuple[float, float]
    """At the begin and at the end. [degrees]"""
    sun_bearing_deg: tuple[float, float]
    sun_sides: tuple[SunSide, ...]
    """In the order in which they come, each once."""
    hardness: Hardness
    """At the middle of the stay."""
    sunlit_to_shade: float
    """At the middle of the stay."""
    sun_in_frame: bool | None
    """At any moment of the stay; None = heading or focal length not given."""
    hours: ViewHours


class LeftOutReason(StrEnum):
    """Why a place is not among the stays."""

    TOO_FAR = "too_far"
    """Even straight from the start, the stay would end too late."""
    OWN_HOURS = "own_hours"
    """Its own hours leave no room for the stay."""
    NO_SUN = "no_sun"
    """The sun stands too low for hard light as long as one can be there."""
    NO_LIGHT = "no_light"
    """The sun is up, but never lights this view while one can be there."""
    NO_ROOM = "no_room"
    """It could be reached alone, but not beside the others without losing more."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A place that the plan leaves out, and why."""

    view: Viewpoint
    reason: LeftOutReason
    distance_m: float
    """Straight, from where the day starts; 0 without a start. [m]"""
    travel_min: int
    """From there. [min]"""
    alone_begin: datetime | None
    """When its stay would best begin if it were the only place; None = never."""
    alone_right: bool
    """Whether it would have its right light then."""
    hours: ViewHours


class DayPlanDoubtKind(StrEnum):
    """What a plan of a day cannot know."""

    STRAIGHT_WAYS = "straight_ways"
    CLEAR_SKY_ONLY = "clear_sky_only"
    TIDE_AND_WEATHER = "tide_and_weather"
    ZONE_BY_LONGITUDE = "zone_by_longitude"
    NO_START = "no_start"
    NO_HEADING = "no_heading"
    SAME_VIEW = "same_view"
    CLIMB_LEFT_OUT = "climb_left_out"
    CLOCK_TWICE = "clock_twice"


@dataclass(frozen=True, slots=True)
class DayPlanDoubt(Doubt):
    """Why to doubt a plan, with what it is about."""

    kind: DayPlanDoubtKind
    names: tuple[str, ...] = ()
    """Places or times that it is about."""
    value: float | None = None
    """Factor of detours, or metres of climb."""


@dataclass(frozen=True, slots=True)
class PlannedDay:
    """The best order of a day's places."""

    first: datetime
    """From when on, aware. The ways count from here."""
    last: datetime
    """Until when."""
    zone_words: str
    start: Place | None
    back_at_start: bool
    travelling: Travelling
    stays: tuple[Stay, ...]
    left_out: tuple[LeftOut, ...]
    back_distance_m: float
    """Straight, from the last stay back to the start; 0 without a start. [m]"""
    back_at: datetime | None
    """When one is back at the start; None without start or stays."""
    sun_up: tuple[tuple[datetime, datetime], ...]
    """Sunrise to sunset (upper edge) at the start, else at the first place, within the calendar day or days of the
    plan."""
    in_hand_min: int
    """Time in hand over the whole plan: neither a stay nor a way. [min]"""
    cautions: tuple[Caution, ...]
    doubts: tuple[DayPlanDoubt, ...]
