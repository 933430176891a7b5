"""Every setting with its limits, the recommendation, what a frame costs, and test frames that stand for it."""

import dataclasses
import math
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from irpreview.core.exposure.frame_cost import frame_seconds, sun_and_cloud_doubt
from irpreview.core.exposure.metering import from_ev
from irpreview.core.exposure.setting import (
    LONGEST_S,
    Wishes,
    exact_shutter_s,
    nominal_f_numbers,
    nominal_isos,
    placement,
    plan_exposure,
)
from irpreview.core.exposure.test_exposures import equal_shutter_s, factor_of_frame
from irpreview.core.light.sensor_noise import sensor_of
from irpreview.core.units import parse_shutter, shutter_text
from irpreview.core.words import in_words, long_words
from irpreview.errors import BadValue
from irpreview.records import (
    ClassMovement,
    ClassTone,
    CloudDrift,
    Conditions,
    Exposure,
    FreezeReason,
    HowKnown,
    Kit,
    KnownBy,
    Light,
    Limit,
    Movement,
    MovementLeftOut,
    Moving,
    Range,
    Rendering,
    SettingsLeftOut,
    StreakReason,
)

FACTOR = (
    Range(13.4, 15.0, 16.3),
    {"camera": Range(12.5, 14.0, 15.2), "filter": Range(0.9, 1.0, 1.1)},
)
KIT = Kit()


def moving(px_per_s: float, most_px: float = 400.0):
    """A tree that smears px_per_s (of a 4000 px tall picture) until it reaches its full swing."""

    def at(shutter_s: float) -> Movement:
        def smear(rate: float, most: float) -> ClassMovement:
            share = min(rate * shutter_s, most) / 4000.0
            return ClassMovement(
                blur_px=Range(0, share * 3000, share * 6000),
                share_of_height=Range(0.5 * share, share, 2 * share),
                print_mm=Range(0, share * 300, share * 600),
                holds_until_s=None,
                flows_from_s=None,
                parts=MappingProxyType({}),
                known=HowKnown(KnownBy.WIND_GIVEN, Moving.PLANTS),
            )

        return Movement(
            shutter_s=shutter_s,
            classes=MappingProxyType({"tree": smear(px_per_s, most_px)}),
            tripod=smear(0.0, 0.5),
            clouds=CloudDrift(Range(0.08, 0.16, 0.3), None, None, HowKnown(KnownBy.FIST, Moving.CLOUDS, fist_s=62.5)),
            water=None,
        )

    return at


def plan(
    ev: float = 15.0, kit: Kit = KIT, conditions: Conditions | None = None, movement=None, **wishes: object
) -> Exposure:
    return plan_exposure(
        None,
        kit,
        Light(),
        conditions or Conditions(),
        movement,
        factor=FACTOR,
        readings=(from_ev(ev),),
        wishes=Wishes(**wishes),  # type: ignore[arg-type]
    )


@given(st.floats(1.0, 32.0), st.floats(25, 51200), st.floats(-1, 20), st.floats(0, 17))
def test_doubling_iso_halves_the_exact_time(f_number: float, iso: float, factor: float, ev: float) -> None:
    one = exact_shutter_s(f_number, iso, factor, ev)
    assert exact_shutter_s(f_number, 2 * iso, factor, ev) == pytest.approx(one / 2)
    assert exact_shutter_s(f_number, iso, factor + 1, ev) == pytest.approx(2 * one)
    assert exact_shutter_s(f_number, iso, factor, ev + 1) == pytest.approx(one / 2)


@settings(max_examples=20, deadline=None)
@given(st.floats(6, 17), st.sampled_from([False, True]), st.floats(0.5, 30) | st.none())
def test_ranges_rise_and_every_usable_combination_is_there_or_counted(
    ev: float, noise_reduction: bool, nearest: float | None
) -> None:
    answer = plan(ev, noise_reduction=noise_reduction, nearest_m=nearest)
    whole = len(nominal_isos(KIT)) * len(nominal_f_numbers(KIT))
    left_out = [d.left_out for d in answer.doubts if isinstance(d, SettingsLeftOut)]
    assert len(answer.settings) + sum(left_out) == whole
    for setting in answer.settings:
        s = setting.shutter_s
        assert s.low <= s.likely <= s.high <= LONGEST_S * 10
        assert s.likely == pytest.approx(
            exact_shutter_s(setting.f_number, setting.iso, answer.factor_stops.likely, answer.metered_ev100.likely)
        )
        assert setting.shutter_text == shutter_text(s.likely)
    assert answer.recommended in answer.settings


def test_the_grid_holds_the_kits_own_ends() -> None:
    kit = dataclasses.replace(KIT, f_number_min=1.7, f_number_max=15.0, iso_min=60.0, iso_max=3000.0)
    assert nominal_f_numbers(kit)[0] == 1.7
    assert nominal_f_numbers(kit)[-1] == 15.0
    assert nominal_isos(kit)[0] == 60.0
    assert nominal_isos(kit)[-1] == 3000.0
    assert list(nominal_isos(kit)) == sorted(nominal_isos(kit))


def limits_of(answer: Exposure, iso: float, f_number: float) -> dict[str, Limit]:
    found = next(s for s in answer.settings if (s.iso, s.f_number) == (iso, f_number)).limits
    return {limit.kind.value: limit for limit in found}


def test_each_limit_is_named_where_it_bites_and_not_elsewhere() -> None:
    kit = dataclasses.replace(KIT, hot_spot_from_f_number=11.0, f_number_max=22.0)
    answer = plan(kit=kit, movement=moving(2.0), nearest_m=1.0, light_minutes=3.0)
    assert "diffraction" in limits_of(answer, 400, 22)
    assert "diffraction" not in limits_of(answer, 400, 8)
    assert limits_of(answer, 400, 11)["hot_spot"].bound == 11.0
    assert "hot_spot" not in limits_of(answer, 400, 10)
    assert limits_of(answer, 400, 4)["depth"].bound > 4.0
    assert "depth" not in limits_of(answer, 400, 11)
    assert "noise" in limits_of(answer, 12800, 8)
    assert "noise" not in limits_of(answer, 400, 8)
    assert "bulb" in limits_of(answer, 64, 8)
    assert "bulb" not in limits_of(answer, 800, 8)
    assert limits_of(answer, 400, 8)["movement"].class_name == "tree"
    assert "movement" not in limits_of(answer, 25600, 2.8)
    assert limits_of(answer, 64, 11)["light_window"].bound == 180.0
    assert "light_window" not in limits_of(answer, 400, 8)


def test_without_bulb_nothing_longer_than_the_camera_times_is_recommended() -> None:
    answer = plan(12.0, kit=dataclasses.replace(KIT, has_bulb=False))
    assert answer.recommended is not None
    assert answer.recommended.shutter_s.likely <= 36.0
    assert "no_bulb" in limits_of(answer, 64, 8)


def test_a_recommendation_has_reasons_and_keeps_clear_of_rough_tones_and_diffraction() -> None:
    best = plan(nearest_m=1.2)
    assert best.recommended is not None
    assert not {limit.kind.value for limit in best.recommended.limits} & {"noise", "diffraction", "depth"}
    assert len(best.reasons) >= 4
    assert any("1.2 m to infinity" in text for text in long_words(best.reasons))


def test_what_freezes_really_freezes_and_what_streaks_really_streaks() -> None:
    calm = plan(movement=moving(1.0))
    assert calm.freezes is not None
    assert 1.0 * calm.freezes.shutter_s.likely <= 5.0 * 2 ** (1 / 6)
    assert calm.freezes.snr is not None
    assert calm.freezes.snr >= 10
    assert calm.streaks is not None
    # one to three cloud widths of 5 degrees at 0.16 degrees a second
    assert 31.0 <= calm.streaks.shutter_s.likely <= 94.0


def test_where_nothing_freezes_that_is_said_with_the_nearest() -> None:
    windy = plan(movement=moving(4000.0))
    assert windy.freezes is None
    assert windy.nearest_freeze is not None
    assert [r.freezes for r in windy.reasons if isinstance(r, FreezeReason)] == [False]
    assert any("Nothing freezes the foliage" in r and "Nearest" in r for r in long_words(windy.reasons))
    usable = [s for s in windy.settings if s.snr is not None and s.snr >= 10]
    assert windy.nearest_freeze.shutter_s.likely == min(s.shutter_s.likely for s in usable)


def test_without_wind_freezing_cannot_be_told() -> None:
    answer = plan()
    assert answer.freezes is None
    assert [r.freezes for r in answer.reasons if isinstance(r, FreezeReason)] == [None]
    assert MovementLeftOut() in answer.doubts


def test_where_nothing_streaks_the_nearest_is_given() -> None:
    answer = plan(kit=dataclasses.replace(KIT, has_bulb=False), movement=moving(1.0))
    if answer.streaks is None:
        assert answer.nearest_streak is not None
        assert [r.streaks for r in answer.reasons if isinstance(r, StreakReason)] == [False]
    else:
        assert answer.streaks.shutter_s.likely <= 36.0


def test_the_brightest_layer_is_placed_on_zone_seven_within_limits() -> None:
    def rendering(zone: float, share: float = 0.3) -> Rendering:
        tone = ClassTone(share, Range(3, 3, 3), Range(zone - 0.5, zone, zone + 0.5), Range(2, 3, 4))
        return Rendering(
            maps=lambda: (np.zeros((2, 2), np.float32), np.zeros((2, 2), np.float32)),
            classes=MappingProxyType(
                {"grass": tone, "other": ClassTone(0.5, Range(3, 3, 3), Range(8, 9, 10), Range(0, 0, 0))}
            ),
            picture=np.zeros((2, 2), np.uint8),
            kit=KIT,
            light=Light(),
        )

    assert placement(rendering(6.4)).stops == pytest.approx(0.6)
    assert placement(rendering(8.0)).stops == pytest.approx(-1.0)
    assert placement(rendering(3.0)).stops == 1.0
    assert "brighter would take 3 stops more" in in_words(placement(rendering(3.0))).short
    assert placement(rendering(6.4, share=0.001)).stops == 0.0
    assert placement(None).stops == 0.0


def test_the_dark_frame_doubles_what_a_long_frame_costs_but_not_a_short_one() -> None:
    assert frame_seconds(300.0, True) - frame_seconds(300.0, False) == pytest.approx(300.0)
    assert frame_seconds(0.5, True) == frame_seconds(0.5, False)
    cost = plan(12.0, noise_reduction=True, light_minutes=10.0).frame_cost
    assert cost is not None
    assert cost.frames_in_light == math.floor(600.0 / cost.seconds_per_frame)


def test_short_frames_gather_the_same_light_at_a_little_more_noise() -> None:
    answer = plan(9.0, kit=dataclasses.replace(KIT, iso_max=200.0))
    assert answer.recommended is not None
    assert answer.frame_cost is not None
    short = answer.frame_cost.short_frames
    assert short is not None
    assert short.frames * short.shutter_s == pytest.approx(answer.recommended.shutter_s.likely, rel=0.01)
    assert short.shutter_s <= KIT.longest_timed_s
    assert short.iso in nominal_isos(KIT)
    assert 0.8 * short.snr_one_long < short.snr <= short.snr_one_long


def test_sun_coming_and_going_is_told_only_under_a_broken_sky() -> None:
    broken = Conditions(sky_state="broken")
    assert sun_and_cloud_doubt(Light(), Conditions(), 60.0) is None
    told = [sun_and_cloud_doubt(Light(), broken, shutter_s) for shutter_s in (1.0, 120.0, 900.0)]
    assert [one.does for one in told if one is not None] == ["wait", "come_and_go", "average_out"]


def test_test_exposures_cover_the_doubt_are_quick_and_stand_for_the_long_frame() -> None:
    answer = plan(13.0)
    tests = answer.test_exposures
    assert len(tests) >= 3
    factors = [one.factor_stops for one in tests]
    assert factors == sorted(factors)
    assert factors[0] < 13.9
    assert factors[-1] > 15.8
    for one in tests:
        assert one.shutter_s <= 15.0
        assert one.shutter_s == pytest.approx(parse_shutter(shutter_text(one.shutter_s)))
        light = one.shutter_s * one.iso / one.f_number**2
        assert light == pytest.approx(one.long_shutter_s * one.long_iso / one.long_f_number**2, rel=0.001)


@given(st.floats(0.01, 100), st.floats(1.4, 16), st.floats(50, 25600), st.floats(-2, 2))
def test_a_frame_that_was_right_tells_the_factor_it_was_made_for(
    shutter_s: float, f_number: float, iso: float, placed: float
) -> None:
    factor = factor_of_frame(shutter_s, f_number, iso, 15.0, placed)
    assert exact_shutter_s(f_number, iso, factor + placed, 15.0) == pytest.approx(shutter_s, rel=1e-6)


@given(st.floats(0.001, 1000), st.floats(1, 32), st.floats(25, 51200), st.floats(1, 32), st.floats(25, 51200))
def test_converting_there_and_back_is_the_same(
    shutter_s: float, f_number: float, iso: float, to_f: float, to_iso: float
) -> None:
    there = equal_shutter_s(shutter_s, f_number, iso, to_f, to_iso)
    assume(2e-5 < there < 86400)
    assert equal_shutter_s(there, to_f, to_iso, f_number, iso) == pytest.approx(shutter_s)


def test_a_dawn_without_light_is_refused_with_what_would_do() -> None:
    with pytest.raises(BadValue, match=r"too little.*the limit is 60 min.*at least EV"):
        plan(-5.0)


def test_more_light_than_the_kit_can_take_is_refused() -> None:
    bare = (Range(-2.0, -1.0, 0.0), {"filter": Range(-2.0, -1.0, 0.0)})
    slow = dataclasses.replace(KIT, iso_min=6400.0, f_number_max=2.8)
    with pytest.raises(BadValue, match="too much for this kit"):
        plan_exposure(None, slow, Light(), Conditions(), None, factor=bare, readings=(from_ev(17.0),))


def test_a_warm_sensor_and_a_small_one_are_noisier() -> None:
    small = sensor_of(dataclasses.replace(KIT, format_width_mm=13.2, format_height_mm=8.8))
    assert small.snr(400, 10.0) < sensor_of(KIT).snr(400, 10.0)
    assert sensor_of(KIT).snr(6400, 600.0, 35.0) < sensor_of(KIT).snr(6400, 600.0, 10.0)
