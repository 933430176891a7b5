"""The verdict on a snap: do the layers separate, is there enough in the sky, what should lead the picture.

Layers come from `layers`, the step between two of them from `separation`, the sky from `sky`, what could lead from
`subjects`, the lead from `lead`, what is doubtful from `plausibility`. Numbers and records only: the words are made by
`core.words`. Nothing here looks at a clock or a file: the same photo, scene and rendering give the same verdict.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from irpreview.core.motion.blur import movement_at, rates_of_motion
from irpreview.core.rendering.finishing import PrintCurve
from irpreview.core.scene.gate import gate_of
from irpreview.core.verdict.layers import Ground, at_photo_size, edge_lengths, find_layers, ground_of
from irpreview.core.verdict.lead import MovementAtWind, find_lead, foliage_of, read_shade
from irpreview.core.verdict.plausibility import ASSUMED_WIND_M_S, believed_layers, doubts_of
from irpreview.core.verdict.separation import measure_separations
from irpreview.core.verdict.sky import read_sky
from irpreview.core.verdict.subjects import parting, subjects_of
from irpreview.records import (
    DEFAULT_GRADE,
    Composition,
    Conditions,
    ContrastParts,
    Crop,
    Gate,
    Layer,
    Movement,
    Photo,
    Rendering,
    SceneMap,
    Separation,
    StrongestEdge,
    Subject,
    Verdict,
)

__all__ = ["MovementAtWind", "Parted", "judge_parted", "judge_scene", "layered_contrast", "part_ground", "part_scene"]

_SKY = ("clear_sky", "cloud")
_CROPS = ((1, 1), (5, 4), (4, 3), (3, 2), (16, 9), (2, 1))
_NO_WIND_M_S = 0.2
"""Below this a wind table says nothing that a clip could be held against."""


@dataclass(frozen=True, slots=True)
class Parted:
    """The picture parted into layers: what no wind and no shutter time changes."""

    photo: Photo
    rendering: Rendering
    ground: Ground
    seen: tuple[Layer, ...]
    """As the network has them."""
    layers: tuple[Layer, ...]
    """As they are believed."""
    layer_map: np.ndarray
    separations: tuple[Separation, ...]
    curve: PrintCurve
    grade: float
    gate: Gate


def part_scene(photo: Photo, scene: SceneMap, rendering: Rendering, grade: float = DEFAULT_GRADE) -> Parted:
    """Layers and the steps between them. photo, scene, rendering: of one size (H, W). grade: paper grade 0..5.

    Raises BadValue for sizes that differ or a grade outside 0..5.
    """
    return part_ground(ground_of(photo, scene, rendering), photo, rendering, grade, gate_of(photo, scene))


def part_ground(
    ground: Ground, photo: Photo, rendering: Rendering, grade: float = DEFAULT_GRADE, gate: Gate | None = None
) -> Parted:
    """The same from what is measured on already, for a frame cut out of it: `Ground` cropped, photo and light whole."""
    seen, layer_map = find_layers(ground)
    believed = believed_layers(seen, layer_map, photo)
    separations, curve = measure_separations(ground, believed, layer_map, rendering, grade)
    layers = tuple(replace(la, lightness=float(curve.lightness(la.zone.likely))) for la in believed)
    return Parted(photo, rendering, ground, seen, layers, layer_map, separations, curve, grade, gate or Gate())


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
        return movement_at(rates_of_motion(scene, windy, photo), time or 0.0)

    if movement is None and time is not None:
        movement = at_wind(day.wind_m_s)
    parted = part_scene(photo, scene, rendering, grade)
    return judge_parted(parted, conditions, movement, at_wind if time is not None else None)


def judge_parted(
    parted: Parted,
    conditions: Conditions | None = None,
    movement: Movement | None = None,
    movement_at_wind: MovementAtWind | None = None,
    *,
    a_frame: bool = False,
) -> Verdict:
    """Sky, lead and doubts of a picture parted into layers.

    conditions: wind unknown = a light breeze is assumed, never zero. movement: what the planned shutter makes of the
    scene, None = not known. movement_at_wind: the same in any other wind, to tell where the lead turns; None = that is
    not told. a_frame: one of many looked through: `layer_map` stays at the working size, and what is the same for all
    of them or leads on to other frames (doubts, crops) is left out.
    """
    photo, rendering, ground = parted.photo, parted.rendering, parted.ground
    layers, layer_map, separations = parted.layers, parted.layer_map, parted.separations
    sky = read_sky(ground, movement)
    shade = read_shade(ground, rendering, sky)
    subjects = subjects_of(layers, separations, layer_map, ground, parted.curve, sky)
    sky_share = sum(layer.share for layer in layers if layer.class_name in _SKY)
    scale = clip_scale(conditions, movement, movement_at_wind)
    lead = find_lead(subjects, layers, sky, sky_share, movement, shade, movement_at_wind, scale)
    score, parts = layered_contrast(layers, separations, layer_map)
    return Verdict(
        layers=layers,
        separations=separations,
        layer_map=layer_map if a_frame else at_photo_size(layer_map, photo.height, photo.width),
        sky=sky,
        lead=lead.choice,
        wait_for=lead.wait_for,
        strength=lead.strength,
        needed=lead.needed,
        subject=lead.subject,
        runner_up=lead.runner_up,
        subjects=lead.subjects,
        turn=lead.turn,
        foliage=foliage_of(layers, lead, movement),
        shade=shade,
        composition=composition_of(
            layers,
            separations,
            layer_map,
            lead.subject or (lead.subjects[0] if lead.subjects else None),
            () if a_frame else _CROPS,
        ),
        layered_contrast=score,
        layered_contrast_parts=parts,
        doubts=()
        if a_frame
        else doubts_of(parted.seen, layers, ground, sky, lead.subject, photo, rendering.light, conditions, movement),
        gate=parted.gate,
        grade=parted.grade,
        wind_m_s=None if conditions is None else conditions.wind_m_s,
        shutter_s=None if movement is None else movement.shutter_s,
        clearness=lead.clearness,
    )


def clip_scale(
    conditions: Conditions | None, movement: Movement | None, movement_at_wind: MovementAtWind | None
) -> dict[str, float]:
    """By how much a clip of this scene, taken in today's wind, corrects the wind table, for each plant it measured."""
    if movement is None or movement_at_wind is None:
        return {}
    measured = [n for n in ("tree", "grass") if n in movement.classes and movement.classes[n].known.measured]
    if not measured:
        return {}
    wind = None if conditions is None else conditions.wind_m_s
    tabled = movement_at_wind(max(ASSUMED_WIND_M_S if wind is None else wind, _NO_WIND_M_S))
    return {
        name: movement.classes[name].print_mm.likely / max(tabled.classes[name].print_mm.likely, 1e-6)
        for name in measured
        if name in tabled.classes and tabled.classes[name].print_mm.likely > 0
    }


def layered_contrast(
    layers: tuple[Layer, ...], separations: tuple[Separation, ...], layer_map: np.ndarray
) -> tuple[float, ContrastParts]:
    """One figure 0..100 for sorting many snaps, and its parts 0..1:

        100 * parting^0.6 * depth^0.2 * range^0.2

    parting: mean over the shared edges, by length, of how well each separation parts on the print (0 below 2 L*, 1
    from 30 L*,
    times the chance that it is a step at all; or 0.75 of the share of the edge that parts). depth: (n - 1) / 3, at most
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
    parts = ContrastParts(round(parted, 4), round(depth, 4), round(span, 4))
    score = 100 * parted**0.6 * depth**0.2 * span**0.2
    return round(score, 1), parts


def composition_of(
    layers: tuple[Layer, ...],
    separations: tuple[Separation, ...],
    layer_map: np.ndarray,
    subject: Subject | None,
    formats: tuple[tuple[int, int], ...] = _CROPS,
) -> Composition:
    """Facts, not rules: horizon, sky and ground, the strongest edge, what a crop to the common formats keeps."""
    height, width = layer_map.shape
    sky = np.isin(layer_map, [la.index for la in layers if la.class_name in _SKY])
    sky_share = float(sky.mean())
    horizon: float | None = None
    if 0.02 < sky_share < 0.98:
        columns = sky.any(axis=0)
        feet = height - np.argmax(sky[::-1][:, columns], axis=0)
        if columns.mean() > 0.3:
            horizon = round(1 - float(np.median(feet)) / height, 3)
    strongest: StrongestEdge | None = None
    if separations:
        length = edge_lengths(layer_map, len(layers))
        best = max(
            separations, key=lambda s: abs(s.print_step.likely) * min(1.0, float(length[s.a, s.b]) / (0.2 * width))
        )
        strongest = StrongestEdge(best.a, best.b, abs(best.print_step.likely), best.edge_xy)
    focus = subject.centre_xy if subject is not None else (0.5, 0.5)
    crops = tuple(_crop(ratio, layers, layer_map, focus) for ratio in formats)
    return Composition(horizon, round(sky_share, 3), round(1 - sky_share, 3), strongest, crops)


def _crop(ratio: tuple[int, int], layers: tuple[Layer, ...], layer_map: np.ndarray, focus: tuple[float, float]) -> Crop:
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
    losing = tuple(la.name for la in layers if kept[la.index] / whole[la.index] < 0.5)
    share = round(w * h / (width * height), 3)
    return Crop(f"{ratio[0]}:{ratio[1]}", share, round(left / width, 3), round(top / height, 3), losing)
