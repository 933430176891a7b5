"""What one line of the field log holds: where, with what, what was planned, what was taken, how it came out."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime
from types import MappingProxyType
from typing import Literal

from irpreview.core.exposure.metering import check_ev100, check_f_number, check_iso, check_shutter
from irpreview.errors import BadValue
from irpreview.records import CLASS_NAMES, Kit, Place, Range

OUTCOMES = ("unknown", "good", "thin", "dense", "clipped", "blocked", "failed")
OUTCOME_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "unknown": "not judged",
        "good": "came out as wanted",
        "thin": "too dark, still printable",
        "dense": "too bright, still printable",
        "clipped": "blown out: brighter than the file can say",
        "blocked": "black: darker than the file can say",
        "failed": "not a frame to learn from",
    }
)
_CAME_OUT_BY_WORD: Mapping[str, float] = MappingProxyType(
    {"good": 0.0, "thin": -1.0 / 3.0, "dense": 1.0 / 3.0, "clipped": 2.0, "blocked": -4.0}
)
"""How a frame came out, in stops, where a word alone was given; the least that the word means. A third of a stop is the
smallest step that is called too dark or too bright (common practice, no source)."""
TEXT_LIMIT = 2000
CAME_OUT_LIMIT_STOPS = 12.0
FIRST_YEAR, LAST_YEAR = 1900, 2200
Bound = Literal["exact", "at_most", "at_least"]


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One frame of the field log; None = not known. `id` 0 and an empty `uid` = not in a log yet."""

    kit_name: str
    kit_key: str = ""
    """`kit_key(kit)`: tells when filter or sensor of a kit of the same name changed."""
    taken_at: datetime | None = None
    taken_on: date | None = None
    """The day, where the time of day is not known; follows from `taken_at` otherwise."""
    place_name: str | None = None
    place: Place | None = None
    snap_path: str | None = None
    snap_sha256: str | None = None
    planned_iso: float | None = None
    planned_f_number: float | None = None
    planned_shutter_s: float | None = None
    frame_path: str | None = None
    iso: float | None = None
    f_number: float | None = None
    shutter_s: float | None = None
    focal_mm: float | None = None
    lens: str | None = None
    metered_ev100: float | None = None
    """What a meter or the snap said of the visible light. [EV at ISO 100]"""
    came_out_stops: float | None = None
    """How much brighter (+) than the meter's middle grey the subject came out. [stops]"""
    outcome: str = "unknown"
    subject: str | None = None
    """Class that was judged, None = neutral grey."""
    in_shade: bool = False
    sun_height_deg: float | None = None
    notes: str = ""
    frame_sha256: str | None = None
    """Content of the frame's file: the same frame is taken in once."""
    batch: str | None = None
    """Which homecoming brought it, so that all of it can be taken back."""
    id: int = 0
    uid: str = ""

    @property
    def day(self) -> date | None:
        """The day of the frame, by its time or as it was typed."""
        return self.taken_at.date() if self.taken_at is not None else self.taken_on

    @property
    def frame_ev100(self) -> float | None:
        """Exposure value of the frame taken [EV at ISO 100], None where a part is missing."""
        if self.iso is None or self.f_number is None or self.shutter_s is None:
            return None
        return math.log2(self.f_number**2 / self.shutter_s) - math.log2(self.iso / 100.0)

    @property
    def raw_factor_stops(self) -> float | None:
        """Factor that this frame alone says, of its own subject and light. [stops]

        metered - taken - came out; where no number was given, the outcome's word says the least that it means.
        """
        taken = self.frame_ev100
        if taken is None or self.metered_ev100 is None or self.outcome == "failed":
            return None
        came_out = self.came_out_stops
        if came_out is None:
            came_out = _CAME_OUT_BY_WORD.get(self.outcome)
        return None if came_out is None else self.metered_ev100 - taken - came_out

    @property
    def lacks(self) -> tuple[str, ...]:
        """What is missing before this frame can teach anything, in words; empty where nothing is."""
        if self.outcome == "failed":
            return ()
        parts = {
            "ISO": self.iso,
            "aperture": self.f_number,
            "time": self.shutter_s,
            "metered light": self.metered_ev100,
        }
        out = [name for name, value in parts.items() if value is None]
        if self.came_out_stops is None and self.outcome not in _CAME_OUT_BY_WORD:
            out.append("how it came out")
        return tuple(out)

    @property
    def bound(self) -> Bound:
        """A blown-out frame was at least that bright: the factor is at most what it says; a black one, at least.

        So it is with one that is only called too bright or too dark; where it was said by how much, that counts.
        """
        if self.outcome == "clipped" or (self.outcome == "dense" and self.came_out_stops is None):
            return "at_most"
        if self.outcome == "blocked" or (self.outcome == "thin" and self.came_out_stops is None):
            return "at_least"
        return "exact"


@dataclass(frozen=True, slots=True)
class SpotRecord:
    """What a frame of an even subject told about a lens at one focal length and aperture."""

    kit_name: str
    lens: str
    focal_mm: float
    f_number: float
    strength_stops: Range
    radius_share: float
    """Radius of the bump as a share of half the diagonal."""
    frames: int = 1
    id: int = 0


@dataclass(frozen=True, slots=True)
class ToneDifference:
    """Predicted against taken, for one class of one frame."""

    kit_name: str
    class_name: str
    difference_stops: float
    """Taken minus predicted, after exposure and contrast of the frame were matched. [stops]"""
    share: float
    """Share of the compared picture."""
    pair_key: str
    """Which pair it came from."""


@dataclass(frozen=True, slots=True)
class HomeFrame:
    """A frame brought home as the log takes it in."""

    entry: LogEntry
    plan: int | None = None
    """Number of the entry that planned it, None = none did."""
    differences: tuple[ToneDifference, ...] = ()


ENTRY_FIELDS = tuple(f.name for f in fields(LogEntry))


def kit_key(kit: Kit) -> str:
    """Twelve letters that change when anything does that moves the factor: filter, sensor, its infrared cut."""
    curve = b"" if kit.filter_curve is None else kit.filter_curve.value.tobytes()
    text = (
        f"{kit.filter_cut_on_nm:g}|{kit.filter_leak:g}|{kit.sensor}|{kit.infrared_cut_edge_nm:g}|"
        f"{kit.infrared_cut_slope_nm:g}|{kit.infrared_cut_floor:g}"
    )
    return hashlib.sha256(text.encode() + curve).hexdigest()[:12]


def check_entry(entry: LogEntry) -> LogEntry:
    """The same entry. Raises BadValue with one line for the first value that cannot be."""
    if not entry.kit_name.strip():
        raise BadValue("a log entry needs the name of its kit; give a built-in kit or a kit file")
    for iso in (entry.iso, entry.planned_iso):
        if iso is not None:
            check_iso(iso)
    for f_number in (entry.f_number, entry.planned_f_number):
        if f_number is not None:
            check_f_number(f_number)
    for shutter_s in (entry.shutter_s, entry.planned_shutter_s):
        if shutter_s is not None:
            check_shutter(shutter_s)
    if entry.metered_ev100 is not None:
        check_ev100(entry.metered_ev100)
    _within("came out", entry.came_out_stops, -CAME_OUT_LIMIT_STOPS, CAME_OUT_LIMIT_STOPS, "stops")
    _within("sun height", entry.sun_height_deg, -90.0, 90.0, "degrees")
    _within("focal length", entry.focal_mm, 1.0, 3000.0, "mm")
    if entry.outcome not in OUTCOMES:
        raise BadValue(f"outcome {entry.outcome!r} is not known; give one of {', '.join(OUTCOMES)}")
    if entry.subject is not None and entry.subject not in CLASS_NAMES:
        raise BadValue(f"subject {entry.subject!r} is not known; give one of {', '.join(CLASS_NAMES)}, or leave it out")
    if entry.taken_at is not None and entry.taken_at.tzinfo is None:
        raise BadValue(f"time {entry.taken_at} has no zone; write it with its offset, like 2026-06-21T10:30+02:00")
    if entry.place is not None:
        _within("latitude", entry.place.latitude_deg, -90.0, 90.0, "degrees")
        _within("longitude", entry.place.longitude_deg, -180.0, 180.0, "degrees")
        _within("altitude", entry.place.altitude_m, -500.0, 9000.0, "m")
    for name in ("kit_name", "place_name", "snap_path", "snap_sha256", "frame_path", "lens", "notes"):
        _plain_text(name, getattr(entry, name), TEXT_LIMIT)
    for name in ("kit_key", "uid", "frame_sha256", "batch"):
        _plain_text(name, getattr(entry, name), 64)
    day = entry.day
    if day is not None and not (FIRST_YEAR <= day.year <= LAST_YEAR):
        raise BadValue(f"date {day} is outside {FIRST_YEAR} to {LAST_YEAR}; check the year")
    return entry


def _plain_text(name: str, text: str | None, most: int) -> None:
    """Raises BadValue for text that is too long or that no file can hold."""
    if text is None:
        return
    broken = "\x00" in text or any("\ud800" <= letter <= "\udfff" for letter in text)
    if broken or len(text) > most:
        raise BadValue(f"{name.replace('_', ' ')} must be plain text of at most {most} letters; shorten or mend it")


def check_spot(spot: SpotRecord) -> SpotRecord:
    """The same row of the lens table. Raises BadValue."""
    if not spot.kit_name.strip() or not spot.lens.strip():
        raise BadValue("a hot spot needs the names of its kit and its lens")
    _plain_text("lens", spot.lens, TEXT_LIMIT)
    _plain_text("kit name", spot.kit_name, TEXT_LIMIT)
    check_f_number(spot.f_number)
    _within("focal length", spot.focal_mm, 1.0, 3000.0, "mm")
    for end in (spot.strength_stops.low, spot.strength_stops.likely, spot.strength_stops.high):
        _within("strength", end, -5.0, 10.0, "stops")
    _within("number of frames", spot.frames, 1, 100_000, "frames")
    _within("radius", spot.radius_share, 0.01, 2.0, "of half the diagonal")
    return spot


def check_difference(difference: ToneDifference) -> ToneDifference:
    """The same comparison. Raises BadValue."""
    if difference.class_name not in CLASS_NAMES:
        raise BadValue(f"class {difference.class_name!r} is not known; one of {', '.join(CLASS_NAMES)}")
    if not difference.kit_name.strip() or not difference.pair_key:
        raise BadValue("a comparison needs the name of its kit and its pair")
    _plain_text("kit name", difference.kit_name, TEXT_LIMIT)
    _plain_text("pair", difference.pair_key, TEXT_LIMIT)
    _within("difference", difference.difference_stops, -12.0, 12.0, "stops")
    _within("share", difference.share, 0.0, 1.0, "of the picture")
    return difference


def _within(name: str, value: float | None, low: float, high: float, unit: str) -> None:
    if value is not None and not (low <= value <= high):
        raise BadValue(f"{name} {value:g} {unit} is outside {low:g} to {high:g} {unit}; check it")


@dataclass(frozen=True, slots=True)
class SearchWish:
    """What to look for in the log; None = anything."""

    place: str | None = None
    """Part of a place's name."""
    near: Place | None = None
    within_km: float = 5.0
    since: date | None = None
    until: date | None = None
    kit_name: str | None = None
    text: str | None = None
    """Part of the notes."""
    most: int | None = None
    newest_first: bool = True
