"""Scenes drawn by hand, with labels, colours and infrared tones that are known: so is what the verdict must say."""

from __future__ import annotations

from collections.abc import Mapping

import cv2
import numpy as np

from irpreview.core.rendering.finishing import finish, place_print
from irpreview.records import (
    CLASS_ID,
    CLASS_NAMES,
    DEFAULT_GRADE,
    ClassTone,
    Kit,
    Light,
    Photo,
    Range,
    Rendering,
    SceneMap,
    Shot,
    zone_of,
)

SUNLIT_TONE = {
    "clear_sky": 0.07,
    "cloud": 0.72,
    "water": 0.03,
    "tree": 0.55,
    "grass": 0.50,
    "structure": 0.22,
    "ground": 0.24,
    "other": 0.15,
    "snow": 0.85,
}
"""Infrared tones in sun, rounded from handbook reflectances and a clear sky three stops below sunlit leaves."""
COLOUR = {
    "clear_sky": (92, 140, 205),
    "cloud": (238, 238, 240),
    "water": (70, 96, 110),
    "tree": (62, 82, 40),
    "grass": (98, 122, 58),
    "structure": (168, 152, 132),
    "ground": (150, 128, 100),
    "other": (120, 60, 60),
    "snow": (240, 244, 250),
}
TEXTURE_STOPS = {"tree": 0.45, "grass": 0.30, "structure": 0.2, "ground": 0.2, "water": 0.1, "cloud": 0.05}


class Canvas:
    """Draw classes onto a picture, far things first."""

    def __init__(self, height: int = 384, width: int = 512, background: str = "clear_sky") -> None:
        self.label = np.full((height, width), CLASS_ID[background], np.uint8)

    def box(self, name: str, left: float, top: float, right: float, bottom: float) -> Canvas:
        h, w = self.label.shape
        self.label[round(top * h) : round(bottom * h), round(left * w) : round(right * w)] = CLASS_ID[name]
        return self

    def round(self, name: str, x: float, y: float, radius_x: float, radius_y: float) -> Canvas:
        h, w = self.label.shape
        centre, axes = (round(x * w), round(y * h)), (round(radius_x * w), round(radius_y * h))
        cv2.ellipse(self.label, centre, axes, 0, 0, 360, CLASS_ID[name], -1)
        return self


def _noise(shape: tuple[int, int], seed: int, sigma: float) -> np.ndarray:
    noise = cv2.GaussianBlur(np.random.default_rng(seed).standard_normal(shape).astype(np.float32), (0, 0), sigma)
    return np.asarray(noise / noise.std(), np.float32)


def drawn(
    label: np.ndarray,
    tones: Mapping[str, float] | None = None,
    *,
    kit: str = "reference-pairs",
    light: Light | None = None,
    spread_stops: float = 0.35,
    colour_gain: Mapping[str, float] | None = None,
    cloud_texture_stops: float | None = None,
) -> tuple[Photo, SceneMap, Rendering]:
    """(photo, scene, rendering) of a label map (H, W)."""
    tones = {**SUNLIT_TONE, **(tones or {})}
    height, width = label.shape
    pixels = np.zeros((height, width, 3), np.float32)
    infrared = np.zeros((height, width), np.float32)
    for i, name in enumerate(CLASS_NAMES):
        inside = label == i + 1
        if not inside.any():
            continue
        texture = TEXTURE_STOPS.get(name, 0.03)
        if name == "cloud" and cloud_texture_stops is not None:
            texture = cloud_texture_stops
        pattern = texture * _noise(label.shape, i, 0.012 * width if name == "cloud" else 2.0)
        infrared[inside] = tones[name] * 2.0 ** pattern[inside]
        gain = (colour_gain or {}).get(name, 1.0)
        for k in range(3):
            pixels[..., k][inside] = (COLOUR[name][k] * gain) * 2.0 ** (0.45 * pattern[inside])
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.8)
    infrared = cv2.GaussianBlur(infrared, (0, 0), 0.8)
    photo = Photo(pixels=np.clip(pixels, 0, 255).astype(np.uint8), name="drawn", shot=Shot(focal_35mm_mm=26.0))
    probability = np.stack(
        [
            cv2.resize((label == i + 1).astype(np.float32), (width // 4, height // 4), interpolation=cv2.INTER_AREA)
            for i in range(9)
        ]
    )
    scene = SceneMap(
        probability=probability,
        label=label.copy(),
        confidence=np.full(label.shape, 0.95, np.float32),
        mix=np.zeros((1, 2, 2), np.float32),
    )
    infrared = np.clip(infrared, 2.0**-10, 2.0).astype(np.float32)
    curve, classes = place_print(np.sqrt(infrared), DEFAULT_GRADE), {}
    for i, name in enumerate(CLASS_NAMES):
        if (label == i + 1).any():
            likely = zone_of(tones[name])
            scene_zone = Range(likely - spread_stops, likely, likely + spread_stops)
            share = float((label == i + 1).mean())
            classes[name] = ClassTone(share, curve.zone_range(scene_zone), scene_zone, Range(-0.3, 0.0, 0.3))
    rendering = Rendering(
        maps=lambda: (infrared, np.full(label.shape, spread_stops, np.float32)),
        classes=classes,
        picture=finish(np.sqrt(infrared)),
        kit=Kit(name=kit),
        light=light or Light(),
    )
    return photo, scene, rendering


def oak_in_a_meadow() -> np.ndarray:
    """One oak against clear sky, grass below."""
    canvas = Canvas().box("grass", 0, 0.7, 1, 1).round("tree", 0.5, 0.45, 0.17, 0.25).box("tree", 0.48, 0.6, 0.52, 0.74)
    return canvas.label


def tower_on_a_moor() -> np.ndarray:
    """A ruined tower against clear sky."""
    return Canvas().box("ground", 0, 0.72, 1, 1).box("structure", 0.44, 0.25, 0.56, 0.78).label


def wood_under_cloud() -> np.ndarray:
    """Trees right across the frame, white cloud behind, grass before."""
    return Canvas(background="cloud").box("tree", 0, 0.45, 1, 0.8).box("grass", 0, 0.78, 1, 1).label


def plain_under_blue_sky() -> np.ndarray:
    """Open grass and an empty sky."""
    return Canvas().box("grass", 0, 0.6, 1, 1).label


def layered_view() -> np.ndarray:
    """Bright grass, black water, bright land, dark sky with cloud."""
    canvas = Canvas().round("cloud", 0.3, 0.18, 0.22, 0.09).round("cloud", 0.75, 0.25, 0.18, 0.06)
    return canvas.box("tree", 0, 0.42, 1, 0.55).box("water", 0, 0.55, 1, 0.72).box("grass", 0, 0.72, 1, 1).label
