"""What the wind does inside one frame: the longer the lens the larger on the print, the farther away the smaller.

The rates of the whole snap are those of its nearer plants. A long lens that leaves the meadow at the photographer's
feet out of the frame shows plants that stand farther off, and they move the less on the print: distances are judged
again from what lies in the frame, below the snap's own horizon.
"""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np

from irpreview.core.imaging.picture_geometry import Horizon, class_distance
from irpreview.core.motion.blur import in_snap_framing, movement_at
from irpreview.core.motion.class_rates import ClassRate, scaled_rate
from irpreview.core.motion.rates import Rates
from irpreview.core.motion.scene_geometry import SceneGeometry
from irpreview.records import CLASS_ID, DistanceBy, Movement, Range
from irpreview.records.framing import Frame

PLANTS = ("tree", "grass")


def rates_in(frame: Frame, rates: Rates, geometry: SceneGeometry) -> Rates:
    """The snap's rates of motion for what lies in a frame. rates, geometry: of the whole snap."""
    own = in_snap_framing(rates)
    height, width = own.size
    size = (max(1, round(height * frame.height)), max(1, round(width * frame.width)))
    hold = own.hold_limit_px * float(np.hypot(*size) / np.hypot(*own.size))
    classes = {name: _seen_in(frame, rate, geometry) for name, rate in own.classes.items()}
    return replace(own, size=size, hold_limit_px=hold, classes=MappingProxyType(classes))


def _seen_in(frame: Frame, rate: ClassRate, geometry: SceneGeometry) -> ClassRate:
    """The rate at the distance of the plants in the frame; as it is where a clip or a given distance told it."""
    known = rate.known
    if rate.name not in PLANTS or known.measured or known.distance_by is DistanceBy.GIVEN:
        return rate
    label = geometry.small.label
    left, top, right, bottom = frame.box_px(label.shape[1], label.shape[0])
    part = label[top:bottom, left:right]
    if not (part == CLASS_ID[rate.name]).any():
        return rate
    whole = geometry.horizon
    row = Range(whole.row.low - top, whole.row.likely - top, whole.row.high - top)
    distance, by = class_distance(part, rate.name, geometry.px_per_rad, Horizon(row, whole.by))
    nearer = geometry.distance(rate.name)[0].likely / distance.likely
    return replace(
        scaled_rate(rate, nearer), distance_m=distance, known=replace(known, distance_m=distance, distance_by=by)
    )


def movement_in(
    frame: Frame, rates: Rates, geometry: SceneGeometry, shutter_s: float, *, with_limits: bool = True
) -> Movement:
    """What a shutter time [s] makes of the movement in this frame, said on its own print.

    rates, geometry: of the whole snap. with_limits: with how long each class holds.
    """
    return movement_at(rates_in(frame, rates, geometry), shutter_s, with_limits=with_limits)
