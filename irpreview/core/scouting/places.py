"""Snaps by place: which were taken at one spot, and where the spots lie to each other on a sketch map.

Distances on a sphere of the mean radius (haversine); a sketch map uses the equirectangular projection about its own
middle, which is true to scale within a few parts in a thousand over the 20 km that one map spans at most.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from irpreview.records import Place

EARTH_RADIUS_M = 6_371_008.8
"""Mean radius (IUGG)."""
ONE_SPOT_M = 120.0
"""Snaps within this distance of the first one were taken at one place: a minute's walk, and several times what a
phone's fix is off under trees (common practice)."""
ONE_MAP_M = 10_000.0
"""Places within this distance of the first one share a sketch map."""
_SCALE_STEPS = (1.0, 2.0, 5.0)


@dataclass(frozen=True, slots=True)
class PlaceGroup:
    """One spot: mean of the snaps taken there, how many views, and which sketch map it is on."""

    name: str
    """A, B, C... in the order in which they come in the ranking."""
    middle: Place
    views: int
    map_index: int


@dataclass(frozen=True, slots=True)
class SketchMap:
    """Places of one map in metres east and north of its south-west corner; no background."""

    names: tuple[str, ...]
    east_m: tuple[float, ...]
    north_m: tuple[float, ...]
    width_m: float
    height_m: float
    bar_m: float
    """A round length for the scale bar, at most a third of the width."""
    label_at: tuple[tuple[float, float], ...] = ()
    """Where the middle of each name goes, (east, north) of the corner, beside its dot and clear of the others. [m]"""


def letters(number: int) -> str:
    """A..Z, AA..AZ, BA... for 0, 1, 2..."""
    out = ""
    number += 1
    while number:
        number, digit = divmod(number - 1, 26)
        out = chr(ord("A") + digit) + out
    return out


def distance_m(a: Place, latitude_deg: NDArray[np.float64], longitude_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """Great-circle distance from `a` to points (n,) in degrees. (n,) [m]"""
    lat, lon = np.radians(latitude_deg), np.radians(longitude_deg)
    lat0, lon0 = math.radians(a.latitude_deg), math.radians(a.longitude_deg)
    h = np.sin((lat - lat0) / 2) ** 2 + math.cos(lat0) * np.cos(lat) * np.sin((lon - lon0) / 2) ** 2
    return np.asarray(2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(h, 0, 1))))


def straight_m(a: Place, b: Place) -> float:
    """Great-circle distance between two places. [m]"""
    return float(distance_m(a, np.array([b.latitude_deg]), np.array([b.longitude_deg]))[0])


def _gather(places: Sequence[Place], within_m: float) -> list[int]:
    """Index of the group of each place: the nearest first member within reach, else a new group."""
    lat, lon = np.empty(len(places)), np.empty(len(places))
    count = 0
    out = []
    for place in places:
        if count:
            away = distance_m(place, lat[:count], lon[:count])
            nearest = int(np.argmin(away))
            if away[nearest] <= within_m:
                out.append(nearest)
                continue
        lat[count], lon[count] = place.latitude_deg, place.longitude_deg
        out.append(count)
        count += 1
    return out


def _middle(places: Sequence[Place]) -> Place:
    """Mean of places near to each other, also across the date line."""
    first = places[0].longitude_deg
    east = [(p.longitude_deg - first + 180.0) % 360.0 - 180.0 for p in places]
    longitude = (first + sum(east) / len(east) + 180.0) % 360.0 - 180.0
    return Place(sum(p.latitude_deg for p in places) / len(places), longitude)


def group_places(places: Sequence[Place | None]) -> tuple[tuple[PlaceGroup, ...], list[int | None]]:
    """The spots, in the order in which they first come, and for each entry the index of its spot (None = unknown)."""
    known = [p for p in places if p is not None]
    if not known:
        return (), [None] * len(places)
    spots = _gather(known, ONE_SPOT_M)
    count = max(spots) + 1
    middles = [_middle([p for p, s in zip(known, spots, strict=True) if s == i]) for i in range(count)]
    maps = _gather(middles, ONE_MAP_M)
    groups = tuple(PlaceGroup(letters(i), middles[i], spots.count(i), maps[i]) for i in range(count))
    follow = iter(spots)
    return groups, [None if p is None else next(follow) for p in places]


def sketch_map(groups: Sequence[PlaceGroup]) -> SketchMap:
    """Where the places of one map lie to each other. A margin of a tenth is left all round; at least 200 m wide."""
    first = groups[0].middle
    per_deg = math.radians(1.0) * EARTH_RADIUS_M
    latitudes = [g.middle.latitude_deg for g in groups]
    shrink = math.cos(math.radians((min(latitudes) + max(latitudes)) / 2))
    east = [((g.middle.longitude_deg - first.longitude_deg + 180.0) % 360.0 - 180.0) * per_deg * shrink for g in groups]
    north = [(g.middle.latitude_deg - first.latitude_deg) * per_deg for g in groups]
    side = max(max(east) - min(east), max(north) - min(north), 160.0)
    margin = 0.12 * side
    # no map is a thread: at least three fifths as high as wide and the other way round
    width = max(max(east) - min(east), 0.6 * side) + 2 * margin
    height = max(max(north) - min(north), 0.6 * side) + 2 * margin
    west = (max(east) + min(east)) / 2 - width / 2
    south = (max(north) + min(north)) / 2 - height / 2
    dots = [(e - west, n - south) for e, n in zip(east, north, strict=True)]
    names = tuple(g.name for g in groups)
    return SketchMap(
        names=names,
        east_m=tuple(d[0] for d in dots),
        north_m=tuple(d[1] for d in dots),
        width_m=width,
        height_m=height,
        bar_m=_round_length(width / 3),
        label_at=_labels(names, dots, max(width, height)),
    )


def _labels(
    names: Sequence[str], dots: Sequence[tuple[float, float]], side_m: float
) -> tuple[tuple[float, float], ...]:
    """A spot for each name beside its dot: the first of sixteen that covers no dot and no name, else the freest."""
    high = 0.035 * side_m
    away = 0.034 * side_m
    placed: list[tuple[float, float, float]] = []
    for name, (x, y) in zip(names, dots, strict=True):
        wide = 0.026 * side_m * len(name)
        best, best_cost = (x, y), math.inf
        for ring in (1.0, 1.9):
            for turn in (0, 4, 2, 6, 1, 7, 3, 5):
                angle = math.radians(45 * turn)
                lx = x + ring * (away + wide / 2 - 0.013 * side_m) * math.cos(angle)
                ly = y + ring * away * math.sin(angle)
                cost = 0.01 * ring + sum(
                    max(0.0, 1 - abs(lx - ox) / ((wide + ow) / 2)) * max(0.0, 1 - abs(ly - oy) / high)
                    for ox, oy, ow in (*placed, *((dx, dy, high) for dx, dy in dots))
                )
                if cost < best_cost - 1e-9:
                    best, best_cost = (lx, ly), cost
        placed.append((*best, wide))
    return tuple((x, y) for x, y, _ in placed)


def _round_length(most_m: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above this. [m]"""
    power = 10.0 ** math.floor(math.log10(most_m))
    return max(step * power for step in _SCALE_STEPS if step * power <= most_m * (1 + 1e-9))


_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def seen_from(origin: Place, other: Place) -> str:
    """Where a place lies as it is said: "600 m north-east", "12 km west"."""
    away = straight_m(origin, other)
    east = (other.longitude_deg - origin.longitude_deg + 180.0) % 360.0 - 180.0
    lat0, lat1 = math.radians(origin.latitude_deg), math.radians(other.latitude_deg)
    # initial bearing of the great circle
    y = math.sin(math.radians(east)) * math.cos(lat1)
    x = math.cos(lat0) * math.sin(lat1) - math.sin(lat0) * math.cos(lat1) * math.cos(math.radians(east))
    wind = _WINDS[round(math.degrees(math.atan2(y, x)) / 45.0) % 8]
    if away < 1000:
        return f"{max(10, round(away, -1)):.0f} m {wind}"
    return f"{away / 1000:.1f} km {wind}" if away < 10_000 else f"{away / 1000:.0f} km {wind}"


def length_text(metres: float) -> str:
    """A length as it is said: "200 m", "2 km"."""
    return f"{metres:.0f} m" if metres < 1000 else f"{metres / 1000:g} km"
