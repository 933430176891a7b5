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
from irpreview.core.light.sensor_noise import CLEAN_SNR, FAIR_SNR, ISOS, ROUGH_SNR, sensor_of
from irpreview.core.units import shutter_text
from irpreview.errors import BadValue
from irpreview.records import (
    ApertureReason,
    BlurReason,
    Conditions,
    Doubt,
    Exposure,
    ExposureReason,
    FreezeReason,
    HotSpotUnknown,
    Kit,
    Light,
    Limit,
    LimitKind,
    Movement,
    MovementLeftOut,
    NoiseReason,
    Photo,
    Placement,
    Range,
    RedFirst,
    Rendering,
    Setting,
    SettingsLeftOut,
    StreakReason,
    TimeReason,
    TimeUnsure,
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
"""A blur that still looks sharp on a print seen from 25 cm, in pixels of the final picture."""
STREAK_ELEMENTS = (1.0, 3.0)
USUAL_STREAK_S = (60.0, 180.0)
"""Where the clouds' speed is not known: one to three minutes, common practice."""
CLOUD_ELEMENT_DEG = 5.0
"""Width of a cloud heap; drawn out over one to three of them, clouds read as streaks (common practice, no source)."""
TREES_AND_PLANTS = ("tree", "grass")
MOVING = (LimitKind.MOVEMENT, LimitKind.TRIPOD)
COST_A_STOP = MappingProxyType(
    {
        LimitKind.MOVEMENT: 0.35,
        LimitKind.TRIPOD: 0.35,
        LimitKind.DIFFRACTION: 2.0,
        LimitKind.DEPTH: 2.0,
        LimitKind.NOISE: 3.0,
        LimitKind.BULB: 0.45,
        LimitKind.NO_BULB: 20.0,
        LimitKind.HOT_SPOT: 2.0,
        LimitKind.LIGHT_WINDOW: 8.0,
    }
)
"""What a stop beyond each limit costs against the others. A choice, not a measurement."""
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


def placement(rendering: Rendering | None) -> Placement:
    """Stops that bring the brightest layer that matters to zone VII."""
    if rendering is None:
        return Placement(picture_known=False)
    matters = {n: t for n, t in rendering.classes.items() if t.share >= MATTERS_SHARE and n != "other"}
    if not matters:
        return Placement()
    name, tone = max(matters.items(), key=lambda item: item[1].scene_zone.likely)
    wanted = PLACE_ZONE - tone.scene_zone.likely
    stops = min(max(wanted, PLACE_LIMITS_STOPS[0]), PLACE_LIMITS_STOPS[1])
    return Placement(stops, name, tone.scene_zone.likely + stops, wanted)


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
        """Blur per class in pixels of the final picture, worked out once per third of a stop."""
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

    def limits(self, f_number: float, shutter_s: float, snr: float) -> tuple[Limit, ...]:
        """Which limits are overstepped, and by how much. snr: of a mid grey."""
        over: list[Limit] = []
        hold = self.wishes.hold_px
        _, blur = self.blur_px(shutter_s)
        for name in (*TREES_AND_PLANTS, "tripod"):
            if name in blur and blur[name] > hold:
                stops = math.log2(blur[name] / hold)
                if name == "tripod":
                    over.append(Limit(LimitKind.TRIPOD, blur[name], hold, stops))
                else:
                    over.append(Limit(LimitKind.MOVEMENT, blur[name], hold, stops, name))
        circle_mm = blur_circle_mm(self.kit)
        airy, circle = airy_diameter_um(self.band_nm, f_number), 1000.0 * circle_mm
        if airy > circle:
            over.append(Limit(LimitKind.DIFFRACTION, airy, circle, 2.0 * math.log2(airy / circle)))
        if self.wishes.nearest_m is not None:
            need = f_number_for_depth(self.focal_mm, self.wishes.nearest_m, circle_mm)
            if f_number < need * 0.999:
                over.append(Limit(LimitKind.DEPTH, f_number, need, 2.0 * math.log2(need / f_number)))
        if snr < FAIR_SNR:
            over.append(Limit(LimitKind.NOISE, snr, FAIR_SNR, 2.0 * math.log2(FAIR_SNR / snr)))
        timed_s = self.kit.longest_timed_s
        if shutter_s > timed_s * TIMED_SLACK:
            kind = LimitKind.BULB if self.kit.has_bulb else LimitKind.NO_BULB
            over.append(Limit(kind, shutter_s, timed_s, math.log2(shutter_s / timed_s)))
        spot = self.kit.hot_spot_from_f_number
        if spot is not None and f_number >= spot * 0.999:
            over.append(Limit(LimitKind.HOT_SPOT, f_number, spot, 1.0 + 2.0 * math.log2(f_number / spot)))
        if self.wishes.light_minutes is not None and shutter_s > 60.0 * self.wishes.light_minutes:
            light_s = 60.0 * self.wishes.light_minutes
            over.append(Limit(LimitKind.LIGHT_WINDOW, shutter_s, light_s, math.log2(shutter_s / light_s)))
        return tuple(over)

    def cost(self, setting: Setting) -> float:
        """How much a setting asks one to put up with; small is good. Weights are a choice, not a measurement."""
        assert setting.snr is not None
        cost = 0.8 * max(0.0, math.log2(CLEAN_SNR / setting.snr))
        for limit in setting.limits:
            over = min(limit.over_stops, 3.0) if limit.kind in MOVING else limit.over_stops
            cost += COST_A_STOP[limit.kind] * over
        # Wide open a lens is softer and darker in the corners, more so beyond what it was corrected for.
        cost += 0.7 * max(0.0, 2.0 - 2.0 * math.log2(setting.f_number / self.kit.f_number_min))
        # With no nearest distance given, some depth is still wanted of a landscape: f/8 to f/11.
        cost += 0.5 * abs(2.0 * math.log2(setting.f_number / 9.0))
        return cost


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
    the scene, or None when wind is unknown. factor: filter factor of neutral grey with its parts [stops]
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
    placed = placement(rendering)
    focal_35 = wishes.focal_35mm_mm or conditions.focal_35mm_mm
    focal_mm = focal_on_kit_mm(kit, focal_35) if focal_35 is not None else kit.focal_mm[0]
    if wishes.nearest_m is None and conditions.distance_m:
        wishes = replace(wishes, nearest_m=min(conditions.distance_m.values()))
    temperature = 20.0 if conditions.temperature_c is None else conditions.temperature_c
    middle_nm = band_nm if band_nm is not None else kit.filter_cut_on_nm + BAND_ABOVE_CUT_ON_NM
    judge = _Judge(kit, wishes, middle_nm, focal_mm, temperature, movement_at, {})
    minus_light = Range(-metered.ev100.high, -metered.ev100.likely, -metered.ev100.low)
    stops = add_doubt(factor_stops, minus_light) + placed.stops
    doubts: list[Doubt] = [*metered.doubts]

    rows, left_out = _settings(kit, judge, stops, wishes)
    if left_out:
        doubts.append(SettingsLeftOut(left_out, left_out + len(rows)))
    if not rows:
        raise BadValue(_no_setting(kit, metered.ev100.likely, stops.likely))
    best = min(rows, key=judge.cost)
    freezes, near_freeze, about_freeze = _freezing(rows, judge)
    streaks, near_streak, about_streak = _streaking(rows, judge)
    if doubt := sun_and_cloud_doubt(light, conditions, best.shutter_s.likely):
        doubts.append(doubt)
    if kit.hot_spot_from_f_number is None and best.f_number >= HOT_SPOT_ASK_F_NUMBER:
        doubts.append(HotSpotUnknown(best.f_number))
    if movement_at is None:
        doubts.append(MovementLeftOut())
    if stops.width > 2.0:
        doubts.append(TimeUnsure(best.shutter_s.low, best.shutter_s.high, stops.width))
    return Exposure(
        factor_stops=factor_stops,
        factor_parts=MappingProxyType(dict(parts)),
        metered_ev100=metered.ev100,
        metered_by=metered.by,
        settings=tuple(rows),
        recommended=best,
        freezes=freezes,
        streaks=streaks,
        reasons=(*_reasons(best, judge), about_freeze, about_streak),
        test_exposures=ladder(kit, best, factor_stops, metered.ev100.likely, placed.stops),
        focus=focus_advice(kit, focal_mm, best.f_number, middle_nm, wishes.nearest_m),
        cautions=cautions_for(scene_share, light, best.shutter_s.likely, conditions, sun_in_frame=wishes.sun_in_frame),
        doubts=tuple(doubts),
        placement=placed,
        readings_ev100=metered.readings,
        nearest_freeze=near_freeze,
        nearest_streak=near_streak,
        frame_cost=frame_cost(
            kit, best, temperature, wishes.noise_reduction, wishes.light_minutes, wishes.battery_minutes
        ),
    )


def _settings(kit: Kit, judge: _Judge, stops: Range, wishes: Wishes) -> tuple[list[Setting], int]:
    rows: list[Setting] = []
    left_out = 0
    sensor, f_numbers = sensor_of(kit), nominal_f_numbers(kit)
    for iso in nominal_isos(kit):
        for f_number in f_numbers:
            at = [exact_shutter_s(f_number, iso, s, 0.0) for s in (stops.low, stops.likely, stops.high)]
            if not (SHORTEST_S <= at[1] <= LONGEST_S):
                left_out += 1
                continue
            snr = sensor.snr(iso, at[1], judge.temperature_c)
            rows.append(
                Setting(
                    iso=iso,
                    f_number=f_number,
                    shutter_s=Range(*at),
                    shutter_text=shutter_text(at[1]),
                    limits=judge.limits(f_number, at[1], snr),
                    snr=round(snr, 1),
                    minutes_per_frame=round(frame_seconds(at[1], wishes.noise_reduction) / 60.0, 3),
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


def _reasons(best: Setting, judge: _Judge) -> tuple[ExposureReason, ...]:
    assert best.snr is not None
    shutter_s, nearest_m = best.shutter_s.likely, judge.wishes.nearest_m
    circle = blur_circle_mm(judge.kit)
    need = None if nearest_m is None else f_number_for_depth(judge.focal_mm, nearest_m, circle)
    airy = airy_diameter_um(judge.band_nm, best.f_number)
    said: list[ExposureReason] = [
        NoiseReason(best.iso, best.snr),
        ApertureReason(best.f_number, airy, 1000.0 * circle, judge.band_nm, nearest_m, need),
        TimeReason(shutter_s, bulb=shutter_s > judge.kit.longest_timed_s * TIMED_SLACK),
    ]
    _, blur = judge.blur_px(shutter_s)
    moving = {name: blur[name] for name in TREES_AND_PLANTS if name in blur}
    if moving:
        said.append(BlurReason(shutter_s, MappingProxyType(moving), judge.wishes.hold_px))
    return (*said, RedFirst())


def _has(setting: Setting, *kinds: LimitKind) -> bool:
    return any(limit.kind in kinds for limit in setting.limits)


def _freezing(rows: list[Setting], judge: _Judge) -> tuple[Setting | None, Setting | None, FreezeReason]:
    """The best setting that holds trees and plants, or the nearest to it."""
    hold_px = judge.wishes.hold_px

    def told(setting: Setting, freezes: bool | None, blur_px: float | None) -> FreezeReason:
        return FreezeReason(freezes, setting.iso, setting.f_number, setting.shutter_s.likely, blur_px, hold_px)

    def worst(setting: Setting) -> float:
        _, blur = judge.blur_px(setting.shutter_s.likely)
        return max((blur[n] for n in TREES_AND_PLANTS if n in blur), default=0.0)

    able = [s for s in rows if (s.snr or 0.0) >= ROUGH_SNR and not _has(s, LimitKind.NO_BULB)]
    fast = min(able or rows, key=lambda s: s.shutter_s.likely)
    if judge.movement_at is None:
        return None, fast, told(fast, None, None)
    holding = [setting for setting in able if worst(setting) <= hold_px]
    if holding:
        best = min(holding, key=judge.cost)
        return best, None, told(best, True, worst(best))
    return None, fast, told(fast, False, worst(fast))


def _streaking(rows: list[Setting], judge: _Judge) -> tuple[Setting | None, Setting | None, StreakReason]:
    """A setting long enough that clouds draw out over one to three of their own widths."""
    able = [s for s in rows if not _has(s, LimitKind.NO_BULB)] or rows
    longest = max(able, key=lambda s: s.shutter_s.likely)
    low_s, high_s = USUAL_STREAK_S
    drift = None
    if judge.movement_at is not None:
        movement, _ = judge.blur_px(longest.shutter_s.likely)
        if movement is not None and movement.clouds is not None and movement.clouds.deg_per_s.likely > 0:
            drift = movement.clouds.deg_per_s.likely
            low_s, high_s = (CLOUD_ELEMENT_DEG * n / drift for n in STREAK_ELEMENTS)

    def told(setting: Setting, streaks: bool) -> StreakReason:
        at_s = setting.shutter_s.likely
        return StreakReason(streaks, setting.iso, setting.f_number, at_s, low_s, high_s, drift)

    inside = [
        s
        for s in rows
        if low_s <= s.shutter_s.likely <= high_s and not _has(s, LimitKind.NO_BULB, LimitKind.LIGHT_WINDOW)
    ]
    if inside:
        best = min(inside, key=judge.cost)
        return best, None, told(best, True)
    middle = math.log(math.sqrt(low_s * high_s))
    nearest = min(able, key=lambda s: abs(math.log(s.shutter_s.likely) - middle))
    return None, nearest, told(nearest, False)
