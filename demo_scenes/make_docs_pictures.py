"""The pictures that README shows, made by the program itself: run after new weights or scenes.

python demo_scenes/make_docs_pictures.py [SCENE]     writes irpreview/docs/pictures/{three_views,movement,layers}.jpg
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np

import irpreview
from irpreview.core.class_picture import class_picture
from irpreview.core.verdict_picture import draw_verdict
from irpreview.io.pictures import write_jpeg

CHECKOUT = Path(__file__).resolve().parents[1]
OUT = CHECKOUT / "irpreview/docs/pictures"
WIDTH_PX = 560
GAP_PX = 8


def fitted(picture: np.ndarray, width: int = WIDTH_PX) -> np.ndarray:
    colour = picture if picture.ndim == 3 else np.repeat(picture[..., None], 3, 2)
    return cv2.resize(colour, (width, round(width * picture.shape[0] / picture.shape[1])), interpolation=cv2.INTER_AREA)


def side_by_side(pictures: list[np.ndarray]) -> np.ndarray:
    parts = [fitted(p) for p in pictures]
    gap = np.full((parts[0].shape[0], GAP_PX, 3), 255, np.uint8)
    row = [parts[0]]
    for part in parts[1:]:
        row += [gap, part]
    return np.hstack(row)


def main() -> None:
    name = sys.argv[1] if len(sys.argv) > 1 else "moor_tower"
    OUT.mkdir(parents=True, exist_ok=True)
    photo = irpreview.load_photo(CHECKOUT / "demo_scenes" / name / "photo.jpg")
    scene = irpreview.map_scene(photo)
    rendering = irpreview.render(photo, scene)
    write_jpeg(OUT / "three_views.jpg", side_by_side([photo.pixels, class_picture(photo, scene), rendering.picture]))
    verdict = irpreview.judge(photo, scene, rendering=rendering)
    write_jpeg(OUT / "layers.jpg", fitted(draw_verdict(verdict, rendering), 900))


if __name__ == "__main__":
    main()
