"""Three to five framings of a snap that differ: a coarse look at every frame, then the verdict on the best few.

The coarse look counts what lies in a frame by sums over the snap's own layers: how large a thing would be, whether the
edge cuts it, how the edges inside it part, what the wind leaves. The few best for each kind of lead are then judged by
the same machinery as the snap, on the snap's own tones: no new pass of the network.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.framing.frames import (
    FORMATS,
    below_print_resolution,
    overlap,
    placed,
    sizes,
    steps,
    wider_than_snap,
)
from irpreview.core.motion.blur import in_snap_framing, movement_at
from irpreview.core.motion.print_blur import felt_mm, kept_by
from irpreview.core.motion.rates import Rates
from irpreview.core.verdict.judging import Parted, judge_parted, part_ground
from irpreview.core.verdict.layers import Ground, linear_luminance, resized, zones_of
from irpreview.core.verdict.subjects import parting
from irpreview.records import CLASS_NAMES, Conditions, Kit, LeadChoice, Movement, Range, SceneMap, Verdict
from irpreview.records.framing import Frame, Framing, FramingNote, FramingRole, Framings, SoftReason

Grid = NDArray[np.float64]
FIRST, SECOND = 9, 5
"""Positions along each side in the coarse look, and again about the best."""
JUDGED_PER_ROLE = 2
MOST, LEAST = 5, 3
DIFFER = 0.55
"""Two framings that share more of their area than that are one picture."""
_PLANTS = ("tree", "grass")
FRAME_SIDE_PX = 256
"""Long side at which frames are judged [px]: the search has a fraction of the time that the snap's own verdict has."""
_VOTE_SIGMA_SHARE = 2.5 / 512
"""Smoothing of the vote, as for a snap of 512 px."""
_LEAN_DEG, _LEAN_FOCAL_MM = 5.0, 40.0
_ROLE_CLASSES: dict[FramingRole, tuple[str, ...]] = {
    "structure": ("structure",),
    "foliage": ("tree", "grass"),
    "sky": ("cloud", "clear_sky"),
    "water": ("water",),
}
_SIZE: dict[FramingRole, tuple[float, float, float]] = {
    # share of the frame: large enough from, too large from, fills it at (common practice, no source)
    "structure": (0.12, 0.45, 0.80),
    "foliage": (0.35, 0.75, 0.95),
    "sky": (0.45, 0.75, 0.92),
    "water": (0.35, 0.65, 0.90),
}
_ANOTHER_LEAD = 0.8
"""The snap was taken for what leads it; another lead must be clearly better to come first (chosen, no source)."""
_FEW_PIXELS = 0.9
_ALIKE = 0.8
"""The same where fewer than three framings would be left."""
_LEAST_IN_SNAP = 0.008
"""A class below this share of the snap is no subject of a framing."""


def _sum_table(mask: NDArray[np.generic]) -> Grid:
    return np.asarray(cv2.integral(mask.astype(np.float32), sdepth=cv2.CV_64F))


def _inside(table: Grid, box: NDArray[np.int64]) -> Grid:
    """Sums in boxes (n, 4): left, top, right, bottom [px]."""
    x0, y0, x1, y1 = box.T
    return np.asarray(table[y1, x1] - table[y0, x1] - table[y1, x0] + table[y0, x0])


@dataclass(frozen=True, slots=True)
class _Tables:
    """The snap's layers as sums, so that a frame is counted in a few look-ups."""

    width: int
    height: int
    layers: tuple[Grid, ...]
    classes: tuple[str, ...]
    edges: tuple[tuple[Grid, float, frozenset[str]], ...]
    felt: dict[str, float]
    """Blur of plants in the snap's framing [mm on the print]."""


def _tables(parted: Parted, movement: Movement) -> _Tables:
    layer_map = parted.layer_map
    height, width = layer_map.shape
    names = tuple(layer.class_name for layer in parted.layers)
    edges = []
    for one in parted.separations:
        at = np.zeros(layer_map.shape, np.uint8)
        for first, second in (
            (np.s_[:, :-1], np.s_[:, 1:]),
            (np.s_[:-1], np.s_[1:]),
        ):
            a, b = layer_map[first], layer_map[second]
            at[first] |= (((a == one.a) & (b == one.b)) | ((a == one.b) & (b == one.a))).astype(np.uint8)
        edges.append((_sum_table(at), parting(one), frozenset((names[one.a], names[one.b]))))
    felt = {n: felt_mm(movement.classes[n].print_mm) for n in _PLANTS if n in movement.classes}
    layers = tuple(_sum_table(layer_map == i) for i in range(len(names)))
    return _Tables(width, height, layers, names, tuple(edges), felt)


def _boxes(frames: list[Frame], tables: _Tables) -> NDArray[np.int64]:
    shares = np.array([(f.left, f.top, f.left + f.width, f.top + f.height) for f in frames])
    box = np.rint(shares * (tables.width, tables.height, tables.width, tables.height)).astype(np.int64)
    return np.clip(box, 0, (tables.width, tables.height, tables.width, tables.height))


def _ramp(x: Grid, low: float, high: float) -> Grid:
    return np.clip((x - low) / (high - low), 0.0, 1.0)


def _coarse(frames: list[Frame], role: FramingRole, tables: _Tables) -> Grid:
    """How well each frame could be led by this, 0..1."""
    box = _boxes(frames, tables)
    x0, y0, x1, y1 = box.T
    area = ((x1 - x0) * (y1 - y0)).astype(np.float64)
    wanted = [i for i, name in enumerate(tables.classes) if name in _ROLE_CLASSES[role]]
    table = np.asarray(sum(tables.layers[i] for i in wanted))
    count = _inside(table, box)
    share = count / area
    enough, much, fills = _SIZE[role]
    size = np.sqrt(np.minimum(1.0, share / enough)) * (1 - 0.8 * _ramp(share, much, fills))
    # of a building or tree nothing is cut off at the sides and the top; a foot may stand on the lower edge
    strip = 3
    cut = sum(
        _inside(table, np.stack(one, axis=1))
        for one in (
            (x0, y0, x0 + strip, y1),
            (x1 - strip, y0, x1, y1),
            (x0, y0, x1, y0 + strip),
        )
    )
    uncut = 1.0 - (0.8 if role == "structure" else 0.15) * np.minimum(1.0, cut / strip / np.sqrt(np.maximum(count, 1)))
    # nor is a built thing cut that only stands in the frame
    built = [one for one, name in zip(tables.layers, tables.classes, strict=True) if name == "structure"]
    if built:
        every = np.asarray(sum(built))
        rim = sum(
            _inside(every, np.stack(one, axis=1))
            for one in (
                (x0, y0, x0 + strip, y1),
                (x1 - strip, y0, x1, y1),
                (x0, y0, x1, y0 + strip),
                (x0, y1 - strip, x1, y1),
            )
        )
        uncut *= 1.0 - 0.6 * np.minimum(1.0, rim / strip / np.maximum(np.sqrt(np.maximum(_inside(every, box), 1)), 4))
    round_it = (x1 - x0 + y1 - y0).astype(np.float64)
    parts: Grid = np.zeros(len(frames))
    for edge, worth, names in tables.edges:
        parts += worth * (1.0 if names & set(_ROLE_CLASSES[role]) else 0.4) * _inside(edge, box)
    contrast = np.minimum(1.0, parts / (0.35 * round_it))
    # several layers make a picture, one makes a surface
    shares = np.stack([_inside(one, box) / area for one in tables.layers])
    depth = np.minimum(1.0, (np.exp(-np.sum(shares * np.log(np.maximum(shares, 1e-6)), axis=0)) - 1) / 2)
    score = size * uncut * (0.35 + 0.65 * contrast) * (0.5 + 0.5 * depth)
    calm = _calm(frames, shares, tables) if role == "foliage" else 1.0
    return np.asarray(score * calm * _place(table, box, count, role), np.float64)


def _place(table: Grid, box: NDArray[np.int64], count: Grid, role: FramingRole) -> Grid:
    """A figure dead in the middle or at the rim costs a little; bands have no place."""
    if role != "structure":
        return np.ones(len(box))
    x0, _, x1, _ = box.T
    # where the middle of its mass lies, from the shares left of a few verticals
    at = np.zeros(len(box))
    parts = 12
    for k in range(1, parts):
        to = box.copy()
        to[:, 2] = x0 + (x1 - x0) * k // parts
        at += 1 - _inside(table, to) / np.maximum(count, 1)
    off = np.abs((at + 0.5) / parts - 0.5)
    return 1.0 - 0.12 * np.exp(-((off / 0.06) ** 2)) - 0.5 * _ramp(off, 0.25, 0.42)


def _calm(frames: list[Frame], shares: Grid, tables: _Tables) -> Grid:
    """What the wind leaves of each frame, 0..1: plants in it blur more the longer the lens."""
    left: Grid = np.ones(len(frames))
    scale = np.array([1.0 / max(f.width, f.height) for f in frames])
    for i, name in enumerate(tables.classes):
        if name in tables.felt:
            kept = np.array([kept_by(tables.felt[name] * k) for k in scale])
            left -= shares[i] * (1 - kept)
    return left


def _best_frames(
    role: FramingRole, bases: list[Frame], tables: _Tables, pixels_per_rad: float, keep: int
) -> list[Frame]:
    """The best few that differ, coarse and then fine."""

    def at(frames: Iterable[tuple[Frame, float, float]]) -> list[Frame]:
        return [placed(f, x, y, pixels_per_rad, tables.width, tables.height) for f, x, y in frames]

    coarse = at(
        (f, float(x), float(y)) for f in bases for x in steps(1 - f.width, FIRST) for y in steps(1 - f.height, FIRST)
    )
    score = _coarse(coarse, role, tables)
    found: list[Frame] = []
    for i in np.argsort(-score, kind="stable"):
        if all(overlap(coarse[i], one) < DIFFER for one in found):
            found.append(coarse[i])
        if len(found) >= keep:
            break
    fine = []
    for one in found:
        reach_x, reach_y = (1 - one.width) / (FIRST - 1), (1 - one.height) / (FIRST - 1)
        near = at(
            (one, float(np.clip(one.left + dx, 0, 1 - one.width)), float(np.clip(one.top + dy, 0, 1 - one.height)))
            for dx in np.linspace(-reach_x, reach_x, SECOND)
            for dy in np.linspace(-reach_y, reach_y, SECOND)
        )
        fine.append(near[int(np.argmax(_coarse(near, role, tables)))])
    return fine


def ground_in(frame: Frame, parted: Parted, scene: SceneMap) -> Ground:
    """What the verdict on a frame is measured on, from the snap's pixels, labels and tones at the analysis' size.

    Made as for a snap cropped to the frame, at `FRAME_SIDE_PX` at most: a vote smoothed over the whole snap would lose
    a chapel that a long lens makes large.
    """
    photo, rendering = parted.photo, parted.rendering
    height, width = scene.label.shape
    x0, y0 = round(frame.left * width), round(frame.top * height)
    x1, y1 = (
        min(width, round((frame.left + frame.width) * width)),
        min(height, round((frame.top + frame.height) * height)),
    )
    cut = np.s_[y0:y1, x0:x1]
    k = min(1.0, FRAME_SIDE_PX / max(x1 - x0, y1 - y0))
    size = max(16, round((y1 - y0) * k)), max(16, round((x1 - x0) * k))
    label, sure = scene.label[cut], scene.confidence[cut]
    vote = np.zeros((len(CLASS_NAMES), *size), np.float32)
    for i in range(len(CLASS_NAMES)):
        inside = label == i + 1
        if inside.any():
            share = resized(np.asarray(inside * (0.25 + 0.75 * sure), np.float32), size)
            vote[i] = cv2.GaussianBlur(share, (0, 0), _VOTE_SIGMA_SHARE * max(size))
    vote /= np.maximum(vote.sum(0), 1e-6)
    pixels = np.asarray(cv2.resize(photo.pixels[cut], size[::-1], interpolation=cv2.INTER_AREA), np.uint8)
    return Ground(
        vote=vote,
        winner=vote.argmax(0),
        infrared_zone=zones_of(resized(rendering.tones[cut], size)),
        visible_zone=zones_of(linear_luminance(pixels)),
        spread_stops=resized(rendering.spread_stops[cut], size),
        confidence=resized(sure, size),
        pixels=pixels,
        trust=parted.ground.trust,
    )


def movement_in(frame: Frame, rates: Rates, shutter_s: float) -> Movement:
    """What a shutter time [s] makes of the movement, said of this frame: the longer the lens, the larger on the print.

    rates: of the whole snap.
    """
    own = in_snap_framing(rates)
    height, width = own.size
    size = (max(1, round(height * frame.height)), max(1, round(width * frame.width)))
    hold = own.hold_limit_px * float(np.hypot(*size) / np.hypot(*own.size))
    return movement_at(replace(own, size=size, hold_limit_px=hold), shutter_s)


def judge_frame(
    frame: Frame, parted: Parted, scene: SceneMap, rates: Rates, shutter_s: float, conditions: Conditions
) -> tuple[Verdict, Movement]:
    """The verdict on one frame, from the snap's own layers and tones."""
    movement = movement_in(frame, rates, shutter_s)
    part = part_ground(ground_in(frame, parted, scene), parted.photo, parted.rendering, parted.grade, parted.gate)
    return judge_parted(part, conditions, movement, None, at_photo=False), movement


def _reasons(verdict: Verdict, role: FramingRole) -> tuple[SoftReason, ...]:
    """Facts of the frame that speak for or against it."""
    out: list[SoftReason] = []
    horizon = verdict.composition.horizon_height
    if horizon is not None and abs(horizon - 0.5) < 0.04:
        out.append("horizon_in_the_middle")
    layer_map, subject = verdict.layer_map, verdict.subject
    height, width = layer_map.shape
    if subject is not None and subject.kind in ("tower", "building", "lone_tree"):
        name = verdict.layers[subject.layer].class_name
        own = np.isin(layer_map, [la.index for la in verdict.layers if la.class_name == name])
        if max(own[:, 0].mean(), own[:, -1].mean(), own[0].mean()) > 0.04:
            out.append("subject_cut_by_the_edge")
        off = abs(subject.centre_xy[0] - 0.5)
        out.append("subject_in_the_middle" if off < 0.06 else "subject_off_the_middle")
        if subject.share < 0.04:
            out.append("subject_small")
    elif role == "structure" and (subject is None or subject.choice != "structure"):
        out.append("subject_small")
    plain = [la.index for la in verdict.layers if la.class_name == "clear_sky"]
    corner = layer_map[: height // 3, : width // 3], layer_map[: height // 3, -(width // 3) :]
    if any(np.isin(one, plain).mean() > 0.97 for one in corner if one.size):
        out.append("empty_corner")
    return tuple(out)


_COSTS: dict[SoftReason, float] = {
    "horizon_in_the_middle": 0.94,
    "subject_cut_by_the_edge": 0.75,
    "empty_corner": 0.97,
    "subject_in_the_middle": 0.95,
    "subject_off_the_middle": 1.0,
    "subject_small": 0.85,
}


def _strength(verdict: Verdict, role: FramingRole) -> float:
    """How strongly this leads the frame, 0..1."""
    if role == "water":  # no lead of the verdict's: it carries the picture by its share and the edges it makes
        share = sum(la.share for la in verdict.layers if la.class_name == "water")
        at = [
            s
            for s in verdict.separations
            if "water" in (verdict.layers[s.a].class_name, verdict.layers[s.b].class_name)
        ]
        return 0.6 * math.sqrt(min(1.0, share / 0.35)) * max((parting(s) for s in at), default=0.0)
    return max((s.strength for s in verdict.subjects if s.choice == role), default=0.0)


def _plants(movement: Movement, verdict: Verdict) -> Range | None:
    here = {la.class_name for la in verdict.layers}
    blurs = [movement.classes[n].print_mm for n in _PLANTS if n in movement.classes and n in here]
    return max(blurs, key=lambda r: r.likely) if blurs else None


def _kept(verdict: Verdict, movement: Movement) -> float:
    """What the wind leaves of the frame, 0..1."""
    lost = 0.0
    for layer in verdict.layers:
        if layer.class_name in _PLANTS and layer.class_name in movement.classes:
            lost += layer.share * (1 - kept_by(felt_mm(movement.classes[layer.class_name].print_mm)))
    return 1.0 - lost


def find_framings(
    parted: Parted,
    scene: SceneMap,
    rates: Rates,
    shutter_s: float,
    conditions: Conditions,
    kit: Kit,
    snap_focal_35mm_mm: float,
    snap_lead: LeadChoice = "none",
    formats: tuple[tuple[int, int], ...] = FORMATS,
) -> Framings:
    """Three to five framings that differ, best first; fewer where the kit's lenses leave no more.

    parted: the snap, parted for its own verdict. shutter_s: at which movement is told [s]. snap_focal_35mm_mm:
    equivalent focal length of the snap. snap_lead: what leads the whole snap. formats: long to short side.
    """
    height, width = parted.layer_map.shape
    per_rad = max(width, height) * snap_focal_35mm_mm / 36.0
    wider = wider_than_snap(kit, snap_focal_35mm_mm)
    bases = list(sizes(kit, snap_focal_35mm_mm, width, height, formats))
    if not bases or not parted.gate.landscape:
        return Framings((), wider)
    tables = _tables(parted, movement_at(in_snap_framing(rates), shutter_s))
    pool: list[Framing] = []
    for role, classes in _ROLE_CLASSES.items():
        if sum(la.share for la in parted.layers if la.class_name in classes) < _LEAST_IN_SNAP:
            continue
        for frame in _best_frames(role, bases, tables, per_rad, JUDGED_PER_ROLE):
            verdict, movement = judge_frame(frame, parted, scene, rates, shutter_s, conditions)
            pool.append(_framing(frame, role, verdict, movement, kit, snap_lead))
    return Framings(_chosen(pool), wider)


def _framing(
    frame: Frame, role: FramingRole, verdict: Verdict, movement: Movement, kit: Kit, snap_lead: LeadChoice
) -> Framing:
    # looked for as one thing and led by another: told as what it is
    if verdict.lead in ("structure", "foliage", "sky") and verdict.lead != role:
        keeps_water = role == "water" and _strength(verdict, "water") > _strength(verdict, verdict.lead)
        role = role if keeps_water else verdict.lead
    reasons = _reasons(verdict, role)
    worth = 0.75 * _strength(verdict, role) + 0.25 * verdict.layered_contrast / 100
    for reason in reasons:
        worth *= _COSTS[reason]
    notes: list[FramingNote] = []
    if role != "water" and verdict.lead != role:
        worth *= 0.7
        notes.append("nothing_leads")
    if below_print_resolution(frame, kit):
        notes.append("below_print_resolution")
    if role != snap_lead:
        worth *= _ANOTHER_LEAD
    built = any(la.class_name == "structure" for la in verdict.layers)
    if built and abs(frame.up_deg) > _LEAN_DEG and frame.focal_35mm_mm <= _LEAN_FOCAL_MM:
        notes.append("verticals_lean")
    if max(verdict.layer_map.shape) < FRAME_SIDE_PX:
        notes.append("little_of_the_snap")
        worth *= _FEW_PIXELS
    blur = _plants(movement, verdict)
    return Framing(frame, (role,), verdict, movement, blur, worth, reasons, tuple(notes))


def _chosen(pool: list[Framing]) -> tuple[Framing, ...]:
    """The best of each kind, then what else differs, until there are three; and which of all holds in the wind."""
    if not pool:
        return ()
    ranked = sorted(pool, key=lambda f: -f.worth)

    def windproof(one: Framing) -> float:
        return one.worth * _kept(one.verdict, one.movement) ** 2

    picked: list[Framing] = []

    def add(one: Framing, differ: float = DIFFER) -> bool:
        if all(overlap(one.frame, other.frame) < differ for other in picked):
            picked.append(one)
            return True
        return False

    for role in _ROLE_CLASSES:
        for one in ranked:
            if role in one.roles and add(one):
                break
    calm = max(ranked, key=windproof)
    add(calm)
    for differ in (DIFFER, _ALIKE):
        for one in ranked:
            if len(picked) < LEAST:
                add(one, differ)
    holds = max(picked, key=windproof)
    best = sorted(picked, key=lambda f: -f.worth)[:MOST]
    return tuple(replace(one, roles=(*one.roles, "wind")) if one is holds else one for one in best)
