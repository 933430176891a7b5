"""Which frames a kit's lenses can cut out of a snap.

A lens of focal length f sees 36 mm / f of what the snap's own equivalent focal length sees, so a frame is the snap's
long side times (snap focal / lens focal). Turning the camera is taken as shifting the frame over the snap: right within
a few per cent for the angles of a phone (a flat picture stretches towards its corners).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from irpreview.records import Kit
from irpreview.records.framing import Frame, Orientation

FORMATS = ((3, 2), (4, 3), (1, 1), (2, 1))
PRINT_PX_PER_MM = 200 / 25.4
"""200 pixels per inch: the least that print shops ask of a picture held in the hand (common practice, no source)."""
PRINT_LONG_MM = 400.0
_TOLERANCE = 1.02
"""A frame larger than the snap by less than that counts as the snap."""


def lenses(kit: Kit) -> list[tuple[float, float]]:
    """(focal length, the same for 36 x 24 mm) of each lens of the kit, shortest first. [mm]"""
    return [(f, f * 36.0 / kit.format_width_mm) for f in sorted(set(kit.focal_mm))]


def sensor_part(kit: Kit, ratio: tuple[int, int]) -> tuple[float, float]:
    """Long and short side of a format on the sensor, in shares of the sensor's long side."""
    short = kit.format_height_mm / kit.format_width_mm
    aspect = ratio[0] / ratio[1]
    return (1.0, 1.0 / aspect) if aspect >= 1.0 / short else (short * aspect, short)


def sizes(
    kit: Kit, snap_focal_35mm_mm: float, width: int, height: int, formats: tuple[tuple[int, int], ...] = FORMATS
) -> Iterator[Frame]:
    """Each frame that fits into the snap (width x height px), in its upper left corner."""
    long_px = max(width, height)
    for lens_mm, focal in lenses(kit):
        for ratio in formats:
            long, short = sensor_part(kit, ratio)
            ways: tuple[Orientation, ...] = ("lying",) if ratio[0] == ratio[1] else ("lying", "standing")
            for way in ways:
                across, down = (long, short) if way == "lying" else (short, long)
                scale = long_px * snap_focal_35mm_mm / focal
                w, h = across * scale / width, down * scale / height
                if max(w, h) <= _TOLERANCE:
                    name = f"{ratio[0]}:{ratio[1]}"
                    yield Frame(lens_mm, focal, name, way, 0.0, 0.0, min(w, 1.0), min(h, 1.0), sensor_share=long)


def placed(frame: Frame, left: float, top: float, pixels_per_rad: float, width: int, height: int) -> Frame:
    """The frame elsewhere in the snap, and how far the camera turns for it."""
    right = (left + frame.width / 2 - 0.5) * width
    up = (0.5 - top - frame.height / 2) * height
    return Frame(
        frame.lens_mm,
        frame.focal_35mm_mm,
        frame.format,
        frame.orientation,
        left,
        top,
        frame.width,
        frame.height,
        round(math.degrees(math.atan2(right, pixels_per_rad)), 1),
        round(math.degrees(math.atan2(up, pixels_per_rad)), 1),
        frame.sensor_share,
    )


def overlap(one: Frame, other: Frame) -> float:
    """Shared area over joint area, 0..1."""
    across = min(one.left + one.width, other.left + other.width) - max(one.left, other.left)
    down = min(one.top + one.height, other.top + other.height) - max(one.top, other.top)
    both = max(across, 0.0) * max(down, 0.0)
    return both / (one.width * one.height + other.width * other.height - both)


def steps(free: float, count: int) -> np.ndarray:
    """Positions from 0 to what is free."""
    return np.linspace(0.0, max(free, 0.0), count if free > 0.01 else 1)


def wider_than_snap(kit: Kit, snap_focal_35mm_mm: float) -> tuple[float, ...]:
    """Lenses that take in more than the snap shows. [mm]"""
    return tuple(mm for mm, focal in lenses(kit) if focal * _TOLERANCE < snap_focal_35mm_mm)


def below_print_resolution(frame: Frame, kit: Kit) -> bool:
    """Whether cutting the format out of the sensor leaves too few pixels for a print 40 cm long."""
    return kit.pixels_wide * frame.sensor_share < PRINT_LONG_MM * PRINT_PX_PER_MM
