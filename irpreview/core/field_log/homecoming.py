"""What a day's frames say once they are matched: predicted beside real, what was off, what the next plan learns."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from types import MappingProxyType

from irpreview.core.field_log.comparison import PartDifference
from irpreview.core.field_log.entries import HomeFrame
from irpreview.core.field_log.learning import Learned
from irpreview.core.field_log.matching import SAME_LIGHT, Clocks, Found
from irpreview.records import Range


@dataclass(frozen=True, slots=True)
class RealFrame:
    """One frame brought home beside what was predicted for it."""

    number: int
    """On the sheet, from 1."""
    name: str
    found: Found
    snap: str | None = None
    """Name of the snap it belongs to."""
    nearest: str | None = None
    """Where it belongs to none: the snap it is most like."""
    rivals: tuple[str, ...] = ()
    """Other snaps of the same view."""
    bite: float = 0.0
    """How surely it lies on the snap, see `Registration`."""
    after: timedelta | None = None
    """From snap to frame."""
    came_out_stops: float | None = None
    """A neutral grey in this light against middle grey."""
    expected_stops: Range | None = None
    """The same by the plan's factor at the exposure that was taken."""
    classes: Mapping[str, PartDifference] = field(default_factory=lambda: MappingProxyType({}))
    mean_error_zones: float | None = None
    home: HomeFrame | None = None
    """What the log takes in; None = nothing."""
    known: bool = False
    """In the log already."""
    why_not: str = ""
    """Why it could not be compared."""

    @property
    def off_stops(self) -> float | None:
        """How much brighter (+) it came out than predicted at the exposure that was taken. [stops]"""
        if self.came_out_stops is None or self.expected_stops is None:
            return None
        return self.came_out_stops - self.expected_stops.likely

    @property
    def within_range(self) -> bool | None:
        """Whether the range that was said covers it."""
        if self.came_out_stops is None or self.expected_stops is None:
            return None
        return self.expected_stops.low <= self.came_out_stops <= self.expected_stops.high

    @property
    def taken_in(self) -> bool:
        """Whether the log takes it in when the batch is taken."""
        return self.home is not None and not self.known


@dataclass(frozen=True, slots=True)
class Homecoming:
    """A day's frames, matched, compared, and not yet in the log."""

    batch: str
    """What it is called; the same frames, snaps and kit give the same name."""
    kit_name: str
    frames: tuple[RealFrame, ...]
    clocks: Clocks | None
    before: Learned
    """What the log teaches now."""
    after: Learned
    """What it will teach with these frames."""
    snaps: int
    unusable: tuple[tuple[str, str], ...] = ()
    """(name, why) of files that could not be used."""

    @property
    def taken_in(self) -> tuple[RealFrame, ...]:
        """The frames that the log takes in."""
        return tuple(one for one in self.frames if one.taken_in)


def batch_name(kit_key: str, pairs: Sequence[tuple[str, str | None]]) -> str:
    """Eight letters for a batch, from kit and (content of the frame, content of its snap), in any order."""
    text = "\n".join([kit_key, *sorted(f"{frame} {snap or ''}" for frame, snap in pairs)])
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def in_same_light(after: timedelta | None) -> bool:
    """Whether the light that was metered on the snap still held when the frame was taken."""
    return after is not None and -SAME_LIGHT <= after <= SAME_LIGHT


def expected_came_out(metered_ev100: Range, factor_stops: Range, frame_ev100: float) -> Range:
    """How a neutral grey should come out at the exposure taken: metered - taken - factor. [stops]"""
    factor_half = (factor_stops.high - factor_stops.low) / 2.0
    meter_half = (metered_ev100.high - metered_ev100.low) / 2.0
    likely = metered_ev100.likely - frame_ev100 - factor_stops.likely
    half = (factor_half**2 + meter_half**2) ** 0.5
    return Range(likely - half, likely, likely + half)
