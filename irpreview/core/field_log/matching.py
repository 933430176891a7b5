"""Which frame brought home belongs to which snap and plan: by the pictures, by the clocks where those leave a doubt.

The picture decides: how far the edges agree when the frame is laid on a snap, and how much of that is lost when it is
pushed aside (`registration`). Clocks may be wrong by an hour or by a day's zone, so their common difference is taken
from the frames that the pictures place beyond doubt; only then does time help the others. Where several snaps show one
view, their frames are given out together, so that two frames do not take each other's snap. What neither settles stays
open: a frame that is left out costs one entry typed by hand, a wrong one spoils what the log teaches.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from types import MappingProxyType

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from irpreview.core.imaging.registration import LEAST_BITE

WEAK_BITE = 0.04
"""Least agreement that counts where the clocks say the same, see `LEAST_BITE` for what counts alone."""
BITE_BY_ITSELF = 2.0 * LEAST_BITE
LIKE_AT_FIRST_LOOK = 0.39
"""A frame that bites less than `BITE_BY_ITSELF` must be as like at first look: of 132 frames on their own snaps none
was below 0.41; a street taken for a porch, agreement 0.07, was 0.24, a cathedral for a pyramid, 0.09, was 0.37."""
RIVAL_SHARE = 0.6
"""A second snap with this share of the best one's agreement shows the same view: the clocks choose between them."""
CLEARLY_LESS = 0.85
"""A second snap with less than this share of the best one's agreement is told from it by the picture alone."""
TIME_WEIGHT = 3.0
"""What a frame at the edge of the clocks' window costs; 1 = an agreement that is `CLEARLY_LESS`. So a clock that keeps
time outweighs the pictures of one view, and one that jumps does not."""
FARTHEST = 4.0
"""More than twice the window off is off."""
SHARED = 0.3
"""What it costs that a snap has a frame already: nearly alike snaps of one view get a frame each."""
NEVER = 1e6
CLOCK_PAIRS = 3
"""So many frames beyond doubt tell the difference of the clocks."""
SAME_OUTING = timedelta(hours=13)
"""Further apart than this, a frame was not taken on the outing of the snap, whatever the clocks' zones."""
NEAR_IN_TIME = timedelta(minutes=20)
"""From snap to frame, with the clocks set right: mounting, framing, test frames."""
KEEPS_TIME = timedelta(minutes=45)
"""A clock that scatters more says nothing for a weak sight."""
SAME_LIGHT = timedelta(minutes=30)
"""For so long the light that was metered on the snap holds."""
NO_CORRECTION_BELOW = timedelta(minutes=20)
"""A smaller difference of the clocks is the time between snap and frame."""


class Found(StrEnum):
    """How a frame was placed."""

    PICTURE = "picture"
    PICTURE_AND_TIME = "picture_and_time"
    EITHER = "either"
    """Two snaps show the same view and nothing tells which it was; the likelier one stands."""
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Sighting:
    """A frame laid on one snap."""

    snap: int
    bite: float
    """How much agreement of the edges is lost when it is pushed aside, see `Registration`."""
    rough: float = 0.0
    """Likeness at first look, -1..1."""


@dataclass(frozen=True, slots=True)
class Clocks:
    """The camera's clock against the phone's, as far as frames beyond doubt tell it."""

    ahead: timedelta
    """How much later the frames' clock reads than the snaps', the time between snap and frame included."""
    spread: timedelta
    pairs: int

    @property
    def correction(self) -> timedelta:
        """What to take off the frames' times; nothing where it is no more than the time between snap and frame."""
        return self.ahead if abs(self.ahead) > NO_CORRECTION_BELOW else timedelta()

    @property
    def window(self) -> timedelta:
        """How far from the common difference one frame may lie."""
        return max(NEAR_IN_TIME, 3 * self.spread)


@dataclass(frozen=True, slots=True)
class FrameMatch:
    """Where one frame belongs."""

    frame: int
    snap: int | None
    found: Found
    bite: float = 0.0
    after: timedelta | None = None
    """From snap to frame with the clocks' common difference taken off; None = not both are known."""
    nearest: int | None = None
    """Of a frame that was not placed: the snap it is most like."""
    rivals: tuple[int, ...] = ()
    """Other snaps that show the same view."""


def match_frames(
    sightings: Sequence[Sequence[Sighting]],
    frame_clock: Sequence[datetime | None],
    snap_clock: Sequence[datetime | None],
) -> tuple[tuple[FrameMatch, ...], Clocks | None]:
    """Match every frame with a snap or with none. Several frames may belong to one snap.

    sightings: per frame how it lies on the snaps it was tried on. The clocks are naive, each as its device wrote it.
    """
    rivals = [_rivals(seen) for seen in sightings]
    clocks = common_difference(_differences(rivals, frame_clock, snap_clock, 1))
    if clocks is None:  # the views were taken several times each; most frames do lie best on their own
        clocks = common_difference(_differences(rivals, frame_clock, snap_clock, len(snap_clock)))
    chosen = _given_out(rivals, frame_clock, snap_clock, clocks)
    return (
        tuple(
            _placed(i, s, rivals[i], chosen.get(i), frame_clock[i], snap_clock, clocks) for i, s in enumerate(sightings)
        ),
        clocks,
    )


def common_difference(apart: Sequence[timedelta]) -> Clocks | None:
    """Median difference of frame and snap clock and its scatter; None below three frames."""
    if len(apart) < CLOCK_PAIRS:
        return None
    seconds = np.array([d.total_seconds() for d in apart])
    middle = float(np.median(seconds))
    spread = 1.4826 * float(np.median(np.abs(seconds - middle)))
    return Clocks(timedelta(seconds=round(middle)), timedelta(seconds=round(spread)), len(apart))


def _rivals(seen: Sequence[Sighting]) -> list[Sighting]:
    """The snaps on which the frame surely lies, best first; more than one where they show the same view."""
    good = sorted((s for s in seen if _lies(s)), key=lambda s: -s.bite)
    return [s for s in good if s.bite >= RIVAL_SHARE * good[0].bite]


def _lies(one: Sighting) -> bool:
    return one.bite >= (LEAST_BITE if one.rough >= LIKE_AT_FIRST_LOOK else BITE_BY_ITSELF)


def _differences(
    rivals: Sequence[Sequence[Sighting]],
    frame_clock: Sequence[datetime | None],
    snap_clock: Sequence[datetime | None],
    most_rivals: int,
) -> list[timedelta]:
    """How much later the frames' clock reads than that of the snap on which each lies best."""
    out = []
    for clock, seen in zip(frame_clock, rivals, strict=True):
        apart = _apart(clock, snap_clock[seen[0].snap]) if 1 <= len(seen) <= most_rivals else None
        if apart is not None and abs(apart) <= SAME_OUTING:
            out.append(apart)
    return out


def _given_out(
    rivals: Sequence[Sequence[Sighting]],
    frame_clock: Sequence[datetime | None],
    snap_clock: Sequence[datetime | None],
    clocks: Clocks | None,
) -> dict[int, Sighting]:
    """Frame -> the snap it gets, so that picture and time together fit best over the whole folder.

    Frames that share snaps with each other are given out together (Kuhn and Munkres' assignment); a snap may get
    several, each after the first at a small cost.
    """
    some = [(f, r) for f, seen in enumerate(rivals) for r in seen]
    if not some:
        return {}
    snaps = 1 + max(r.snap for _, r in some)
    links = coo_array(
        (np.ones(len(some)), ([f for f, _ in some], [len(rivals) + r.snap for _, r in some])),
        shape=(len(rivals) + snaps,) * 2,
    )
    group_of = connected_components(links, directed=False)[1]
    out: dict[int, Sighting] = {}
    for group in dict.fromkeys(int(group_of[f]) for f, _ in some):
        frames = [f for f in range(len(rivals)) if rivals[f] and group_of[f] == group]
        columns = sorted({r.snap for f in frames for r in rivals[f]})
        cost = np.full((len(frames), len(frames) * len(columns)), NEVER)
        for row, f in enumerate(frames):
            for one in rivals[f]:
                own = _picture_cost(one, rivals[f]) + _time_cost(one, frame_clock[f], snap_clock, clocks)
                at = columns.index(one.snap)
                for again in range(len(frames)):
                    cost[row, again * len(columns) + at] = own + (SHARED if again else 0.0)
        for place, column in zip(*linear_sum_assignment(cost), strict=True):
            f, snap = frames[int(place)], columns[int(column) % len(columns)]
            out[f] = next(r for r in rivals[f] if r.snap == snap)
    return out


def _picture_cost(one: Sighting, rivals: Sequence[Sighting]) -> float:
    return float(np.log(one.bite / rivals[0].bite) / np.log(CLEARLY_LESS))


def _time_cost(
    one: Sighting, clock: datetime | None, snap_clock: Sequence[datetime | None], clocks: Clocks | None
) -> float:
    """Nothing where the time of one of them is not known."""
    apart = _apart(clock, snap_clock[one.snap])
    if apart is None or clocks is None:
        return 0.0
    return TIME_WEIGHT * min(((apart - clocks.ahead) / clocks.window) ** 2, FARTHEST)


def _placed(
    frame: int,
    seen: Sequence[Sighting],
    rivals: Sequence[Sighting],
    chosen: Sighting | None,
    clock: datetime | None,
    snap_clock: Sequence[datetime | None],
    clocks: Clocks | None,
) -> FrameMatch:
    def made(one: Sighting, found: Found) -> FrameMatch:
        apart = _apart(clock, snap_clock[one.snap])
        after = None if apart is None else apart - (clocks.correction if clocks is not None else timedelta())
        others = tuple(r.snap for r in rivals if r.snap != one.snap)
        return FrameMatch(frame, one.snap, found, one.bite, after, rivals=others)

    if chosen is not None:
        others = [r for r in rivals if r.snap != chosen.snap]
        if all(r.bite < CLEARLY_LESS * chosen.bite for r in others):
            return made(chosen, Found.PICTURE)
        own = _time_cost(chosen, clock, snap_clock, clocks)
        timed = all(_apart(clock, snap_clock[r.snap]) is not None for r in others)
        if timed and all(_time_cost(r, clock, snap_clock, clocks) >= own + 1.0 for r in others):
            return made(chosen, Found.PICTURE_AND_TIME)
        return made(chosen, Found.EITHER)
    weak = sorted((s for s in seen if s.bite >= WEAK_BITE), key=lambda s: -s.bite)
    if weak and clocks is not None and clocks.window <= KEEPS_TIME:
        apart = _apart(clock, snap_clock[weak[0].snap])
        near = apart is not None and abs(apart - clocks.ahead) <= clocks.window
        if near and weak[0].rough >= max(s.rough for s in seen) - 1e-9:
            return made(weak[0], Found.PICTURE_AND_TIME)
    nearest = max(seen, key=lambda s: (s.bite, s.rough), default=None)
    return FrameMatch(
        frame, None, Found.NONE, 0.0 if nearest is None else nearest.bite, nearest=nearest.snap if nearest else None
    )


def _apart(frame: datetime | None, snap: datetime | None) -> timedelta | None:
    return None if frame is None or snap is None else frame - snap


def plans_for(frame_ev100: Mapping[int, float | None], plan_ev100: Mapping[int, float | None]) -> Mapping[int, int]:
    """Which frame is the one of which plan, of the frames and plans of one snap: the exposures that lie nearest.

    frame_ev100, plan_ev100: exposure values by number [EV at ISO 100], None = not known. One frame for one plan; frames
    beyond the plans are left out. Returns frame -> plan.
    """
    frames, plans = list(frame_ev100), list(plan_ev100)
    if not frames or not plans:
        return MappingProxyType({})
    cost = np.array([[_distance(frame_ev100[f], plan_ev100[p]) for p in plans] for f in frames])
    rows, columns = linear_sum_assignment(cost)
    return MappingProxyType({frames[r]: plans[c] for r, c in zip(rows, columns, strict=True)})


def _distance(a: float | None, b: float | None) -> float:
    return 20.0 if a is None or b is None else min(abs(a - b), 20.0)
