"""What should lead the picture: structure, foliage, the sky, or is it better to wait.

What stands out comes from `subjects`; here it is held against what movement leaves of it at the planned shutter,
against the shade and the sky. What blur leaves of leaves: `motion.print_blur`, one scale with the words.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from irpreview.core.motion.print_blur import blur_word, felt_mm, kept_by
from irpreview.core.verdict.layers import Ground
from irpreview.core.verdict.sky import BLANK_STOPS, FAINT_STOPS, clouds_blur_share
from irpreview.core.verdict.subjects import STEPS_BACK, ramp
from irpreview.records import (
    FoliageBlur,
    HowClear,
    Layer,
    LeadChoice,
    Movement,
    Range,
    Rendering,
    Shade,
    Sky,
    Subject,
    WaitFor,
    WindTurn,
)

LEADS_FROM = 0.30
"""Least strength of a lead."""
EMPTY_SKY_ASKS = 0.15
"""More than that under a large sky in which nothing happens: something must make up for the emptiness."""
SKY_WORTH_WAITING = 0.25
"""Share of the picture from which a sky is worth waiting for."""
BREAKS_OKTA, CLOSED_OKTA = 4, 7
"""From the first, half covered, a sky without texture lacks breaks, below it cloud; from the second it is a closed
layer, which a long time makes plain."""
CLOSE = 0.8
"""From this share of the lead's strength another is about equal, and both are told side by side: small changes of the
snap (another size or JPEG quality, a slight crop, 2/3 of a stop, mirrored) move strengths by up to 15 %, two of them
against each other by more."""
STANDS_STILL: tuple[LeadChoice, ...] = ("structure", "foliage", "sky")
"""Of what is about equal, what holds still leads: it waits for the setting, and its strength is the steadiest (in those
copies it moves by 0.2 % in the median, foliage by 2.5, a sky by 3.7). The others are told beside it."""
PLANT_MATTERS = 0.05
"""Share of the picture from which a plant that does not lead is spoken of."""
_LIGHTEST_WIND, _STRONGEST_WIND, _WINDS = 0.3, 25.0, 7
_DRAWN_BY_LEAVES = 1.4
"""Power to which blur weighs on what has no outline of its own (chosen, no source)."""
_PLANTS = ("tree", "grass")

MovementAtWind = Callable[[float], Movement]
"""What the planned shutter makes of the scene in another mean wind [m/s]."""
Blurs = Mapping[str, float]
"""Blur as felt on the print [mm] of each class of plant."""


@dataclass(frozen=True, slots=True)
class Lead:
    """What leads, how strongly, and what would be needed to lead."""

    choice: LeadChoice
    strength: float
    needed: float
    wait_for: WaitFor | None
    subject: Subject | None
    runner_up: Subject | None
    subjects: tuple[Subject, ...]
    turn: WindTurn | None = None

    @property
    def clearness(self) -> HowClear:
        """How clear the lead is, or that nothing quite leads."""
        if self.choice in ("wait", "none"):
            return "not_quite" if self.strength >= CLOSE * self.needed else "clear"
        if self.runner_up is not None:
            return "about_equal"
        return "only_just" if CLOSE * self.strength < self.needed else "clear"


def _moved(subject: Subject, layers: tuple[Layer, ...], blurs: Blurs, sky: Sky, movement: Movement | None) -> float:
    """Strength after movement."""
    if subject.choice == "foliage":
        felt = blurs.get(layers[subject.layer].class_name)
        if felt is None:
            return subject.strength_still
        # a lone tree keeps its outline when its leaves are gone; a wood or a meadow is drawn by its leaves
        power = 1.0 if subject.kind == "lone_tree" else _DRAWN_BY_LEAVES
        return subject.strength_still * math.pow(kept_by(felt), power)
    if subject.choice == "sky" and movement is not None:
        run = clouds_blur_share(movement)
        if sky.okta is not None and sky.okta >= CLOSED_OKTA:
            return subject.strength_still * (1 - 0.7 * ramp(run, 0.3, 1.5))
        # streaks help, a veil does not
        return subject.strength_still * (1 + 0.1 * ramp(run, 0.2, 0.5) - 0.5 * ramp(run, 2.0, 4.0))
    return subject.strength_still


def needed_strength(sky: Sky, sky_share: float) -> float:
    """Least strength of a lead: more under a large empty sky."""
    if sky.word == "none":
        return LEADS_FROM
    empty = ramp(FAINT_STOPS - sky.texture_stops, 0.0, FAINT_STOPS - BLANK_STOPS)
    return LEADS_FROM + EMPTY_SKY_ASKS * empty * ramp(sky_share, 0.3, 0.55)


@dataclass(frozen=True, slots=True)
class _Case:
    """Everything the choice hangs on but the wind."""

    subjects: tuple[Subject, ...]
    layers: tuple[Layer, ...]
    sky: Sky
    sky_share: float
    movement: Movement | None
    shade: Shade

    def choose(self, blurs: Blurs) -> Lead:
        moved = [(_moved(s, self.layers, blurs, self.sky, self.movement), s) for s in self.subjects]
        foliage = max((strength for strength, s in moved if s.choice == "foliage"), default=0.0)
        ranked = []
        for strength, s in moved:
            if s.choice == "sky":
                strength *= 1 - STEPS_BACK * foliage
            if self.shade.everything:
                # leaves owe their white to the sun; without it they lead nothing
                strength *= 0.3 if s.choice == "foliage" else 0.85
            ranked.append(replace(s, strength=strength))
        ranked.sort(key=lambda s: -s.strength)
        found = tuple(ranked)
        needed = needed_strength(self.sky, self.sky_share)
        best = found[0] if found else None
        strength = best.strength if best is not None else 0.0
        if best is not None and strength >= needed:
            level = [s for s in found if s.strength >= max(needed, CLOSE * strength)]
            best = min(level, key=lambda s: STANDS_STILL.index(s.choice))
            strength = best.strength
            others = (s for s in found if s.choice != best.choice)
            runner = next((s for s in others if s.strength >= CLOSE * strength), None)
            return Lead(best.choice, strength, needed, None, best, runner, found)
        calm = max((s for s in found if s.choice == "foliage"), key=lambda s: s.strength_still, default=None)
        wait_for: WaitFor | None = None
        subject: Subject | None = None
        if (
            calm is not None
            and calm.strength_still >= needed
            and calm.strength < 0.9 * calm.strength_still
            and not self.shade.everything
        ):
            wait_for, subject = "lull", calm
        elif self.shade.everything:
            wait_for = "sun"
        elif self.sky_share >= SKY_WORTH_WAITING and self.sky.texture_stops < FAINT_STOPS and self.sky.okta is not None:
            # no okta is left out: a large sky without form is waited for, whatever covers it
            wait_for = "breaks" if self.sky.okta >= BREAKS_OKTA else "cloud"
        return Lead("none" if wait_for is None else "wait", strength, needed, wait_for, subject, None, found)


def find_lead(
    subjects: tuple[Subject, ...],
    layers: tuple[Layer, ...],
    sky: Sky,
    sky_share: float,
    movement: Movement | None,
    shade: Shade,
    movement_at_wind: MovementAtWind | None,
    scale: Mapping[str, float] | None = None,
) -> Lead:
    """The lead at today's wind and shutter, and the wind at which it turns.

    movement_at_wind: None = the turn is not told. scale: factors by which a clip of the scene corrects the wind table.
    """
    case = _Case(subjects, layers, sky, sky_share, movement, shade)
    lead = case.choose({} if movement is None else felt_by(movement))
    if movement_at_wind is None or not any(s.choice == "foliage" for s in subjects):
        return lead
    return replace(lead, turn=_turning_wind(case, movement_at_wind, scale or {}))


def felt_by(movement: Movement) -> dict[str, float]:
    """Blur as felt on the print [mm] of each plant."""
    return {name: felt_mm(movement.classes[name].print_mm) for name in _PLANTS if name in movement.classes}


def _turning_wind(case: _Case, movement_at_wind: MovementAtWind, scale: Mapping[str, float]) -> WindTurn | None:
    """Wind up to which foliage leads, and what leads beyond it. Blur grows with wind, so there is one such wind."""
    calm, gale = case.choose(dict.fromkeys(_PLANTS, 0.0)), case.choose(dict.fromkeys(_PLANTS, 1e3))
    if calm.choice != "foliage" or gale.choice == "foliage" or calm.subject is None:
        return None
    winds = np.geomspace(_LIGHTEST_WIND, _STRONGEST_WIND, _WINDS)
    moves = [movement_at_wind(float(wind)) for wind in winds]
    table: dict[str, dict[str, np.ndarray]] = {}
    for name in _PLANTS:
        rows = [m.classes[name].print_mm for m in moves if name in m.classes]
        if len(rows) == _WINDS:
            k = scale.get(name, 1.0)
            ends = {"low": [r.low for r in rows], "likely": [felt_mm(r) for r in rows], "high": [r.high for r in rows]}
            table[name] = {
                end: np.log(np.maximum.accumulate(np.maximum(k * np.array(values), 1e-6)))
                for end, values in ends.items()
            }
    if not table:
        return None

    def turns(end: str) -> float:
        def foliage_at(log_wind: float) -> bool:
            blurs = {n: math.exp(float(np.interp(log_wind, np.log(winds), row[end]))) for n, row in table.items()}
            return case.choose(blurs).choice == "foliage"

        low, high = math.log(_LIGHTEST_WIND), math.log(_STRONGEST_WIND)
        if not foliage_at(low):
            return _LIGHTEST_WIND
        if foliage_at(high):
            return _STRONGEST_WIND
        for _ in range(18):
            middle = (low + high) / 2
            low, high = (middle, high) if foliage_at(middle) else (low, middle)
        return math.exp((low + high) / 2)

    likely = turns("likely")
    if likely >= _STRONGEST_WIND:
        return None
    wind = Range(min(turns("high"), likely), likely, max(turns("low"), likely))
    return WindTurn(wind, calm.subject, gale.subject if gale.choice != "wait" else None, gale.choice == "wait")


def foliage_of(layers: tuple[Layer, ...], lead: Lead, movement: Movement | None) -> tuple[FoliageBlur, ...]:
    """What wind and shutter make of the plants of the picture: by share, place and part in the lead, grass included."""
    if movement is None:
        return ()
    named = {layers[s.layer].class_name for s in (lead.subject, lead.turn.calm if lead.turn else None) if s is not None}
    out = []
    for name in ("tree", "grass"):
        own = [layer for layer in layers if layer.class_name == name]
        if name not in movement.classes or not own:
            continue
        share, leads = sum(layer.share for layer in own), name in named
        if share < PLANT_MATTERS and not leads:
            continue
        move = movement.classes[name]
        heart = max(own, key=lambda layer: layer.share).centre_xy
        plant = FoliageBlur(
            "tree" if name == "tree" else "grass",
            share,
            leads,
            move.print_mm,
            blur_word(move.print_mm),
            move.sharp_until_s,
            heart,
        )
        low_in_frame = 1.2 if heart[1] > 0.6 else 1.0  # what is near lies low, and is looked at
        out.append(((leads, share * low_in_frame), plant))
    return tuple(plant for _, plant in sorted(out, key=lambda row: row[0], reverse=True))


def read_shade(ground: Ground, rendering: Rendering, sky: Sky) -> Shade:
    """Whether everything on the land lies without sun, from the light that is known and from the picture.

    Open shade under a clear sky is lit by some 10 to 15 % of the whole light: about three stops below the sunlit ground
    and below the sky itself (clear-sky diffuse share, e.g. ASTM G-173 and handbook tables). A phone lifts that; half is
    asked for.
    """
    light = rendering.light
    if (light.planned or light.sun_bearing_deg is not None) and light.sun_height_deg <= 0.5:
        return Shade(True, sun_height_deg=rendering.light.sun_height_deg)
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
        return Shade(True, below_sky_stops=below)
    return Shade(False)


def _land(ground: Ground) -> np.ndarray:
    winner = ground.winner
    return np.asarray((winner >= 3) & (winner != 7) & (ground.vote.max(0) > 0.5))
