"""Movement at a shutter time: what each moving class becomes, how long it holds, when it flows, and what to warn of.

Rates of motion (no shutter in them) come from `motion_rates`; this turns them into blur: pixels of the snap, share of
the picture's height, millimetres on a 30 x 40 cm print.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType

from irpreview.core.imaging.picture_geometry import print_mm_per_px
from irpreview.core.light.sensor_noise import noise_word, sensor_of
from irpreview.core.motion.rates import ClassRate, Rates, in_snap_framing, rates_of_motion
from irpreview.core.motion.sway import LONGEST_S, together
from irpreview.core.motion.water_motion import water_word
from irpreview.core.motion.wind import beaufort_of, land_criterion
from irpreview.core.units import shutter_text
from irpreview.errors import BadValue
from irpreview.records import ClassMovement, Kit, Movement, Range, WaterMovement

__all__ = [
    "HoldingSetting",
    "Rates",
    "holding_settings",
    "in_snap_framing",
    "movement_at",
    "print_text",
    "rates_of_motion",
]

NOTICED_MM = 0.2
"""Smear seen on a print at reading distance (5 line pairs per mm). [mm]"""


def movement_at(rates: Rates, shutter_s: float) -> Movement:
    """What a shutter time [s] makes of everything that moves. Raises BadValue unless it lies in 0..86400 s."""
    if not (math.isfinite(shutter_s) and 0.0 < shutter_s <= 86400.0):
        raise BadValue(f"shutter time {shutter_s:g} s cannot be used: above 0 and at most 86400 s; give seconds")
    classes = {name: _class_movement(rate, rates, shutter_s) for name, rate in rates.classes.items()}
    tripod = _class_movement(rates.tripod, rates, shutter_s)
    water = None
    if rates.water_period_s is not None:
        p = rates.water_period_s
        periods = Range(shutter_s / p.high, shutter_s / p.likely, shutter_s / p.low)
        water = WaterMovement(periods, water_word(periods.likely))
    return Movement(
        shutter_s=shutter_s,
        classes=MappingProxyType(classes),
        tripod=tripod,
        clouds=rates.clouds,
        water=water,
        warnings=_warnings(rates, classes, tripod, water, shutter_s),
    )


def _class_movement(rate: ClassRate, rates: Rates, shutter_s: float) -> ClassMovement:
    blur = rate.blur_px(shutter_s)
    height, width = rates.size
    per_px = print_mm_per_px(width, height)
    parts = {
        part.name: Range(*(part.extent_px(shutter_s, which) for which in ("low", "likely", "high")))
        for part in rate.parts
    }
    return ClassMovement(
        blur_px=blur,
        share_of_height=_times(blur, 1.0 / height),
        print_mm=_times(blur, per_px),
        holds_until_s=rate.holds_until_s(rates.hold_limit_px),
        flows_from_s=rate.flows_from_s if rate.moves() else None,
        parts=MappingProxyType(parts),
        how_known=rate.how_known,
        core_px=blur.likely,
        halo_px=max(blur.likely, together([part.halo_px(shutter_s) for part in rate.parts])),
        direction_deg=rate.direction_deg,
    )


def _times(value: Range, factor: float) -> Range:
    return Range(value.low * factor, value.likely * factor, value.high * factor)


def print_text(value: Range) -> str:
    """A smear in words: "1.2 mm (0.4 to 3.5) on a 30 x 40 cm print"."""
    return f"{_short(value.likely)} mm ({_short(value.low)} to {_short(value.high)}) on a 30 x 40 cm print"


def _short(value: float) -> str:
    """Two figures: 12, 1.2, 0.12."""
    return f"{value:.0f}" if value >= 9.5 else f"{value:.1f}" if value >= 0.95 else f"{value:.2f}"


def _holds_text(holds: Range | None) -> str:
    if holds is None:
        return "they do not move"
    if holds.likely >= LONGEST_S:
        return "they hold at any time"
    return f"they hold until {shutter_text(holds.likely)} (cautious {shutter_text(holds.low)})"


def _warnings(
    rates: Rates,
    classes: dict[str, ClassMovement],
    tripod: ClassMovement,
    water: WaterMovement | None,
    shutter_s: float,
) -> tuple[str, ...]:
    time = shutter_text(shutter_s)
    said: list[str] = []
    wind = rates.wind_m_s.likely
    air = f"{wind:.1f} m/s (Beaufort {beaufort_of(wind)}: {land_criterion(wind)})"
    if not rates.wind_known:
        air = f"an unknown wind, {rates.wind_m_s.low:.0f} to {rates.wind_m_s.high:.0f} m/s"
    for name in ("tree", "grass"):
        if name not in classes:
            continue
        move = classes[name]
        word = {"tree": "Leaves and branches", "grass": "Grass and reeds"}[name]
        source = "as the clip shows" if rates.classes[name].measured else f"in {air}"
        if move.print_mm.likely >= NOTICED_MM:
            text = f"{word} smear by {print_text(move.print_mm)} at {time} {source}; {_holds_text(move.holds_until_s)}."
            if move.flows_from_s is not None and shutter_s >= move.flows_from_s:
                text += f" Beyond {shutter_text(move.flows_from_s)} a longer time smears them hardly more."
            said.append(text)
        elif move.print_mm.high >= NOTICED_MM:
            said.append(
                f"{word} may smear at {time} {source}: {print_text(move.print_mm)}, {NOTICED_MM} mm shows; "
                f"{_holds_text(move.holds_until_s)}."
            )
    if "cloud" in classes and rates.clouds is not None:
        said.append(_cloud_sentence(rates, classes["cloud"], shutter_s))
    if water is not None and "water" in classes:
        said.append(_water_sentence(rates, classes["water"], water, shutter_s))
    if "other" in classes and classes["other"].print_mm.likely >= NOTICED_MM:
        said.append(_people_sentence(classes["other"], shutter_s))
    if tripod.blur_px.high > rates.hold_limit_px:
        sure = tripod.blur_px.likely > rates.hold_limit_px
        said.append(
            f"The tripod itself {'shakes' if sure else 'may shake'} by {print_text(tripod.print_mm)} in {air}: "
            "structures and rocks are no longer sharp either; keep it low, hang weight on it, leave the centre column "
            "down, stand in the lee, or wait."
        )
    if rates.wind_m_s.high >= 17.2 or rates.gust_m_s >= 17.2:
        said.append(
            f"Gale: gusts to {max(rates.gust_m_s, rates.wind_m_s.high):.0f} m/s. Branches come down; keep away from "
            "trees, cliff edges and breaking waves, and follow local warnings."
        )
    if shutter_s > 10.0 and rates.gust_m_s > 1.2 * wind and wind >= 1.6 and ("tree" in classes or "grass" in classes):
        said.append(
            f"In {time} a gust is likely: plan on {rates.gust_m_s:.0f} m/s rather than the mean of {wind:.0f} m/s."
        )
    return tuple(said)


def _people_sentence(move: ClassMovement, shutter_s: float) -> str:
    time, held = shutter_text(shutter_s), _holds_text(move.holds_until_s)
    flows = move.flows_from_s
    if "people walking" not in move.parts:
        return f"Boats rock and swing: {print_text(move.print_mm)} at {time}; {held}."
    if flows is not None and shutter_s >= flows:
        return f"People who walk on are gone or left as ghosts at {time}; {held}."
    thin = f", and thin out from about {shutter_text(flows)}" if flows is not None else ""
    return f"People who walk smear by {print_text(move.print_mm)} at {time}; {held}{thin}."


def _cloud_sentence(rates: Rates, move: ClassMovement, shutter_s: float) -> str:
    assert rates.clouds is not None
    drift = rates.clouds.deg_per_s
    swept = drift.likely * shutter_s
    # common practice for how far a cloud has to travel, in widths of one cloud or gap of about five degrees
    widths = swept / 5.0
    word = (
        "stand still"
        if move.blur_px.likely < rates.hold_limit_px
        else "soften"
        if widths < 0.3
        else "smear, their direction shows"
        if widths < 1.0
        else "streak"
        if widths < 3.0
        else "turn into a veil"
    )
    flows = f" They streak from about {shutter_text(move.flows_from_s)}." if move.flows_from_s is not None else ""
    return (
        f"Clouds {word}: they drift {_short(drift.likely)} deg/s ({_short(drift.low)} to {_short(drift.high)}), "
        f"{_short(100.0 * move.share_of_height.likely)} % of the picture's height in {shutter_text(shutter_s)}.{flows}"
    )


def _water_sentence(rates: Rates, move: ClassMovement, water: WaterMovement, shutter_s: float) -> str:
    looks = {
        "frozen": "is frozen",
        "texture": "keeps its texture, a little soft",
        "silky": "turns silky",
        "smooth": "turns smooth",
        "mist": "turns to mist or a mirror",
    }[water.word]
    assert rates.water_period_s is not None
    return (
        f"Water {looks} at {shutter_text(shutter_s)}: {_short(water.periods.likely)} wave periods "
        f"({_short(water.periods.low)} to {_short(water.periods.high)}) of {rates.water_period_s.likely:.1f} s."
    )


@dataclass(frozen=True, slots=True)
class HoldingSetting:
    """An aperture and the ISO that reaches a shutter time with it, and the noise that costs."""

    f_number: float
    iso: float
    shutter_s: float
    snr: float
    noise: str
    reaches: bool
    """False: the kit's highest ISO falls short; `shutter_s` is then the shortest it gets."""


def holding_settings(
    kit: Kit, ev100: float, factor_stops: float, shutter_s: float, temperature_c: float = 20.0
) -> tuple[HoldingSetting, ...]:
    """Which ISO each full stop of aperture needs for this shutter through this filter, and the noise of a mid grey.

    t = N^2 (100 / ISO) 2^(F - EV100). ev100 without the filter [EV], factor_stops of neutral grey in the same light.
    """
    if not (math.isfinite(ev100) and math.isfinite(factor_stops)):
        raise BadValue(f"EV {ev100:g} or factor {factor_stops:g} stops is not a number; meter the scene first")
    found = []
    stops = [n for n in (1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0) if kit.f_number_min <= n <= kit.f_number_max]
    for n in stops or [kit.f_number_min]:
        iso = n**2 * 100.0 * 2.0 ** (factor_stops - ev100) / shutter_s
        used = min(max(iso, kit.iso_min), kit.iso_max)
        time = n**2 * (100.0 / used) * 2.0 ** (factor_stops - ev100)
        snr = sensor_of(kit).snr(used, time, temperature_c)
        found.append(HoldingSetting(n, used, time, snr, noise_word(snr), iso <= kit.iso_max * 1.0001))
    return tuple(found)
