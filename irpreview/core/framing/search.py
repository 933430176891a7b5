"""Three to five framings of a snap that differ: a coarse look at every frame, then the verdict on the best few.

The coarse look (`coarse`) counts what lies in each frame. The few best for each kind of lead are then judged by the
same machinery as the snap, on the snap's own tones: no new pass of the network, which sees a small crop less surely
than the whole (right on 94 % of the pixels of crops a third as wide as the snap, on 82 % when it is given the crop
alone: the research pairs that the network for tests has not seen, 2026-11-28).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from irpreview.core.framing.coarse import DIFFER, ROLE_CLASSES, best_frames, counted, everywhere, tables_of
from irpreview.core.framing.differences import pairs_that_differ
from irpreview.core.framing.frame_movement import PLANTS, movement_in
from irpreview.core.framing.frames import FORMATS, below_print_resolution, overlap, sizes, wider_than_snap
from irpreview.core.imaging.srgb import luminance
from irpreview.core.motion.blur import in_snap_framing, movement_at
from irpreview.core.motion.print_blur import felt_mm, kept_by
from irpreview.core.motion.rates import Rates
from irpreview.core.motion.scene_geometry import SceneGeometry
from irpreview.core.verdict.judging import Parted, judge_parted, part_ground
from irpreview.core.verdict.layers import Ground, resized, zones_of
from irpreview.core.verdict.plausibility import UNSURE
from irpreview.core.verdict.subjects import parting, ramp
from irpreview.records import CLASS_NAMES, ByteArray, Conditions, FloatArray, Kit, Movement, Range, SceneMap, Verdict
from irpreview.records.framing import Frame, Framing, FramingNote, FramingRole, Framings, SoftReason

JUDGED, JUDGED_OF_THE_LEAD = 2, 3
"""Frames judged for each kind of lead, and for what leads the snap."""
WORTH_A_LOOK = 0.55
"""Share of the coarse look's best for a kind of lead from which another frame is judged as well."""
MOST, LEAST = 5, 3
_ONE_THING = 0.40
"""Two framings led by the same that share more of their area than that are one picture."""
_ONE_THING_ONE_LENS = 0.25
"""The same where lens, format and which way up are the same as well."""
_ALIKE = 0.8
"""The same where fewer than three framings would be left."""
_WORTH_ADDING = 0.4
"""Share of the best one's worth from which there are more than three framings."""
FRAME_SIDE_PX = 192
"""Long side at which frames are judged [px]: the search has a fraction of the time that the snap's own verdict has."""
LITTLE_PX = 256
"""A frame of fewer pixels of the analysed snap along its long side is told to be little of it."""
_VOTE_SIGMA_SHARE = 2.5 / 512
"""Smoothing of the vote, as for a snap of 512 px."""
_LEAN_DEG, _LEAN_FOCAL_MM = 5.0, 40.0
_ANOTHER_LEAD = 0.8
"""The snap was taken for what leads it; another lead must be clearly better to come first (chosen, no source)."""
_NOTHING_LEADS = 0.3
_FEW_PIXELS = 0.9
_TIE, _SURE_LEAD = 0.8, 0.35
"""A lead that anything could turn is worth less than one that stands by more than a third of its strength: it holds on
a snap cropped to the frame as well (measured: all of those do, of the near ties six in ten)."""
_LEAST_IN_SNAP = 0.008
"""A class below this share of the snap is no subject of a framing."""
_UNSURE_FROM, _UNSURE_COSTS = 0.15, 0.6
"""Share of a frame where the network is less than half sure, from which that is told; and what all of it costs."""
_WATER_COUNTS = 0.12
"""Share of the frame from which water is named as part of the picture."""
_MUCH_EMPTY_SKY = 0.5
_WALLS_CUT = 0.3
"""Share of the upper edge over which walls may run out of the frame."""
_FIGURE_FILLS, _SMALL_FIGURE = 0.15, 0.85
"""Share of the frame from which a tower, building or lone tree is as large as wished, and what a speck is worth."""
_AS_THE_SNAP = 0.85
"""Share of the snap's area from which a frame is the picture that was taken already."""
_NARROW, _NARROW_COSTS = 1.7, 0.85


@dataclass(frozen=True, slots=True)
class _Level:
    """What frames are cut from, at the analysis' size or half of it."""

    votes: tuple[tuple[int, FloatArray], ...]
    """(class index, how surely each pixel is of it) of each class of the snap."""
    tones: FloatArray
    spread_stops: FloatArray
    confidence: FloatArray
    pixels: ByteArray


def levels_of(parted: Parted, scene: SceneMap) -> tuple[_Level, _Level]:
    """The snap's labels, tones and pixels at the analysis' size and at half of it, from which frames are cut."""
    label, sure = scene.label, scene.confidence
    weight = np.asarray(0.25 + 0.75 * sure, np.float32)
    votes = tuple(
        (i, np.where(label == i + 1, weight, np.float32(0))) for i in range(len(CLASS_NAMES)) if (label == i + 1).any()
    )
    fine = _Level(votes, parted.rendering.tones, parted.rendering.spread_stops, sure, parted.photo.pixels)
    half = max(1, label.shape[0] // 2), max(1, label.shape[1] // 2)
    return fine, _Level(
        tuple((i, resized(plane, half)) for i, plane in fine.votes),
        resized(fine.tones, half),
        resized(fine.spread_stops, half),
        resized(sure, half),
        _pixels_at(fine.pixels, half),
    )


def _pixels_at(pixels: ByteArray, size: tuple[int, int]) -> ByteArray:
    return np.asarray(cv2.resize(pixels, size[::-1], interpolation=cv2.INTER_AREA), np.uint8)


def ground_in(frame: Frame, parted: Parted, levels: tuple[_Level, _Level]) -> Ground:
    """What the verdict on a frame is measured on, from the snap's pixels, labels and tones at the analysis' size.

    Made as for a snap cropped to the frame, at `FRAME_SIDE_PX` at most: a vote smoothed over the whole snap would lose
    a chapel that a long lens makes large.
    """
    height, width = levels[0].tones.shape
    across, down = frame.width * width, frame.height * height
    k = min(1.0, FRAME_SIDE_PX / max(across, down))
    size = max(16, round(down * k)), max(16, round(across * k))
    own = levels[1] if k <= 0.5 else levels[0]
    height, width = own.tones.shape
    x0, y0 = round(frame.left * width), round(frame.top * height)
    x1, y1 = (
        min(width, round((frame.left + frame.width) * width)),
        min(height, round((frame.top + frame.height) * height)),
    )
    cut = np.s_[y0:y1, x0:x1]
    vote = np.zeros((len(CLASS_NAMES), *size), np.float32)
    for i, plane in own.votes:
        part = plane[cut]
        if part.any():
            vote[i] = cv2.GaussianBlur(resized(part, size), (0, 0), _VOTE_SIGMA_SHARE * max(size))
    vote /= np.maximum(vote.sum(0), 1e-6)
    pixels = _pixels_at(own.pixels[cut], size)
    return Ground(
        vote=vote,
        winner=vote.argmax(0),
        infrared_zone=zones_of(resized(own.tones[cut], size)),
        visible_zone=zones_of(luminance(pixels)),
        spread_stops=resized(own.spread_stops[cut], size),
        confidence=resized(own.confidence[cut], size),
        pixels=pixels,
        trust=parted.ground.trust,
    )


def judge_frame(
    frame: Frame, parted: Parted, levels: tuple[_Level, _Level], movement: Movement, conditions: Conditions
) -> Verdict:
    """The verdict on one frame, from the snap's own labels and tones. movement: in this frame."""
    part = part_ground(ground_in(frame, parted, levels), parted.photo, parted.rendering, parted.grade, parted.gate)
    return judge_parted(part, conditions, movement, None, a_frame=True)


def leads(verdict: Verdict) -> bool:
    """Whether anything leads it."""
    return verdict.lead in ("structure", "foliage", "sky")


def _reasons(verdict: Verdict, role: FramingRole, cuts_another: bool) -> tuple[SoftReason, ...]:
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
    elif subject is not None and subject.kind == "buildings":
        own = np.isin(layer_map, [la.index for la in verdict.layers if la.class_name == "structure"])
        if float(own[0].mean()) > _WALLS_CUT:
            out.append("subject_cut_by_the_edge")
    elif role == "structure" and (subject is None or subject.choice != "structure"):
        out.append("subject_small")
    if cuts_another and "subject_cut_by_the_edge" not in out:
        out.append("edge_cuts_a_thing")
    plain = np.isin(layer_map, [la.index for la in verdict.layers if la.class_name == "clear_sky"])
    corners = plain[: height // 3, : width // 3], plain[: height // 3, -(width // 3) :]
    if float(plain.mean()) > _MUCH_EMPTY_SKY:
        out.append("much_empty_sky")
    elif any(one.mean() > 0.97 for one in corners if one.size):
        out.append("empty_corner")
    return tuple(out)


_COSTS: dict[SoftReason, float] = {
    "horizon_in_the_middle": 0.94,
    "subject_cut_by_the_edge": 0.75,
    "edge_cuts_a_thing": 0.93,
    "much_empty_sky": 0.85,
    "empty_corner": 0.97,
    "subject_in_the_middle": 0.92,
    "subject_off_the_middle": 1.0,
    "subject_small": 0.85,
}


def _water_share(verdict: Verdict) -> float:
    return sum(la.share for la in verdict.layers if la.class_name == "water")


def _strength(verdict: Verdict, role: FramingRole) -> float:
    """How strongly this leads the frame, 0..1."""
    if role == "water":  # no lead of the verdict's: it carries the picture by its share and the edges it makes
        at = [
            s
            for s in verdict.separations
            if "water" in (verdict.layers[s.a].class_name, verdict.layers[s.b].class_name)
        ]
        return 0.6 * math.sqrt(min(1.0, _water_share(verdict) / 0.35)) * max((parting(s) for s in at), default=0.0)
    return max((s.strength for s in verdict.subjects if s.choice == role), default=0.0)


def lead_margin(verdict: Verdict) -> float:
    """By which share of its strength a lead stands above the next one and above what a lead needs, 0..1."""
    if not leads(verdict) or verdict.strength <= 0:
        return 0.0
    other = max((s.strength for s in verdict.subjects if s.choice != verdict.lead), default=0.0)
    return max(0.0, 1 - max(other, verdict.needed) / verdict.strength)


def _plants(movement: Movement, verdict: Verdict) -> Range | None:
    here = {la.class_name for la in verdict.layers}
    blurs = [movement.classes[n].print_mm for n in PLANTS if n in movement.classes and n in here]
    return max(blurs, key=lambda r: r.likely) if blurs else None


def kept_in_wind(verdict: Verdict, movement: Movement) -> float:
    """What the wind leaves of the frame, 0..1."""
    lost = 0.0
    for layer in verdict.layers:
        if layer.class_name in PLANTS and layer.class_name in movement.classes:
            lost += layer.share * (1 - kept_by(felt_mm(movement.classes[layer.class_name].print_mm)))
    return 1.0 - lost


def find_framings(
    parted: Parted,
    scene: SceneMap,
    rates: Rates,
    geometry: SceneGeometry,
    shutter_s: float,
    conditions: Conditions,
    kit: Kit,
    snap_focal_35mm_mm: float,
    snap: Verdict,
    formats: tuple[tuple[int, int], ...] = FORMATS,
) -> Framings:
    """Three to five framings that differ, best first; fewer where the kit's lenses leave no more.

    parted: the snap, parted for its own verdict. rates, geometry: of the whole snap. shutter_s: at which movement is
    told [s]. snap_focal_35mm_mm: equivalent focal length of the snap. snap: the verdict on the whole. formats: long to
    short side.
    """
    height, width = parted.layer_map.shape
    per_rad = max(width, height) * snap_focal_35mm_mm / 36.0
    wider = wider_than_snap(kit, snap_focal_35mm_mm)
    bases = list(sizes(kit, snap_focal_35mm_mm, width, height, formats))
    if not bases or not parted.gate.landscape:
        return Framings((), wider)
    tables = tables_of(parted, movement_at(in_snap_framing(rates), shutter_s))
    places = everywhere(bases)
    found = counted(places, tables)
    looked_for: dict[Frame, FramingRole] = {}
    for role, classes in ROLE_CLASSES.items():
        if sum(la.share for la in parted.layers if la.class_name in classes) < _LEAST_IN_SNAP:
            continue
        # where nothing leads the snap, whatever comes nearest is looked for
        many, least = (JUDGED, WORTH_A_LOOK) if leads(snap) and role != snap.lead else (JUDGED_OF_THE_LEAD, 0.0)
        for frame in best_frames(role, bases, places, found, tables, per_rad, many, least):
            looked_for.setdefault(frame, role)
    levels = levels_of(parted, scene)
    pool: list[Framing] = []
    for frame, role in looked_for.items():
        movement = movement_in(frame, rates, geometry, shutter_s, with_limits=False)
        verdict = judge_frame(frame, parted, levels, movement, conditions)
        one = _framing(frame, role, verdict, movement, kit, snap, scene.label.shape, tables.cut_by(frame))
        pool.append(_less_where_unsure(one, scene))
    best = (_with_limits(one, rates, geometry, shutter_s) for one in _chosen(pool))
    return Framings(tuple(replace(one, differs=pairs_that_differ(one.frame, one.verdict, snap)) for one in best), wider)


def _less_where_unsure(one: Framing, scene: SceneMap) -> Framing:
    """The framing, worth less the less surely the network knows what lies in it."""
    height, width = scene.label.shape
    left, top, right, bottom = one.frame.box_px(width, height)
    unsure = float((scene.confidence[top:bottom:4, left:right:4] < UNSURE).mean())
    notes: tuple[FramingNote, ...] = (*one.notes, "what_is_what_unsure") if unsure >= _UNSURE_FROM else one.notes
    return replace(one, worth=one.worth * (1 - _UNSURE_COSTS * unsure), notes=notes)


def _with_limits(one: Framing, rates: Rates, geometry: SceneGeometry, shutter_s: float) -> Framing:
    """The framing with how long its plants stay sharp, which the search does without."""
    movement = movement_in(one.frame, rates, geometry, shutter_s)
    plants = tuple(
        replace(plant, sharp_until_s=movement.classes[plant.class_name].sharp_until_s) for plant in one.verdict.foliage
    )
    return replace(one, movement=movement, verdict=replace(one.verdict, foliage=plants))


def _roles(verdict: Verdict, looked_for: FramingRole) -> tuple[FramingRole, ...]:
    """What leads it, whatever it was looked for; and water where there is enough."""
    out: list[FramingRole] = []
    if verdict.lead in ("structure", "foliage", "sky"):
        out.append(verdict.lead)
    elif looked_for != "water":
        out.append(looked_for)
    if looked_for == "water" or (_water_share(verdict) >= _WATER_COUNTS and _strength(verdict, "water") > 0.2):
        out.append("water")
    return tuple(out)


def _framing(
    frame: Frame,
    looked_for: FramingRole,
    verdict: Verdict,
    movement: Movement,
    kit: Kit,
    snap: Verdict,
    snap_size: tuple[int, int],
    cuts_another: bool,
) -> Framing:
    roles = _roles(verdict, looked_for)
    role = roles[0]
    reasons = _reasons(verdict, role, cuts_another)
    strength = _strength(verdict, role)
    if "water" in roles:
        strength = max(strength, 0.5 * (strength + _strength(verdict, "water")))
    worth = 0.7 * strength + 0.3 * verdict.layered_contrast / 100
    for reason in reasons:
        worth *= _COSTS[reason]
    notes: list[FramingNote] = []
    if not leads(verdict):
        worth *= _NOTHING_LEADS
        notes.append("nothing_leads")
    else:
        worth *= _TIE + (1 - _TIE) * ramp(lead_margin(verdict), 0.0, _SURE_LEAD)
        if verdict.clearness != "clear":
            notes.append("close_call")
    if below_print_resolution(frame, kit):
        notes.append("below_print_resolution")
    tie = snap.runner_up.choice if snap.runner_up is not None and snap.clearness == "about_equal" else None
    if role not in (snap.lead, tie):
        worth *= _ANOTHER_LEAD
    subject = verdict.subject
    if subject is not None and subject.kind in ("tower", "building", "buildings", "lone_tree"):
        worth *= _SMALL_FIGURE + (1 - _SMALL_FIGURE) * ramp(subject.share, 0.03, _FIGURE_FILLS)
        worth *= 1 - (1 - _SMALL_FIGURE) * ramp(subject.share, 0.2, 0.4)
    if frame.width * frame.height > _AS_THE_SNAP:
        worth *= 0.95
    lying, down = frame.width * snap_size[1], frame.height * snap_size[0]
    if down > _NARROW * lying:
        worth *= _NARROW_COSTS
    built = any(la.class_name == "structure" for la in verdict.layers)
    if built and abs(frame.up_deg) > _LEAN_DEG and frame.focal_35mm_mm <= _LEAN_FOCAL_MM:
        notes.append("verticals_lean")
    if max(lying, down) < LITTLE_PX:
        notes.append("little_of_the_snap")
        worth *= _FEW_PIXELS
    blur = _plants(movement, verdict)
    return Framing(frame, roles, verdict, movement, blur, worth, reasons, tuple(notes))


def _one_picture_from(one: Framing, other: Framing) -> float:
    """Shared area over joint area from which two framings are one picture."""
    if one.roles[0] != other.roles[0]:
        return DIFFER
    a, b = one.frame, other.frame
    alike = (a.lens_mm, a.format, a.orientation) == (b.lens_mm, b.format, b.orientation)
    return _ONE_THING_ONE_LENS if alike else _ONE_THING


def _chosen(pool: list[Framing]) -> tuple[Framing, ...]:
    """The best of each kind, then what else differs, until there are three; and which of all holds in the wind.

    Frames in which nothing leads only fill up to three.
    """
    if not pool:
        return ()
    ranked = sorted(pool, key=lambda f: -f.worth)
    led = [one for one in ranked if leads(one.verdict)]

    def windproof(one: Framing) -> float:
        return one.worth * kept_in_wind(one.verdict, one.movement) ** 2

    picked: list[Framing] = []

    def add(one: Framing, differ: float | None = None) -> bool:
        for other in picked:
            most = differ or (_one_picture_from(one, other))
            if overlap(one.frame, other.frame) >= most:
                return False
        picked.append(one)
        return True

    for role in ROLE_CLASSES:
        for one in led:
            if role in one.roles:
                if len(picked) < LEAST or one.worth >= _WORTH_ADDING * ranked[0].worth:
                    add(one)
                break
    if led:
        add(max(led, key=windproof))
    for some, differ in ((led, None), (led, DIFFER), (ranked, None), (led, _ALIKE), (ranked, _ALIKE)):
        for one in some:
            if len(picked) < LEAST:
                add(one, differ)
    holds = max(picked, key=windproof)
    best = sorted(picked, key=lambda f: -f.worth)[:MOST]
    return tuple(replace(one, roles=(*one.roles, "wind")) if one is holds else one for one in best)
