"""Writing on pictures: OpenCV's own scalable letters where it has them (from version 5), stroke letters before."""

from __future__ import annotations

import cv2

from irpreview.records import ByteArray

Colour = tuple[int, int, int]


def text_width(text: str, size_px: int, weight: int = 500) -> int:
    """Width that `write` will need. [px]"""
    face = getattr(cv2, "FontFace", None)
    if face is not None:
        return int(cv2.getTextSize((1, 1), text, (0, 0), face("sans"), size_px, weight)[2])
    return int(cv2.getTextSize(text, cv2.FONT_HERSHEY_DUPLEX, size_px / 30.0, 1)[0][0])


def write(
    canvas: ByteArray,
    text: str,
    at: tuple[int, int],
    size_px: int,
    colour: Colour,
    weight: int = 500,
    edge: Colour | None = None,
) -> int:
    """Write on canvas (H, W, 3) with the left end of the base line at (x, y); return the width [px]

    edge: a thin rim in this colour keeps the letters readable on any ground.
    """
    face = getattr(cv2, "FontFace", None)
    if edge is not None:
        reach = max(1, round(size_px / 14))
        for dx in (-reach, 0, reach):
            for dy in (-reach, 0, reach):
                if dx or dy:
                    write(canvas, text, (at[0] + dx, at[1] + dy), size_px, edge, weight)
    if face is not None:
        cv2.putText(canvas, text, at, colour, face("sans"), size_px, weight)
    else:
        thick = max(1, round(size_px * weight / 9000))
        cv2.putText(canvas, text, at, cv2.FONT_HERSHEY_DUPLEX, size_px / 30.0, colour, thick, cv2.LINE_AA)
    return text_width(text, size_px, weight)
