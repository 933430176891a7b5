"""A ladder of test exposures that stands for the long exposure, and how to read it back.

A frame wide open at high ISO is exposed like the long one when t N^-2 ISO is the same. Each rung answers one question:
"if this one looks right, the factor is this, and the long frame takes that". The best rung is a calibration.
"""

from __future__ import annotations

import math

from irpreview.core.exposure.metering import check_f_number, check_iso, check_shutter
from irpreview.core.units import parse_shutter, shutter_text
from irpreview.records import ExposureTest, Kit, Range, Setting

TEST_ISO = 6400.0
LONGEST_TEST_S = 15.0
RUNG_STOPS = 1.0
MOST_RUNGS = 5
BY_EYE_STOPS = 0.5
"""Half the 5-95 % range of "this one looks right" (assumed)."""
BY_HISTOGRAM_STOPS = 0.3
"""The same when a level was read off a raw histogram (assumed)."""


def equal_shutter_s(shutter_s: float, f_number: float, iso: float, to_f_number: float, to_iso: float) -> float:
    """Time at another aperture and ISO that exposes alike [s]."""
    return (
        check_shutter(shutter_s)
        * (check_f_number(to_f_number) / check_f_number(f_number)) ** 2
        * check_iso(iso)
        / check_iso(to_iso)
    )


def factor_of_frame(shutter_s: float, f_number: float, iso: float, ev100: float, placement_stops: float = 0.0) -> float:
    """Filter factor of neutral grey for which this setting is right in light of `ev100` [stops]."""
    setting_ev = math.log2(check_f_number(f_number) ** 2 / check_shutter(shutter_s)) - math.log2(check_iso(iso) / 100.0)
    return ev100 - setting_ev - placement_stops


def ladder(
    kit: Kit, setting: Setting, factor_stops: Range, ev100: float, placement_stops: float
) -> tuple[ExposureTest, ...]:
    """Test exposures from the shortest, covering the doubt of the factor; times are ones a camera can be set to [s]."""
    iso = min(kit.iso_max, TEST_ISO)
    f_number = kit.f_number_min
    longest = equal_shutter_s(setting.shutter_s.high, setting.f_number, setting.iso, f_number, iso)
    if longest > LONGEST_TEST_S:
        iso = kit.iso_max
    if setting.iso >= iso and setting.f_number <= f_number:
        return ()
    rungs = []
    for factor in _rung_factors(factor_stops):
        exact = f_number**2 * 100.0 / iso * 2.0 ** (factor + placement_stops - ev100)
        if not (1.0 / 8000.0 <= exact <= 3600.0):
            continue
        set_s = parse_shutter(shutter_text(exact))
        told = factor_of_frame(set_s, f_number, iso, ev100, placement_stops)
        long_s = equal_shutter_s(set_s, f_number, iso, setting.f_number, setting.iso)
        rungs.append(ExposureTest(iso, f_number, set_s, told, setting.iso, setting.f_number, long_s))
    return tuple({rung.shutter_s: rung for rung in rungs}.values())


def _rung_factors(factor: Range) -> list[float]:
    """Factors about a stop apart from low to high, the likely one always among them."""
    below, above = factor.likely - factor.low, factor.high - factor.likely
    n_low = min((MOST_RUNGS - 1) // 2, max(1, round(below / RUNG_STOPS)))
    n_high = min((MOST_RUNGS - 1) // 2, max(1, round(above / RUNG_STOPS)))
    step_low, step_high = max(below / n_low, 0.67), max(above / n_high, 0.67)
    return [factor.likely - step_low * (n_low - i) for i in range(n_low)] + [
        factor.likely + step_high * i for i in range(n_high + 1)
    ]
