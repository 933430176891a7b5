"""Rules of plausibility: facts are held against each other, and against date, place and sun, before anything is said.

Each rule has a name and a test; what one finds is a `VerdictDoubt`, or it changes what is believed. That bare trees do
not glow and that low sun rakes and reddens is common practice; snow by date and place from memory of snow climatology.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from irpreview.core.verdict.layers import Ground
from irpreview.core.verdict.lead import SKY_WORTH_WAITING
from irpreview.records import Conditions, Layer, Light, Movement, Photo, Sky, Subject, VerdictDoubt

LOW_SUN_DEG = 10.0
"""Below this shadows are six times as long as what casts them, and haze takes much of the direct light."""
SNOW_FREE_BELOW_DEG = 60.0
"""Latitude up to which the low country is free of snow in summer."""
LEAVES_FROM_DEG = 35.0
"""Latitude from which broadleaf trees stand bare in winter."""
GREEN_AROUND = 0.25
"""Share of trees and grass in the picture that makes it a green country."""
UNSURE = 0.5
WARM_SKY = 1.12
"""Red over blue of a sky that the setting sun lights; cloud by day 0.9 to 1.05."""
ASSUMED_WIND_M_S = 4.0
"""Where no wind is given: Beaufort 3, 3.4 to 5.4 m/s (WMO code 1100), its lower middle; never calm."""
_SKY = ("clear_sky", "cloud")


def summer_half(month: int, latitude_deg: float) -> bool:
    """May to September on the northern half, November to March on the southern."""
    return month in ((5, 6, 7, 8, 9) if latitude_deg >= 0 else (11, 12, 1, 2, 3))


def leafless(month: int, latitude_deg: float) -> bool:
    """December to March beyond 35 degrees north, June to September beyond 35 degrees south."""
    if abs(latitude_deg) < LEAVES_FROM_DEG:
        return False
    return month in ((12, 1, 2, 3) if latitude_deg > 0 else (6, 7, 8, 9))


def snow_is_plausible(layer: Layer, layers: tuple[Layer, ...], photo: Photo, rises_to_sky: bool) -> bool:
    """Whether snow can lie there: on a height against the sky always; in green low country not in summer, and, where
    the date is not known, not below the middle of the picture.
    """
    green = sum(la.share for la in layers if la.class_name in ("tree", "grass"))
    if rises_to_sky or green < GREEN_AROUND:
        return True
    if photo.taken_at is not None and photo.place is not None:
        latitude = photo.place.latitude_deg
        return abs(latitude) > SNOW_FREE_BELOW_DEG or not summer_half(photo.taken_at.month, latitude)
    return layer.share > green


def believed_layers(layers: tuple[Layer, ...], layer_map: np.ndarray, photo: Photo) -> tuple[Layer, ...]:
    """The layers with snow that cannot be snow taken for pale ground."""
    sky = np.isin(layer_map, [la.index for la in layers if la.class_name in _SKY])
    out = []
    for layer in layers:
        if layer.class_name == "snow":
            inside = layer_map == layer.index
            upper = inside & np.roll(sky, 3, axis=0)
            rises = float(upper.any(axis=0).sum()) > 0.2 * max(1, int(inside.any(axis=0).sum()))
            if not snow_is_plausible(layer, layers, photo, rises):
                layer = replace(layer, class_name="ground", name=layer.name.replace("snow", "pale ground"))
        out.append(layer)
    return tuple(out)


def sky_worth_waiting_for(sky: Sky) -> bool:
    """Only a sky of some size is worth waiting for."""
    return sky.share >= SKY_WORTH_WAITING


def sky_is_empty(sky: Sky) -> bool:
    """Empty is said only of a sky without cloud: facts must agree."""
    return sky.okta == 0 and sky.word in ("clear", "hazy")


def sun_is_low(light: Light) -> bool:
    """The sun is known and stands low."""
    return (light.planned or light.sun_bearing_deg is not None) and 0 < light.sun_height_deg < LOW_SUN_DEG


def sunset_in_the_sky(ground: Ground) -> bool:
    """The sky of the photo is reddened, so the sun stood low whatever the clock says."""
    sky = ground.winner <= 1
    if sky.mean() < 0.05:
        return False
    pixels = ground.pixels[sky].astype(np.float32)
    red, green, blue = (float(np.median(pixels[:, k])) + 1 for k in range(3))
    upper = np.percentile(pixels[:, 0] / (pixels[:, 2] + 1), 90)
    return red / blue > WARM_SKY or (red > green and float(upper) > 1.35 and red / blue > 0.95)


def doubts_of(
    layers: tuple[Layer, ...],
    believed: tuple[Layer, ...],
    ground: Ground,
    sky: Sky,
    subject: Subject | None,
    photo: Photo,
    light: Light,
    conditions: Conditions | None,
    movement: Movement | None,
) -> tuple[VerdictDoubt, ...]:
    """What is doubtful of a verdict, in the order in which it is told."""
    out = []
    for was, now in zip(layers, believed, strict=True):
        if was.class_name != now.class_name:
            out.append(VerdictDoubt("snow_unlikely", was.share, was.centre_xy))
    if sun_is_low(light):
        out.append(VerdictDoubt("low_sun", light.sun_height_deg))
    elif not light.planned and sunset_in_the_sky(ground):
        out.append(VerdictDoubt("sunset_light"))
    if (
        subject is not None
        and layers[subject.layer].class_name == "tree"
        and photo.taken_at is not None
        and photo.place is not None
        and leafless(photo.taken_at.month, photo.place.latitude_deg)
    ):
        out.append(VerdictDoubt("out_of_leaf", None, subject.centre_xy))
    if sky.word != "none" and sky.share < SKY_WORTH_WAITING and sky.share < 0.12:
        out.append(VerdictDoubt("small_sky", sky.share))
    unsure = float((ground.confidence < UNSURE).mean())
    if unsure > 0.4:
        out.append(VerdictDoubt("little_recognised", unsure))
    if movement is not None and (conditions is None or conditions.wind_m_s is None):
        out.append(VerdictDoubt("assumed_wind", ASSUMED_WIND_M_S))
    if light.planned:
        out.append(VerdictDoubt("what_if"))
    return tuple(out)
