"""What the sky gives: how much cloud, how much texture at the scales that read in a print, how dark the clear part
goes.

Okta: cloud cover in eighths, 0 and 8 only for a truly clear or covered sky (World Meteorological Organization,
WMO-No. 8). Texture: rms contrast of log2 tone in Gaussian bands of 0.5, 1, 2 and 4 % of the picture's width after a
plane is taken off (rms contrast predicts the visibility of texture: Moulden, Kingdom and Gatley 1990); the words for
it were set by eye. No cloud genus is named: colour and texture tell it too unsurely.
"""

from __future__ import annotations

from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.verdict.layers import Ground
from irpreview.records import CloudLook, FloatArray, Movement, Range, Sky

BLANK_STOPS = 0.03
FAINT_STOPS = 0.08
"""Below: little that reads in a print; above: lively."""
DRAMATIC_STOPS = 0.14
"""The three were set by looking at the 68 skies of the research pairs, put in order of this measure: from 0.09 on each
has form that carries in the real infrared picture, below 0.03 none has (one person's eye, no source)."""
BAND_SHARES_OF_WIDTH = (0.005, 0.01, 0.02, 0.04)
LEAST_SHARE = 0.02
"""A sky smaller than this share of the picture is no sky to speak of."""
_VEIL_SATURATION = 0.10
"""Below this saturation a cloudless sky is a veil or haze, not blue."""


def sky_part(ground: Ground) -> NDArray[np.bool_]:
    """(h, w) where the picture shows sky."""
    winner = ground.winner
    return np.asarray((winner == 0) | (winner == 1))


def cloud_share(ground: Ground, sky: NDArray[np.bool_]) -> float:
    """Share of the sky that is cloud, 0..1: each pixel counts by its vote, sharpened."""
    clear, cloud = ground.vote[0][sky], ground.vote[1][sky]
    share = cloud / np.maximum(clear + cloud, 1e-6)
    return float(np.clip((share - 0.3) / 0.4, 0, 1).mean())


def okta_of(share: float) -> int:
    """Eighths from a share 0..1; 0 only below 1/50 and 8 only above 49/50."""
    eighths = round(8 * share)
    if share >= 0.02:
        eighths = max(eighths, 1)
    if share <= 0.98:
        eighths = min(eighths, 7)
    return int(eighths)


def texture_stops(zones: FloatArray, inside: NDArray[np.bool_]) -> float:
    """Rms [stops] of a picture's tones (h, w) in stops over the part `inside`, mean of the four print-relevant bands.

    The outermost pixels are left out: there the land shines in. Returns 0 where too little is left.
    """
    width = zones.shape[1]
    core = cv2.erode(inside.astype(np.uint8), np.ones((5, 5), np.uint8), borderType=cv2.BORDER_REPLICATE).astype(bool)
    if core.mean() < LEAST_SHARE / 4:
        return 0.0
    rows, columns = np.nonzero(core)
    z = zones[core].astype(np.float64)
    step = max(1, rows.size // 8000)
    x, y = columns / width, rows / width
    design = np.stack([np.ones(rows.size), y, x], 1)
    plane, *_ = np.linalg.lstsq(design[::step], z[::step], rcond=None)
    flat = np.zeros(zones.shape, np.float32)
    flat[core] = np.clip(z - plane[0] - plane[1] * y - plane[2] * x, -4, 4)
    weight = core.astype(np.float32)
    energy: list[float] = []
    smooth: list[FloatArray] = []
    for share in (*BAND_SHARES_OF_WIDTH, 2 * BAND_SHARES_OF_WIDTH[-1]):
        sigma = share * width
        if sigma > 8:  # a wide blur loses nothing at half size
            half = (weight.shape[1] // 2, weight.shape[0] // 2)
            flat = cv2.resize(flat * weight, half, interpolation=cv2.INTER_AREA)
            weight = cv2.resize(weight, half, interpolation=cv2.INTER_AREA)
            flat = flat / np.maximum(weight, 1e-3)
            smooth = [cv2.resize(s, half, interpolation=cv2.INTER_AREA) for s in smooth]
            width //= 2
            sigma = share * width
        cover = cv2.GaussianBlur(weight, (0, 0), sigma)
        smooth.append(cv2.GaussianBlur(flat * weight, (0, 0), sigma) / np.maximum(cover, 1e-3))
        if len(smooth) > 1:
            band = (smooth[-2] - smooth[-1])[weight > 0.5]
            energy.append(float(np.sqrt(np.mean(band**2))))
    return float(np.mean(energy))


def texture_word(stops: float) -> Literal["blank", "faint", "lively", "dramatic"]:
    """Common practice for what a texture of so many stops does in a print."""
    if stops < BLANK_STOPS:
        return "blank"
    if stops < FAINT_STOPS:
        return "faint"
    return "lively" if stops < DRAMATIC_STOPS else "dramatic"


def _saturation(pixels: NDArray[np.uint8], inside: NDArray[np.bool_]) -> float:
    """Median of blue's lead over red, 0..1, in the colour photo."""
    red, blue = (pixels[..., k][inside].astype(np.float32) for k in (0, 2))
    return float(np.median((blue - red) / np.maximum(np.maximum(blue, red), 1)))


def read_sky(ground: Ground, movement: Movement | None = None) -> Sky:
    """The sky of a scene, and what a planned shutter makes of it."""
    inside = sky_part(ground)
    if inside.mean() < LEAST_SHARE:
        return Sky(okta=None, texture_stops=0.0, word="none", share=float(inside.mean()))
    covered = cloud_share(ground, inside)
    okta = okta_of(covered)
    texture = texture_stops(ground.infrared_zone, inside)
    clear = inside & (ground.vote[0] > ground.vote[1])
    clear_zone = None
    if clear.mean() > LEAST_SHARE / 4:
        low, likely, high = (float(v) for v in np.percentile(ground.infrared_zone[clear], (25, 50, 75)))
        spread = float(np.median(ground.spread_stops[clear]))
        reach = float(np.hypot(spread, (high - low) / 2))
        clear_zone = Range(likely - reach, likely, likely + reach)
    return Sky(
        okta=okta,
        texture_stops=texture,
        word=_word(okta, texture, ground, inside),
        clear_zone=clear_zone,
        clouds_after_shutter=clouds_after_shutter(okta, texture, movement),
        share=float(inside.mean()),
    )


def _word(
    okta: int, texture: float, ground: Ground, inside: NDArray[np.bool_]
) -> Literal["clear", "textured", "overcast", "hazy"]:
    if okta >= 7:
        return "textured" if texture >= FAINT_STOPS else "overcast"
    if okta >= 2:
        return "textured"
    saturation = _saturation(ground.pixels, inside)
    if saturation < _VEIL_SATURATION:
        return "hazy"
    return "textured" if texture >= FAINT_STOPS and okta >= 1 else "clear"


def clouds_after_shutter(okta: int, texture: float, movement: Movement | None) -> CloudLook | None:
    """How the clouds look after the shutter time of `movement`; None when not known or no cloud.

    The drift over the shutter is compared with the width of a cloud element, taken as 12 % of the picture's height
    (an assumption; small fair-weather cloud spans 5 to 20 degrees).
    """
    if movement is None or okta == 0 or "cloud" not in movement.classes:
        return None
    share = clouds_blur_share(movement)
    if share < 0.05:
        return "still"
    if share < 0.3:
        return "softened"
    if okta >= 7 or texture < BLANK_STOPS:
        return "even_grey" if share > 1 else "formless"
    if share < 1:
        return "blurred"
    return "streaks" if share < 3 else "veil"


def clouds_blur_share(movement: Movement | None) -> float:
    """Likely drift of the clouds over the shutter, in cloud widths; 0 when not known."""
    if movement is None or "cloud" not in movement.classes:
        return 0.0
    return movement.classes["cloud"].share_of_height.likely / 0.12
