"""The verdict on a snap: will the layers hold apart, is there enough in the sky, what should lead the picture.

Layers come from `layers`, the step between two of them from `separations`, the sky from `sky`, the lead from `lead`, the
words from `verdict_words`. Nothing here looks at a clock or a file: the same photo, scene and rendering give the same
verdict.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from irpreview.core.motion.blur import movement_at, rates_of_motion
from irpreview.core.rendering.finishing import PrintCurve
from irpreview.core.verdict import lead as lead_of
from irpreview.core.verdict.layers import Ground, at_photo_size, edge_lengths, find_layers, ground_of
from irpreview.core.verdict.separation import measure_separations
from irpreview.core.verdict.sky import read_sky
from irpreview.core.verdict.subjects import candidates, parting
from irpreview.core.words.verdict_words import say_all
from irpreview.records import (
    DEFAULT_GRADE,
    ClassMovement,
    Conditions,
    Layer,
    Movement,
    Photo,
    Range,
    Rendering,
    SceneMap,
    Separation,
    Verdict,
)

__all__ = ["Parted", "judge_parted", "judge_scene", "layered_contrast", "part_scene"]

_SKY = ("clear_sky", "cloud")
_CROPS = ((1, 1), (5, 4), (4, 3), (3, 2), (16, 9), (2, 1))


@dataclass(frozen=True, slots=True)
class Parted:
    """The picture parted into layers: what no wind and no shutter time changes."""

    photo: Photo
    rendering: Rendering
    ground: Ground
    layers: tuple[Layer, ...]
    layer_map: np.ndarray
    separations: tuple[Separation, ...]
    curve: PrintCurve
    grade: float


def part_scene(photo: Photo, scene: SceneMap, rendering: Rendering, grade: float = DEFAULT_GRADE) -> Parted:
    """Layers and the steps between them. photo, scene, rendering: of one size (H, W). grade: paper grade 0..5.

    Raises BadValue for sizes that differ or a grade outside 0..5.
    """
    ground = ground_of(photo, scene, rendering)
    layers, layer_map = find_layers(ground)
    separations, curve = measure_separations(ground, layers, layer_map, rendering, grade)
    return Parted(photo, rendering, ground, layers, layer_map, separations, curve, grade)


MovementAtWind = Callable[[float], Movement]
"""What the planned shutter makes of the scene in another mean wind [m/s]."""


def judge_scene(
    photo: Photo,
    scene: SceneMap,
    rendering: Rendering,
    conditions: Conditions | None = None,
    movement: Movement | None = None,
    grade: float = DEFAULT_GRADE,
    shutter_s: float | None = None,
) -> Verdict:
    """The verdict on one snap, its movement worked out from the wind table for `shutter_s` [s] where none is given.

    Raises BadValue for sizes that differ, a grade outside 0..5, or a shutter or wind outside its range.
    """
    day = conditions or Conditions()
    time = movement.shutter_s if movement is not None else shutter_s

    def at_wind(wind_m_s: float | None) -> Movement:
        windy = replace(day, wind_m_s=wind_m_s, gust_m_s=day.gust_m_s if wind_m_s == day.wind_m_s else None)
        return movement_at(rates_of_motion(scene, rendering.kit, windy, photo), time or 0.0)

    if movement is None and time is not None:
        movement = at_wind(day.wind_m_s)
    parted = part_scene(photo, scene, rendering, grade)
    return judge_parted(parted, conditions, movement, at_wind if time is not None else None)


def judge_parted(
    parted: Parted,
    conditions: Conditions | None = None,
    movement: Movement | None = None,
    at_wind: MovementAtWind | None = None,
) -> Verdict:
    """Layers, their separation, sky, lead and sentences for one snap.

    conditions: wind unknown = not given, never zero. movement: what the planned shutter makes of the scene, None = not
    known. at_wind: the same in any other wind, to tell where the lead turns; None = that is not told.
    """
    photo, rendering, ground = parted.photo, parted.rendering, parted.ground
    layers, layer_map, separations, curve, grade = (
        parted.layers,
        parted.layer_map,
        parted.separations,
        parted.curve,
        parted.grade,
    )
    sky = read_sky(ground, movement)
    shade = lead_of.read_shade(ground, rendering, sky, conditions)
    found = candidates(layers, separations, layer_map, ground, curve, sky)
    sky_share = sum(layer.share for layer in layers if layer.class_name in _SKY)
    lead = lead_of.find_lead(
        found,
        sky,
        sky_share,
        movement,
        shade,
        lead_of.foliage_blur(movement),
        _blur_at_wind(conditions, movement, at_wind),
    )
    composition = composition_facts(layers, separations, layer_map, lead)
    score, parts = layered_contrast(layers, separations, layer_map)
    reasons, sentences = say_all(
        layers, separations, sky, sky_share, lead, composition, curve, rendering, conditions, movement, grade
    )
    return Verdict(
        layers=layers,
        separations=separations,
        layer_map=at_photo_size(layer_map, photo.height, photo.width),
        sky=sky,
        lead=lead.choice,
        lead_reasons=reasons,
        turns_at_wind_m_s=lead.turns_at_wind_m_s,
        composition=composition,
        layered_contrast=score,
        layered_contrast_parts=parts,
        sentences=sentences,
        grade=grade,
    )


def _blur_at_wind(
    conditions: Conditions | None, movement: Movement | None, at_wind: MovementAtWind | None
) -> lead_of.FoliageBlur | None:
    """Smear of the leaves [mm on the print] at any wind, at the shutter of `movement`; a clip sets its level."""
    name = lead_of.plant_of(movement)
    if movement is None or name is None or at_wind is None:
        return None
    ask = at_wind

    def at(wind_m_s: float) -> Range | None:
        moved = ask(wind_m_s).classes.get(name)
        return None if moved is None else moved.print_mm

    measured = _measured(movement)
    wind = None if conditions is None else conditions.wind_m_s
    if measured is None or wind is None:
        return at
    tabled = at(max(wind, 0.2))
    if tabled is None or tabled.likely <= 0:
        return at
    factor = measured.print_mm.likely / tabled.likely

    def scaled(wind_m_s: float) -> Range | None:
        blur = at(wind_m_s)
        if blur is None:
            return None
        # a few seconds of film measure the sway within a factor of about 1.4
        return Range(blur.likely * factor / 1.4, blur.likely * factor, blur.likely * factor * 1.4)

    return scaled


def _measured(movement: Movement) -> ClassMovement | None:
    for name in ("tree", "grass"):
        if name in movement.classes and movement.classes[name].how_known.startswith("measured"):
            return movement.classes[name]
    return None


def layered_contrast(
    layers: tuple[Layer, ...], separations: tuple[Separation, ...], layer_map: np.ndarray
) -> tuple[float, Mapping[str, float]]:
    """One figure 0..100 for sorting many snaps, and its parts 0..1:

        100 * parting^0.6 * depth^0.2 * range^0.2

    parting: mean over the shared edges, by length, of how well each separation parts on the print (0 below 2 L*, 1 from
    30 L*, times the chance that it is a step at all; or 0.75 of the share of the edge that parts). depth: (n - 1) / 3, at most
    1, with n the effective number of layers exp(entropy of their shares). range: distance between the darkest and the
    lightest layer of at least 3 %, full at 4 zones.
    """
    length = edge_lengths(layer_map, len(layers))
    total = sum(float(length[g.a, g.b]) for g in separations)
    parted = sum(float(length[g.a, g.b]) * parting(g) for g in separations) / total if total else 0.0
    shares = [layer.share for layer in layers if layer.share > 0]
    effective = math.exp(-sum(s * math.log(s) for s in shares))
    depth = min(1.0, max(0.0, (effective - 1) / 3))
    zones = [layer.zone.likely for layer in layers if layer.share >= 0.03]
    span = min(1.0, (max(zones) - min(zones)) / 4) if zones else 0.0
    parts = {"parting": round(parted, 4), "depth": round(depth, 4), "range": round(span, 4)}
    score = 100 * parted**0.6 * depth**0.2 * span**0.2
    return round(score, 1), MappingProxyType(parts)


def composition_facts(
    layers: tuple[Layer, ...], separations: tuple[Separation, ...], layer_map: np.ndarray, lead: lead_of.Lead
) -> Mapping[str, object]:
    """Facts, not rules: horizon, sky and ground, the strongest edge, what a crop to the common formats keeps."""
    height, width = layer_map.shape
    sky_ids = [la.index for la in layers if la.class_name in _SKY]
    sky = np.isin(layer_map, sky_ids)
    sky_share = float(sky.mean())
    horizon: float | None = None
    if 0.02 < sky_share < 0.98:
        columns = sky.any(axis=0)
        feet = height - np.argmax(sky[::-1][:, columns], axis=0)
        if columns.mean() > 0.3:
            horizon = round(1 - float(np.median(feet)) / height, 3)
    strongest: dict[str, object] | None = None
    if separations:
        length = edge_lengths(layer_map, len(layers))
        best = max(
            separations, key=lambda g: abs(g.print_step.likely) * min(1.0, float(length[g.a, g.b]) / (0.2 * width))
        )
        strongest = {
            "between": [layers[best.a].name, layers[best.b].name],
            "print_step": round(abs(best.print_step.likely), 1),
            "x": round(best.edge_xy[0], 3),
            "y": round(best.edge_xy[1], 3),
        }
    leading = lead.candidates[0].layer if lead.candidates else None
    focus = leading.centre_xy if leading is not None else (0.5, 0.5)
    return MappingProxyType(
        {
            "horizon_height": horizon,
            "sky_share": round(sky_share, 3),
            "ground_share": round(1 - sky_share, 3),
            "strongest_edge": strongest,
            "crops": [_crop(ratio, layers, layer_map, focus) for ratio in _CROPS],
        }
    )


def _crop(
    ratio: tuple[int, int], layers: tuple[Layer, ...], layer_map: np.ndarray, focus: tuple[float, float]
) -> dict[str, object]:
    """The largest frame of this format, moved towards what leads; lying or standing like the photo."""
    height, width = layer_map.shape
    long, short = max(ratio), min(ratio)
    aspect = long / short if width >= height else short / long
    if width / height > aspect:
        w, h = max(1, round(height * aspect)), height
    else:
        w, h = width, max(1, round(width / aspect))
    left = int(np.clip(round(focus[0] * width - w / 2), 0, width - w))
    top = int(np.clip(round(focus[1] * height - h / 2), 0, height - h))
    inside = layer_map[top : top + h, left : left + w]
    kept = np.bincount(inside[inside >= 0].ravel(), minlength=len(layers))
    whole = np.maximum(np.bincount(layer_map[layer_map >= 0].ravel(), minlength=len(layers)), 1)
    losing = [la.name for la in layers if kept[la.index] / whole[la.index] < 0.5]
    return {
        "format": f"{ratio[0]}:{ratio[1]}",
        "keeps_share": round(w * h / (width * height), 3),
        "left": round(left / width, 3),
        "top": round(top / height, 3),
        "mostly_lost": losing,
    }
