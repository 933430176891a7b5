"""Pictures to make from where a snap was taken: which lens, which way up, where to point, and what becomes of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from irpreview.records.common import Range
from irpreview.records.exposure import FocusAdvice
from irpreview.records.motion import Movement
from irpreview.records.verdict import SeparationWord, Verdict

FramingRole = Literal["structure", "foliage", "sky", "water", "wind"]
"""What a framing is the best of; `wind` = what holds best in the wind of the day."""
SoftReason = Literal[
    "horizon_in_the_middle",
    "subject_cut_by_the_edge",
    "edge_cuts_a_thing",
    "much_empty_sky",
    "empty_corner",
    "subject_in_the_middle",
    "subject_off_the_middle",
    "subject_small",
]
FramingNote = Literal[
    "below_print_resolution",
    "verticals_lean",
    "little_of_the_snap",
    "nothing_leads",
    "close_call",
    "what_is_what_unsure",
]
ViewpointReason = Literal[
    "something_leads",
    "leads_more_strongly",
    "leads_more_clearly",
    "layers_part_better",
    "holds_better_in_the_wind",
]
"""Why to work from one standpoint and not from the next best."""
Orientation = Literal["lying", "standing"]
DifferenceReason = Literal["part_of_it", "harder_print", "softer_print", "near_the_limit"]
"""Why a framing and the whole snap differ on two neighbours: only part of a layer lies in the frame; the frame,
printed by itself, has more or less contrast; or it is near the limit in both."""


@dataclass(frozen=True, slots=True)
class Frame:
    """What a lens takes in, as a rectangle of the snap in shares of its width and height."""

    lens_mm: float
    focal_35mm_mm: float
    format: str
    """Long side to short side: "3:2"."""
    orientation: Orientation
    left: float
    top: float
    width: float
    height: float
    right_deg: float = 0.0
    """Where its middle lies from the middle of the snap; left is negative."""
    up_deg: float = 0.0
    sensor_share: float = 1.0
    """Long side of the picture over the long side of the sensor."""

    def box_px(self, width: int, height: int) -> tuple[int, int, int, int]:
        """(left, top, right, bottom) in a picture of the snap of this size [px]."""
        return (
            round(self.left * width),
            round(self.top * height),
            min(width, round((self.left + self.width) * width)),
            min(height, round((self.top + self.height) * height)),
        )


@dataclass(frozen=True, slots=True)
class PairDiffers:
    """Two neighbours of a framing of which the whole snap says something else."""

    a: int
    b: int
    """Layers of the framing's verdict."""
    here: SeparationWord
    in_the_snap: SeparationWord
    because: DifferenceReason
    cut: int | None = None
    """The layer of which only part lies in the frame, where that is why."""


@dataclass(frozen=True, slots=True)
class Framing:
    """A frame worth setting up for, judged like a snap."""

    frame: Frame
    roles: tuple[FramingRole, ...]
    verdict: Verdict
    """Of this frame, with the movement below."""
    movement: Movement
    plant_print_mm: Range | None
    """Blur of the plants that move most, on a print 30 x 40 cm; None = none in the frame."""
    worth: float
    """0..1, for the order of the framings of a snap."""
    reasons: tuple[SoftReason, ...] = ()
    notes: tuple[FramingNote, ...] = ()
    differs: tuple[PairDiffers, ...] = ()
    """From the verdict on the whole snap."""
    focus: FocusAdvice | None = None
    """With this lens at the aperture set; None = no exposure known."""


@dataclass(frozen=True, slots=True)
class Framings:
    """Best first; and the lenses that see more than the snap shows."""

    best: tuple[Framing, ...]
    wider_than_snap_mm: tuple[float, ...] = ()

    @property
    def leads(self) -> bool:
        """Whether anything leads in any of them; if not, they are what to come back for."""
        return any(one.verdict.lead in ("structure", "foliage", "sky") for one in self.best)


@dataclass(frozen=True, slots=True)
class Viewpoints:
    """Several snaps of one place, held against each other by their best framings."""

    place: str | None
    """A, B, C... as scouting names places; None = the snaps' place is not known."""
    order: tuple[int, ...]
    """The snaps of this place, as they were given, best first."""
    because: tuple[ViewpointReason, ...] = ()
    """What the first has over the second."""
    close: bool = False
    """The second is about as good."""
