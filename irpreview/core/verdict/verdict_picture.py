"""The infrared picture with its layers and the edges between them drawn in, and a strip below that explains them.

Each shared edge is one line: unbroken where the layers separate, dashed where it is uncertain, dots where they merge.
The pattern carries the meaning; colour only repeats it (Okabe and Ito's colour-blind-safe set). A numbered
mark lies on each layer, the same number stands below with its name and the grey it prints as.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.srgb import to_display
from irpreview.core.units import tone_word
from irpreview.core.verdict.layers import zones_of
from irpreview.core.verdict.separation import print_curve
from irpreview.errors import BadValue
from irpreview.records import ByteArray, Layer, Rendering, Separation, SeparationWord, Verdict

PICTURE_SIDE_PX = 1100
_TEXT_PX, _SMALL_PX, _TAG_PX = 25, 22, 22
_INK, _PAPER, _FAINT = (38, 36, 34), (246, 243, 236), (120, 114, 106)
_LINE: dict[SeparationWord, tuple[int, int, int]] = {
    "separates": (240, 228, 66),
    "uncertain": (255, 255, 255),
    "merges": (86, 180, 233),
}
_SAID: dict[SeparationWord, str] = {"separates": "separates", "uncertain": "uncertain", "merges": "merges"}
_MARK_RADIUS = 19
_COLUMN_PX, _ROW_PX = 680, 42
"""The widest entry, "farther cloud in the middle  zone 6.2, prints mid-grey", takes 670 px."""


def draw_verdict(verdict: Verdict, rendering: Rendering) -> ByteArray:
    """(h, w, 3) uint8 sRGB, the picture 1100 px on its long side and the strip below it.

    Raises BadValue when verdict and rendering are not of one photo.
    """
    canvas = draw_layers(verdict, rendering)
    return np.asarray(np.vstack([canvas, _strip(verdict, rendering, canvas.shape[1])]), np.uint8)


def draw_layers(verdict: Verdict, rendering: Rendering, letters: float = 1.0) -> ByteArray:
    """(h, w, 3) uint8 sRGB, the picture with its layers and lines, 1100 px on its long side, without the strip.

    letters: how much larger numbers, figures and lines are drawn, for a picture that will be shown small. Raises
    BadValue when verdict and rendering are not of one photo, or for letters outside 1 to 3.
    """
    if not 1.0 <= letters <= 3.0:
        raise BadValue(f"letters {letters:g} times as large do not fit the picture; take 1 to 3")
    if verdict.layer_map.shape != rendering.picture.shape:
        raise BadValue(
            f"the verdict is of a photo of {verdict.layer_map.shape[1]} x {verdict.layer_map.shape[0]} px, "
            f"the rendering of one of {rendering.picture.shape[1]} x {rendering.picture.shape[0]} px; "
            "judge this rendering again"
        )
    height, width = rendering.picture.shape
    k = PICTURE_SIDE_PX / max(height, width)
    w, h = max(16, round(width * k)), max(16, round(height * k))
    how = cv2.INTER_AREA if k < 1 else cv2.INTER_LINEAR
    grey = cv2.resize(rendering.picture, (w, h), interpolation=how)
    canvas = np.repeat(grey[..., None], 3, axis=2)
    layer_map = cv2.resize(verdict.layer_map, (w, h), interpolation=cv2.INTER_NEAREST)
    order: dict[SeparationWord, int] = {"merges": 0, "uncertain": 1, "separates": 2}
    lines = [
        (separation, _edge_lines(layer_map, separation))
        for separation in sorted(verdict.separations, key=lambda g: order[g.says])
    ]
    for separation, runs in lines:
        for run in runs:
            _draw_run(canvas, run, separation.says, letters)
    reach = round((_MARK_RADIUS + 3) * letters)
    taken: list[tuple[int, int, int, int]] = []
    for layer in verdict.layers:
        x, y = round(layer.centre_xy[0] * w), round(layer.centre_xy[1] * h)
        x, y = (min(max(v, reach), n - reach) for v, n in ((x, w), (y, h)))
        x, y = _beside(x, y, reach, taken, w, h)
        _mark(canvas, layer.index + 1, (x, y), letters)
        taken.append((x - reach, y - reach, x + reach, y + reach))
    for separation, runs in sorted(lines, key=lambda item: -sum(len(r) for r in item[1])):
        longest = max(runs, key=len, default=None)
        if longest is not None and len(longest) > 40:
            _tag(canvas, separation, longest, taken, letters)
    return canvas


def _beside(
    x: int, y: int, reach: int, taken: Sequence[tuple[int, int, int, int]], width: int, height: int
) -> tuple[int, int]:
    """The middle of a mark, moved aside as little as is needed to lie on no other; where it was if nowhere is room."""
    steps = sorted(
        ((dx * reach // 2, dy * reach // 2) for dx in range(-6, 7) for dy in range(-3, 4)),
        key=lambda one: one[0] ** 2 + one[1] ** 2,
    )
    for dx, dy in steps:
        at = (x + dx, y + dy)
        inside = reach <= at[0] <= width - reach and reach <= at[1] <= height - reach
        if inside and not any(
            at[0] - reach < t[2] and t[0] < at[0] + reach and at[1] - reach < t[3] and t[1] < at[1] + reach
            for t in taken
        ):
            return at
    return x, y


def _edge_lines(layer_map: NDArray[np.int16], separation: Separation) -> list[NDArray[np.float32]]:
    """The shared edge as runs of points (n, 2) x, y [px], smoothed."""
    in_a = (layer_map == separation.a).astype(np.uint8)
    near_b = cv2.dilate((layer_map == separation.b).astype(np.uint8), np.ones((7, 7), np.uint8)).astype(bool)
    contours, _ = cv2.findContours(in_a, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    runs: list[NDArray[np.float32]] = []
    height, width = layer_map.shape
    for contour in contours:
        points = contour[:, 0, :]
        inside = (points[:, 0] > 1) & (points[:, 0] < width - 2) & (points[:, 1] > 1) & (points[:, 1] < height - 2)
        touching = near_b[points[:, 1], points[:, 0]] & inside
        if not touching.any():
            continue
        if not touching.all():  # begin where the edge is not shared, so that no run is cut in two
            start = int(np.argmin(touching))
            points, touching = np.roll(points, -start, axis=0), np.roll(touching, -start)
        cuts = np.flatnonzero(np.diff(touching.astype(np.int8))) + 1
        for part, kept in zip(np.split(points, cuts), np.split(touching, cuts), strict=True):
            if kept[0] and len(part) >= 12:
                runs.append(_smoothed(part.astype(np.float32)))
    return runs


def _smoothed(points: NDArray[np.float32], reach: int = 7) -> NDArray[np.float32]:
    padded = np.pad(points, ((reach, reach), (0, 0)), mode="edge")
    kernel = np.ones(2 * reach + 1) / (2 * reach + 1)
    return np.stack([np.convolve(padded[:, i], kernel, mode="valid") for i in (0, 1)], axis=1).astype(np.float32)


def _draw_run(canvas: ByteArray, run: NDArray[np.float32], says: SeparationWord, letters: float = 1.0) -> None:
    colour = _LINE[says]
    thick = max(1, round(2 * letters))
    dash, gap = round(17 * letters), round(28 * letters)
    if says == "separates":
        pieces = [run]
    elif says == "uncertain":
        pieces = [run[i : i + dash] for i in range(0, len(run), gap)]
    else:
        for point in run[6::dash]:
            centre = (round(float(point[0])), round(float(point[1])))
            cv2.circle(canvas, centre, round(3 * letters) + 2, (0, 0, 0), -1, cv2.LINE_AA)
            cv2.circle(canvas, centre, round(3 * letters), colour, -1, cv2.LINE_AA)
        return
    fixed = [np.round(piece * 16).astype(np.int32)[:, None, :] for piece in pieces if len(piece) > 1]
    cv2.polylines(canvas, fixed, False, (0, 0, 0), thick + 3, cv2.LINE_AA, 4)
    cv2.polylines(canvas, fixed, False, colour, thick, cv2.LINE_AA, 4)


def _mark(canvas: ByteArray, number: int, at: tuple[int, int], letters: float) -> None:
    radius = round(_MARK_RADIUS * letters)
    cv2.circle(canvas, at, radius + 1, (0, 0, 0), -1, cv2.LINE_AA)
    cv2.circle(canvas, at, radius - 1, _PAPER, -1, cv2.LINE_AA)
    _write(canvas, str(number), (at[0], at[1] + round(9 * letters)), round(_TEXT_PX * letters), _INK, centred=True)


def _tag(
    canvas: ByteArray,
    separation: Separation,
    run: NDArray[np.float32],
    taken: list[tuple[int, int, int, int]],
    letters: float,
) -> None:
    """The size of the step in zones, on the line, where there is room."""
    text = f"{abs(separation.zones):.1f}" if separation.says != "uncertain" else "?"
    half_w, half_h = round((9 + 7 * len(text)) * letters), round(16 * letters)
    height, width = canvas.shape[:2]
    for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9, 0.45, 0.55, 0.35, 0.65):
        x, y = (round(float(v)) for v in run[int(share * (len(run) - 1))])
        x, y = min(max(x, half_w + 2), width - half_w - 3), min(max(y, half_h + 2), height - half_h - 3)
        box = (x - half_w, y - half_h, x + half_w, y + half_h)
        if not any(box[0] < t[2] and t[0] < box[2] and box[1] < t[3] and t[1] < box[3] for t in taken):
            break
    else:
        return
    taken.append(box)
    cv2.rectangle(canvas, (box[0] - 1, box[1] - 1), (box[2] + 1, box[3] + 1), (0, 0, 0), -1)
    cv2.rectangle(canvas, box[:2], box[2:], _LINE[separation.says], -1)
    _write(canvas, text, (x, y + round(8 * letters)), round(_TAG_PX * letters), _INK, centred=True)


def _strip(verdict: Verdict, rendering: Rendering, width: int) -> ByteArray:
    """What the numbers and lines mean, on paper white."""
    step = max(1, max(rendering.tones.shape) // 512)
    curve = print_curve(zones_of(rendering.tones[::step, ::step]), verdict.grade)
    columns = max(1, width // _COLUMN_PX)
    rows = -(-len(verdict.layers) // columns)
    lines = _key_lines(width)
    head = 30 + _ROW_PX * len(lines)
    strip = np.full((head + _ROW_PX * rows + 14, width, 3), _PAPER, np.uint8)
    for row, entries in enumerate(lines):
        _key(strip, entries, _ROW_PX * row)
    for i, layer in enumerate(verdict.layers):
        left, top = 18 + (i % columns) * (width // columns), head + (i // columns) * _ROW_PX
        _layer_row(strip, layer, (left, top), float(curve.lightness(layer.zone.likely)))
    return strip


_FIGURES = "figures on the lines: step in zones"


def _text_px(text: str, size_px: int) -> int:
    """Width of a text; drawn on a scrap, for OpenCV 5 measures only against a picture."""
    return _write(np.zeros((4, 4, 3), np.uint8), text, (0, 0), size_px, _INK)


def _key_lines(width: int) -> list[list[SeparationWord | Literal["figures"]]]:
    """What each line of the key holds, so that nothing runs over the edge on an upright picture."""
    lines: list[list[SeparationWord | Literal["figures"]]] = [[]]
    x = 18
    kinds: tuple[SeparationWord | Literal["figures"], ...] = ("separates", "uncertain", "merges", "figures")
    for kind in kinds:
        wide = _text_px(_FIGURES, _SMALL_PX) if kind == "figures" else 74 + _text_px(_SAID[kind], _TEXT_PX)
        if x + wide > width - 10 and lines[-1]:
            lines.append([])
            x = 18
        lines[-1].append(kind)
        x += wide + 28
    return lines


def _key(strip: ByteArray, entries: Sequence[SeparationWord | Literal["figures"]], top: int) -> None:
    x = 18
    for says in entries:
        if says == "figures":
            _write(strip, _FIGURES, (x, top + 36), _SMALL_PX, _FAINT)
            continue
        cv2.rectangle(strip, (x - 6, top + 14), (x + 62, top + 42), _FAINT, -1)
        line = np.stack([np.linspace(x, x + 56, 57), np.full(57, top + 28.0)], axis=1).astype(np.float32)
        _draw_run(strip, line, says)
        x += 74
        x += _write(strip, _SAID[says], (x, top + 36), _TEXT_PX, _INK) + 28


def _layer_row(strip: ByteArray, layer: Layer, at: tuple[int, int], lightness: float) -> None:
    left, top = at
    cv2.circle(strip, (left + 14, top + 15), 15, _INK, -1, cv2.LINE_AA)
    _write(strip, str(layer.index + 1), (left + 14, top + 23), 22, _PAPER, centred=True)
    # display value of the print's L*: sRGB of the luminance
    luminance = ((lightness + 16) / 116) ** 3 if lightness > 8 else lightness / 903.3
    grey = round(255 * min(max(float(to_display(luminance)), 0.0), 1.0))
    cv2.rectangle(strip, (left + 40, top), (left + 92, top + 30), (grey, grey, grey), -1)
    cv2.rectangle(strip, (left + 40, top), (left + 92, top + 30), _FAINT, 1)
    x = left + 104
    x += _write(strip, layer.name, (x, top + 23), _TEXT_PX, _INK) + 12
    _write(strip, f"zone {layer.zone.likely:.1f}, prints {tone_word(lightness)}", (x, top + 23), _SMALL_PX, _FAINT)


def _write(
    canvas: ByteArray, text: str, at: tuple[int, int], size_px: int, colour: tuple[int, int, int], centred: bool = False
) -> int:
    """Write at the base line and return the width [px]. OpenCV 4 has only stroke letters."""
    face = getattr(cv2, "FontFace", None)
    if face is not None:
        font = face("sans")
        (x0, _, wide, _) = cv2.getTextSize((canvas.shape[1], canvas.shape[0]), text, (0, 0), font, size_px)
        x = at[0] - wide // 2 - x0 if centred else at[0]
        cv2.putText(canvas, text, (int(x), at[1]), colour, font, size_px)
        return int(wide)
    scale = size_px / 30
    (wide, _), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_DUPLEX, scale, 1)
    x = at[0] - wide // 2 if centred else at[0]
    cv2.putText(canvas, text, (x, at[1]), cv2.FONT_HERSHEY_DUPLEX, scale, colour, max(1, round(scale)), cv2.LINE_AA)
    return int(wide)
