"""The facts that a phone or camera wrote into a photo: time, place, bearing of the view, exposure.

Tags by Exif 2.32 (CIPA DC-008-2019). Nothing here is trusted: every number is checked against what it can be,
and what fails becomes a doubt beside the photo, never an error.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from irpreview.errors import BadValue
from irpreview.records import PhotoDoubt, PhotoDoubtKind, Place, Shot

EXIF_FOLDER, GPS_FOLDER = 0x8769, 0x8825
ORIENTATION = 0x0112
_DATE_TIME = 0x0132
_EXPOSURE_TIME, _F_NUMBER, _ISO, _ORIGINAL = 0x829A, 0x829D, 0x8827, 0x9003
_OFFSET_ORIGINAL, _OFFSET = 0x9011, 0x9010
_SHUTTER_APEX, _APERTURE_APEX, _BRIGHTNESS, _BIAS = 0x9201, 0x9202, 0x9203, 0x9204
_RECOMMENDED_EXPOSURE_INDEX, _FOCAL_35MM = 0x8832, 0xA405
_LATITUDE_REF, _LATITUDE, _LONGITUDE_REF, _LONGITUDE, _ALTITUDE_REF, _ALTITUDE = 1, 2, 3, 4, 5, 6
_GPS_TIME, _GPS_DATE = 7, 29
_HEADING_REF, _HEADING = 16, 17
_QUARTER_ZONES_MIN = (345, 525, 765, 825)
"""Zones at a quarter past or to the hour: +05:45, +08:45, +12:45 and +13:45 (IANA time zone database)."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What the file says, as far as it makes sense."""

    taken_at: datetime | None = None
    taken_at_naive: datetime | None = None
    place: Place | None = None
    heading_deg: float | None = None
    shot: Shot = field(default_factory=Shot)
    doubts: tuple[PhotoDoubt, ...] = ()


def time_zone(name: str) -> tzinfo:
    """A zone by its name ("Europe/Oslo"), as an offset ("+02:00") or "UTC". Raises BadValue."""
    if match := re.fullmatch(r"(?:UTC|GMT)?([+-])(\d{1,2}):?(\d{2})?", name.strip(), re.IGNORECASE):
        hours, minutes = int(match[2]), int(match[3] or 0)
        if hours <= 14 and minutes < 60:
            offset = timedelta(hours=hours, minutes=minutes)
            return timezone(-offset if match[1] == "-" else offset)

    try:
        return ZoneInfo(name.strip())
    except (KeyError, ValueError, OSError) as error:  # unknown, malformed, or a path that is a folder
        raise BadValue(
            f"time zone {name!r} is not known; write one like Europe/Oslo, or an offset like +02:00"
        ) from error


def facts_of(exif: Mapping[int, Any], inner: Mapping[int, Any], gps: Mapping[int, Any], zone: str | None) -> Facts:
    """Check and translate what the three tag folders say.

    exif, inner, gps: tag number to value as Pillow reads them. zone: for a time without its own offset.
    """
    doubts: list[PhotoDoubt] = []
    taken_at, naive = _time(exif, inner, gps, zone, doubts)
    return Facts(
        taken_at=taken_at,
        taken_at_naive=naive,
        place=_place(gps, doubts),
        heading_deg=_heading(gps, doubts),
        shot=_shot(inner, doubts),
        doubts=tuple(doubts),
    )


def _number(value: object) -> float | None:
    """A finite number, or None: rationals with a zero denominator come as nan, broken tags as anything."""
    if isinstance(value, (tuple, list)):
        value = value[0] if len(value) == 1 else None
    if isinstance(value, (str, bytes)) or value is None:
        return None
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) else None


def _text(value: object) -> str:
    if isinstance(value, bytes):
        value = value.decode("latin-1")
    return value.strip(" \x00\t\r\n") if isinstance(value, str) else ""


def _time(
    exif: Mapping[int, Any],
    inner: Mapping[int, Any],
    gps: Mapping[int, Any],
    zone: str | None,
    doubts: list[PhotoDoubt],
) -> tuple[datetime | None, datetime | None]:
    written = _text(inner.get(_ORIGINAL)) or _text(exif.get(_DATE_TIME))
    if not written or not written.strip("0: "):
        return None, None
    try:
        naive = datetime.strptime(written[:19], "%Y:%m:%d %H:%M:%S")
    except ValueError:
        doubts.append(PhotoDoubt(PhotoDoubtKind.TIME_MAKES_NO_SENSE, text=written[:30]))
        return None, None
    if naive.year < 1990 or naive.year > 2100:
        doubts.append(PhotoDoubt(PhotoDoubtKind.YEAR_MAKES_NO_SENSE, naive.year))
        return None, None
    offset = _text(inner.get(_OFFSET_ORIGINAL)) or _text(inner.get(_OFFSET))
    if offset and re.fullmatch(r"[+-]\d{2}:\d{2}|Z", offset):
        try:
            return naive.replace(tzinfo=time_zone("+00:00" if offset == "Z" else offset)), naive
        except BadValue:
            doubts.append(PhotoDoubt(PhotoDoubtKind.OFFSET_MAKES_NO_SENSE, text=offset))
    if zone is not None:
        return naive.replace(tzinfo=time_zone(zone)), naive
    if (satellite := _offset_by_satellite(naive, gps)) is not None:
        aware = naive.replace(tzinfo=satellite)
        doubts.append(PhotoDoubt(PhotoDoubtKind.ZONE_BY_SATELLITE, text=f"{aware:UTC%z}"))
        return aware, naive
    doubts.append(PhotoDoubt(PhotoDoubtKind.ZONE_NOT_KNOWN, text=f"{naive:%Y-%m-%d %H:%M}"))
    return None, naive


def _offset_by_satellite(naive: datetime, gps: Mapping[int, Any]) -> timezone | None:
    """The zone of the place, from the satellites' clock (UTC) in the same photo, if the two differ by a real offset."""
    clock, day = gps.get(_GPS_TIME), _text(gps.get(_GPS_DATE))
    if not isinstance(clock, (tuple, list)) or len(clock) != 3:
        return None
    hours, minutes, seconds = (_number(part) for part in clock)
    if hours is None or minutes is None or seconds is None or not 0 <= hours < 24:
        return None
    try:
        utc = datetime.strptime(day, "%Y:%m:%d") + timedelta(hours=hours, minutes=minutes, seconds=seconds)
    except (ValueError, OverflowError):
        return None
    off_min = (naive - utc).total_seconds() / 60.0
    quarter = round(off_min / 15.0) * 15
    # a fix may be a few minutes old; whole and half hours and the few zones at three quarters are all there are
    if abs(off_min - quarter) > 4.0 or not -12 * 60 <= quarter <= 14 * 60:
        return None
    if quarter % 30 == 15 and quarter not in _QUARTER_ZONES_MIN:
        return None
    return timezone(timedelta(minutes=quarter))


def _angle(value: object, most: float) -> float | None:
    """Degrees from a degrees-minutes-seconds triple, within 0..most."""
    if not isinstance(value, (tuple, list)) or len(value) != 3:
        return None
    parts = [_number(part) for part in value]
    if any(part is None or part < 0 for part in parts):
        return None
    degrees, minutes, seconds = (part or 0.0 for part in parts)
    angle = degrees + minutes / 60.0 + seconds / 3600.0
    return angle if minutes < 60.0 + 1e-9 and seconds < 60.0 + 1e-9 and angle <= most else None


def _place(gps: Mapping[int, Any], doubts: list[PhotoDoubt]) -> Place | None:
    if _LATITUDE not in gps and _LONGITUDE not in gps:
        return None
    latitude, longitude = _angle(gps.get(_LATITUDE), 90.0), _angle(gps.get(_LONGITUDE), 180.0)
    north, east = _text(gps.get(_LATITUDE_REF)).upper(), _text(gps.get(_LONGITUDE_REF)).upper()
    if latitude is None or longitude is None or north not in ("N", "S") or east not in ("E", "W"):
        doubts.append(PhotoDoubt(PhotoDoubtKind.PLACE_MAKES_NO_SENSE))
        return None
    if latitude == 0.0 and longitude == 0.0:
        doubts.append(PhotoDoubt(PhotoDoubtKind.PLACE_IS_ZERO))
        return None
    return Place(
        latitude_deg=-latitude if north == "S" else latitude,
        longitude_deg=-longitude if east == "W" else longitude,
        altitude_m=_altitude(gps, doubts),
    )


def _altitude(gps: Mapping[int, Any], doubts: list[PhotoDoubt]) -> float:
    altitude = _number(gps.get(_ALTITUDE))
    if altitude is None:
        return 0.0
    below = gps.get(_ALTITUDE_REF) in (1, b"\x01")
    altitude = -altitude if below else altitude
    if not -500.0 <= altitude <= 9000.0:
        doubts.append(PhotoDoubt(PhotoDoubtKind.ALTITUDE_MAKES_NO_SENSE, altitude, -500.0, 9000.0))
        return 0.0
    return altitude


def _heading(gps: Mapping[int, Any], doubts: list[PhotoDoubt]) -> float | None:
    if _HEADING not in gps:
        return None
    heading = _number(gps.get(_HEADING))
    if heading is None or not 0.0 <= heading <= 360.0:
        doubts.append(PhotoDoubt(PhotoDoubtKind.BEARING_MAKES_NO_SENSE))
        return None
    if _text(gps.get(_HEADING_REF)).upper() == "M":
        doubts.append(PhotoDoubt(PhotoDoubtKind.BEARING_IS_MAGNETIC, heading))
    return heading % 360.0


def _within(value: float | None, low: float, high: float, what: str, doubts: list[PhotoDoubt]) -> float | None:
    if value is None or value == 0.0:  # 0 = not known, by the standard
        return None
    if low <= value <= high:
        return value
    doubts.append(PhotoDoubt(PhotoDoubtKind.FIGURE_MAKES_NO_SENSE, value, low, high, what))
    return None


def _shot(inner: Mapping[int, Any], doubts: list[PhotoDoubt]) -> Shot:
    shutter, f_number = _number(inner.get(_EXPOSURE_TIME)), _number(inner.get(_F_NUMBER))
    if not shutter and (apex := _number(inner.get(_SHUTTER_APEX))) is not None and abs(apex) < 30:
        shutter = 2.0**-apex  # APEX: Tv = -log2(t)
    if not f_number and (apex := _number(inner.get(_APERTURE_APEX))) is not None and abs(apex) < 30:
        f_number = 2.0 ** (apex / 2.0)  # APEX: Av = 2 log2(N)
    iso = _number(_first(inner.get(_ISO)))
    if iso == 65535.0:  # the field is full: the true value stands in another
        iso = _number(inner.get(_RECOMMENDED_EXPOSURE_INDEX))
    brightness = _number(inner.get(_BRIGHTNESS))
    if brightness is not None and not -20.0 <= brightness <= 20.0:  # also FFFFFFFF = unknown
        brightness = None
    bias = _number(inner.get(_BIAS))
    if bias is not None and not -10.0 <= bias <= 10.0:
        bias = None
    return Shot(
        focal_35mm_mm=_within(_number(_first(inner.get(_FOCAL_35MM))), 4.0, 3000.0, "The focal length [mm]", doubts),
        f_number=_within(f_number, 0.5, 256.0, "The aperture", doubts),
        iso=_within(iso, 1.0, 4_000_000.0, "The ISO", doubts),
        shutter_s=_within(shutter, 1e-6, 86400.0, "The exposure [s]", doubts),
        brightness_ev=brightness,
        exposure_bias_ev=bias,
    )


def _first(value: object) -> object:
    return value[0] if isinstance(value, (tuple, list)) and value else value
