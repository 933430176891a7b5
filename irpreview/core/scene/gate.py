"""Whether a picture is a daylight landscape at all: only then is it judged and ranked.

A logistic regression on what the scene network saw and a few plain measures of the picture, their squares and
products, fitted by models/fit_gate.py to landscapes and to pictures that are none; its coefficients are `gate_table`.
The light that the phone metered, pictures drawn or shot from a screen, and pictures without colour are decided by
rule. What is refused is told and not ranked; the infrared picture is drawn all the same.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.scene.gate_table import COEFFICIENTS, INTERCEPT, MEAN, REFUSED_BELOW, SCALE
from irpreview.core.scene.photo_doubts import looks_drawn, metered_ev100, night_by_pixels, without_colour
from irpreview.records import CLASS_NAMES, ByteArray, FloatArray, Gate, NotLandscape, Photo, SceneMap

DARKEST_DAY_EV100 = 4.0
"""Light below any daylight landscape: rooms 5 to 8 and lit streets 4 to 6 by the exposure tables of the trade (from
memory), deep woods at dusk about 5. Only what lies below is refused by the meter alone."""
_SIDE_PX = 256
_I = {name: i for i, name in enumerate(CLASS_NAMES)}

FEATURES = (
    *(f"share of {name}" for name in CLASS_NAMES),
    *(f"{name} in the middle" for name in ("tree", "grass", "structure", "ground", "other")),
    "sky in the upper third",
    "ground or water in the lower third",
    "top row more sky than bottom row",
    "confidence",
    "doubt between classes",
    "other anywhere",
    "things in the middle over the border",
    "dark share",
    "white share",
    "lightness",
    "warmth",
    "colourfulness",
    "sharper in the middle than at the border",
    "fine detail",
    "upper part over lower part in lightness",
    "equal neighbours",
)


def gate_features(pixels: ByteArray, probability: FloatArray) -> NDArray[np.float64]:
    """What is measured, (len(FEATURES),), from the photo (H, W, 3) sRGB and the network's (9, h, w)."""
    p = np.asarray(probability, np.float32)
    h, w = p.shape[1:]
    share = p.mean(axis=(1, 2))
    middle = p[:, round(0.25 * h) : round(0.8 * h), round(0.25 * w) : round(0.75 * w)].mean(axis=(1, 2))
    sky = p[_I["clear_sky"]] + p[_I["cloud"]]
    land = p[_I["water"]] + p[_I["grass"]] + p[_I["ground"]] + p[_I["snow"]]
    third = max(1, h // 3)
    best = p.max(axis=0)
    border_other = (float(p[_I["other"]].sum()) - middle[_I["other"]] * 0.275 * h * w) / (0.725 * h * w)
    scale = _SIDE_PX / max(pixels.shape[:2])
    size = (max(16, round(pixels.shape[1] * scale)), max(16, round(pixels.shape[0] * scale)))
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    small = np.asarray(cv2.resize(pixels, size, interpolation=how), np.float32) / 255
    luma = small @ np.array([0.299, 0.587, 0.114], np.float32)
    rows, columns = luma.shape
    edges = np.abs(cv2.Laplacian(luma, cv2.CV_32F))
    inner = np.s_[round(0.25 * rows) : round(0.75 * rows), round(0.25 * columns) : round(0.75 * columns)]
    inside = float(edges[inner].mean())
    around = float((edges.sum() - edges[inner].sum()) / max(edges.size - edges[inner].size, 1))
    red, blue = float(small[..., 0].mean()), float(small[..., 2].mean())
    flat = float((np.abs(np.diff(luma, axis=1)) < 0.5 / 255).mean())
    chroma = np.hypot(small[..., 0] - small[..., 1], 0.5 * (small[..., 0] + small[..., 1]) - small[..., 2])
    half = rows // 2
    return np.array(
        [
            *share,
            *(middle[_I[name]] for name in ("tree", "grass", "structure", "ground", "other")),
            sky[:third].mean(),
            land[-third:].mean(),
            sky[: max(1, h // 12)].mean() - sky[-max(1, h // 12) :].mean(),
            best.mean(),
            float(-(p * np.log(np.maximum(p, 1e-6))).sum(axis=0).mean()),
            float(np.percentile(p[_I["other"]], 95)),
            middle[_I["other"]] - border_other,
            (luma < 0.12).mean(),
            (luma > 0.96).mean(),
            luma.mean(),
            math.log((red + 0.02) / (blue + 0.02)),
            chroma.mean(),
            math.log((inside + 0.003) / (around + 0.003)),
            math.log(edges.mean() + 0.003),
            luma[:half].mean() - luma[half:].mean(),
            flat,
        ],
        np.float64,
    )


def landscape_chance(features: NDArray[np.float64]) -> float:
    """How much the picture is like a daylight landscape, 0..1."""
    terms = quadratic((features - np.asarray(MEAN)) / np.asarray(SCALE))
    return float(1 / (1 + math.exp(-float(np.clip(terms @ np.asarray(COEFFICIENTS) + INTERCEPT, -50, 50)))))


def quadratic(scaled: NDArray[np.float64]) -> NDArray[np.float64]:
    """Features (..., n) in standard deviations, held within four of them, then their squares and products."""
    z = np.clip(scaled, -4, 4)
    first, second = np.triu_indices(z.shape[-1])
    return np.concatenate([z, z[..., first] * z[..., second]], axis=-1)


def gate_of(photo: Photo, scene: SceneMap) -> Gate:
    """Whether the photo is a daylight landscape, and if not why not, the weightiest reason first."""
    pixels = photo.pixels if photo.working is None else photo.working
    features = gate_features(pixels, scene.probability)
    chance = landscape_chance(features)
    reasons: list[NotLandscape] = []
    metered = metered_ev100(photo.shot)
    if looks_drawn(pixels):
        reasons.append("drawn")
    if (metered is not None and metered < DARKEST_DAY_EV100) or night_by_pixels(pixels):
        reasons.append("night")
    if not reasons and without_colour(pixels):
        reasons.append("without_colour")
    if not reasons and chance < REFUSED_BELOW:
        reasons.append(_why(features))
    return Gate(landscape=not reasons, chance=round(chance, 4), reasons=tuple(reasons))


def _why(features: NDArray[np.float64]) -> NotLandscape:
    """The likeliest reason in words that a person would use; the regression itself knows only yes and no."""
    value = dict(zip(FEATURES, features.tolist(), strict=True))
    open_air = sum(value[f"share of {n}"] for n in ("clear_sky", "cloud", "water", "tree", "grass", "snow"))
    if value["dark share"] > 0.5:
        return "night"
    if value["share of other"] > 0.3:
        return "close_up" if open_air > 0.15 else "things"
    if open_air < 0.15:
        return "indoors"
    return "close_up"
