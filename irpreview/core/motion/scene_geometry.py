"""What the labels say of distances, water that stands up and things afloat, whatever the wind."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from irpreview.core.imaging.picture_geometry import (
    Horizon,
    class_distance,
    cloud_elevation_deg,
    horizon_row,
    run_heights,
)
from irpreview.records import CLASS_ID, DistanceBy, Range, SceneMap

GEOMETRY_SIDE = 512


class SceneGeometry:
    """What the labels say of distances, whatever the wind; each worked out once.

    Geometry is judged to a few per cent at best: a large picture is looked at every n-th pixel.
    """

    def __init__(self, scene: SceneMap, size: tuple[int, int], snap_px_per_rad: float) -> None:
        """size: (H, W) of the snap [px], snap_px_per_rad: of the snap at that size."""
        label = scene.label
        step = max(1, max(label.shape) // GEOMETRY_SIDE)
        self.small = replace(scene, label=np.ascontiguousarray(label[::step, ::step]))
        self.k = step * max(size) / max(label.shape)
        """Pixels of the snap to one that is looked at."""
        self.px_per_rad = snap_px_per_rad / self.k
        self.share = scene.share()
        self._distances: dict[str, tuple[Range, DistanceBy]] = {}

    @cached_property
    def horizon(self) -> Horizon:
        """The horizon in rows of the labels looked at."""
        return horizon_row(self.small.label)

    @cached_property
    def cloud_elevation_deg(self) -> float:
        """Mean elevation of the clouds above the horizon. [deg]"""
        return cloud_elevation_deg(self.small.label, self.px_per_rad, self.horizon)

    @cached_property
    def looks_like_falls(self) -> bool:
        """Whether the water stands up like a fall."""
        return looks_like_falls(self.small)

    @cached_property
    def others_afloat(self) -> bool:
        """Whether what is called other floats on water."""
        return _afloat(self.small, self.small.label == CLASS_ID["other"])

    def distance(self, name: str) -> tuple[Range, DistanceBy]:
        """Distance of a class [m] and how it was judged."""
        if name not in self._distances:
            self._distances[name] = class_distance(self.small.label, name, self.px_per_rad, self.horizon)
        return self._distances[name]


def looks_like_falls(scene: SceneMap) -> bool:
    """Water much taller than wide, reaching above the middle of the picture, reads as falling."""
    mask = scene.label == CLASS_ID["water"]
    if not mask.any():
        return False
    rows = np.flatnonzero(mask.any(axis=1))
    wide = float(np.median(mask.sum(axis=1)[rows]))
    tall = float(np.percentile(run_heights(mask), 75))
    return bool(tall > 1.6 * wide and tall > 0.2 * mask.shape[0] and rows[0] < 0.5 * mask.shape[0])


def _afloat(scene: SceneMap, mask: np.ndarray) -> bool:
    """Whether most of what lies just below these pixels is water."""
    below = np.zeros_like(mask)
    below[1:] = mask[:-1]
    edge = below & ~mask
    return bool(edge.any() and (scene.label[edge] == CLASS_ID["water"]).mean() > 0.5)
