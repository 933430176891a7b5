"""Drawn scenes with a known answer: plain shapes in believable colours, with texture and noise from a fixed seed."""

from __future__ import annotations

import cv2
import numpy as np

from irpreview.core.scene.scene_map import scene_from_network
from irpreview.records import CLASS_ID, CLASS_NAMES, Photo, SceneMap

COLOUR = {  # sRGB of a phone snap in midday sun; common practice, no source
    "clear_sky": (96, 146, 205),
    "cloud": (232, 235, 238),
    "water": (62, 88, 108),
    "tree": (58, 82, 38),
    "grass": (104, 128, 56),
    "structure": (176, 160, 138),
    "ground": (142, 122, 98),
    "other": (120, 60, 60),
    "snow": (236, 240, 246),
}


def landscape(height: int = 192, width: int = 256) -> np.ndarray:
    """Class ids (H, W): sky with a cloud, far trees, water, near grass, a tower that stands before the sky."""
    label = np.full((height, width), CLASS_ID["clear_sky"], np.uint8)
    cv2.ellipse(
        label, (int(0.25 * width), int(0.18 * height)), (width // 7, height // 12), 0, 0, 360, CLASS_ID["cloud"], -1
    )
    label[int(0.45 * height) :] = CLASS_ID["tree"]
    label[int(0.58 * height) :] = CLASS_ID["water"]
    label[int(0.75 * height) :] = CLASS_ID["grass"]
    label[int(0.20 * height) : int(0.62 * height), int(0.70 * width) : int(0.80 * width)] = CLASS_ID["structure"]
    return label


def paint(label: np.ndarray, seed: int = 3) -> np.ndarray:
    """sRGB pixels (H, W, 3) of a label map: each class in its colour, with texture on land."""
    rng = np.random.default_rng(seed)
    pixels = np.zeros((*label.shape, 3), np.float32)
    for name in CLASS_NAMES:
        pixels[label == CLASS_ID[name]] = COLOUR[name]
    texture = cv2.GaussianBlur(rng.normal(0, 1, label.shape).astype(np.float32), (0, 0), 1.0)
    texture /= max(float(texture.std()), 1e-6)
    strength = np.where(np.isin(label, [CLASS_ID[n] for n in ("tree", "grass", "structure", "ground")]), 0.14, 0.015)
    pixels *= (1 + strength * texture)[..., None]
    pixels += rng.normal(0, 1.2, pixels.shape)
    return np.clip(pixels, 0, 255).astype(np.uint8)


def probability(label: np.ndarray, shrink: int = 4) -> np.ndarray:
    """Soft class probabilities (9, h, w) such as a network would give for a label map."""
    h, w = label.shape[0] // shrink, label.shape[1] // shrink
    maps = [cv2.resize((label == i + 1).astype(np.float32), (w, h), interpolation=cv2.INTER_AREA) for i in range(9)]
    p = np.stack(maps) * 0.94 + 0.06 / 9
    return (p / p.sum(0)).astype(np.float32)


def drawn_scene(height: int = 192, width: int = 256) -> tuple[Photo, SceneMap]:
    """The drawn landscape as a photo and the scene map of its true labels."""

    label = landscape(height, width)
    photo = Photo(pixels=paint(label), name="drawn")
    return photo, scene_from_network(photo, probability(label), np.zeros((5, 8, 8), np.float32), "drawn")
