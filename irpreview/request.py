"""What a photographer asks of a snap: one frozen record, whichever door it comes through.

None and "unknown" are fine answers everywhere: what is not said is taken from the snap, else assumed, and the answer
says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from irpreview.core.exposure.metering import Metering
from irpreview.core.exposure.setting import Wishes
from irpreview.core.motion.clip_motion import ClipMotion
from irpreview.records import DEFAULT_GRADE, Conditions, Kit, Place

Corrections = tuple[tuple[NDArray[np.bool_], str], ...]
"""(mask, class name) in the order painted; a mask (h, w) of any size is laid over the whole picture."""

Lessons = Callable[[Kit, float | None], Kit]
"""The kit as the field log taught it, for a height of the sun [degrees], None = not known."""


@dataclass(frozen=True, slots=True)
class PlannedLight:
    """Another light than the snap's own, a what-if: the sun at a height, or at a time and place."""

    sun_height_deg: float | None = None
    when: datetime | None = None
    """Aware."""
    place: Place | None = None
    """None = where the snap was taken."""
    haze: str | float | None = None
    """`clear`, `normal`, `hazy` or an optical depth; None = as on the day of the snap."""


@dataclass(frozen=True, slots=True)
class Request:
    """Everything that can be said of one snap; every field has a working default."""

    kit: Kit | None = None
    """None = 720 nm long-pass on an unmodified camera."""
    lessons: Lessons | None = None
    """What the field log taught, applied to the kit; None = the kit as it stands."""
    place: Place | None = None
    """Where the snap was taken, if the file does not say or is wrong."""
    taken_at: datetime | None = None
    """Aware; likewise."""
    heading_deg: float | None = None
    """Bearing of the view, degrees true; likewise."""
    planned: PlannedLight | None = None
    conditions: Conditions = field(default_factory=Conditions)
    wishes: Wishes = field(default_factory=Wishes)
    readings: tuple[Metering, ...] = ()
    """Light metered by hand; they go before what the snap's own exposure says."""
    in_shade: bool = False
    shutter_s: float | None = None
    """The time that movement and verdict are told for; None = the recommended one."""
    grade: float = DEFAULT_GRADE
    film_look: bool = False
    corrections: Corrections = ()
    clip: ClipMotion | None = None
    """Movement measured in a few seconds of film of this scene; goes before the wind table."""
