"""What should lead the picture: structure, foliage, the sky, or is it better to wait.

Each candidate has a strength 0..1 made of what can be seen and measured: how far it parts from what lies around it on
the print, how large it is, where it lies, and what movement leaves of it at the planned shutter. Figure and ground: a
figure is rather small, enclosed, of high contrast, upright and low in the frame (Rubin, as reviewed by Wagemans et
al. 2012; Vecera et al. 2002); looks start at the middle whatever the picture shows (Tatler 2007). Rules such as
thirds are not scored. Sharpness limits: 0.2 mm on the print at 25 cm, 5 line pairs per mm (common practice); foliage
smeared up to three times that reads as a soft mass, beyond that as tone only (common practice).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np

from irpreview.core.gaps import PrintCurve
from irpreview.core.layer_split import masked_mean
from irpreview.core.layers import Ground, edge_lengths
from irpreview.core.sky import BLANK_STOPS, FAINT_STOPS, clouds_blur_share
from irpreview.records import CLASS_ID, Conditions, Gap, Layer, LeadChoice, Movement, Range, Rendering, Sky

SHARP_PRINT_MM = 0.2
SOFT_PRINT_MM = 0.6
LEADS_FROM = 0.30
"""Least strength of a lead."""
EMPTY_SKY_ASKS = 0.15
"""More than that under a large sky in which nothing happens: something must make up for the emptiness."""
_MIDDLE_LIMIT = 11.0
"""[L*] the middle of the limits of `gaps`."""
FULL_STEP = 30.0
"""[L*] a step on the print that leaves nothing to wish."""
_SKY = ("clear_sky", "cloud")
_LIGHTEST_WIND, _STRONGEST_WIND = 0.2, 25.0
_FLAT_BAND, _UPRIGHT_RISE = 0.03, 0.12
"""Mean height of a figure, share of the frame's: a strip along the horizon is a backdrop, not a figure."""
_GREY_LEAVES, _LIGHT_LEAVES = 35.0, 65.0
"""[L*] leaves that print darker than mid-grey are a backdrop; light ones are what infrared foliage is known for."""
_BACKDROP = 0.35
_LONE_TREE = 0.04
"""Share of the frame at which a tree that stands free against the sky is large enough."""


@dataclass(frozen=True, slots=True)
class Candidate:
    choice: LeadChoice
    strength: float
    """0..1 before movement."""
    layer: Layer | None
    best_gap: Gap | None
    sky_outline: float = 0.0
    """Share of the outline that stands against the sky."""


@dataclass(frozen=True, slots=True)
class Shade:
    """Whether any sun falls on the land."""

    everything: bool
    evidence: str = ""


@dataclass(frozen=True, slots=True)
class Lead:
    choice: LeadChoice
    candidates: tuple[Candidate, ...]
    """Strongest first, before movement."""
    strength: float
    wait_for: str = ""
    """cloud, breaks, sun, lull or nothing."""
    runner_up: Candidate | None = None
    needed: float = LEADS_FROM
    foliage_print_mm: Range | None = None
    turns_at_wind_m_s: Range | None = None
    turns_to: LeadChoice | None = None
    shade: Shade = field(default_factory=lambda: Shade(False))


FoliageSmear = Callable[[float], Range | None]
"""Smear of leaves on the print [mm] at a mean wind [m/s]; None = cannot be told."""


def _ramp(value: float, low: float, high: float) -> float:
    return min(max((value - low) / (high - low), 0.0), 1.0)


def parting(gap: Gap) -> float:
    """How well a gap parts two layers, 0..1: the likely step, times the chance that it is one; or along the edge.

    The chance is smooth, not the verdict's word, so that a hair's breadth turns no lead. Areas of equal middle tone may
    still part along their edge, as a side-lit tower does from the sky.
    """
    step = abs(gap.print_step.likely)
    sigma = max(gap.print_step.width / (2 * 1.645), 1.0)
    chance = 0.5 * (1 + math.erf((step - _MIDDLE_LIMIT) / (sigma * math.sqrt(2))))
    return max(chance * _ramp(step, 2.0, FULL_STEP), 0.75 * gap.edge_share_holding)


def _place(layer: Layer) -> float:
    """1 in the middle of the frame, 0.7 in a corner."""
    x, y = layer.centre_xy
    return 1 - 0.3 * min(1.0, math.hypot(x - 0.5, y - 0.5) / 0.7)


def _modelling(layer: Layer, ground: Ground, layer_map: np.ndarray, curve: PrintCurve) -> float:
    """How much light and dark a layer has in itself, 0..1: a wood that fills the frame has no outline to stand by."""
    fills = _ramp(layer.share, 0.35, 0.75)
    if fills == 0.0:
        return 0.0
    inside = layer_map == layer.index
    lightness = curve.lightness(ground.infrared_zone).astype(np.float32)
    slow, _ = masked_mean(lightness, inside, max(2, round(0.02 * lightness.shape[1])))
    low, high = np.percentile(slow[inside], (10, 90))
    return fills * _ramp(float(high - low), 8.0, 55.0)


def _shining(gap: Gap, layer: Layer) -> float:
    """How much an edge of leaves counts, 0.35..1: in full where the leaves are the lighter of the two."""
    lighter = gap.zones if gap.a == layer.index else -gap.zones
    return _BACKDROP + (1 - _BACKDROP) * _ramp(lighter, -0.6, 0.4)


def _standing(
    layer: Layer, gaps: tuple[Gap, ...], layers: tuple[Layer, ...], length: np.ndarray
) -> tuple[float, Gap | None]:
    """How well the outline parts, 0..1, and the gap that does most for it."""
    total = weighted = 0.0
    best: Gap | None = None
    best_worth = -1.0
    leaves = layer.class_name in ("tree", "grass")
    for gap in gaps:
        if layer.index not in (gap.a, gap.b):
            continue
        other = layers[gap.b if gap.a == layer.index else gap.a]
        if other.class_name == layer.class_name:
            continue
        edge = float(length[gap.a, gap.b])
        # an outline against the sky is what makes a figure; the foot may well melt into the ground
        weight = edge * (1.6 if other.class_name in _SKY else 1.0)
        if {layer.class_name, other.class_name} == {"tree", "grass"}:
            weight *= 0.4  # leaves against leaves are one mass
        worth = weight * parting(gap) * (_shining(gap, layer) if leaves else 1.0)
        total += weight
        weighted += worth
        if worth > best_worth:
            best, best_worth = gap, worth
    if total == 0:
        return 0.0, None
    # a figure need not part all round: 60 % of its outline is enough (common practice)
    return min(1.0, weighted / (0.6 * total)), best


def _against_sky(inside: np.ndarray, sky: np.ndarray) -> float:
    """Share of a region's outline inside the frame that stands against sky, (h, w) masks.

    Counted from what lies there, not from the layers: a strip of far water between rock and sky may or may not be large
    enough to be a layer.
    """
    kernel = np.ones((7, 7), np.uint8)
    ring = cv2.dilate(inside.astype(np.uint8), kernel).astype(bool) & ~inside
    return float(sky[ring].mean()) if ring.any() else 0.0


def _stage(inside: np.ndarray, against_sky: float) -> float:
    """How far a region is the floor of the picture, 0..1: a wall along the lower edge is no figure."""
    columns = inside.any(axis=0)
    on_edge = float(inside[-2:].any(axis=0).sum()) / max(1, int(columns.sum()))
    return _ramp(on_edge, 0.3, 0.8) * (1 - _ramp(against_sky, 0.0, 0.1)) * (1 - _ramp(float(inside.mean()), 0.35, 0.6))


def _rise(inside: np.ndarray) -> float:
    """Mean height of a region over the columns that it takes, share of the frame's height."""
    columns = int(inside.any(axis=0).sum())
    return float(inside.sum()) / (inside.shape[0] * columns) if columns else 0.0


def _sky_strength(layers: tuple[Layer, ...], gaps: tuple[Gap, ...], sky: Sky, share: float, structure: float) -> float:
    """How well the sky could lead, 0..1: by its texture, or by cloud that stands white on a dark sky.

    The sky is the ground on which a figure stands: where something built comes forward, it steps back (Rubin).
    """
    texture = _ramp(sky.texture_stops, BLANK_STOPS, 0.3)
    parts = max(
        (parting(g) for g in gaps if {layers[g.a].class_name, layers[g.b].class_name} == set(_SKY)), default=0.0
    )
    cover = (sky.okta or 0) / 8
    drama = 0.9 * parts * 4 * cover * (1 - cover)
    return 0.7 * max(texture, drama) * math.sqrt(min(1.0, share / 0.4)) * (1 - 0.5 * structure)


_KIND: dict[str, tuple[LeadChoice, float, float]] = {
    # class: choice, weight, share of the frame at which it is large enough
    "structure": ("structure", 1.0, 0.05),
    "ground": ("structure", 0.62, 0.20),
    "snow": ("structure", 0.55, 0.15),
    "tree": ("foliage", 1.0, 0.12),
    "grass": ("foliage", 0.28, 0.30),
}


def candidates(
    layers: tuple[Layer, ...],
    gaps: tuple[Gap, ...],
    layer_map: np.ndarray,
    ground: Ground,
    curve: PrintCurve,
    sky: Sky,
) -> tuple[Candidate, ...]:
    """What could lead, strongest first, before any movement."""
    length = edge_lengths(layer_map, len(layers)).astype(np.float64)
    winner = ground.winner
    sky_here = winner <= 1
    out: list[Candidate] = []
    for layer in layers:
        if layer.class_name not in _KIND:
            continue
        choice, weight, large = _KIND[layer.class_name]
        inside = layer_map == layer.index
        standing, best = _standing(layer, gaps, layers, length)
        # what was too small to be a layer and went under here is no outline of this thing
        against_sky = _against_sky(inside & (winner == CLASS_ID[layer.class_name] - 1), sky_here)
        if layer.class_name in ("ground", "snow"):
            # open ground is a stage; it leads only where it rises against the sky
            weight *= _ramp(against_sky, 0.08, 0.35)
        if choice == "foliage":
            lightness = float(curve.lightness(layer.zone.likely))
            weight *= _BACKDROP + (1 - _BACKDROP) * _ramp(lightness, _GREY_LEAVES, _LIGHT_LEAVES)
        # a lead is named only of what was recognised
        weight *= _ramp(float(np.median(ground.confidence[inside])), 0.2, 0.6)
        weight *= _ramp(_rise(inside), _FLAT_BAND, _UPRIGHT_RISE)
        if layer.class_name == "structure":
            weight *= 1 - (1 - _BACKDROP) * _stage(inside, against_sky)
        if layer.class_name == "tree":
            # a lone tree against the sky is a figure like a tower; a wood has to be large
            large -= (large - _LONE_TREE) * _ramp(against_sky, 0.4, 0.7)
        inner = _modelling(layer, ground, layer_map, curve)
        size = math.sqrt(min(1.0, layer.share / large))
        strength = weight * size * _place(layer) * max(standing, 0.75 * inner)
        out.append(Candidate(choice, strength, layer, best, against_sky))
    share = sum(layer.share for layer in layers if layer.class_name in _SKY)
    if sky.word != "none" and share > 0:
        structure = max((c.strength for c in out if c.choice == "structure"), default=0.0)
        biggest = max((la for la in layers if la.class_name in _SKY), key=lambda la: la.share)
        out.append(Candidate("sky", _sky_strength(layers, gaps, sky, share, structure), biggest, None, 0.0))
    return tuple(sorted(out, key=lambda c: -c.strength))


def held_by_wind(smear_mm: float) -> float:
    """What is left of foliage as a lead when it smears so far on the print, 0..1."""
    if smear_mm <= SHARP_PRINT_MM:
        return 1.0
    if smear_mm <= SOFT_PRINT_MM:
        return 1.0 - 0.5 * math.log(smear_mm / SHARP_PRINT_MM) / math.log(SOFT_PRINT_MM / SHARP_PRINT_MM)
    return 0.5 * _ramp(math.log(2 * SOFT_PRINT_MM) - math.log(smear_mm), 0.0, math.log(2))


def _moved(candidate: Candidate, foliage_mm: float | None, sky: Sky, movement: Movement | None) -> float:
    """Strength after movement."""
    if candidate.choice == "foliage" and foliage_mm is not None:
        return candidate.strength * held_by_wind(foliage_mm)
    if candidate.choice == "sky" and movement is not None:
        run = clouds_blur_share(movement)
        if sky.okta is not None and sky.okta >= 7:
            return candidate.strength * (1 - 0.7 * _ramp(run, 0.3, 1.5))
        return candidate.strength * (1.1 if run < 3 else 0.6)
    return candidate.strength


def needed_strength(sky: Sky, sky_share: float) -> float:
    """Least strength of a lead: more under a large empty sky."""
    if sky.word == "none":
        return LEADS_FROM
    empty = _ramp(FAINT_STOPS - sky.texture_stops, 0.0, FAINT_STOPS - BLANK_STOPS)
    return LEADS_FROM + EMPTY_SKY_ASKS * empty * _ramp(sky_share, 0.3, 0.55)


def _choose(
    found: tuple[Candidate, ...],
    foliage_mm: float | None,
    sky: Sky,
    sky_share: float,
    movement: Movement | None,
    shade: Shade,
) -> tuple[LeadChoice, float, str, Candidate | None]:
    """(choice, strength, what to wait for, runner-up of another kind)."""
    ranked = sorted(((_moved(c, foliage_mm, sky, movement), c) for c in found), key=lambda f: -f[0])
    if shade.everything:
        # leaves owe their white to the sun; without it they lead nothing
        ranked = sorted(((s * (0.3 if c.choice == "foliage" else 0.85), c) for s, c in ranked), key=lambda f: -f[0])
    best = ranked[0] if ranked else (0.0, None)
    runner = next((c for s, c in ranked if best[1] and c.choice != best[1].choice and s >= 0.8 * best[0]), None)
    needed = needed_strength(sky, sky_share)
    if best[1] is not None and best[0] >= needed:
        return best[1].choice, best[0], "", runner
    still = max((c.strength for c in found if c.choice == "foliage"), default=0.0)
    if still >= needed and foliage_mm is not None and held_by_wind(foliage_mm) < 0.9 and not shade.everything:
        return "wait", best[0], "lull", None
    if shade.everything:
        return "wait", best[0], "sun", None
    if sky_share >= 0.12 and sky.texture_stops < FAINT_STOPS:
        return "wait", best[0], "breaks" if sky.word == "overcast" else "cloud", None
    return "none", best[0], "", None


def find_lead(
    found: tuple[Candidate, ...],
    sky: Sky,
    sky_share: float,
    movement: Movement | None,
    shade: Shade,
    foliage_mm: Range | None,
    smear: FoliageSmear | None,
) -> Lead:
    """The lead at today's wind and shutter, and the wind at which it turns (None = it does not, or cannot be told)."""
    likely = None if foliage_mm is None else foliage_mm.likely
    choice, strength, wait_for, runner = _choose(found, likely, sky, sky_share, movement, shade)
    turns: Range | None = None
    turns_to: LeadChoice | None = None
    if smear is not None and any(c.choice == "foliage" and c.strength >= 0.5 * LEADS_FROM for c in found):
        turns, turns_to = _turning_wind(found, sky, sky_share, movement, shade, smear)
        if turns_to is not None and turns_to == choice:
            turns_to = "foliage"
    needed = needed_strength(sky, sky_share)
    return Lead(choice, found, strength, wait_for, runner, needed, foliage_mm, turns, turns_to, shade)


def _turning_wind(
    found: tuple[Candidate, ...],
    sky: Sky,
    sky_share: float,
    movement: Movement | None,
    shade: Shade,
    smear: FoliageSmear,
) -> tuple[Range | None, LeadChoice | None]:
    """Wind [m/s] up to which foliage leads, and what leads beyond it.

    Smear grows with wind, so foliage leads below one wind and not above it; halving finds it.
    """

    def choice_at(smear_mm: float) -> LeadChoice:
        return _choose(found, smear_mm, sky, sky_share, movement, shade)[0]

    if choice_at(0.0) != "foliage":
        return None, None
    beyond = choice_at(1e3)
    if beyond == "foliage":
        return None, None
    # the smear at which the choice turns, then the winds that bring that smear
    low, high = 1e-3, 1e3
    for _ in range(40):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if choice_at(middle) == "foliage" else (low, middle)
    limit = math.sqrt(low * high)

    winds = np.geomspace(_LIGHTEST_WIND, _STRONGEST_WIND, 6)
    smears = [smear(float(w)) for w in winds]
    if any(s is None for s in smears):
        return None, None
    return _winds_of(winds, [s for s in smears if s is not None], limit), beyond


def _winds_of(winds: np.ndarray, smears: list[Range], limit_mm: float) -> Range | None:
    def crossing(values: list[float]) -> float:
        rising = np.maximum.accumulate(np.maximum(values, 1e-6))
        if rising[0] >= limit_mm:
            return float(winds[0])
        if rising[-1] < limit_mm:
            return float(winds[-1])
        at = int(np.searchsorted(rising, limit_mm))
        x0, x1 = math.log(rising[at - 1]), math.log(rising[at])
        t = 0.0 if x1 <= x0 else (math.log(limit_mm) - x0) / (x1 - x0)
        return float(winds[at - 1] * (winds[at] / winds[at - 1]) ** t)

    # a greater smear is reached at a lighter wind
    found = sorted(
        (crossing([s.high for s in smears]), crossing([s.likely for s in smears]), crossing([s.low for s in smears]))
    )
    if found[1] >= float(winds[-1]):
        return None
    return Range(found[0], found[1], found[2])


def read_shade(ground: Ground, rendering: Rendering, sky: Sky, conditions: Conditions | None) -> Shade:
    """Whether everything on the land lies without sun, from the light that is known and from the picture.

    Open shade under a clear sky is lit by some 10 to 15 % of the whole light: about three stops below the sunlit ground
    and below the sky itself (clear-sky diffuse share, e.g. ASTM G-173 and handbook tables). A phone lifts that; half is
    asked for.
    """
    if not rendering.light.how_known.startswith("assumed") and rendering.light.sun_height_deg <= 0.5:
        return Shade(True, f"the sun stands at {rendering.light.sun_height_deg:.0f} degrees")
    land = _land(ground)
    if land.mean() < 0.15:
        return Shade(False)
    sky_inside = (ground.vote[0] > 0.5) & ~land
    values = ground.visible_zone[land]
    middle, bright = (float(v) for v in np.percentile(values, (50, 98)))
    if sky_inside.mean() < 0.02 or sky.okta is None or sky.okta >= 6:
        return Shade(False)
    clear = float(np.median(ground.visible_zone[sky_inside]))
    below = clear - bright
    if below > 1.6 and bright - middle < 2.2:
        return Shade(True, f"even the brightest land lies {below:.1f} stops below the sky")
    return Shade(False)


def _land(ground: Ground) -> np.ndarray:
    winner = ground.winner
    return np.asarray((winner >= 3) & (winner != 7) & (ground.vote.max(0) > 0.5))


def plant_of(movement: Movement | None) -> str | None:
    """Which class stands for the leaves: trees, else grass."""
    if movement is None:
        return None
    return next((name for name in ("tree", "grass") if name in movement.classes), None)


def foliage_smear(movement: Movement | None) -> Range | None:
    """Smear of the leaves on the print [mm] of a known movement."""
    name = plant_of(movement)
    return movement.classes[name].print_mm if movement is not None and name is not None else None
