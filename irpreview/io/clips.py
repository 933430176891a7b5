"""Opening film clips and bursts of stills to measure movement: small grey frames, their rate, the first in colour.

Bounded in time and memory: at most 12 s, 400 frames and a fixed number of decoded pixels, whatever the file holds.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from irpreview.errors import BadClip, BadPhoto
from irpreview.io.ordinary_file import Wanted, check_ordinary
from irpreview.io.photos import load_photo
from irpreview.records import ByteArray, ClipDoubt, ClipDoubtKind, Shot

LONGEST_S = 12.0
MOST_FRAMES = 400
MOST_STILLS = 120
MOST_FPS = 60.0
MOST_DECODED_PIXELS = 4.0e9
"""About 480 frames of 4K: what two cores decode in some fifteen seconds."""
WORKING_SIDE = 640
COLOUR_SIDE = 1024
LARGEST_SIDE = 8192
STILL_SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".heic", ".heif", ".webp", ".tif", ".tiff"})
ASSUMED_BURST_FPS = 5.0
_SILENT = 0
"""OpenCV's lowest log level."""


@dataclass(frozen=True, slots=True)
class Clip:
    """A film clip, reduced to what measuring needs."""

    frames: tuple[ByteArray, ...]
    """Grey (h, w) uint8, upright, long side at most 640."""
    first: ByteArray
    """First frame (H, W, 3) uint8 sRGB, long side at most 1024."""
    fps: float
    size: tuple[int, int]
    """(H, W) in the file, upright. [px]"""
    name: str
    timed: bool = True
    """False: the times between the frames are a guess."""
    shot: Shot = Shot()  # noqa: RUF009
    doubts: tuple[ClipDoubt, ...] = ()


def load_clip(source: str | Path | Sequence[str | Path], *, fps: float | None = None) -> Clip:
    """A film file, a folder of stills, or several stills of one burst.

    fps: the true rate where the file does not tell it (a burst, slow motion). Raises BadClip with what to do.
    """
    paths = [Path(source)] if isinstance(source, (str, Path)) else [Path(p) for p in source]
    if not paths:
        raise BadClip("no clip was given; name a film file or the stills of one burst")
    if fps is not None and not (math.isfinite(fps) and 0.05 <= fps <= 1000.0):
        raise BadClip(f"{fps:g} frames per second cannot be used: 0.05 to 1000; give the camera's rate")
    for path in paths:
        if not path.exists():
            raise BadClip(f"{path} does not exist; check the name of the clip")
    if len(paths) == 1 and paths[0].is_dir():
        stills = sorted(p for p in paths[0].iterdir() if p.suffix.lower() in STILL_SUFFIXES)
        if not stills:
            raise BadClip(f"{paths[0]} holds no stills; put the pictures of one burst in it")
        return _burst(stills, fps)
    if all(p.suffix.lower() in STILL_SUFFIXES for p in paths):
        return _burst(paths, fps)
    if len(paths) > 1:
        raise BadClip(f"{len(paths)} files that are not all stills; give one film clip, or the stills of one burst")
    return _film(paths[0], fps)


def _film(path: Path, fps: float | None) -> Clip:
    check_ordinary(path, Wanted(BadClip, "the clip", "name a film file or the stills of one burst"))
    # the decoder writes its own complaints to stderr; ours are told in one line
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")

    # OpenCV 4.10 has it at the top, OpenCV 5 in a module of its own
    set_level = cv2.setLogLevel if hasattr(cv2, "setLogLevel") else cv2.utils.logging.setLogLevel
    level = set_level(_SILENT)
    capture = None
    try:
        try:
            capture = cv2.VideoCapture(str(path), cv2.CAP_FFMPEG)
        except cv2.error:
            capture = None
        if capture is None or not capture.isOpened():
            raise BadClip(
                f"{path.name} cannot be opened as a film ({path.stat().st_size} bytes): it is no film, is cut short or "
                "uses an unknown coding; film again, or save it as MP4 (H.264)"
            )
        return _read(capture, path.name, fps)
    finally:
        if capture is not None:
            capture.release()
        set_level(level)


def _read(capture: object, name: str, fps: float | None) -> Clip:
    assert isinstance(capture, cv2.VideoCapture)
    doubts: list[ClipDoubt] = []
    capture.set(cv2.CAP_PROP_ORIENTATION_AUTO, 1)
    told = float(capture.get(cv2.CAP_PROP_FPS))
    expected = float(capture.get(cv2.CAP_PROP_FRAME_COUNT))
    wide, tall = capture.get(cv2.CAP_PROP_FRAME_WIDTH), capture.get(cv2.CAP_PROP_FRAME_HEIGHT)
    if max(wide, tall) > LARGEST_SIDE:
        raise BadClip(f"{name} is {wide:.0f} x {tall:.0f} px: at most {LARGEST_SIDE} px a side; film in 4K or smaller")
    timed = fps is not None or (math.isfinite(told) and 1.0 <= told <= 1000.0)
    rate = fps if fps is not None else told if timed else 30.0
    if not timed:
        doubts.append(ClipDoubt(ClipDoubtKind.RATE_ASSUMED, rate))
    skip = max(1, math.ceil(rate / MOST_FPS - 0.05))
    pixels = max(1.0, wide * tall)
    most = min(MOST_FRAMES, int(LONGEST_S * rate / skip) + 1, max(30, int(MOST_DECODED_PIXELS / (pixels * skip))))
    frames: list[ByteArray] = []
    first: ByteArray | None = None
    size = (0, 0)
    read = 0
    while len(frames) < most and capture.grab():
        read += 1
        if (read - 1) % skip:
            continue
        ok, picture = capture.retrieve()
        if not ok or picture is None:
            break
        if first is None:
            size = (int(picture.shape[0]), int(picture.shape[1]))
            first = np.ascontiguousarray(_smaller(picture, COLOUR_SIDE)[..., ::-1])
        grey = cv2.cvtColor(_smaller(picture, WORKING_SIDE), cv2.COLOR_BGR2GRAY)
        frames.append(np.asarray(grey, np.uint8))
    if first is None:
        raise BadClip(f"{name} holds no readable frame: it is empty or cut short; film again")
    if len(frames) < 2:
        raise BadClip(f"{name} holds one frame only: movement needs 2, and 3 to 10 s are best; film again")
    if expected > 0 and read < 0.9 * expected and len(frames) < most:
        doubts.append(ClipDoubt(ClipDoubtKind.ENDS_EARLY, read, expected))
    elif expected > read and len(frames) >= most:
        doubts.append(ClipDoubt(ClipDoubtKind.FIRST_SECONDS_ONLY, (len(frames) - 1) * skip / rate))
    return Clip(tuple(frames), first, rate / skip, size, name, timed, Shot(), tuple(doubts))


def _smaller(picture: ByteArray, side: int) -> ByteArray:
    height, width = picture.shape[:2]
    scale = side / max(height, width)
    if scale >= 1.0:
        return picture
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)


def _burst(paths: Sequence[Path], fps: float | None) -> Clip:
    if len(paths) < 2:
        raise BadClip(
            f"{paths[0].name} is one still: movement needs at least 2 of one burst, better 10; add the others"
        )
    doubts: list[ClipDoubt] = []
    if len(paths) > MOST_STILLS:
        doubts.append(ClipDoubt(ClipDoubtKind.FIRST_STILLS_ONLY, MOST_STILLS, len(paths)))
        paths = list(paths)[:MOST_STILLS]
    frames: list[ByteArray] = []
    times: list[float] = []
    first: ByteArray | None = None
    shot = Shot()
    size = (0, 0)
    for path in paths:
        try:
            photo = load_photo(path, max_side=2048)
        except BadPhoto as error:
            raise BadClip(f"a still of the burst cannot be used: {error}") from error
        if first is None:
            size, shot = (photo.height, photo.width), photo.shot
            first = _smaller(photo.pixels, COLOUR_SIDE)
        elif (photo.height, photo.width) != size:
            raise BadClip(
                f"{path.name} is {photo.width} x {photo.height} px, the first still {size[1]} x {size[0]}: all stills "
                "of a burst must be alike; leave this one out"
            )
        when = photo.taken_at or photo.taken_at_naive
        times.append(when.timestamp() if when is not None else math.nan)
        frames.append(np.asarray(cv2.cvtColor(_smaller(photo.pixels, WORKING_SIDE), cv2.COLOR_RGB2GRAY), np.uint8))
    assert first is not None
    rate, timed = fps, True
    span = times[-1] - times[0]
    if rate is None and math.isfinite(span) and span > 0.0 and (span >= 2.0 or len(set(times)) == len(times)):
        rate = (len(times) - 1) / span
    if rate is None or not 0.05 <= rate <= 1000.0:
        rate, timed = ASSUMED_BURST_FPS, False
        doubts.append(ClipDoubt(ClipDoubtKind.STILLS_NOT_TIMED))
    return Clip(tuple(frames), np.ascontiguousarray(first), rate, size, paths[0].name, timed, shot, tuple(doubts))
