"""A day plan from snaps and a list of places: what their files say, corrected by what was written of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from irpreview import installation
from irpreview.core.light.light_plan import parse_zone
from irpreview.core.planning.day_plan import plan_day
from irpreview.core.planning.day_request import parse_clock, parse_stay, span_of
from irpreview.core.planning.visiting_order import MOST_PLACES
from irpreview.errors import BadPhoto, BadValue, IrpreviewError
from irpreview.io.photos import LEAST_SIDE_PX, load_photo
from irpreview.io.places_file import PlaceEntry
from irpreview.records import Kit, Photo, Place
from irpreview.records.day_plan import DayPlanDoubt, DayPlanDoubtKind, PlannedDay, Travelling, Viewpoint
from irpreview.request import parse_place


@dataclass(frozen=True, slots=True)
class DayAsked:
    """What is asked of a day, as typed where a zone is needed to read it."""

    day: date
    first: str = "08:00"
    last: str = "20:00"
    zone: str | None = None
    start: Place | None = None
    back_at_start: bool = False
    stay_min: int = 40
    travelling: Travelling = field(default_factory=Travelling)
    haze: str | float = "normal"
    focal_35mm_mm: float | None = None
    """Lens for all pictures; None = that of each snap."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A place to plan before its clock times are read."""

    view: Viewpoint
    hours: tuple[str, str] | None = None


def spots_of(
    snaps: Sequence[Path],
    entries: Sequence[PlaceEntry],
    asked: DayAsked,
    refuse: Callable[[object, IrpreviewError], None],
) -> tuple[Spot, ...]:
    """The places of snaps and of a list, snaps first; what cannot be used goes to `refuse` and is left out.

    An entry that names one of the snaps, by path or else by file name, corrects that snap; one that names another photo
    adds it. Raises BadValue for an entry whose values make no sense.
    """
    told: dict[int, PlaceEntry] = {}
    more: list[PlaceEntry] = []
    for entry in entries:
        at = None if entry.snap is None else _named(snaps, entry.snap)
        if at is None:
            more.append(entry)
        elif at in told:
            raise BadValue(f"{entry.where}: {snaps[at].name} is named twice; keep one of the two")
        else:
            told[at] = entry
    pairs: list[tuple[Path | None, PlaceEntry | None]] = [(snap, told.get(i)) for i, snap in enumerate(snaps)]
    pairs += [(entry.snap, entry) for entry in more]
    spots = []
    for snap, given in pairs:
        photo = None
        try:
            if snap is not None:
                photo = load_photo(snap, max_side=LEAST_SIDE_PX)
            spots.append(_spot(photo, snap, given, asked))
        except BadPhoto as error:
            refuse(snap, error)
    return tuple(spots)


def _named(snaps: Sequence[Path], wanted: Path) -> int | None:
    """Which snap a list's entry means: the same file, else the only one with that file name."""
    same = [i for i, snap in enumerate(snaps) if snap.absolute() == wanted.absolute()]
    called = [i for i, snap in enumerate(snaps) if snap.name == wanted.name] if not wanted.exists() else []
    found = same or called
    return found[0] if len(found) == 1 else None


def _spot(photo: Photo | None, snap: Path | None, given: PlaceEntry | None, asked: DayAsked) -> Spot:
    where = "" if given is None else f"{given.where}: "
    place = None
    try:
        if given is not None and given.at is not None:
            place = parse_place(given.at)
        stay = asked.stay_min if given is None or given.stay is None else parse_stay(given.stay)
    except BadValue as error:
        raise BadValue(f"{where}{error}") from error
    if photo is not None:
        place = place or photo.place
    if place is None:
        name = "it" if snap is None else snap.name
        raise BadPhoto(f"{where}{name} does not say where it was taken; give its place in a list (--places), with at")
    heading = None if photo is None else photo.heading_deg
    focal = asked.focal_35mm_mm or (None if photo is None else photo.shot.focal_35mm_mm)
    name = "" if snap is None else snap.stem
    if given is not None:
        heading = heading if given.heading_deg is None else given.heading_deg
        focal = given.focal_35mm_mm or focal
        name = given.name or name or f"place {given.where.rsplit(' ', 1)[-1]}"
    view = Viewpoint(
        name=name,
        place=place,
        heading_deg=heading,
        focal_35mm_mm=focal,
        stay_min=stay,
        snaps=() if snap is None else (snap.name,),
        sha256="" if photo is None else photo.content_sha256,
    )
    return Spot(view, None if given is None else given.hours)


def plan_day_out(spots: Sequence[Spot], asked: DayAsked, kit: Kit) -> PlannedDay:
    """The plan. Raises BadValue for what cannot be planned."""
    if not spots:
        raise BadValue(f"no place to plan for; give 1 to {MOST_PLACES} snaps or places")
    zone, zone_words, unsure = parse_zone(asked.zone, asked.start or spots[0].view.place)
    (first, last), twice = span_of(asked.day, parse_clock(asked.first), parse_clock(asked.last), zone)
    views = []
    for spot in spots:
        view = spot.view
        if spot.hours is not None:
            opens, closes = (parse_clock(text) for text in spot.hours)
            hours, again = span_of(asked.day, opens, closes, zone)
            twice += again
            view = Viewpoint(
                view.name,
                view.place,
                view.heading_deg,
                view.focal_35mm_mm,
                view.stay_min,
                hours,
                view.snaps,
                view.sha256,
            )
        views.append(view)
    doubts = [DayPlanDoubt(DayPlanDoubtKind.ZONE_BY_LONGITUDE, (zone_words,))] if unsure else []
    if twice:
        doubts.append(DayPlanDoubt(DayPlanDoubtKind.CLOCK_TWICE, tuple(dict.fromkeys(twice))))
    return plan_day(
        views,
        first,
        last,
        zone_words,
        kit,
        installation.load_tables(),
        start=asked.start,
        back_at_start=asked.back_at_start,
        travelling=asked.travelling,
        haze=asked.haze,
        doubts=doubts,
    )
