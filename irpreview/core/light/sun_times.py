"""Sunrise and sunset: when the upper edge of the sun stands on a level horizon."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from irpreview.core.light.daylight import sun_positions
from irpreview.records import Place

_LOOK_EVERY = timedelta(minutes=4)
"""A sun that is up or down for less than this may be missed; that happens on one day in a year near a polar circle."""
_PARTS = 16
"""A turn is closed in on by looking at so many parts of the time in which it lies, twice: to a second."""


def _up(place: Place, times: list[datetime]) -> list[bool]:
    """Whether the upper edge is above the horizon: true height above -0.833 degrees (the almanacs' convention).

    The apparent height of the sun's middle leaps there, from -0.83 to about -0.27 degrees, as refraction counts only
    for a sun that can be seen; any limit between the two tells it.
    """
    height, _ = sun_positions(place, times)
    return [bool(up) for up in np.asarray(height) > -0.5]


def sun_up_spans(place: Place, first: datetime, last: datetime) -> tuple[tuple[datetime, datetime], ...]:
    """(rise, set) of each time the sun is up between two aware moments, to a second, in the zone of `first`.

    One that is up already, or still, has the first or last moment itself for an end. Raises BadValue for a place that
    does not exist.
    """
    zone, begin, end = first.tzinfo, first.astimezone(UTC), last.astimezone(UTC)
    times = [begin + i * _LOOK_EVERY for i in range(int((end - begin) / _LOOK_EVERY) + 1)]
    if times[-1] < end:
        times.append(end)
    up = _up(place, times)
    turns = [_turn(place, a, b) for a, b, ua, ub in zip(times, times[1:], up, up[1:], strict=False) if ua != ub]
    edges = [*([begin] if up[0] else []), *turns, *([end] if up[-1] else [])]
    return tuple((a.astimezone(zone), b.astimezone(zone)) for a, b in zip(edges[::2], edges[1::2], strict=True))


def _turn(place: Place, before: datetime, after: datetime) -> datetime:
    """The moment between two at which the sun rises or sets."""
    for _ in range(2):
        part = (after - before) / _PARTS
        times = [before + i * part for i in range(_PARTS + 1)]
        up = _up(place, times)
        at = next((i for i in range(1, _PARTS) if up[i] != up[0]), _PARTS)
        before, after = times[at - 1], times[at]
    return before + (after - before) / 2
