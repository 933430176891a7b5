"""The exposure worked out by hand outdoors: time for any ISO, aperture and factor, settings for a time, a test read.

    t = N^2 (100 / ISO) 2^(F + P - EV100)                                  [s]

as in `core.exposure.setting` (ISO 2720's relation). `data/field_page/calculator.js` says the same in JavaScript, name
by name, and a test runs both on the same cases: who changes one changes the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from irpreview.core.exposure.asked_time import (
    LIKED_F_NUMBER,
    SOFT_FROM_F_NUMBER,
    beyond_reach_stops,
    cost_of,
    is_near,
    whole_filters,
)
from irpreview.core.exposure.setting import (
    LONGEST_S,
    SHORTEST_S,
    add_doubt,
    exact_shutter_s,
    nominal_f_numbers,
    nominal_isos,
)
from irpreview.core.exposure.test_exposures import BY_EYE_STOPS
from irpreview.core.light.sensor_noise import CLEAN_SNR, Sensor, sensor_of
from irpreview.records import Exposure, ExposureTest, Kit, Range


@dataclass(frozen=True, slots=True)
class Noise:
    """What the noise of a mid grey hangs on, for one sensor and one temperature."""

    grey_e_at_iso_100: float
    dark_e_per_s: float
    read_e: float
    read_high_iso_e: float
    high_iso: float

    def snr(self, iso: float, shutter_s: float) -> float:
        """Signal to noise of mid grey, one pixel, to a tenth as a `Setting` carries it: so both choose alike."""
        signal = self.grey_e_at_iso_100 * 100.0 / iso
        read = self.read_high_iso_e if iso >= self.high_iso else self.read_e
        return math.floor(10.0 * signal / math.sqrt(signal + self.dark_e_per_s * shutter_s + read**2) + 0.5) / 10.0


@dataclass(frozen=True, slots=True)
class Calculator:
    """What the arithmetic needs of light, filter and kit. Doubts are half widths of 5 to 95 %. [stops]"""

    ev100: float
    factor_stops: float
    placement_stops: float
    below_stops: float
    above_stops: float
    isos: tuple[float, ...]
    f_numbers: tuple[float, ...]
    liked_f_number: float
    noise: Noise
    longest_timed_s: float
    has_bulb: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """A setting that was found, and what a grey filter in front of it has to take."""

    iso: float
    f_number: float
    shutter_s: float
    grey_stops: int = 0


@dataclass(frozen=True, slots=True)
class Reached:
    """Settings for a time that was asked for; see `AskedTime`."""

    choice: Choice | None
    shortest: Choice | None
    longest: Choice | None
    off_stops: float
    grey: Choice | None


def calculator_for(exposure: Exposure, kit: Kit, temperature_c: float | None) -> Calculator:
    """The calculator of one exposure. temperature_c: of the air, None = 20."""
    light, factor = exposure.metered_ev100, exposure.factor_stops
    whole = add_doubt(factor, Range(-light.high, -light.likely, -light.low))
    best = exposure.recommended
    return Calculator(
        ev100=light.likely,
        factor_stops=factor.likely,
        placement_stops=exposure.placement.stops,
        below_stops=whole.likely - whole.low,
        above_stops=whole.high - whole.likely,
        isos=nominal_isos(kit),
        f_numbers=nominal_f_numbers(kit),
        liked_f_number=best.f_number if best is not None else LIKED_F_NUMBER,
        noise=noise_of(sensor_of(kit), 20.0 if temperature_c is None else temperature_c),
        longest_timed_s=kit.longest_timed_s,
        has_bulb=kit.has_bulb,
    )


def noise_of(sensor: Sensor, temperature_c: float) -> Noise:
    """The noise of a sensor at a temperature [degrees Celsius]."""
    dark = sensor.dark_e_per_s * 2.0 ** ((temperature_c - 20.0) / sensor.dark_doubles_per_k)
    return Noise(sensor.signal_e(100.0), dark, sensor.read_e, sensor.read_high_iso_e, sensor.high_iso)


def time_s(calculator: Calculator, iso: float, f_number: float) -> float:
    """The time that this ISO and aperture take [s]."""
    stops = calculator.factor_stops + calculator.placement_stops
    return exact_shutter_s(f_number, iso, stops, calculator.ev100)


def time_range_s(calculator: Calculator, iso: float, f_number: float) -> Range:
    """The same with its doubt. [s]"""
    likely = time_s(calculator, iso, f_number)
    return Range(likely * 2.0**-calculator.below_stops, likely, likely * 2.0**calculator.above_stops)


def settings_for(calculator: Calculator, asked_s: float) -> Reached:
    """ISO and aperture for a time, or how far it is out of reach and which grey filter would reach it."""
    every = [
        Choice(iso, f_number, time_s(calculator, iso, f_number))
        for iso in calculator.isos
        for f_number in calculator.f_numbers
    ]
    every = [one for one in every if SHORTEST_S <= one.shutter_s <= LONGEST_S]
    if not every:
        return Reached(None, None, None, 0.0, None)
    shortest = min(every, key=lambda one: one.shutter_s)
    longest = max(every, key=lambda one: one.shutter_s)
    off = beyond_reach_stops(asked_s, shortest.shutter_s, longest.shutter_s)
    choice = _cheapest(calculator, every, asked_s, 0) if off == 0.0 else None
    grey = None
    if off > 0.0 or (choice is not None and choice.f_number >= SOFT_FROM_F_NUMBER):
        for stops in whole_filters(time_s(calculator, calculator.isos[0], calculator.liked_f_number), asked_s):
            grey = _cheapest(calculator, every, asked_s, stops)
            if grey is not None:
                break
    return Reached(choice, shortest, longest, off, grey)


def _cheapest(calculator: Calculator, every: list[Choice], asked_s: float, grey_stops: int) -> Choice | None:
    through = [replace(one, shutter_s=one.shutter_s * 2.0**grey_stops, grey_stops=grey_stops) for one in every]
    near = [one for one in through if is_near(one.shutter_s, asked_s)]

    def cost(one: Choice) -> float:
        snr = calculator.noise.snr(one.iso, one.shutter_s * 2.0**-grey_stops) or CLEAN_SNR
        return cost_of(snr, one.f_number, calculator.f_numbers[0], one.shutter_s, asked_s)

    return min(near, key=cost, default=None)


def after_test(calculator: Calculator, test: ExposureTest) -> Calculator:
    """The calculator once this test exposure was found right: its factor, and no more doubt than an eye has.

    The frame was lit by the same light, so what was not known of the light cancels; it never gets less sure.
    """
    return replace(
        calculator,
        factor_stops=test.factor_stops,
        below_stops=min(calculator.below_stops, BY_EYE_STOPS),
        above_stops=min(calculator.above_stops, BY_EYE_STOPS),
    )
