"""Which frame brought home belongs to which snap and plan: by the pictures, by the clocks where those leave a doubt.

The picture decides: how far the edges agree when the frame is laid on a snap, and how much of that is lost when it is
pushed aside (`registration`). Clocks may be wrong by an hour or by a day's zone, so their common difference is taken
from the frames that the pictures place beyond doubt; only then does time help the others. What neither settles stays
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

from irpreview.core.imaging.registration import LEAST_BITE

WEAK_BITE = 0.04
"""Least agreement that counts where the clocks say the same, see `LEAST_BITE` for what counts alone."""
RIVAL_SHARE = 0.6
"""A second snap with this share of the best one's agreement shows the same view: the clocks choose between them."""
CLOCK_PAIRS = 3
"""So many frames beyond doubt tell the difference of the clocks."""
SAME_OUTING = timedelta(hours=13)
"""Further apart than this, a frame was not taken on the outing of the snap, whatever the clocks' zones."""
NEAR_IN_TIME = timedelta(minutes=20)
"""From snap to frame, with the clocks set right: mounting, framing, test frames."""
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
    sure = []
    for at, seen in enumerate(sightings):
        rivals = _rivals(seen)
        if len(rivals) == 1:
            apart = _apart(frame_clock[at], snap_clock[rivals[0].snap])
            if apart is not None and abs(apart) <= SAME_OUTING:
                sure.append(apart)
    clocks = common_difference(sure)
    return tuple(_placed(i, s, frame_clock[i], snap_clock, clocks) for i, s in enumerate(sightings)), clocks


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
    good = sorted((s for s in seen if s.bite >= LEAST_BITE), key=lambda s: -s.bite)
    return [s for s in good if s.bite >= RIVAL_SHARE * good[0].bite]


def _placed(
    frame: int,
    seen: Sequence[Sighting],
    clock: datetime | None,
    snap_clock: Sequence[datetime | None],
    clocks: Clocks | None,
) -> FrameMatch:
    def off(one: Sighting) -> timedelta | None:
        """How far from the common difference of the clocks."""
        apart = _apart(clock, snap_clock[one.snap])
        return None if apart is None or clocks is None else apart - clocks.ahead

    def made(one: Sighting, found: Found, rivals: Sequence[Sighting] = ()) -> FrameMatch:
        apart = _apart(clock, snap_clock[one.snap])
        after = None if apart is None else apart - (clocks.correction if clocks is not None else timedelta())
        others = tuple(r.snap for r in rivals if r.snap != one.snap)
        return FrameMatch(frame, one.snap, found, one.bite, after, rivals=others)

    rivals = _rivals(seen)
    if len(rivals) == 1:
        return made(rivals[0], Found.PICTURE)
    if rivals:
        timed = sorted(((abs(d), r) for r in rivals if (d := off(r)) is not None), key=lambda t: t[0])
        if len(timed) == len(rivals) and clocks is not None and timed[0][0] <= clocks.window:
            # the phone takes several snaps within a minute: then either will do, and the better one is taken
            first = [r for d, r in timed if d - timed[0][0] <= timedelta(minutes=2)]
            return made(max(first, key=lambda r: r.bite), Found.PICTURE_AND_TIME, rivals)
        clear = rivals[1].bite < 0.85 * rivals[0].bite
        return made(rivals[0], Found.PICTURE if clear else Found.EITHER, rivals)
    weak = sorted((s for s in seen if s.bite >= WEAK_BITE), key=lambda s: -s.bite)
    if weak and clocks is not None:
        d = off(weak[0])
        if d is not None and abs(d) <= clocks.window and weak[0].rough >= max(s.rough for s in seen) - 1e-9:
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
