"""What makes a picture a poor start for a prediction: told beside the result, never a refusal.

The prediction is made for daylight landscapes in colour. A screenshot, a night or indoor picture, one that is already
black-and-white, badly exposed, very blurred or tiny still gets its answer, with a sentence that says why to doubt it.

Limits were set on 123 landscape photographs and 876 labelled outdoor scenes so that an ordinary outdoor photograph
raises none of them (the share that does is in the tests), and on drawn and spoilt pictures that should.
"""

from __future__ import annotations

import cv2
import numpy as np

from irpreview.records import CLASS_NAMES, ByteArray, Photo, PhotoDoubt, PhotoDoubtKind, SceneMap, Shot

_WORK_SIDE_PX = 512
SMALL_MEGAPIXELS = 0.3
GREY_RESIDUAL = 1.0
"""Chroma that lightness does not explain, root mean square [8-bit levels]; landscapes 1.5 to 19."""
NO_COLOUR_RESIDUAL = 0.5
"""The same, below which the picture is surely black and white and is not judged; grey photographs 0."""
DARK_LEVEL = 72.0
"""Lightness that 95 % of the picture stays under [8-bit levels]; landscapes 85 to 255."""
BLOWN_SHARE = 0.42
"""Share of pixels that are plain white; landscapes 0 to 0.37."""
BLACK_SHARE = 0.35
"""Share of pixels that are plain black; landscapes 0 to 0.09."""
FLAT_SHARE, FEW_COLOURS_SHARE, FEWEST_COLOURS = 0.60, 0.57, 0.006
"""Neighbours that are exactly equal, pixels in the eight commonest colours (landscapes reach 0.80 and 0.55), and
different colours per pixel looked at."""
BLUR_STEEPNESS = 0.195
"""Steepest step over 1 px by that over 6 px; 1/6 if nothing is sharp; landscapes 0.20 to 0.58."""
DARK_EV100 = 6.0
"""Below the light of any daylight landscape: deep woods under cloud meter about 8, lit rooms and streets at night 4 to
7 (exposure tables of the trade; from memory)."""
UNSURE_CONFIDENCE = 0.5


def pixel_doubts(pixels: ByteArray, shot: Shot) -> tuple[PhotoDoubt, ...]:
    """Doubts from the pixels (H, W, 3) uint8 sRGB and what the camera metered. Empty for an ordinary photo."""
    height, width = pixels.shape[:2]
    doubts = []
    if height * width < SMALL_MEGAPIXELS * 1e6:
        doubts.append(PhotoDoubt(PhotoDoubtKind.SMALL, width, SMALL_MEGAPIXELS, height))
    small = _working_copy(pixels)
    luma_chroma = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2YCrCb), np.uint8)
    luma = np.asarray(cv2.extractChannel(luma_chroma, 0), np.uint8)
    screenshot = looks_drawn(pixels)
    if screenshot:
        doubts.append(PhotoDoubt(PhotoDoubtKind.DRAWN))
    elif _chroma_beyond_lightness(luma_chroma) < GREY_RESIDUAL:
        doubts.append(PhotoDoubt(PhotoDoubtKind.WITHOUT_COLOUR))
    doubts += _exposure_doubts(small, luma, shot)
    if not screenshot and _steepest_step(luma) < BLUR_STEEPNESS:
        doubts.append(PhotoDoubt(PhotoDoubtKind.BLURRED))
    return tuple(doubts)


def metered_ev100(shot: Shot) -> float | None:
    """What the phone metered [EV at ISO 100]; None = it does not say."""
    if shot.ev100 is None and shot.brightness_ev is not None:
        return shot.brightness_ev + 5.0  # Exif: APEX brightness; Bv + Sv with Sv = 5 at ISO 100
    return shot.ev100


def night_by_pixels(pixels: ByteArray) -> bool:
    """Most of the picture black, with a few lights."""
    small = _working_copy(pixels)
    luma = np.asarray(cv2.extractChannel(cv2.cvtColor(small, cv2.COLOR_RGB2YCrCb), 0), np.uint8)
    return _share_between(small, 0, 8) > BLACK_SHARE and _quantile(luma, 0.99) > 100.0


def _exposure_doubts(small: ByteArray, luma: ByteArray, shot: Shot) -> list[PhotoDoubt]:
    metered = metered_ev100(shot)
    level95, level99 = _quantile(luma, 0.95), _quantile(luma, 0.99)
    black = _share_between(small, 0, 8)
    blown = _share_between(small, 250, 255)
    if metered is not None and metered < DARK_EV100:
        return [PhotoDoubt(PhotoDoubtKind.METERED_DARK, metered)]
    if black > BLACK_SHARE and level99 > 100.0:
        return [PhotoDoubt(PhotoDoubtKind.NIGHT)]
    if level95 < DARK_LEVEL or black > BLACK_SHARE:
        return [PhotoDoubt(PhotoDoubtKind.TOO_DARK)]
    if blown > BLOWN_SHARE:
        return [PhotoDoubt(PhotoDoubtKind.BLOWN_OUT, blown)]
    return []


def _share_between(small: ByteArray, low: int, high: int) -> float:
    """Share of pixels with all three channels within low..high."""
    inside = cv2.inRange(small, (low, low, low), (high, high, high))
    return float(cv2.countNonZero(inside) / inside.size)


def _working_copy(pixels: ByteArray) -> ByteArray:
    """At most 512 px on the long side. Every n-th pixel first: this is a judgement, not a picture, and saves 40 ms."""
    stride = max(max(pixels.shape[:2]) // (2 * _WORK_SIDE_PX), 1)
    size = (max(pixels.shape[1] // stride, 1), max(pixels.shape[0] // stride, 1))
    part = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_NEAREST) if stride > 1 else pixels, np.uint8)
    scale = _WORK_SIDE_PX / max(part.shape[:2])
    if scale >= 1.0:
        return part
    size = (max(round(part.shape[1] * scale), 1), max(round(part.shape[0] * scale), 1))
    return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8)


def without_colour(pixels: ByteArray) -> bool:
    """Black and white, or one tone of colour: nothing in it tells leaves from stone."""
    luma_chroma = np.asarray(cv2.cvtColor(_working_copy(pixels), cv2.COLOR_RGB2YCrCb), np.uint8)
    return _chroma_beyond_lightness(luma_chroma) < NO_COLOUR_RESIDUAL


def looks_drawn(pixels: ByteArray) -> bool:
    """Large exactly flat areas in a handful of colours; a photo has noise, and even a white sky is one colour only."""
    rows = pixels[:: max(len(pixels) // 250, 1)]
    step = max(rows.shape[1] // 1000, 1)
    here, beside = rows[:, :-1:step], rows[:, 1::step]
    red, green, blue = np.moveaxis(here == beside, -1, 0)  # all(-1) takes ten times as long
    if float((red & green & blue).mean()) < FLAT_SHARE:
        return False
    sample = rows[:, :: max(rows.shape[1] // 400, 1)].astype(np.int32)
    codes = (sample[..., 0] << 16 | sample[..., 1] << 8 | sample[..., 2]).ravel()
    count = np.sort(np.unique(codes, return_counts=True)[1])[::-1]
    return bool(count[:8].sum() > FEW_COLOURS_SHARE * codes.size or len(count) < FEWEST_COLOURS * codes.size)


def _chroma_beyond_lightness(luma_chroma: ByteArray) -> float:
    """Spread of chroma around a cubic in lightness: a toned print follows it, a colour photo does not. [levels]"""
    size = (max(luma_chroma.shape[1] // 4, 1), max(luma_chroma.shape[0] // 4, 1))
    flat = cv2.resize(luma_chroma.astype(np.float32), size, interpolation=cv2.INTER_AREA).reshape(-1, 3)
    flat = flat.astype(np.float64)
    t = flat[:, :1] / 255.0
    basis = np.hstack([t**0, t, t**2, t**3])
    chroma = flat[:, 1:] - 128.0
    found = np.linalg.lstsq(basis, chroma, rcond=None)[0]
    return float(np.sqrt(np.mean((chroma - basis @ found) ** 2)))


def _steepest_step(luma: ByteArray) -> float:
    """Steepness of the sharpest edges in the worse direction, so that a shaken picture counts as blurred too."""
    ratios = []
    for line in (luma, np.asarray(cv2.transpose(luma), np.uint8)):
        one = _quantile(np.asarray(cv2.absdiff(line[:, 1:], line[:, :-1]), np.uint8), 0.995)
        six = _quantile(np.asarray(cv2.absdiff(line[:, 6:], line[:, :-6]), np.uint8), 0.995)
        ratios.append(one / max(six, 1.0))
    return min(ratios)


def _quantile(levels: ByteArray, share: float) -> float:
    """Quantile of whole levels, by counting: a hundredth of the time of sorting."""
    count = cv2.calcHist([levels], [0], None, [256], [0, 256]).ravel()
    return float(np.searchsorted(np.cumsum(count, dtype=np.float64), share * levels.size))


def scene_doubts(photo: Photo, scene: SceneMap) -> tuple[PhotoDoubt, ...]:
    """Doubts once it is known what was recognised: no landscape in it, or little that is sure."""
    # every n-th pixel tells shares well enough to doubt by, and spares 0.2 s at 12 megapixels
    step = max(max(photo.height, photo.width) // 1000, 1)
    count = np.bincount(scene.label[::step, ::step].ravel(), minlength=10)[1:10]
    share = dict(zip(CLASS_NAMES, (count / max(count.sum(), 1)).tolist(), strict=True))
    open_air = sum(share[name] for name in ("clear_sky", "cloud", "water", "tree", "grass", "snow"))
    unsure = float((scene.confidence[::step, ::step] < UNSURE_CONFIDENCE).mean())
    # a facade can fill a picture without any sky; a room is told from it by the things that stand in it
    if open_air < 0.05 and share["other"] > 0.3:
        return (PhotoDoubt(PhotoDoubtKind.PERHAPS_INDOORS),)
    return (PhotoDoubt(PhotoDoubtKind.LITTLE_RECOGNISED, unsure),) if unsure > 0.4 else ()
