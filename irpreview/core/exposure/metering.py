"""How much light there is: a typed meter reading, the phone snap's own exposure data, or the sun model.

Everything ends as an exposure value at ISO 100 with its doubt [EV], the value a meter would show for a mid grey:
``EV100 = log2(N^2 / t) - log2(ISO / 100)`` and ``EV100 = log2(E / 2.5)`` for an illuminance E [lx]
(ISO 2720:1974 as usually quoted: N^2/t = E S / C with C = 250).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.srgb import to_linear
from irpreview.core.units import parse_shutter, shutter_text
from irpreview.errors import BadValue
from irpreview.records import (
    Doubt,
    HandReading,
    Light,
    MeteredBy,
    MeterName,
    Photo,
    Range,
    ReadingsDisagree,
    Shot,
    SnapBlownOut,
    SnapReading,
    SnapTagsDisagree,
    SunReading,
)

INCIDENT_CONSTANT_C = 250.0
"""lux s; flat receptor, ISO 2720 allows 240-400 (from memory)."""
MIDDLE_GREY = 0.18

TYPED_METER_STOPS = 0.33
"""Half the 5-95 % range of a hand meter reading, common practice: a third of a stop."""
PHONE_STOPS = 0.8
"""Half the 5-95 % range of a phone's exposure data: it merges several frames and brightens shadows (assumed)."""
SUN_STOPS = Range(-1.2, 0.0, 0.35)
"""The sun model is a clear day: haze and thin cloud take light away, hardly anything adds (assumed)."""
CLOUD_STOPS = Range(-1.5, 0.0, 1.0)
"""The same under cloud, where thickness is not known (assumed)."""
DISAGREE_STOPS = 1.5

EV100_RANGE = (-6.0, 20.0)
"""Starlight to glare on snow, with room; outside it a reading is a slip of the hand."""


@dataclass(frozen=True, slots=True)
class Metering:
    """The light, how it was read, and what the other readings say."""

    ev100: Range
    by: MeteredBy
    doubts: tuple[Doubt, ...] = ()
    readings: Mapping[MeterName, Range] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def how(self) -> MeterName:
        """Which kind of reading it is."""
        return self.by.name


@dataclass(frozen=True, slots=True)
class TypedExposure:
    """An exposure as a person writes it; None = not said."""

    shutter_s: float | None = None
    f_number: float | None = None
    iso: float | None = None

    def filled_from(self, other: TypedExposure) -> TypedExposure:
        """The same, what was not said taken from `other`."""
        return TypedExposure(
            self.shutter_s if self.shutter_s is not None else other.shutter_s,
            self.f_number if self.f_number is not None else other.f_number,
            self.iso if self.iso is not None else other.iso,
        )

    @property
    def ev100(self) -> float | None:
        """Exposure value at ISO 100 [EV]; None where a part was not said."""
        return Shot(f_number=self.f_number, iso=self.iso, shutter_s=self.shutter_s).ev100

    @property
    def words(self) -> str:
        """As a person would write it."""
        parts = []
        if self.shutter_s is not None:
            parts.append(shutter_text(self.shutter_s))
        if self.f_number is not None:
            parts.append(f"f/{self.f_number:g}")
        if self.iso is not None:
            parts.append(f"ISO {self.iso:g}")
        return " ".join(parts)


def check_f_number(f_number: float) -> float:
    """The same f-number. Raises BadValue outside f/0.7 to f/128."""
    if not (0.7 <= f_number <= 128.0):
        raise BadValue(f"aperture f/{f_number:g} is outside f/0.7 to f/128; give the f-number on the lens, such as f/8")
    return f_number


def check_iso(iso: float) -> float:
    """The same ISO. Raises BadValue outside 1 to 10 million."""
    if not (1.0 <= iso <= 1e7):
        raise BadValue(f"ISO {iso:g} is outside ISO 1 to 10000000; give the ISO set on the camera, such as ISO 100")
    return iso


def check_shutter(shutter_s: float) -> float:
    """The same time [s]. Raises BadValue outside 1/64000 s to 24 h."""
    if not (1.0 / 64001.0 <= shutter_s <= 86400.0):
        raise BadValue(f"shutter {shutter_s:g} s is outside 1/64000 s to 24 h; give seconds, 1/125 or 2m30s")
    return shutter_s


def check_ev100(ev100: float) -> float:
    """The same exposure value [EV at ISO 100]. Raises BadValue outside -6 to 20."""
    low, high = EV100_RANGE
    if not (low <= ev100 <= high):
        raise BadValue(
            f"light of EV {ev100:.1f} at ISO 100 is outside {low:g} to {high:g} EV; check aperture, time and ISO "
            "of the reading (full sun is about EV 15)"
        )
    return ev100


def ev100_of(f_number: float, shutter_s: float, iso: float = 100.0) -> float:
    """Exposure value at ISO 100 of a setting [EV]. Raises BadValue for nonsense."""
    return math.log2(check_f_number(f_number) ** 2 / check_shutter(shutter_s)) - math.log2(check_iso(iso) / 100.0)


def ev100_of_lux(illuminance_lx: float, constant: float = INCIDENT_CONSTANT_C) -> float:
    """Exposure value at ISO 100 of an illuminance [lx]: E S / C = N^2 / t, ISO 2720:1974."""
    if not illuminance_lx > 0.0:
        raise BadValue(
            f"the light is {illuminance_lx:g} lx; there must be more than 0 lx: choose a time with the sun up"
        )
    return math.log2(illuminance_lx * 100.0 / constant)


# what a person writes ------------------------------------------------------------------------------------------

_F = re.compile(r"(?:\b[fF]|ƒ)\s*/?\s*(-?\d+(?:[.,]\d+)?)")
_ISO = re.compile(r"\bISO\s*[:=]?\s*(-?\d+(?:[.,]\d+)?)", re.IGNORECASE)
_ISO_AFTER = re.compile(r"(-?\d+(?:[.,]\d+)?)\s*ISO\b", re.IGNORECASE)
_FILLER = re.compile(r"\b(?:at|and|with|the|meter|said|says|shutter|for|looked|right|on|@)\b|[@;]", re.IGNORECASE)
_HOW_TO = "write it like 1/125 f/10 ISO 64"


def parse_exposure(text: str) -> TypedExposure:
    r"""An exposure as people write it: "1/125 at f/10, ISO 64", "f10 5min iso100", "2'30\" ISO 200", "30s".

    What is not said stays None. Raises BadValue when something in it cannot be read or lies outside its range.
    """
    rest = text.strip()
    if not rest:
        raise BadValue(f"the exposure is empty; {_HOW_TO}")
    f_number = iso = shutter_s = None
    for pattern in (_ISO, _ISO_AFTER):
        if match := pattern.search(rest):
            iso = check_iso(_number(match.group(1)))
            rest = rest[: match.start()] + " " + rest[match.end() :]
            break
    if match := _F.search(rest):
        f_number = check_f_number(_number(match.group(1)))
        rest = rest[: match.start()] + " " + rest[match.end() :]
    rest = _FILLER.sub(" ", rest)
    rest = re.sub(r"(?<!\d),|,(?!\d)", " ", rest).strip(" .,")
    if rest:
        shutter_s = check_shutter(_shutter_in(rest, text))
    if f_number is None and iso is None and shutter_s is None:
        raise BadValue(f"no aperture, time or ISO found in {text!r}; {_HOW_TO}")
    return TypedExposure(shutter_s, f_number, iso)


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _shutter_in(rest: str, whole: str) -> float:
    tidy = rest.lower().replace(",", ".")
    tidy = re.sub(r"minutes?|mins?|[′'’]", "m", tidy)
    tidy = re.sub(r"seconds?|secs?|[″\"”]", "s", tidy)
    tidy = re.sub(r"hours?|hrs?", "h", tidy)
    tidy = re.sub(r"\s+", "", tidy)
    if re.fullmatch(r"\d+(?:\.\d+)?m\d+(?:\.\d+)?", tidy):
        tidy += "s"
    try:
        return float(parse_shutter(tidy))
    except BadValue as error:
        raise BadValue(f"the time in {whole!r} cannot be read ({rest!r}); {_HOW_TO} or 2m30s") from error


# the three ways to know ---------------------------------------------------------------------------------------


def from_meter(reading: TypedExposure) -> Metering:
    """A typed meter reading; f-number, time and ISO must all be there. Raises BadValue."""
    missing = [
        name
        for name, value in (("time", reading.shutter_s), ("aperture", reading.f_number), ("ISO", reading.iso))
        if value is None
    ]
    if missing:
        raise BadValue(f"the meter reading lacks {' and '.join(missing)}; {_HOW_TO}")
    assert reading.f_number is not None
    assert reading.shutter_s is not None
    assert reading.iso is not None
    ev100 = ev100_of(reading.f_number, reading.shutter_s, reading.iso)
    return _by_hand(HandReading(ev100, reading.shutter_s, reading.f_number, reading.iso))


def from_ev(ev100: float) -> Metering:
    """A typed exposure value at ISO 100 [EV]. Raises BadValue outside -6 to 20."""
    return _by_hand(HandReading(ev100))


def _by_hand(reading: HandReading) -> Metering:
    ev = check_ev100(reading.ev100)
    ev_range = Range(ev - TYPED_METER_STOPS, ev, ev + TYPED_METER_STOPS)
    return Metering(ev_range, reading, (), {"meter": ev_range})


def from_snap(photo: Photo) -> Metering | None:
    """The phone snap as a light meter; None where its file holds no exposure data.

    Shutter, aperture and ISO give the exposure value; how bright the picture came out corrects it, because a camera
    also exposes for faces, sky or a dialled bias. Brightness counts half: the tone curve and the merging of frames
    have moved it too (assumed). A phone merges frames, so the range is wide.
    """
    shot = photo.shot
    if shot.ev100 is None and shot.brightness_ev is None:
        return None
    doubts: list[Doubt] = []
    estimates: list[float] = []
    if shot.ev100 is not None:
        estimates.append(shot.ev100)
    if shot.brightness_ev is not None:
        # APEX: Bv + Sv = Ev, and Sv of ISO 100 is 5 (the photographic convention of the EXIF standard).
        estimates.append(shot.brightness_ev + 5.0)
    if len(estimates) == 2 and abs(estimates[0] - estimates[1]) > DISAGREE_STOPS:
        doubts.append(SnapTagsDisagree(estimates[0], estimates[1]))
        estimates = estimates[:1]
    correction, clipped = picture_brightness_stops(photo.pixels)
    settings_ev = estimates[0] + 0.5 * correction
    centre = (settings_ev + estimates[1]) / 2.0 if len(estimates) == 2 else settings_ev
    if not (EV100_RANGE[0] <= centre <= EV100_RANGE[1]):
        return None
    high = PHONE_STOPS + (0.5 if clipped > 0.05 else 0.0)
    if clipped > 0.05:
        doubts.append(SnapBlownOut(clipped))
    spread = math.hypot(PHONE_STOPS, 0.35 * correction, (estimates[0] - estimates[-1]) / 2.0)
    ev = Range(centre - spread, centre, centre + max(high, spread))
    return Metering(ev, SnapReading(centre), tuple(doubts), {"snap": ev})


def picture_brightness_stops(pixels: NDArray[np.uint8]) -> tuple[float, float]:
    """How far the picture's mean lies above middle grey [stops], and the share of it that is blown out.

    pixels (H, W, 3) uint8 sRGB. Middle grey 0.18 of white is where ISO 12232's standard output sensitivity puts the
    metered mean (sRGB 118).
    """
    small = pixels[:: max(1, pixels.shape[0] // 200), :: max(1, pixels.shape[1] // 200)].astype(np.float64) / 255.0
    linear = to_linear(small)
    luminance = linear @ np.array([0.2126, 0.7152, 0.0722])
    clipped = float(np.mean(small.max(axis=2) >= 252 / 255))
    return float(np.clip(math.log2(max(float(luminance.mean()), 1e-4) / MIDDLE_GREY), -3.0, 2.5)), clipped


def as_if_on_grey(metered: Metering, scene_mean: float) -> Metering:
    """A snap's reading turned into what a grey card in the same light would have read.

    A camera meters what fills its frame. scene_mean: mean visible tone of that, white surface in this light = 1; a
    meadow of 0.09 reads a stop too dark for grey, snow reads high. Readings by hand and by sun model stay as they are.
    """
    if not isinstance(metered.by, SnapReading) or not scene_mean > 0:
        return metered
    above = min(max(math.log2(scene_mean / MIDDLE_GREY), -2.0), 2.0)
    doubt = 0.3 + 0.3 * abs(above)
    ev = metered.ev100
    likely = ev.likely - above
    corrected = Range(
        likely - math.hypot(ev.likely - ev.low, doubt), likely, likely + math.hypot(ev.high - ev.likely, doubt)
    )
    return replace(metered, ev100=corrected, by=replace(metered.by, above_grey_stops=above))


def from_sun(illuminance_lx: float, light: Light) -> Metering:
    """What the sun model says: an incident reading on level ground of `illuminance_lx` [lx] in `light`."""
    if light.sun_height_deg <= -6.0:
        raise BadValue(
            f"the sun stands {light.sun_height_deg:.1f} degrees high; light needs about -6 to 90 degrees: "
            "choose a time nearer to day, or give a meter reading"
        )
    ev = ev100_of_lux(illuminance_lx)
    doubt = CLOUD_STOPS if light.sky_state in ("overcast", "broken") else SUN_STOPS
    ev_range = Range(ev + doubt.low, ev, ev + doubt.high)
    return Metering(ev_range, SunReading(ev, light.sun_height_deg, illuminance_lx), (), {"sun": ev_range})


def compare(readings: tuple[Metering, ...]) -> Metering:
    """The best of the readings, with the others told and a large disagreement as a doubt.

    A hand reading goes before the snap, the snap before the sun model. Raises BadValue when there is none.
    """
    order: tuple[MeterName, ...] = ("meter", "snap", "sun")
    known = sorted(readings, key=lambda m: order.index(m.how))
    if not known:
        raise BadValue(
            'nothing says how much light there is: give a meter reading (--meter "1/125 f/10 ISO 64"), '
            "a snap with exposure data, or place and time"
        )
    best = known[0]
    doubts = list(best.doubts)
    for other in known[1:]:
        step = other.ev100.likely - best.ev100.likely
        if abs(step) > DISAGREE_STOPS:
            doubts.append(ReadingsDisagree(best.how, other.how, best.ev100.likely, other.ev100.likely))
    every = {name: value for metering in known for name, value in metering.readings.items()}
    return Metering(best.ev100, best.by, tuple(doubts), MappingProxyType(every))
