"""What to set: every usable ISO and aperture with its shutter, what limits each, and which one to take.

    t = N^2 (100 / ISO) 2^(F + P - EV100)                                  [s]

with F the filter factor of neutral grey and P what placing the brightest layer that matters adds. [stops]
The relation is ISO 2720's; a digital sensor has no reciprocity failure, so it holds for minutes too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from irpreview.core.cautions import cautions_for
from irpreview.core.exposure.focus import (
    blur_circle_mm,
    f_number_for_depth,
    focal_on_kit_mm,
    focus_advice,
)
from irpreview.core.exposure.frame_cost import TIMED_SLACK, frame_cost, frame_seconds, sun_and_cloud_doubt
from irpreview.core.exposure.metering import Metering, as_if_on_grey, check_f_number, check_iso, compare, from_snap
from irpreview.core.exposure.test_exposures import ladder
from irpreview.core.light.optics import airy_diameter_um
from irpreview.core.light.sensor_noise import CLEAN_SNR, FAIR_SNR, ISOS, ROUGH_SNR, noise_word, sensor_of
from irpreview.core.units import shutter_text
from irpreview.errors import BadValue
from irpreview.records import (
    CLASS_WORDS,
    Conditions,
    Exposure,
    Kit,
    Light,
    Movement,
    Photo,
    Range,
    Rendering,
    Setting,
)

_F_NUMBERS = (
    "1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22 25 29 32 36 40 45"
)
F_NUMBERS = tuple(map(float, _F_NUMBERS.split()))
"""Nominal third stops, common practice."""

SHORTEST_S = 1.0 / 8000.0
LONGEST_S = 3600.0
"""Beyond an hour neither light nor battery keeps still."""
PLACE_ZONE = 7.0
"""Light with full texture: one stop below where the sensor clips (mid grey at 12.7 % of saturation, ISO 12232)."""
PLACE_LIMITS_STOPS = (-2.5, 1.0)
MATTERS_SHARE = 0.02
HOT_SPOT_ASK_F_NUMBER = 8.0
"""Bright patches in the middle come up when stopped down this far (common practice, no source)."""
HOLD_PX = 5.0
"""A smear that still looks sharp on a print seen from 25 cm, in pixels of the final picture."""
STREAK_ELEMENTS = (1.0, 3.0)
CLOUD_ELEMENT_DEG = 5.0
"""Width of a cloud heap; smeared over one to three of them, clouds read as streaks (common practice, no source)."""
TREES_AND_PLANTS = ("tree", "grass")
BAND_ABOVE_CUT_ON_NM = 65.0
"""Middle of a long-pass band on an unmodified sensor, above its cut-on: 720 nm gives about 785 nm."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the photographer asks of the exposure beyond the light; all have working defaults."""

    focal_35mm_mm: float | None = None
    nearest_m: float | None = None
    hold_px: float = HOLD_PX
    noise_reduction: bool = False
    light_minutes: float | None = None
    battery_minutes: tuple[float, float] = (90.0, 150.0)
    sun_in_frame: bool | None = None


MovementAt = Callable[[float], Movement]


def exact_shutter_s(f_number: float, iso: float, factor_stops: float, ev100: float) -> float:
    """The time that exposes a mid grey through the filter [s]. Raises BadValue for nonsense."""
    stops = factor_stops - ev100
    if not (-60.0 < stops < 60.0):
        raise BadValue(
            f"a factor of {factor_stops:g} stops at EV {ev100:g} leads nowhere; factors lie between 0 and 24 stops, "
            "EV at ISO 100 between -6 and 20"
        )
    return float(check_f_number(f_number) ** 2 * 100.0 / check_iso(iso) * 2.0**stops)


def nominal_f_numbers(kit: Kit) -> tuple[float, ...]:
    """Third stops from the kit's widest to its smallest aperture, both ends included."""
    return _nominal(F_NUMBERS, kit.f_number_min, kit.f_number_max)


def nominal_isos(kit: Kit) -> tuple[float, ...]:
    """Third stops from the kit's lowest to its highest ISO, both ends included."""
    return _nominal(ISOS, kit.iso_min, kit.iso_max)


def _nominal(steps: tuple[float, ...], low: float, high: float) -> tuple[float, ...]:
    inside = {float(v) for v in steps if low * 0.999 <= v <= high * 1.001}
    return tuple(sorted(inside | {float(low), float(high)}))


def placement(rendering: Rendering | None) -> tuple[float, str]:
    """Stops that bring the brightest layer that matters to zone VII, and the sentence about it."""
    if rendering is None:
        return 0.0, "middle grey stays middle grey: no picture was given to find the brightest layer in"
    matters = {n: t for n, t in rendering.classes.items() if t.share >= MATTERS_SHARE and n != "other"}
    if not matters:
        return 0.0, "middle grey stays middle grey: no layer is large enough to place"
    name, tone = max(matters.items(), key=lambda item: item[1].scene_zone.likely)
    wanted = PLACE_ZONE - tone.scene_zone.likely
    stops = min(max(wanted, PLACE_LIMITS_STOPS[0]), PLACE_LIMITS_STOPS[1])
    word = CLASS_WORDS.get(name, name)
    said = f"{word}, the brightest layer that matters, goes to zone {tone.scene_zone.likely + stops:.1f}"
    if abs(stops - wanted) > 0.05:
        said += f" (zone VII would need {wanted:+.1f} stops, {stops:+.1f} is the limit here)"
    return stops, said


def add_doubt(*parts: Range) -> Range:
    """Sum of independent values with doubt: middles add, half widths add as squares. [stops]"""
    likely = sum(p.likely for p in parts)
    low = math.sqrt(sum((p.likely - p.low) ** 2 for p in parts))
    high = math.sqrt(sum((p.high - p.likely) ** 2 for p in parts))
    return Range(likely - low, likely, likely + high)


@dataclass(frozen=True, slots=True)
class _Judge:
    """Marks one setting; kept apart so that each limit is worked out once per aperture or time."""

    kit: Kit
    wishes: Wishes
    band_nm: float
    focal_mm: float
    temperature_c: float
    movement_at: MovementAt | None
    seen: dict[float, tuple[Movement, dict[str, float]]]

    def blur_px(self, shutter_s: float) -> tuple[Movement | None, dict[str, float]]:
        """Smear per class in pixels of the final picture, worked out once per third of a stop."""
        if self.movement_at is None:
            return None, {}
        key = round(3.0 * math.log2(shutter_s))
        if key not in self.seen:
            movement = self.movement_at(2.0 ** (key / 3.0))
            tall = self.kit.pixels_wide * self.kit.format_height_mm / self.kit.format_width_mm
            blur = {n: c.share_of_height.likely * tall for n, c in movement.classes.items()}
            blur["tripod"] = movement.tripod.share_of_height.likely * tall
            self.seen[key] = (movement, blur)
        return self.seen[key]

    def limits(self, iso: float, f_number: float, shutter_s: float) -> tuple[dict[str, float], tuple[str, ...]]:
        """How far each limit is overstepped [stops, above 0 = overstepped], and the words."""
        over: dict[str, float] = {}
        words: list[str] = []
        _, blur = self.blur_px(shutter_s)
        for name in (*TREES_AND_PLANTS, "tripod"):
            if name in blur and blur[name] > self.wishes.hold_px:
                over[f"movement_{name}"] = math.log2(blur[name] / self.wishes.hold_px)
                who = "tripod shake" if name == "tripod" else CLASS_WORDS.get(name, name)
                words.append(f"movement: {who} {_px(blur[name])}, {self.wishes.hold_px:.0f} px hold")
        airy, circle = airy_diameter_um(self.band_nm, f_number), 1000.0 * blur_circle_mm(self.kit)
        if airy > circle:
            over["diffraction"] = 2.0 * math.log2(airy / circle)
            words.append(f"diffraction: {airy:.0f} um disc at {self.band_nm:.0f} nm, {circle:.0f} um hold")
        if self.wishes.nearest_m is not None:
            need = f_number_for_depth(self.focal_mm, self.wishes.nearest_m, blur_circle_mm(self.kit))
            if f_number < need * 0.999:
                over["depth"] = 2.0 * math.log2(need / f_number)
                words.append(f"depth of field: {self.wishes.nearest_m:g} m to infinity needs f/{need:.1f}")
        snr = sensor_of(self.kit).snr(iso, shutter_s, self.temperature_c)
        if snr < FAIR_SNR:
            over["noise"] = 2.0 * math.log2(FAIR_SNR / snr)
            words.append(f"noise: {noise_word(snr)}, mid grey {snr:.0f} to 1")
        if shutter_s > self.kit.longest_timed_s * TIMED_SLACK:
            if self.kit.has_bulb:
                over["bulb"] = math.log2(shutter_s / self.kit.longest_timed_s)
                words.append(f"bulb: longer than the camera's {self.kit.longest_timed_s:g} s")
            else:
                over["no_bulb"] = math.log2(shutter_s / self.kit.longest_timed_s)
                words.append(f"no bulb: this camera stops at {self.kit.longest_timed_s:g} s")
        spot = self.kit.hot_spot_from_f_number
        if spot is not None and f_number >= spot * 0.999:
            over["hot_spot"] = 1.0 + 2.0 * math.log2(f_number / spot)
            words.append(f"hot spot: this lens shows one from f/{spot:g}")
        if self.wishes.light_minutes is not None and shutter_s / 60.0 > self.wishes.light_minutes:
            over["light_window"] = math.log2(shutter_s / 60.0 / self.wishes.light_minutes)
            words.append(f"light: lasts {self.wishes.light_minutes:g} min, the frame is longer")
        return over, tuple(words)

    def cost(self, setting: Setting, over: Mapping[str, float]) -> float:
        """How much a setting asks one to put up with; small is good. Weights are a choice, not a measurement."""
        assert setting.snr is not None
        cost = 0.8 * max(0.0, math.log2(CLEAN_SNR / setting.snr)) + 3.0 * over.get("noise", 0.0)
        cost += 2.0 * over.get("diffraction", 0.0) + 2.0 * over.get("depth", 0.0) + 2.0 * over.get("hot_spot", 0.0)
        cost += 0.45 * over.get("bulb", 0.0) + 20.0 * over.get("no_bulb", 0.0) + 8.0 * over.get("light_window", 0.0)
        cost += sum(0.35 * min(v, 3.0) for k, v in over.items() if k.startswith("movement"))
        # Wide open a lens is softer and darker in the corners, more so beyond what it was corrected for.
        cost += 0.7 * max(0.0, 2.0 - 2.0 * math.log2(setting.f_number / self.kit.f_number_min))
        # With no nearest distance given, some depth is still wanted of a landscape: f/8 to f/11.
        cost += 0.5 * abs(2.0 * math.log2(setting.f_number / 9.0))
        return cost


def _px(blur: float) -> str:
    return f"{blur:.0f} px" if blur >= 9.5 else f"{blur:.1f} px"


def plan_exposure(
    photo: Photo | None,
    kit: Kit,
    light: Light,
    conditions: Conditions,
    movement_at: MovementAt | None,
    *,
    factor: tuple[Range, Mapping[str, Range]],
    readings: tuple[Metering, ...] = (),
    rendering: Rendering | None = None,
    scene_share: Mapping[str, float] | None = None,
    band_nm: float | None = None,
    wishes: Wishes | None = None,
) -> Exposure:
    """The whole answer about the exposure.

    photo: the snap, its exposure data used as a meter when it has any. movement_at: what a shutter time [s] makes of
    the scene, or None when wind is unknown. factor: filter factor of neutral grey with its parts [stops].
    readings: further light readings. rendering: to find the brightest layer. band_nm: middle of the infrared band.
    Raises BadValue when nothing says how much light there is, or when no setting of the kit can use it.
    """
    wishes = wishes or Wishes()
    if wishes.light_minutes is not None and not wishes.light_minutes > 0:
        raise BadValue(f"the light lasts {wishes.light_minutes:g} min; give a number of minutes above 0")
    snap = from_snap(photo) if photo is not None else None
    if snap is not None and rendering is not None and "visible" in rendering.parts_stops:
        snap = as_if_on_grey(snap, float(np.mean(np.exp2(rendering.parts_stops["visible"].astype(np.float64)))))
    metered = compare((*readings, snap) if snap is not None else readings)
    factor_stops, parts = factor
    placed_stops, placed = placement(rendering)
    focal_35 = wishes.focal_35mm_mm or conditions.focal_35mm_mm
    focal_mm = focal_on_kit_mm(kit, focal_35) if focal_35 is not None else kit.focal_mm[0]
    if wishes.nearest_m is None and conditions.distance_m:
        wishes = replace(wishes, nearest_m=min(conditions.distance_m.values()))
    temperature = 20.0 if conditions.temperature_c is None else conditions.temperature_c
    middle_nm = band_nm if band_nm is not None else kit.filter_cut_on_nm + BAND_ABOVE_CUT_ON_NM
    judge = _Judge(kit, wishes, middle_nm, focal_mm, temperature, movement_at, {})
    minus_light = Range(-metered.ev100.high, -metered.ev100.likely, -metered.ev100.low)
    stops = add_doubt(factor_stops, minus_light) + placed_stops
    doubts = [*metered.doubts, *(photo.doubts if photo is not None and snap is not None else ())]

    rows, left_out = _settings(kit, judge, stops, wishes)
    if left_out:
        doubts.append(
            f"{left_out} of {left_out + len(rows)} combinations are left out: longer than "
            f"{LONGEST_S / 60:.0f} min or shorter than 1/8000 s"
        )
    if not rows:
        raise BadValue(_no_setting(kit, metered.ev100.likely, stops.likely))
    best = min(rows, key=lambda row: judge.cost(row[0], row[1]))[0]
    freezes, near_freeze, about_freeze = _freezing(rows, judge)
    streaks, near_streak, about_streak = _streaking(rows, judge)
    if doubt := sun_and_cloud_doubt(light, conditions, best.shutter_s.likely):
        doubts.append(doubt)
    if kit.hot_spot_from_f_number is None and best.f_number >= HOT_SPOT_ASK_F_NUMBER:
        doubts.append(
            f"whether this lens shows a hot spot at f/{best.f_number:g} is not known: look for a bright patch in the "
            "middle of a test frame, and write the f-number it starts at into the kit"
        )
    if movement_at is None:
        doubts.append("movement is not in this: wind was not given and no clip was measured")
    if stops.width > 2.0:
        doubts.append(
            f"the time is sure only to {stops.width:.1f} stops ({shutter_text(best.shutter_s.low)} to "
            f"{shutter_text(best.shutter_s.high)}): take the test frames first"
        )
    return Exposure(
        factor_stops=factor_stops,
        factor_parts=MappingProxyType(dict(parts)),
        metered_ev100=metered.ev100,
        metered_by=metered.words,
        settings=tuple(row[0] for row in rows),
        recommended=best,
        freezes=freezes,
        streaks=streaks,
        reasons=(*_reasons(best, judge), about_freeze, about_streak),
        test_frames=ladder(kit, best, factor_stops, metered.ev100.likely, placed_stops),
        focus=focus_advice(kit, focal_mm, best.f_number, middle_nm, wishes.nearest_m),
        cautions=cautions_for(scene_share, light, best.shutter_s.likely, conditions, sun_in_frame=wishes.sun_in_frame),
        doubts=tuple(doubts),
        placement_stops=placed_stops,
        placed=placed,
        readings_ev100=metered.readings,
        nearest_freeze=near_freeze,
        nearest_streak=near_streak,
        frame_cost=frame_cost(
            kit, best, temperature, wishes.noise_reduction, wishes.light_minutes, wishes.battery_minutes
        ),
    )


Row = tuple[Setting, dict[str, float]]


def _settings(kit: Kit, judge: _Judge, stops: Range, wishes: Wishes) -> tuple[list[Row], int]:
    rows: list[Row] = []
    left_out = 0
    for iso in nominal_isos(kit):
        for f_number in nominal_f_numbers(kit):
            at = [exact_shutter_s(f_number, iso, s, 0.0) for s in (stops.low, stops.likely, stops.high)]
            if not (SHORTEST_S <= at[1] <= LONGEST_S):
                left_out += 1
                continue
            over, words = judge.limits(iso, f_number, at[1])
            minutes = frame_seconds(at[1], wishes.noise_reduction) / 60.0
            rows.append(
                (
                    Setting(
                        iso=iso,
                        f_number=f_number,
                        shutter_s=Range(*at),
                        shutter_text=shutter_text(at[1]),
                        limits=words,
                        snr=round(sensor_of(kit).snr(iso, at[1], judge.temperature_c), 1),
                        minutes_per_frame=round(minutes, 3),
                    ),
                    over,
                )
            )
    return rows, left_out


def _no_setting(kit: Kit, ev100: float, stops: float) -> str:
    quickest = exact_shutter_s(kit.f_number_min, kit.iso_max, stops, 0.0)
    if quickest > LONGEST_S:
        least = ev100 + math.log2(quickest / LONGEST_S)
        return (
            f"light of EV {ev100:.1f} at ISO 100 is too little: even ISO {kit.iso_max:g} at f/{kit.f_number_min:g} "
            f"takes {shutter_text(min(quickest, 86400.0))}, the limit is {LONGEST_S / 60:.0f} min; come with at least "
            f"EV {least:.0f}"
        )
    return (
        f"light of EV {ev100:.1f} at ISO 100 is too much for this kit: ISO {kit.iso_min:g} at f/{kit.f_number_max:g} "
        "is shorter than 1/8000 s; check the kit's factor or the meter reading"
    )


def _reasons(best: Setting, judge: _Judge) -> tuple[str, ...]:
    airy, circle = airy_diameter_um(judge.band_nm, best.f_number), 1000.0 * blur_circle_mm(judge.kit)
    assert best.snr is not None
    said = [f"ISO {best.iso:g}: {noise_word(best.snr)}, mid grey {best.snr:.0f} to 1"]
    depth = ""
    if judge.wishes.nearest_m is not None:
        need = f_number_for_depth(judge.focal_mm, judge.wishes.nearest_m, blur_circle_mm(judge.kit))
        holds = "holds" if best.f_number >= need * 0.999 else "does not quite hold"
        depth = f", {holds} {judge.wishes.nearest_m:g} m to infinity (f/{need:.1f} needed)"
    said.append(
        f"f/{best.f_number:g}: diffraction disc {airy:.0f} um at {judge.band_nm:.0f} nm against {circle:.0f} um{depth}"
    )
    timed = judge.kit.longest_timed_s
    if best.shutter_s.likely <= timed * TIMED_SLACK:
        said.append(f"{best.shutter_text}: the camera times it itself, no bulb")
    else:
        said.append(f"{best.shutter_text}: bulb, a shorter time would cost more in noise or depth")
    _, blur = judge.blur_px(best.shutter_s.likely)
    moving = [f"{CLASS_WORDS[n]} {_px(blur[n])}" for n in TREES_AND_PLANTS if n in blur]
    if moving:
        said.append(f"movement at {best.shutter_text}: {', '.join(moving)}; {judge.wishes.hold_px:.0f} px still hold")
    said.append("judge the red channel: it fills first, the picture as a whole will look darker than it")
    return tuple(said)


def _freezing(rows: list[Row], judge: _Judge) -> tuple[Setting | None, Setting | None, str]:
    """The best setting that holds trees and plants, or the nearest to it, and the sentence."""
    fast = min(rows, key=lambda r: (("no_bulb" in r[1]) or (r[0].snr or 0.0) < ROUGH_SNR, r[0].shutter_s.likely))[0]
    if judge.movement_at is None:
        return (
            None,
            fast,
            (
                f"whether anything freezes cannot be told without wind; the shortest with tones still usable is "
                f"ISO {fast.iso:g} f/{fast.f_number:g} {fast.shutter_text}"
            ),
        )
    holding: list[Row] = []
    worst_of: dict[int, float] = {}
    for i, (setting, over) in enumerate(rows):
        _, blur = judge.blur_px(setting.shutter_s.likely)
        worst = max((blur[n] for n in TREES_AND_PLANTS if n in blur), default=0.0)
        worst_of[i] = worst
        if worst <= judge.wishes.hold_px and (setting.snr or 0.0) >= ROUGH_SNR and "no_bulb" not in over:
            holding.append((setting, over))
    if holding:
        best = min(holding, key=lambda row: judge.cost(row[0], row[1]))[0]
        return best, None, f"to freeze trees and plants: ISO {best.iso:g} f/{best.f_number:g} {best.shutter_text}"
    _, blur = judge.blur_px(fast.shutter_s.likely)
    worst = max((blur[n] for n in TREES_AND_PLANTS if n in blur), default=0.0)
    return (
        None,
        fast,
        (
            f"nothing freezes trees and plants with this kit and wind; nearest is ISO {fast.iso:g} f/{fast.f_number:g} "
            f"{fast.shutter_text} with {_px(worst)}, {judge.wishes.hold_px:.0f} px would hold"
        ),
    )


def _streaking(rows: list[Row], judge: _Judge) -> tuple[Setting | None, Setting | None, str]:
    """A setting long enough that clouds smear over one to three of their own widths."""
    longest = max(rows, key=lambda r: ("no_bulb" not in r[1], r[0].shutter_s.likely))[0]
    low_s, high_s, known = 60.0, 180.0, "one to three minutes is common practice; the clouds' speed is not known"
    if judge.movement_at is not None:
        movement, _ = judge.blur_px(longest.shutter_s.likely)
        if movement is not None and movement.clouds is not None and movement.clouds.deg_per_s.likely > 0:
            speed = movement.clouds.deg_per_s.likely
            low_s, high_s = (CLOUD_ELEMENT_DEG * n / speed for n in STREAK_ELEMENTS)
            known = f"clouds drift {speed:.2f} degrees a second"
    inside = [
        r
        for r in rows
        if low_s <= r[0].shutter_s.likely <= high_s and "no_bulb" not in r[1] and "light_window" not in r[1]
    ]
    span = f"{shutter_text(low_s)} to {shutter_text(high_s)}"
    if inside:
        best = min(inside, key=lambda row: judge.cost(row[0], row[1]))[0]
        return (
            best,
            None,
            (f"to streak clouds ({span}, {known}): ISO {best.iso:g} f/{best.f_number:g} {best.shutter_text}"),
        )
    able = [r for r in rows if "no_bulb" not in r[1]] or rows
    middle = math.log(math.sqrt(low_s * high_s))
    nearest = min(able, key=lambda r: abs(math.log(r[0].shutter_s.likely) - middle))[0]
    return (
        None,
        nearest,
        (
            f"no setting streaks the clouds ({span}, {known}); nearest is ISO {nearest.iso:g} f/{nearest.f_number:g} "
            f"{nearest.shutter_text}"
        ),
    )
