"""What should lead the picture: structure, foliage, the sky, or is it better to wait.

What stands out comes from `figures`; here it is held against what movement leaves of it at the planned shutter, against
the shade and the sky. Sharpness limits: 0.2 mm on the print at 25 cm, 5 line pairs per mm (common practice); foliage
blurred up to three times that reads as a soft mass, beyond that as tone only (common practice).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from irpreview.core.verdict.layers import Ground
from irpreview.core.verdict.sky import BLANK_STOPS, FAINT_STOPS, clouds_blur_share
from irpreview.core.verdict.subjects import STEPS_BACK, Candidate, ramp
from irpreview.records import Conditions, LeadChoice, Movement, Range, Rendering, Sky

SHARP_PRINT_MM = 0.2
SOFT_PRINT_MM = 0.6
LEADS_FROM = 0.30
"""Least strength of a lead."""
EMPTY_SKY_ASKS = 0.15
"""More than that under a large sky in which nothing happens: something must make up for the emptiness."""
_LIGHTEST_WIND, _STRONGEST_WIND = 0.2, 25.0


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


FoliageBlur = Callable[[float], Range | None]
"""Smear of leaves on the print [mm] at a mean wind [m/s]; None = cannot be told."""


def held_by_wind(blur_mm: float) -> float:
    """What is left of foliage as a lead when it blurs so far on the print, 0..1."""
    if blur_mm <= SHARP_PRINT_MM:
        return 1.0
    if blur_mm <= SOFT_PRINT_MM:
        return 1.0 - 0.5 * math.log(blur_mm / SHARP_PRINT_MM) / math.log(SOFT_PRINT_MM / SHARP_PRINT_MM)
    return 0.5 * ramp(math.log(2 * SOFT_PRINT_MM) - math.log(blur_mm), 0.0, math.log(2))


def _moved(candidate: Candidate, foliage_mm: float | None, sky: Sky, movement: Movement | None) -> float:
    """Strength after movement."""
    if candidate.choice == "foliage" and foliage_mm is not None:
        return candidate.strength * held_by_wind(foliage_mm)
    if candidate.choice == "sky" and movement is not None:
        run = clouds_blur_share(movement)
        if sky.okta is not None and sky.okta >= 7:
            return candidate.strength * (1 - 0.7 * ramp(run, 0.3, 1.5))
        return candidate.strength * (1.0 if run < 0.3 else 1.1 if run < 3 else 0.6)  # streaks help, a veil does not
    return candidate.strength


def needed_strength(sky: Sky, sky_share: float) -> float:
    """Least strength of a lead: more under a large empty sky."""
    if sky.word == "none":
        return LEADS_FROM
    empty = ramp(FAINT_STOPS - sky.texture_stops, 0.0, FAINT_STOPS - BLANK_STOPS)
    return LEADS_FROM + EMPTY_SKY_ASKS * empty * ramp(sky_share, 0.3, 0.55)


def _choose(
    found: tuple[Candidate, ...],
    foliage_mm: float | None,
    sky: Sky,
    sky_share: float,
    movement: Movement | None,
    shade: Shade,
) -> tuple[LeadChoice, float, str, Candidate | None]:
    """(choice, strength, what to wait for, runner-up of another kind)."""
    moved = [(_moved(c, foliage_mm, sky, movement), c) for c in found]
    foliage = max((s for s, c in moved if c.choice == "foliage"), default=0.0)
    ranked = sorted(
        ((s * (1 - STEPS_BACK * foliage) if c.choice == "sky" else s, c) for s, c in moved), key=lambda f: -f[0]
    )
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
    blur: FoliageBlur | None,
) -> Lead:
    """The lead at today's wind and shutter, and the wind at which it turns (None = it does not, or cannot be told)."""
    likely = None if foliage_mm is None else foliage_mm.likely
    choice, strength, wait_for, runner = _choose(found, likely, sky, sky_share, movement, shade)
    turns: Range | None = None
    turns_to: LeadChoice | None = None
    if blur is not None and any(c.choice == "foliage" and c.strength >= 0.5 * LEADS_FROM for c in found):
        turns, turns_to = _turning_wind(found, sky, sky_share, movement, shade, blur)
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
    blur: FoliageBlur,
) -> tuple[Range | None, LeadChoice | None]:
    """Wind [m/s] up to which foliage leads, and what leads beyond it.

    Smear grows with wind, so foliage leads below one wind and not above it; halving finds it.
    """

    def choice_at(blur_mm: float) -> LeadChoice:
        return _choose(found, blur_mm, sky, sky_share, movement, shade)[0]

    if choice_at(0.0) != "foliage":
        return None, None
    beyond = choice_at(1e3)
    if beyond == "foliage":
        return None, None
    # the blur at which the choice turns, then the winds that bring that blur
    low, high = 1e-3, 1e3
    for _ in range(40):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if choice_at(middle) == "foliage" else (low, middle)
    limit = math.sqrt(low * high)

    winds = np.geomspace(_LIGHTEST_WIND, _STRONGEST_WIND, 6)
    blurs = [blur(float(w)) for w in winds]
    if any(s is None for s in blurs):
        return None, None
    return _winds_of(winds, [s for s in blurs if s is not None], limit), beyond


def _winds_of(winds: np.ndarray, blurs: list[Range], limit_mm: float) -> Range | None:
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

    # a greater blur is reached at a lighter wind
    found = sorted(
        (crossing([s.high for s in blurs]), crossing([s.likely for s in blurs]), crossing([s.low for s in blurs]))
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


def foliage_blur(movement: Movement | None) -> Range | None:
    """Smear of the leaves on the print [mm] of a known movement."""
    name = plant_of(movement)
    return movement.classes[name].print_mm if movement is not None and name is not None else None
