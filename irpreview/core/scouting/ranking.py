"""Many snaps at once: what is kept of each verdict, in which order they come, which belong together.

Nothing here opens a file: `irpreview.scouting` does the work, `io.scout_store` keeps it, `io.contact_sheet` shows it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from datetime import datetime
from pathlib import PurePosixPath
from typing import Any, Literal

from irpreview.core.light.coarse_sun import coarse_time
from irpreview.core.scouting.near_duplicates import group_views
from irpreview.core.scouting.places import PlaceGroup, group_places
from irpreview.core.words.verdict_words import reasons
from irpreview.records import ByteArray, LeadChoice, Photo, Place, SceneMap, Verdict

Order = Literal["lead", "contrast"]

_LEAD_ORDER: Mapping[LeadChoice, int] = {"structure": 0, "foliage": 0, "sky": 0, "wait": 1, "none": 2}


@dataclass(frozen=True, slots=True)
class Finding:
    """What is kept of one judged snap. No place in it: that is kept apart and only where it was asked for."""

    lead: LeadChoice
    landscape: bool
    """False: not a daylight landscape, so it stands behind all that are and has no place among them."""
    sentence: str
    """Why, in one sentence."""
    lead_turns_at_wind_m_s: float | None
    """Wind at which the lead turns; None = it does not, or cannot be told. [m/s]"""
    layered_contrast: float
    parting: float
    depth: float
    range: float
    layers: tuple[str, ...]
    """Near to far."""
    separates: int
    merges: int
    uncertain: int
    sky: str
    sky_okta: int | None
    sky_texture_stops: float
    shutter_s: float | None
    taken: str | None
    """The snap's own clock without its zone (which would tell the region), ISO 8601; told by `taken_told`."""
    doubts: tuple[str, ...]
    model_id: str

    def as_dict(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)

    @classmethod
    def of_dict(cls, kept: Mapping[str, Any]) -> Finding:
        """The finding of `as_dict`, also after a way through JSON. Raises KeyError, TypeError for what is none."""
        known: dict[str, Any] = {f.name: kept[f.name] for f in fields(cls)}
        return cls(**known | {n: tuple(v) for n, v in known.items() if isinstance(v, list)})

    @property
    def taken_at(self) -> datetime | None:
        """When the snap was taken."""
        return None if self.taken is None else datetime.fromisoformat(self.taken)


def finding_of(
    photo: Photo, scene: SceneMap, verdict: Verdict, shutter_s: float | None, doubts: Sequence[str]
) -> Finding:
    """What is kept of a verdict."""
    words = [separation.says for separation in verdict.separations]
    taken = photo.taken_at.replace(tzinfo=None) if photo.taken_at is not None else photo.taken_at_naive
    turns = verdict.turns_at_wind_m_s
    parts = verdict.layered_contrast_parts
    return Finding(
        lead=verdict.lead,
        landscape=verdict.gate.landscape,
        sentence=reasons(verdict)[0].text,
        lead_turns_at_wind_m_s=None if turns is None else round(turns.likely, 2),
        layered_contrast=verdict.layered_contrast,
        parting=parts.parting,
        depth=parts.depth,
        range=parts.range,
        layers=tuple(layer.name for layer in verdict.layers),
        separates=words.count("separates"),
        merges=words.count("merges"),
        uncertain=words.count("uncertain"),
        sky=verdict.sky.word,
        sky_okta=verdict.sky.okta,
        sky_texture_stops=round(verdict.sky.texture_stops, 3),
        shutter_s=None if shutter_s is None else float(f"{shutter_s:.6g}"),
        taken=None if taken is None else taken.isoformat(),
        doubts=tuple(dict.fromkeys(doubts)),
        model_id=scene.model_id,
    )


@dataclass(frozen=True, slots=True)
class Snap:
    """One judged file of the folder."""

    path: str
    """Relative to the folder, with forward slashes."""
    key: str
    """Of its content and all that the judgement depends on."""
    finding: Finding
    fingerprint: ByteArray
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class View:
    """Snaps of one view, the best first."""

    rank: int
    contrast_rank: int
    snaps: tuple[Snap, ...]
    place: int | None = None
    """Number of the place group of its best snap, from 0."""

    @property
    def best(self) -> Snap:
        """The snap that stands for the view."""
        return self.snaps[0]


@dataclass(frozen=True, slots=True)
class Scouting:
    """A folder's snaps in order, and what could not be read."""

    views: tuple[View, ...]
    refused: tuple[tuple[str, str], ...]
    """(relative path, one line why), by path."""
    order: Order
    places: tuple[PlaceGroup, ...] = ()
    """Empty unless places were asked for."""
    with_places: bool = False
    settings: Mapping[str, Any] | None = None

    @property
    def snap_count(self) -> int:
        """How many snaps all its views hold."""
        return sum(len(view.snaps) for view in self.views)


def rank_key(snap: Snap, order: Order) -> tuple[Any, ...]:
    """What sorts snaps, best first. By lead: what leads today, then what is worth waiting for, then the rest; inside
    each by layered contrast. What is no daylight landscape comes after all that are. By contrast: by that alone. Equal
    ones by path, so that the order never depends on chance.
    """
    finding = snap.finding
    contrast = (-finding.layered_contrast, *_natural(snap.path))
    refused = not finding.landscape
    return (refused, *contrast) if order == "contrast" else (refused, _LEAD_ORDER[finding.lead], *contrast)


def _natural(path: str) -> tuple[int, str]:
    return len(PurePosixPath(path).parts), path


def arrange(
    snaps: Sequence[Snap],
    refused: Sequence[tuple[str, str]] = (),
    order: Order = "lead",
    *,
    with_places: bool = False,
    settings: Mapping[str, Any] | None = None,
) -> Scouting:
    """Group near-duplicates, put the best of each view first and the views in order.

    The same snaps give the same answer in whatever order they come.
    """
    by_path = sorted(snaps, key=lambda s: s.path)
    # bursts come in the order in which they were taken, so that the first of each stands for it
    in_time = sorted(by_path, key=lambda s: (s.finding.taken or "9999", s.path))
    homes = group_views([s.fingerprint for s in in_time], [s.finding.taken_at for s in in_time])
    groups: dict[int, list[Snap]] = defaultdict(list)
    for snap, home in zip(in_time, homes, strict=True):
        groups[home].append(snap)
    views = [tuple(sorted(group, key=lambda s: rank_key(s, order))) for group in groups.values()]
    views.sort(key=lambda group: rank_key(group[0], order))
    by_contrast = sorted(range(len(views)), key=lambda i: min(rank_key(s, "contrast") for s in views[i]))
    contrast_rank = {i: n for n, i in enumerate(by_contrast, 1)}
    made = [View(rank=i + 1, contrast_rank=contrast_rank[i], snaps=group) for i, group in enumerate(views)]
    places: tuple[PlaceGroup, ...] = ()
    if with_places:
        places, of_snap = group_places([(view.best.place) for view in made])
        made = [replace(view, place=at) for view, at in zip(made, of_snap, strict=True)]
    return Scouting(
        views=tuple(made),
        refused=tuple(sorted(refused)),
        order=order,
        places=places,
        with_places=with_places,
        settings=settings,
    )


def sky_text(finding: Finding) -> str:
    """The sky in two or three words: "sky 3/8 cloud", "clear sky", "no sky"."""
    if finding.sky == "none":
        return "no sky"
    if finding.sky in ("clear", "hazy"):
        return f"{finding.sky} sky"
    if finding.sky == "overcast":
        return "overcast"
    return "sky with form" if finding.sky_okta is None else f"{finding.sky_okta}/8 cloud"


# --- as tables ------------------------------------------------------------------------------------------------------

COLUMNS = (
    "rank",
    "contrast_rank",
    "in_view",
    "photo",
    "lead",
    "landscape",
    "sentence",
    "layered_contrast",
    "parting",
    "depth",
    "range",
    "separates",
    "merges",
    "uncertain",
    "layers",
    "sky",
    "sky_okta",
    "sky_texture_stops",
    "shutter_s",
    "lead_turns_at_wind_m_s",
    "taken",
)
PLACE_COLUMNS = ("place", "latitude_deg", "longitude_deg")


def snap_facts(scouting: Scouting, view: View, index: int) -> dict[str, Any]:
    """One snap of a view as plain values; with its place only where places were asked for."""
    snap = view.snaps[index]
    finding = snap.finding
    facts: dict[str, Any] = {
        "rank": view.rank,
        "contrast_rank": view.contrast_rank,
        "in_view": index + 1,
        "photo": snap.path,
        "lead": finding.lead,
        "landscape": finding.landscape,
        "sentence": finding.sentence,
        "layered_contrast": finding.layered_contrast,
        "parting": finding.parting,
        "depth": finding.depth,
        "range": finding.range,
        "separates": finding.separates,
        "merges": finding.merges,
        "uncertain": finding.uncertain,
        "layers": list(finding.layers),
        "sky": finding.sky,
        "sky_okta": finding.sky_okta,
        "sky_texture_stops": finding.sky_texture_stops,
        "shutter_s": finding.shutter_s,
        "lead_turns_at_wind_m_s": finding.lead_turns_at_wind_m_s,
        "taken": taken_told(finding, exact=scouting.with_places),
        "doubts": list(finding.doubts),
    }
    if scouting.with_places:
        facts["place"] = None if view.place is None else scouting.places[view.place].name
        facts["latitude_deg"] = None if snap.place is None else round(snap.place.latitude_deg, 6)
        facts["longitude_deg"] = None if snap.place is None else round(snap.place.longitude_deg, 6)
    return facts


def taken_told(finding: Finding, *, exact: bool) -> str | None:
    """The snap's own time, on the half hour where no places are told. ISO 8601."""
    at = finding.taken_at
    return finding.taken if exact or at is None else coarse_time(at).isoformat()


def all_facts(scouting: Scouting) -> list[dict[str, Any]]:
    """`snap_facts` of every snap: views by rank, in each the best first."""
    return [snap_facts(scouting, view, i) for view in scouting.views for i in range(len(view.snaps))]


def geojson(scouting: Scouting) -> dict[str, Any]:
    """The snaps whose place is known as a FeatureCollection (RFC 7946: WGS 84, longitude first)."""
    features = []
    for facts in all_facts(scouting):
        longitude, latitude = facts.pop("longitude_deg"), facts.pop("latitude_deg")
        if longitude is None:
            continue
        facts.pop("doubts")
        features.append(
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [longitude, latitude]},
                "properties": facts,
            }
        )
    return {"type": "FeatureCollection", "features": features}
