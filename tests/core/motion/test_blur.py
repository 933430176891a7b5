"""Movement: what must hold for every wind, lens, distance and shutter."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.imaging.picture_geometry import class_distance, horizon_row, pixels_per_radian, print_mm_per_px
from irpreview.core.motion.blur import holding_settings, movement_at
from irpreview.core.motion.rates import in_snap_framing, rates_of_motion
from irpreview.core.motion.sway import longest_holding_s
from irpreview.core.words import in_words, long_words
from irpreview.errors import BadValue
from irpreview.records import (
    CLASS_ID,
    Conditions,
    DistanceBy,
    Kit,
    KnownBy,
    Movement,
    Photo,
    Place,
    SceneMap,
    Shot,
    WindUnknown,
)


def seaside(height: int = 120, width: int = 160) -> SceneMap:
    """Sky with cloud, a tree, water with a boat, grass, a tower."""
    label = np.full((height, width), CLASS_ID["clear_sky"], np.uint8)
    label[: height // 4, : width // 2] = CLASS_ID["cloud"]
    label[height // 2 :] = CLASS_ID["water"]
    label[int(0.75 * height) :] = CLASS_ID["grass"]
    label[int(0.3 * height) : int(0.7 * height), int(0.1 * width) : int(0.35 * width)] = CLASS_ID["tree"]
    label[int(0.2 * height) : int(0.6 * height), int(0.7 * width) : int(0.8 * width)] = CLASS_ID["structure"]
    label[int(0.5 * height) : int(0.6 * height), int(0.5 * width) : int(0.54 * width)] = CLASS_ID["other"]
    empty = np.zeros((9, 2, 2), np.float32)
    return SceneMap(empty, label, np.ones(label.shape, np.float32), np.zeros((1, 1, 1), np.float32))


SCENE = seaside()
SNAP = Photo(np.zeros((*SCENE.label.shape, 3), np.uint8), shot=Shot(focal_35mm_mm=26.0), heading_deg=90.0)
SHUTTERS = (1 / 500, 1 / 30, 1 / 4, 1.0, 8.0, 30.0, 300.0)


def moved(wind: float | None = 5.0, shutter: float = 1.0, **more: object) -> Movement:
    return movement_at(rates_of_motion(SCENE, Conditions(wind_m_s=wind, **more), SNAP), shutter)  # type: ignore[arg-type]


@pytest.mark.parametrize("shutter", SHUTTERS)
def test_without_wind_plants_stand_still_and_the_rest_goes_on(shutter: float) -> None:
    still = moved(0.0, shutter)
    for name in ("tree", "grass"):
        assert still.classes[name].blur_px.high == 0.0
        assert still.classes[name].holds_until_s is None
        assert still.classes[name].flows_from_s is None
    for name in ("water", "other", "cloud"):
        assert still.classes[name].blur_px.low > 0.0
    assert still.tripod.blur_px.high == 0.0
    assert still.water is not None
    assert still.water.periods.likely > 0.0


def test_people_walk_on_without_wind() -> None:
    label = SCENE.label.copy()
    label[label == CLASS_ID["water"]] = CLASS_ID["ground"]
    ashore = replace(SCENE, label=label)
    movement = movement_at(rates_of_motion(ashore, Conditions(wind_m_s=0.0), SNAP), 1.0)
    assert "people walking" in movement.classes["other"].parts
    assert movement.classes["other"].blur_px.likely > 2.0


def test_unknown_wind_spans_more_than_a_known_one() -> None:
    known, unknown = moved(4.7), moved(None)
    for name in ("tree", "grass"):
        a, b = known.classes[name].blur_px, unknown.classes[name].blur_px
        assert b.low < a.low < a.high < b.high
        assert b.high / b.low > 1.5 * a.high / a.low
    assert any("wind not given" in text for text in long_words(unknown.notes))
    assert any(isinstance(d, WindUnknown) for d in rates_of_motion(SCENE, Conditions(), SNAP).doubts)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, 30.0), st.floats(0.0, 30.0), st.sampled_from(SHUTTERS))
def test_blur_never_falls_with_wind(a: float, b: float, shutter: float) -> None:
    less, more = moved(min(a, b), shutter), moved(max(a, b), shutter)
    for name in less.classes:
        for end in ("low", "likely", "high"):
            before, after = getattr(less.classes[name].blur_px, end), getattr(more.classes[name].blur_px, end)
            assert after >= before * (1.0 - 1e-9), name
    assert more.tripod.blur_px.likely >= less.tripod.blur_px.likely


@settings(max_examples=40, deadline=None)
@given(st.floats(14.0, 400.0), st.floats(14.0, 400.0), st.sampled_from(SHUTTERS))
def test_blur_never_falls_with_focal_length(a: float, b: float, shutter: float) -> None:
    less, more = moved(6.0, shutter, focal_35mm_mm=min(a, b)), moved(6.0, shutter, focal_35mm_mm=max(a, b))
    for name in less.classes:
        assert more.classes[name].blur_px.likely >= less.classes[name].blur_px.likely * (1.0 - 1e-9), name
    assert more.tripod.blur_px.likely >= less.tripod.blur_px.likely * (1.0 - 1e-9)


@settings(max_examples=40, deadline=None)
@given(st.floats(1.0, 2000.0), st.floats(1.0, 2000.0), st.sampled_from(SHUTTERS))
def test_blur_never_falls_with_nearness(a: float, b: float, shutter: float) -> None:
    names = ("tree", "grass", "water", "other")
    far = moved(6.0, shutter, distance_m=dict.fromkeys(names, max(a, b)))
    near = moved(6.0, shutter, distance_m=dict.fromkeys(names, min(a, b)))
    for name in names:
        assert near.classes[name].blur_px.likely >= far.classes[name].blur_px.likely * (1.0 - 1e-9), name


@settings(max_examples=40, deadline=None)
@given(st.floats(0.001, 3000.0), st.floats(0.001, 3000.0), st.floats(0.0, 25.0))
def test_blur_never_falls_with_time(a: float, b: float, wind: float) -> None:
    short, long = moved(wind, min(a, b)), moved(wind, max(a, b))
    assert short.classes
    for name in short.classes:
        before, after = short.classes[name], long.classes[name]
        assert after.blur_px.likely >= before.blur_px.likely * (1.0 - 1e-9)
        assert after.halo_px >= before.halo_px * (1.0 - 1e-9)
        assert after.blur_px.low <= after.blur_px.likely <= after.blur_px.high


def test_foliage_saturates_while_clouds_go_on() -> None:
    short, long = moved(9.4, 20.0), moved(9.4, 200.0)
    tree = [m.classes["tree"] for m in (short, long)]
    assert tree[1].core_px == pytest.approx(tree[0].core_px, rel=1e-6)
    assert tree[0].halo_px < tree[1].halo_px < 1.6 * tree[0].halo_px
    assert tree[0].halo_px > 1.3 * tree[0].core_px
    clouds = [m.classes["cloud"].blur_px.likely for m in (short, long)]
    assert clouds[1] == pytest.approx(10.0 * clouds[0])


@settings(max_examples=40, deadline=None)
@given(st.floats(1.0, 20.0), st.floats(14.0, 200.0))
def test_holding_time_is_where_the_smear_meets_the_limit(wind: float, focal: float) -> None:
    rates, told = rates_of_motion(SCENE, Conditions(wind_m_s=wind, focal_35mm_mm=focal), SNAP), 0
    for name, rate in rates.classes.items():
        holds = rate.holds_until_s(rates.hold_limit_px)
        assert holds is not None
        assert holds.low <= holds.likely <= holds.high
        told += 1e-4 < holds.likely < 3600.0
        if 1e-4 < holds.likely < 3600.0:
            assert movement_at(rates, holds.likely).classes[name].blur_px.likely == pytest.approx(
                rates.hold_limit_px, rel=1e-3
            )
    assert told


def test_the_longest_holding_time_is_bounded() -> None:
    assert longest_holding_s(lambda t: 0.0, 1.0) == 3600.0
    assert longest_holding_s(lambda t: 10.0, 1.0) == pytest.approx(1e-5)


def test_sizes_on_the_print_and_in_the_picture_agree() -> None:
    move = moved(6.0, 1.0).classes["tree"]
    assert move.share_of_height.likely == pytest.approx(move.blur_px.likely / 120)
    assert move.print_mm.likely == pytest.approx(2.5 * move.blur_px.likely)  # 160 px wide fill 400 mm
    assert print_mm_per_px(3000, 4000) == pytest.approx(0.1)
    assert print_mm_per_px(6000, 4000) == pytest.approx(400 / 6000)


def test_distance_is_taken_as_given_and_else_said_to_be_estimated() -> None:
    given_it = rates_of_motion(SCENE, Conditions(wind_m_s=5.0, distance_m={"tree": 40.0}), SNAP)
    assert given_it.classes["tree"].distance_m.low == given_it.classes["tree"].distance_m.high == 40.0
    assert given_it.classes["tree"].known.distance_by is DistanceBy.GIVEN
    guessed = rates_of_motion(SCENE, Conditions(wind_m_s=5.0), SNAP)
    assert "estimated" in in_words(guessed.classes["tree"].known).long
    assert any(d.startswith("Trees about") and "estimated" in d for d in long_words(guessed.doubts))
    a, b = (r.classes["tree"].blur_px(1.0) for r in (given_it, guessed))
    assert b.high / b.low > a.high / a.low


def test_distances_follow_the_picture() -> None:
    """A camera at eye height, 1.6 m, on level ground: rows below the horizon give metres (pinhole geometry)."""
    label = np.full((600, 800), CLASS_ID["clear_sky"], np.uint8)
    label[300:] = CLASS_ID["water"]
    horizon = horizon_row(label)
    assert horizon.row.likely == pytest.approx(300, abs=8)
    scale = pixels_per_radian(800, 600, 26.0)
    distance, how = class_distance(label, "water", scale, horizon)
    assert distance.low < 1.6 * scale / 150 * 1.1 < distance.high * 1.3
    assert how is DistanceBy.LEVEL_GROUND
    tall, small = label.copy(), label.copy()
    tall[100:350, 100:200] = CLASS_ID["tree"]
    small[270:310, 100:200] = CLASS_ID["tree"]
    assert class_distance(tall, "tree", scale)[0].likely < class_distance(small, "tree", scale)[0].likely


def test_a_larger_copy_of_the_picture_gives_the_same_distances() -> None:
    big = replace(SCENE, label=np.kron(SCENE.label, np.ones((12, 12), np.uint8)))
    small, large = (rates_of_motion(s, Conditions(wind_m_s=5.0), SNAP) for s in (SCENE, big))
    assert small.classes
    for name, rate in small.classes.items():
        assert large.classes[name].distance_m.likely == pytest.approx(rate.distance_m.likely, rel=0.05)
        a, b = (movement_at(r, 1.0).classes[name].share_of_height.likely for r in (small, large))
        assert b == pytest.approx(a, rel=0.05)


def test_focal_length_unknown_is_assumed_and_said() -> None:
    bare = replace(SNAP, shot=Shot())
    rates = rates_of_motion(SCENE, Conditions(wind_m_s=5.0), bare)
    assert any("26 mm" in d and "assumed" in d for d in long_words(rates.doubts))


def test_shown_in_the_snaps_own_framing() -> None:
    rates = rates_of_motion(SCENE, Conditions(wind_m_s=5.0, focal_35mm_mm=104.0), SNAP)
    shown = in_snap_framing(rates)
    a, b = (movement_at(r, 1.0).classes["tree"].blur_px.likely for r in (rates, shown))
    assert a == pytest.approx(4.0 * b)


def test_a_gust_widens_and_haloes() -> None:
    calm, gusty = moved(5.0, 30.0), moved(5.0, 30.0, gust_m_s=12.0)
    assert gusty.classes["tree"].halo_px > calm.classes["tree"].halo_px
    assert gusty.classes["tree"].blur_px.high > calm.classes["tree"].blur_px.high
    assert any("gust" in w and "12 m/s" in w for w in long_words(gusty.notes))


def test_the_tripod_shakes_with_wind_and_lens_and_can_spoil_buildings() -> None:
    assert moved(3.0, 1.0).tripod.blur_px.likely < 0.05
    long_lens = moved(12.0, 30.0, focal_35mm_mm=300.0)
    assert any("tripod" in w for w in long_words(long_lens.notes))
    assert not any("tripod" in w for w in long_words(moved(3.0, 30.0).notes))


def test_clouds_timed_by_a_fist_override_the_wind() -> None:
    timed = moved(5.0, 30.0, cloud_fist_s=50.0)
    assert timed.clouds is not None
    assert timed.clouds.deg_per_s.likely == pytest.approx(0.2)
    assert timed.clouds.deg_per_s.low == pytest.approx(0.2 / (1 + 1.65 * math.hypot(0.15, 0.02)))
    assert timed.clouds.known.by is KnownBy.FIST
    f = pixels_per_radian(160, 120, 26.0)
    assert timed.classes["cloud"].blur_px.likely == pytest.approx(math.radians(6.0) * f)
    assert timed.classes["cloud"].flows_from_s == pytest.approx(25.0)


def test_drift_direction_needs_wind_and_view() -> None:
    west = moved(5.0, 1.0, wind_from_deg=180.0).clouds
    assert west is not None
    # southerly, veered aloft by fifteen degrees, seen by a camera that looks east: to the left
    assert west.toward_deg == pytest.approx(15.0)
    assert west.image_deg is not None
    assert 150.0 < west.image_deg < 210.0
    nowhere = movement_at(rates_of_motion(SCENE, Conditions(wind_m_s=5.0), SNAP), 1.0).clouds
    assert nowhere is not None
    assert nowhere.toward_deg is None
    assert nowhere.image_deg is None
    south = replace(SNAP, place=Place(-40.0, 170.0))
    backed = rates_of_motion(SCENE, Conditions(wind_m_s=5.0, wind_from_deg=180.0), south).clouds
    assert backed is not None
    assert backed.toward_deg == pytest.approx(345.0)


def test_a_cloud_drifting_away_sinks_towards_the_horizon() -> None:
    away = moved(5.0, 1.0, wind_from_deg=255.0).clouds  # towards 90 with the veer, as the camera looks
    towards = moved(5.0, 1.0, wind_from_deg=75.0).clouds
    assert away is not None
    assert towards is not None
    assert away.image_deg == pytest.approx(270.0, abs=1.0)
    assert towards.image_deg == pytest.approx(90.0, abs=1.0)
    assert away.deg_per_s.likely < 0.6 * moved(5.0, 1.0, wind_from_deg=345.0).clouds.deg_per_s.likely  # type: ignore[union-attr]


def test_high_cloud_does_not_follow_the_ground_wind() -> None:
    calm, windy = (moved(w, 1.0, cloud_height_m=9000.0).clouds for w in (1.0, 15.0))
    assert calm is not None
    assert windy is not None
    assert calm.deg_per_s.likely == windy.deg_per_s.likely


def test_water_words_follow_time() -> None:
    words = [moved(5.0, t, water_kind="lake").water.word for t in (0.02, 0.3, 1.0, 5.0, 120.0)]  # type: ignore[union-attr]
    assert words == ["frozen", "texture", "silky", "smooth", "mist"]


def test_falling_water_is_seen_and_faster_than_a_lake() -> None:
    label = np.full((400, 300), CLASS_ID["structure"], np.uint8)
    label[40:320, 120:170] = CLASS_ID["water"]
    falls = replace(SCENE, label=label)
    rates = rates_of_motion(falls, Conditions(wind_m_s=0.0), SNAP)
    assert "falling water" in [p.name for p in rates.classes["water"].parts]
    flows = rates.classes["water"].flows_from_s
    assert flows is not None
    assert flows < 1.0


@pytest.mark.parametrize(
    ("conditions", "words"),
    [
        (Conditions(wind_m_s=-1.0), "0 to 60 m/s"),
        (Conditions(wind_m_s=float("nan")), "0 to 60 m/s"),
        (Conditions(wind_from_deg=400.0), "0 to 360"),
        (Conditions(focal_35mm_mm=1.0), "4 to 2000 mm"),
        (Conditions(distance_m={"tree": -3.0}), "0.1 to 50000 m"),
        (Conditions(cloud_fist_s=0.0), "1 to 36000 s"),
        (Conditions(cloud_height_m=10.0), "50 to 20000 m"),
        (Conditions(temperature_c=5.0, dew_point_c=9.0), "dew point"),
    ],
)
def test_nonsense_is_refused_in_one_line(conditions: Conditions, words: str) -> None:
    with pytest.raises(BadValue, match=words) as refused:
        rates_of_motion(SCENE, conditions, SNAP)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("shutter", [0.0, -1.0, float("nan"), 1e9])
def test_nonsense_shutter_is_refused(shutter: float) -> None:
    with pytest.raises(BadValue, match="86400 s"):
        movement_at(rates_of_motion(SCENE, Conditions(), SNAP), shutter)


def test_settings_that_hold_and_their_noise() -> None:
    """t = N^2 (100 / ISO) 2^(F - EV) (ISO 2720); EV 15, 13 stops, f/8, 1/4 s needs ISO 6400; SNR about 10."""
    rows = holding_settings(Kit(), 15.0, 13.0, 0.25)
    f8 = next(r for r in rows if r.f_number == 8.0)
    assert f8.iso == pytest.approx(6400.0)
    assert f8.snr == pytest.approx(9.8, abs=0.2)
    assert f8.reaches
    assert [r.iso for r in rows] == sorted(r.iso for r in rows)
    short = holding_settings(Kit(), 15.0, 13.0, 1 / 500)
    assert not next(r for r in short if r.f_number == 16.0).reaches
    with pytest.raises(BadValue):
        holding_settings(Kit(), float("nan"), 13.0, 1.0)


def test_warnings_are_sentences_with_numbers() -> None:
    for wind, shutter in ((9.4, 30.0), (None, 1.0), (0.0, 120.0), (20.0, 1 / 60)):
        for text in long_words(moved(wind, shutter).notes):
            assert text.endswith(".")
            assert text[0].isupper()
            assert any(ch.isdigit() for ch in text)
    assert any("cliff" in w for w in long_words(moved(20.0, 1.0).notes))
