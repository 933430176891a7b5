"""Fit the class tones of the research pairs: how bright each class is in their infrared, and what its colour tells.

    python models/fit_class_tones.py [RESEARCH_FOLDER]     writes irpreview/data/reference_pairs_tones.json

Model, per labelled pixel of picture i and class c, in stops (log2):

    nir - visible = gain_i + factor_c + colour_c . (redness, blueness, lightness)

with nir and visible linear (sRGB curve undone), redness = log2(R/G), blueness = log2(B/G), lightness = visible minus
the class's median in that picture. gain_i is the picture's unknown exposure. Alternating robust fit; the one free
constant is set so that the factors agree best with the class factors of physics for the kit `reference-pairs`.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from reading import read_grey, read_picture

from irpreview.core.light.surfaces import class_factors
from irpreview.io.kits import load_kit
from irpreview.io.tables import load_tables
from irpreview.records import Light

CHECKOUT = Path(__file__).resolve().parents[1]
NAMES = ("clear_sky", "cloud", "water", "tree", "grass", "structure", "ground", "other", "snow")
FLOOR = 2.0**-8


def linear(display: np.ndarray) -> np.ndarray:
    """Linear values 0..1 of display levels, by the sRGB curve (IEC 61966-2-1)."""
    x = display.astype(np.float64) / 255
    return np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)


def observations(folder: Path, rng: np.random.Generator) -> list[dict[str, Any]]:
    """Per picture: class index, nir - visible, redness, blueness, lightness of a sample of labelled pixels."""
    out = []
    for path in sorted(folder.glob("*_rgb.jpg")):
        stem = path.name.removesuffix("_rgb.jpg")
        rgb = cv2.cvtColor(read_picture(path), cv2.COLOR_BGR2RGB)
        nir = read_grey(folder / f"{stem}_nir.jpg")
        label = read_grey(folder / f"{stem}_labels.png")
        # the pairs are registered to about a pixel: compare slightly smoothed tones
        rgb, nir = cv2.GaussianBlur(rgb, (0, 0), 1.0), cv2.GaussianBlur(nir, (0, 0), 1.0)
        at = np.flatnonzero(label.ravel())
        at = rng.choice(at, min(at.size, 12000), replace=False)
        red, green, blue = (np.maximum(linear(rgb[..., k].ravel()[at]), FLOOR) for k in range(3))
        visible = np.log2(0.2126 * red + 0.7152 * green + 0.0722 * blue)
        infrared = np.log2(np.maximum(linear(nir.ravel()[at]), FLOOR))
        cls = label.ravel()[at] - 1
        lightness = visible.copy()
        for c in range(9):
            inside = cls == c
            if inside.any():
                lightness[inside] -= np.median(visible[inside])
        out.append(
            {
                "cls": cls,
                "y": infrared - visible,
                "visible": visible,
                "name": stem,
                "x": np.stack([np.log2(red / green), np.log2(blue / green), lightness], 1).clip(-4, 4),
            }
        )
    return out


def fit(pictures: list[dict[str, Any]], rounds: int = 25) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Gain per picture, factor per class, colour (9, 3) and its feature means (9, 3)."""
    gain, factor, colour = np.zeros(len(pictures)), np.zeros(9), np.zeros((9, 3))
    centre = np.zeros((9, 3))
    for c in range(9):
        parts = [p["x"][p["cls"] == c] for p in pictures if (p["cls"] == c).any()]
        centre[c] = np.median(np.concatenate(parts), 0) if parts else 0
    for _ in range(rounds):
        for c in range(9):
            rows, targets = [], []
            for i, p in enumerate(pictures):
                inside = p["cls"] == c
                if inside.sum() > 30:
                    rows.append(p["x"][inside][:3000] - centre[c])
                    targets.append(p["y"][inside][:3000] - gain[i])
            if not rows:
                continue
            x, y = np.concatenate(rows), np.concatenate(targets)
            weight = 1 / np.maximum(1, np.abs(y - factor[c] - x @ colour[c]) / 0.7)  # Huber, 0.7 stop
            design = np.c_[np.ones(len(x)), x]
            ridge = np.diag([0, 1, 1, 1]) * 0.02 * len(x)
            beta = np.linalg.solve((design * weight[:, None]).T @ design + ridge, (design * weight[:, None]).T @ y)
            factor[c], colour[c] = beta[0], beta[1:]
        for i, p in enumerate(pictures):
            gain[i] = np.median(
                p["y"] - factor[p["cls"]] - np.einsum("nk,nk->n", p["x"] - centre[p["cls"]], colour[p["cls"]])
            )
        factor -= np.average(factor)
    return gain, factor, colour, centre


def left_over(
    picture: dict[str, Any], gain_i: float, c: int, factor: np.ndarray, colour: np.ndarray, centre: np.ndarray
) -> np.ndarray:
    """What the model leaves of class c in one picture, in stops; empty where the class has too few pixels to tell."""
    inside = picture["cls"] == c
    if inside.sum() <= 200:
        return np.empty(0)
    return np.asarray(picture["y"][inside] - gain_i - factor[c] - (picture["x"][inside] - centre[c]) @ colour[c])


def main() -> None:
    """Fit, and write the table that ships."""
    research = Path(sys.argv[1]) if len(sys.argv) > 1 else CHECKOUT.parent / "shared"
    pictures = observations(research / "rgb_nir_pairs", np.random.default_rng(7))
    gain, factor, colour, centre = fit(pictures)
    for c in range(9):  # the picture, not the pixel, is what one asks about: centre each class on its median picture
        middles = [
            np.median(r)
            for p, g in zip(pictures, gain, strict=True)
            if len(r := left_over(p, g, c, factor, colour, centre))
        ]
        factor[c] += np.median(middles) if middles else 0.0
    physics = class_factors(load_kit("reference-pairs"), Light(), load_tables())
    share = np.bincount(np.concatenate([p["cls"] for p in pictures]), minlength=9) / sum(
        len(p["cls"]) for p in pictures
    )
    weight = np.array([share[i] / max(physics[n].width, 0.3) ** 2 for i, n in enumerate(NAMES)])
    shift = np.average([physics[n].likely - factor[i] for i, n in enumerate(NAMES)], weights=weight)
    held_back = CHECKOUT / "models/held_back_errors.json"  # written by evaluate.py: errors on pictures held back
    residual_stops = json.loads(held_back.read_text())["residual_stops"] if held_back.exists() else {}
    classes: dict[str, dict[str, Any]] = {}
    table = {
        "about": "fitted by models/fit_class_tones.py on the research pairs (terms: models/README.md)",
        "classes": classes,
    }
    for c, name in enumerate(NAMES):
        medians = []
        residuals = []
        for i, p in enumerate(pictures):
            r = left_over(p, gain[i], c, factor, colour, centre)
            if len(r):
                medians.append(np.median(r))
                residuals.append(r - np.median(r))
        low, middle, high = np.percentile(medians, (5, 50, 95)) if len(medians) > 4 else (-1.0, 0.0, 1.0)
        within = np.percentile(np.abs(np.concatenate(residuals)), 90) if residuals else 1.0
        classes[name] = {
            "factor_stops": [round(float(factor[c] + shift + v), 3) for v in (low, middle, high)],
            "colour_stops": [round(float(v), 4) for v in colour[c]],
            "colour_centre": [round(float(v), 4) for v in centre[c]],
            "within_class_90_stops": round(float(within), 3),
            "residual_stops": residual_stops.get(name, round(float(within), 3)),
            "pictures": len(medians),
            "physics_stops": round(physics[name].likely, 3),
        }
        print(name, classes[name])
    (CHECKOUT / "irpreview/data/reference_pairs_tones.json").write_text(json.dumps(table, indent=1) + "\n")


if __name__ == "__main__":
    main()
