"""The pictures of the model card: where the network fails, by photographs that may be shown.

    python models/make_figures.py        writes models/figures/*.jpg

Two sample photographs of scikit-learn, and rendered demo scenes (never taught), the latter with the true classes. From
left to right: snap, the network's own tone, classes named (drawn, on the demo scenes, beside the true ones).
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
from reading import read_grey, read_picture
from sklearn.datasets import load_sample_image

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from irpreview.core.scene.class_picture import CLASS_COLOURS
from irpreview.core.scene.reference_tone import reference_tone
from irpreview.io.network import load_network
from irpreview.records import CLASS_NAMES

HERE = Path(__file__).resolve().parent
WIDTH = 420


def row(rgb: np.ndarray, truth: np.ndarray | None) -> np.ndarray:
    """Snap, tone, classes and, where known, true classes side by side (h, w, 3) RGB."""
    colours = np.array([(40, 40, 40), *(CLASS_COLOURS[name] for name in CLASS_NAMES)], np.uint8)
    answer = load_network().run(rgb)
    size = WIDTH, round(WIDTH * rgb.shape[0] / rgb.shape[1])
    tone = np.clip(reference_tone(rgb, answer.mix), 0, 1)
    full = np.dstack([cv2.resize(p, size, interpolation=cv2.INTER_LINEAR) for p in answer.probability])
    parts = [
        cv2.resize(rgb, size, interpolation=cv2.INTER_AREA),
        np.repeat(cv2.resize((255 * tone).astype(np.uint8), size, interpolation=cv2.INTER_AREA)[..., None], 3, 2),
        colours[full.argmax(2) + 1],
    ]
    if truth is not None:
        parts.append(colours[cv2.resize(truth, size, interpolation=cv2.INTER_NEAREST)])
    gap = np.full((size[1], 6, 3), 255, np.uint8)
    return np.hstack([p for part in parts for p in (part, gap)][:-1])


def main() -> None:
    """Write the pictures."""
    pictures: dict[str, tuple[np.ndarray, np.ndarray | None]] = {
        "temple": (load_sample_image("china.jpg"), None),
        "flower": (load_sample_image("flower.jpg"), None),
    }
    for name in ("low_flats", "chalk_head", "autumn_pool"):
        folder = HERE.parent / "demo_scenes" / name
        snap = cv2.cvtColor(read_picture(folder / "photo.jpg"), cv2.COLOR_BGR2RGB)
        pictures[name] = snap, read_grey(folder / "classes.png")
    for name, (rgb, truth) in pictures.items():
        picture = cv2.cvtColor(row(np.ascontiguousarray(rgb), truth), cv2.COLOR_RGB2BGR)
        cv2.imwrite(str(HERE / "figures" / f"{name}.jpg"), picture, [cv2.IMWRITE_JPEG_QUALITY, 82])


if __name__ == "__main__":
    main()
