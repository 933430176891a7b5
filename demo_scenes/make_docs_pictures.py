"""The pictures that README shows, made by the program itself: run after new weights or scenes.

python demo_scenes/make_docs_pictures.py [SCENE]      writes irpreview/docs/pictures/{three_views,layers}.jpg
python demo_scenes/make_docs_pictures.py --failures   writes irpreview/docs/pictures/failures.jpg
python demo_scenes/make_docs_pictures.py --edges FOLDER   writes irpreview/docs/pictures/edges.jpg; FOLDER holds
                                                      SCENE.png, pictures of an earlier version on grade 2
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import cv2
import numpy as np

import irpreview
from irpreview.core.rendering.finishing import finish
from irpreview.core.scene.class_picture import CLASS_COLOURS, class_picture
from irpreview.core.verdict.verdict_picture import draw_verdict
from irpreview.io.pictures import write_jpeg
from irpreview.records import CLASS_NAMES

CHECKOUT = Path(__file__).resolve().parents[1]
OUT = CHECKOUT / "irpreview/docs/pictures"
WIDTH_PX = 560
SMALL_PX = 320
FAILING = ("chalk_head", "low_flats", "ruin_by_the_tarn")
GAP_PX = 8
CROPS = (
    ("moor_tower", 700, 90),
    ("moor_tower", 20, 260),
    ("pellow_street", 100, 60),
    ("chalk_head", 780, 340),
    ("hazel_wood_edge", 90, 190),
    ("plain_blue_lea", 20, 250),
)
"""Scene, left and top of a crop. [px]"""
CROP_PX = (224, 170)


def fitted(picture: np.ndarray, width: int = WIDTH_PX) -> np.ndarray:
    """A grey or RGB picture as RGB of that width."""
    colour = picture if picture.ndim == 3 else np.repeat(picture[..., None], 3, 2)
    size = width, round(width * picture.shape[0] / picture.shape[1])
    return np.asarray(cv2.resize(colour, size, interpolation=cv2.INTER_AREA))


def side_by_side(pictures: list[np.ndarray], width: int = WIDTH_PX) -> np.ndarray:
    """Pictures of one shape in a row, with gaps."""
    parts = [fitted(p, width) for p in pictures]
    gap = np.full((parts[0].shape[0], GAP_PX, 3), 255, np.uint8)
    row = [parts[0]]
    for part in parts[1:]:
        row += [gap, part]
    return np.hstack(row)


def as_print(tones: np.ndarray) -> np.ndarray:
    """Linear tones straight to the screen: no placing, no grade, so that two of them can be compared. (H, W) uint8"""
    return np.asarray(255 * np.clip(tones, 0, 1) ** (1 / 2.2), np.uint8)


def grey(path: Path) -> np.ndarray:
    """The grey picture in a file (h, w) uint8."""
    picture: np.ndarray | None = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    if picture is None:
        raise SystemExit(f"{path} holds no picture")
    return picture


def failures() -> None:
    """Snap, true and recognised classes, true and predicted infrared of the scenes that come out worst."""
    rows = []
    for name in FAILING:
        folder = CHECKOUT / "demo_scenes" / name
        photo = irpreview.load_photo(folder / "photo.jpg")
        scene = irpreview.map_scene(photo)
        tones = irpreview.render(photo, scene).tones
        told = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["infrared_png"]
        true = told["full_scale"] * (grey(folder / "infrared.png") / 255.0) ** 2
        classes = grey(folder / "classes.png")
        views = [photo.pixels, coloured(classes), coloured(scene.label), as_print(true), as_print(tones)]
        rows.append(side_by_side(views, SMALL_PX))
    gap = np.full((GAP_PX, rows[0].shape[1], 3), 255, np.uint8)
    parts = [rows[0]]
    for row in rows[1:]:
        parts += [gap, row]
    write_jpeg(OUT / "failures.jpg", np.vstack(parts))


def edge_crops(before: Path) -> None:
    """Crops at 100 %: snap, an earlier version, this one, true infrared (which is known at half size)."""
    wide, high = CROP_PX
    rows = []
    for name, left, top in CROPS:
        folder = CHECKOUT / "demo_scenes" / name
        photo = irpreview.load_photo(folder / "photo.jpg")
        told = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["infrared_png"]
        true = told["full_scale"] * (grey(folder / "infrared.png") / 255.0) ** 2
        printed = finish(np.sqrt(true).astype(np.float32))
        views = [
            photo.pixels,
            grey(before / f"{name}.png"),
            irpreview.render(photo).picture,
            cv2.resize(printed, (photo.width, photo.height), interpolation=cv2.INTER_CUBIC),
        ]
        rows.append(side_by_side([view[top : top + high, left : left + wide] for view in views], wide))
    gap = np.full((GAP_PX, rows[0].shape[1], 3), 255, np.uint8)
    write_jpeg(OUT / "edges.jpg", np.vstack([part for row in rows for part in (row, gap)][:-1]))


def coloured(labels: np.ndarray) -> np.ndarray:
    """Class ids as the colours of the class map, black where none is known."""
    out = np.zeros((*labels.shape, 3), np.uint8)
    for class_id, name in enumerate(CLASS_NAMES, 1):
        out[labels == class_id] = CLASS_COLOURS[name]
    return out


def main() -> None:
    """Make the pictures asked for."""
    OUT.mkdir(parents=True, exist_ok=True)
    if sys.argv[1:] == ["--failures"]:
        failures()
        return
    if sys.argv[1:2] == ["--edges"]:
        edge_crops(Path(sys.argv[2]))
        return
    name = sys.argv[1] if len(sys.argv) > 1 else "moor_tower"
    photo = irpreview.load_photo(CHECKOUT / "demo_scenes" / name / "photo.jpg")
    scene = irpreview.map_scene(photo)
    rendering = irpreview.render(photo, scene)
    write_jpeg(OUT / "three_views.jpg", side_by_side([photo.pixels, class_picture(photo, scene), rendering.picture]))
    verdict = irpreview.judge(photo, scene, rendering=rendering)
    write_jpeg(OUT / "layers.jpg", fitted(draw_verdict(verdict, rendering), 900))


if __name__ == "__main__":
    main()
