"""What stands on the contact sheet of a scouting, in words, for paper and for the screen alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from irpreview.core.cautions import gust_m_s
from irpreview.core.motion.wind import beaufort_of
from irpreview.core.scouting.places import PlaceGroup, SketchMap, seen_from, sketch_map
from irpreview.core.scouting.ranking import Finding, Scouting, Snap, View, sky_text, taken_told
from irpreview.core.units import how_many, shutter_text
from irpreview.core.verdict.plausibility import ASSUMED_WIND_M_S
from irpreview.core.words import long_words
from irpreview.core.words.lead_words import LEAD_WORDS
from irpreview.core.words.phrases import wind_name, wind_text
from irpreview.core.words.verdict_words import neighbours_words
from irpreview.records import DEFAULT_GRADE, Caution, CautionKind, Conditions

MOST_SHOWN = 200
_MOST_LIKE = 12
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class Entry:
    """One view on the sheet."""

    rank: int
    contrast_rank: int
    name: str
    key: str
    """Under which its small pictures are kept."""
    lead: str
    lead_words: str
    contrast: str
    sentence: str
    figures: tuple[str, ...]
    taken: str
    taken_sort: str
    alike: str
    """The other snaps of the view, in one line; empty where there is none."""
    doubts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """Entries under one heading: a place, or all of them without any."""

    heading: str
    note: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class PlaceMap:
    """A sketch map and what is to be found at each of its places."""

    plan: SketchMap
    lines: tuple[tuple[str, str], ...]
    """(name of the place, words)."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """The contact sheet: what is on it, in order and in words."""

    title: str
    summary: tuple[str, ...]
    sections: tuple[Section, ...]
    maps: tuple[PlaceMap, ...]
    """Of places that lie near to each other; none for a place by itself."""
    locations: bool
    leads: Mapping[str, int]
    """Views per lead, of those shown."""
    refused: tuple[str, ...]
    cautions: tuple[str, ...]


def sheet_of(scouting: Scouting, title: str = "Scouting", most: int = MOST_SHOWN) -> Sheet:
    """The sheet of a scouting: the `most` best views, by place where places were asked for."""
    shown = scouting.views[:most]
    if scouting.with_places:
        sections = _by_place(scouting, shown)
    else:
        sections = (Section("", "", tuple(entry_of(v) for v in shown)),)
    leads: dict[str, int] = {}
    for view in shown:
        leads[view.best.finding.lead] = leads.get(view.best.finding.lead, 0) + 1
    return Sheet(
        title=title,
        summary=_summary(scouting, len(shown)),
        sections=sections,
        maps=_maps(scouting, shown),
        locations=scouting.with_places,
        leads={lead: leads[lead] for lead in LEAD_WORDS if lead in leads},
        refused=tuple(refusal_line(path, why) for path, why in scouting.refused),
        cautions=long_words(_cautions(scouting)),
    )


def refusal_line(path: str, why: str) -> str:
    """A refused file on one line, its path once."""
    path, why = clean(path), " ".join(clean(why).split())
    return why if path in why else f"{path}: {why}"


def clean(text: str) -> str:
    """Bytes of a file's name that are no text become question marks in a box."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _cautions(scouting: Scouting) -> tuple[Caution, ...]:
    """The usual ones of a walk; near an edge with the gust of the wind that was given."""
    gust = gust_m_s(Conditions(wind_m_s=(scouting.settings or {}).get("wind_m_s")))
    edge = Caution(CautionKind.EDGE_WIND_UNKNOWN if gust is None else CautionKind.EDGE, gust_m_s=gust)
    first, last = (Caution(CautionKind.SUN_EYES), Caution(CautionKind.TIDE_IF_TIDAL)), Caution(CautionKind.LOCAL_RULES)
    return (*first, edge, Caution(CautionKind.RUIN), last)


def _summary(scouting: Scouting, shown: int) -> tuple[str, ...]:
    settings: Mapping[str, Any] = scouting.settings or {}
    count = how_many(scouting.snap_count, "snap")
    if len(scouting.views) != scouting.snap_count:
        count += f" of {how_many(len(scouting.views), 'view')} (like ones together, the best shown)"
    lines = [count + "."]
    wind = settings.get("wind_m_s")
    air = (
        f"Wind: {wind_text(wind)}"
        if isinstance(wind, float)
        else f"Wind not given: a {wind_name(ASSUMED_WIND_M_S)} assumed"
    )
    light = "each in its own light"
    if settings.get("planned_sun_deg") is not None:
        light = f"a what-if: sun {settings['planned_sun_deg']:g} degrees high, the snaps' own shadows"
    elif settings.get("planned_time") is not None:
        light = f"a what-if: the light of {settings['planned_time']}, the snaps' own shadows"
    lines.append(
        f"{air}; {light}; kit {settings.get('kit', '')}, paper grade {settings.get('grade', DEFAULT_GRADE):g}."
    )
    if scouting.order == "lead":
        lines.append(
            "First what has a lead today, then what is worth waiting for, then the rest; in each, the strongest "
            "layered contrast (0 to 100) first."
        )
    else:
        lines.append("The strongest layered contrast (0 to 100) first.")
    if shown < len(scouting.views):
        lines.append(f"The best {shown} of {len(scouting.views)} views are shown; scout.csv and scout.json have all.")
    if scouting.refused:
        lines.append(f"{how_many(len(scouting.refused), 'file')} could not be used: see the end.")
    return tuple(lines)


def entry_of(view: View, exact: bool = False) -> Entry:
    """The words for one view. exact: the minute in which it was taken may be told, as its place is."""
    best = view.best
    finding = best.finding
    neighbours = finding.separates + finding.merges + finding.uncertain
    figures = [neighbours_words(finding.separates, neighbours), sky_text(finding)]
    if finding.shutter_s is not None:
        time = shutter_text(finding.shutter_s)
        figures.append(f"judged at {time}")
    if finding.lead_turns_at_wind_m_s is not None:
        figures.append(f"the lead changes near Beaufort {beaufort_of(finding.lead_turns_at_wind_m_s)}")
    return Entry(
        rank=view.rank,
        contrast_rank=view.contrast_rank,
        name=clean(best.path),
        key=best.key,
        lead=finding.lead,
        lead_words=LEAD_WORDS[finding.lead],
        contrast=f"{finding.layered_contrast:.0f}",
        sentence=finding.sentence,
        figures=tuple(figures),
        taken=taken_text(finding, exact),
        taken_sort=taken_told(finding, exact=exact) or "9999",
        alike=_alike(view.snaps[1:]),
        doubts=finding.doubts,
    )


def taken_text(finding: Finding, exact: bool) -> str:
    """ "21 Jun 2026, 10:37", where it is not to be exact "21 Jun 2026, about 10:30", or nothing."""
    told = taken_told(finding, exact=exact)
    if told is None:
        return ""
    at = datetime.fromisoformat(told)
    return f"{at.day} {_MONTHS[at.month - 1]} {at.year}, {'' if exact else 'about '}{at:%H:%M}"


def _alike(others: tuple[Snap, ...]) -> str:
    if not others:
        return ""
    names = ", ".join(clean(snap.path) for snap in others[:_MOST_LIKE])
    more = len(others) - _MOST_LIKE
    return f"Same view: {names}" + (f" and {more} more" if more > 0 else "") + "."


def _by_place(scouting: Scouting, shown: tuple[View, ...]) -> tuple[Section, ...]:
    sections = []
    for index, place in enumerate(scouting.places):
        views = [view for view in shown if view.place == index]
        if views:
            note = f"{how_many(len(views), 'view')} at {place_text(place)}"
            if index > 0:
                note += f", {seen_from(scouting.places[0].middle, place.middle)} of place {scouting.places[0].name}"
            sections.append(Section(f"Place {place.name}", note, tuple(entry_of(v, exact=True) for v in views)))
    rest = [view for view in shown if view.place is None]
    if rest:
        heading = "Place not known" if sections else ""
        note = how_many(len(rest), "view") if sections else "None of the snaps says where it was taken."
        sections.append(Section(heading, note, tuple(entry_of(v, exact=True) for v in rest)))
    return tuple(sections)


def place_text(place: PlaceGroup) -> str:
    """Latitude and longitude to about ten metres."""
    return f"{place.middle.latitude_deg:.4f}, {place.middle.longitude_deg:.4f}"


def _maps(scouting: Scouting, shown: tuple[View, ...]) -> tuple[PlaceMap, ...]:
    found: dict[int, list[View]] = {}
    for view in shown:
        if view.place is not None:
            found.setdefault(view.place, []).append(view)
    groups: dict[int, list[int]] = {}
    for index in sorted(found):
        groups.setdefault(scouting.places[index].map_index, []).append(index)
    maps = []
    for members in groups.values():
        if len(members) < 2:
            continue
        lines = []
        for index in members:
            best = found[index][0].best.finding
            words = f"{how_many(len(found[index]), 'view')}, the first: {LEAD_WORDS[best.lead]}, "
            lines.append((scouting.places[index].name, words + f"contrast {best.layered_contrast:.0f}"))
        maps.append(PlaceMap(sketch_map([scouting.places[index] for index in members]), tuple(lines)))
    return tuple(maps)
