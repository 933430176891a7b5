"""The picture in motion: light is kept, edges mix, static things stay, nothing leaks."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import cv2
import numpy as np
import pytest

from irpreview.core.motion.blur import movement_at
from irpreview.core.motion.motion_rendering import picture_in_motion
from irpreview.core.motion.motion_stage import continued, prepare_stage
from irpreview.core.motion.rates import rates_of_motion
from irpreview.errors import BadValue
from irpreview.records import CLASS_ID, CloudDrift, Conditions, Movement, Photo, Range, SceneMap, Shot

H, W = 300, 420


def textured(seed: int, mean: float, contrast: float, grain: float = 1.2) -> np.ndarray:
    rng = np.random.default_rng(seed)
    field = cv2.GaussianBlur(rng.normal(0, 1, (H, W)).astype(np.float32), (0, 0), grain)
    return np.asarray(mean * (1 + contrast * np.clip(field / field.std(), -2.5, 2.5)), np.float32)


def picture() -> tuple[np.ndarray, SceneMap]:
    """Cloudy sky, a tower with a roof line, a tree beside it, water, grass, a person."""
    label = np.full((H, W), CLASS_ID["clear_sky"], np.uint8)
    label[20:90] = CLASS_ID["cloud"]
    label[150:] = CLASS_ID["water"]
    label[220:] = CLASS_ID["grass"]
    cv2.circle(label, (90, 130), 55, CLASS_ID["tree"], -1)
    label[100:240, 240:330] = CLASS_ID["structure"]
    label[225:255, 380:390] = CLASS_ID["other"]
    tones = np.zeros((H, W), np.float32)
    looks = {
        "clear_sky": textured(1, 0.12, 0.005),
        "cloud": textured(2, 0.5, 0.25, 5.0),
        "water": textured(3, 0.10, 0.2, 1.5),
        "tree": textured(4, 0.6, 0.25),
        "grass": textured(5, 0.55, 0.25),
        "structure": textured(6, 0.3, 0.2),
        "other": textured(7, 0.05, 0.1),
    }
    for name, look in looks.items():
        tones[label == CLASS_ID[name]] = look[label == CLASS_ID[name]]
    empty = np.zeros((9, 2, 2), np.float32)
    return tones, SceneMap(empty, label, np.ones((1, 1), np.float32), np.zeros((1, 1, 1), np.float32))


TONES, SCENE = picture()
STAGE = prepare_stage(TONES, SCENE)
SNAP = Photo(np.zeros((H, W, 3), np.uint8), shot=Shot(focal_35mm_mm=26.0))
NEAR = MappingProxyType({"tree": 8.0, "grass": 4.0, "water": 15.0, "other": 15.0})


def moved(wind: float, shutter: float, **more: object) -> Movement:
    conditions = Conditions(wind_m_s=wind, distance_m=NEAR, **more)  # type: ignore[arg-type]
    return movement_at(rates_of_motion(SCENE, conditions, SNAP), shutter)


def drawn(wind: float, shutter: float, **more: object) -> np.ndarray:
    return picture_in_motion(TONES, SCENE, moved(wind, shutter, **more), stage=STAGE)


def inside(name: str, margin: int) -> np.ndarray:
    mask = (SCENE.label == CLASS_ID[name]).astype(np.uint8)
    return cv2.erode(mask, np.ones((2 * margin + 1,) * 2, np.uint8), borderValue=0) > 0


@pytest.mark.parametrize("shutter", [1 / 30, 1.0, 30.0, 300.0])
@pytest.mark.parametrize(("name", "margin"), [("tree", 25), ("grass", 25), ("water", 20), ("cloud", 15)])
def test_the_mean_tone_inside_is_kept_within_one_per_cent(name: str, margin: int, shutter: float) -> None:
    region = inside(name, margin)
    after = drawn(9.4, shutter, cloud_fist_s=600.0 if shutter > 100 else 60.0)
    assert after[region].mean() == pytest.approx(TONES[region].mean(), rel=0.01 if name != "cloud" else 0.03)


@pytest.mark.parametrize("shutter", [1.0, 30.0, 300.0])
def test_static_things_stay_as_they_were(shutter: float) -> None:
    region = inside("structure", 2)
    region[205:] = False  # grass may sway before its foot
    after = drawn(9.4, shutter)
    assert np.abs(after[region] - TONES[region]).max() < 0.01 * TONES[region].mean()


def test_no_sky_leaks_over_a_roof_line() -> None:
    """Rows just below the roof line keep their tone, rows just above show no roof."""
    for shutter in (1.0, 30.0, 300.0):
        after = drawn(9.4, shutter, cloud_fist_s=20.0)
        roof = after[102:106, 245:325]
        assert roof.mean() == pytest.approx(TONES[102:106, 245:325].mean(), rel=0.02)
    bright = np.where(SCENE.label == CLASS_ID["structure"], 50.0 * TONES, TONES).astype(np.float32)
    for shutter in (1.0, 30.0, 300.0):
        after = picture_in_motion(bright, SCENE, moved(9.4, shutter, cloud_fist_s=20.0))
        assert after[90:97, 245:325].max() < TONES[20:97].max()


def test_a_tree_behind_a_roof_does_not_cross_it() -> None:
    label = np.full((H, W), CLASS_ID["clear_sky"], np.uint8)
    label[60:160, 60:360] = CLASS_ID["tree"]
    label[140:, 60:360] = CLASS_ID["structure"]
    tones = np.where(label == CLASS_ID["tree"], textured(4, 0.9, 0.2), textured(6, 0.1, 0.05)).astype(np.float32)
    scene = replace(SCENE, label=label)
    movement = movement_at(rates_of_motion(scene, Conditions(wind_m_s=12.0, distance_m={"tree": 6.0}), SNAP), 30.0)
    after = picture_in_motion(tones, scene, movement)
    wall = after[146:, 80:340]
    assert np.abs(wall - tones[146:, 80:340]).max() < 0.01


def test_no_wind_leaves_plants_as_they_were() -> None:
    after = drawn(0.0, 30.0)
    for name in ("tree", "grass"):
        region = inside(name, 12)
        region[200:, 280:] = False  # a person walks here
        np.testing.assert_allclose(after[region], TONES[region], rtol=1e-4)
    water = inside("water", 6)
    assert after[water].std() < 0.6 * TONES[water].std()


def test_foliage_loses_texture_with_wind_but_not_all_of_it() -> None:
    region = inside("tree", 12)
    contrast = [drawn(w, 8.0)[region].std() / TONES[region].std() for w in (0.0, 3.0, 6.0, 12.0)]
    assert contrast == sorted(contrast, reverse=True)
    assert contrast[2] < 0.9
    assert contrast[3] > 0.03


def test_foliage_is_moved_and_not_evenly_blurred() -> None:
    """Branches differ: local contrast left varies across the crown far more than an even blur would leave it."""
    region = inside("tree", 16)
    after = drawn(9.4, 8.0)
    even = cv2.GaussianBlur(TONES, (0, 0), 2.0)

    def unevenness(image: np.ndarray) -> float:
        detail = (image - cv2.GaussianBlur(image, (0, 0), 3.0)) ** 2
        left = cv2.blur(detail, (25, 25)) / cv2.blur((TONES - cv2.GaussianBlur(TONES, (0, 0), 3.0)) ** 2, (25, 25))
        return float(left[region].std() / left[region].mean())

    assert unevenness(after) > 1.5 * unevenness(even)


def test_a_moving_edge_mixes_with_what_stands_behind() -> None:
    after = drawn(9.4, 8.0)
    # going sideways out of the crown, tones pass from foliage to sky without a jump
    profile = after[112:138, 15:70].mean(axis=0)
    before = TONES[112:138, 15:70].mean(axis=0)
    assert np.abs(np.diff(profile)).max() < 0.6 * np.abs(np.diff(before)).max()
    # and the sky just outside gains some of the crown's light, never more than the crown has
    tree = (SCENE.label == CLASS_ID["tree"]).astype(np.uint8)
    ring = (cv2.dilate(tree, np.ones((9, 9), np.uint8)) > tree) & (SCENE.label == CLASS_ID["clear_sky"])
    outside = after[ring]
    assert outside.mean() > 1.15 * TONES[ring].mean()
    assert outside.max() < TONES[SCENE.label == CLASS_ID["tree"]].max()


def test_past_a_few_periods_only_the_halo_grows() -> None:
    region = inside("tree", 12)
    short, long = drawn(6.0, 10.0)[region], drawn(6.0, 300.0)[region]
    assert np.abs(long - short).mean() < 0.25 * np.abs(short - TONES[region]).mean()


def test_clouds_streak_along_their_drift() -> None:
    region = np.zeros((H, W), bool)
    region[40:75, 30:390] = True
    movement = moved(5.0, 30.0, cloud_fist_s=30.0)
    assert movement.clouds is not None

    def roughness(direction: float) -> tuple[float, float]:
        cloud = replace(movement.classes["cloud"], direction_deg=direction)
        turned = replace(movement, classes=MappingProxyType({**movement.classes, "cloud": cloud}))
        after = picture_in_motion(TONES, SCENE, turned, stage=STAGE)
        gy, gx = np.gradient(after)[:2]
        return float(np.abs(gx[region]).mean()), float(np.abs(gy[region]).mean())

    gx, gy = np.gradient(TONES)[1], np.gradient(TONES)[0]
    across = roughness(0.0)
    assert across[0] < 0.35 * np.abs(gx[region]).mean()
    assert across[1] > 1.5 * across[0]
    assert across[1] < 1.2 * np.abs(gy[region]).mean()
    upright = roughness(90.0)
    assert upright[1] < 0.6 * np.abs(gy[region]).mean()


def test_drift_in_perspective_is_slower_near_the_horizon() -> None:
    """A flat layer drifting across: the streak is as long as its height above the horizon (pinhole geometry)."""
    label = np.full((H, W), CLASS_ID["cloud"], np.uint8)
    label[200:] = CLASS_ID["ground"]
    tones = np.full((H, W), 0.1, np.float32)
    tones[40:46, 205:211] = 4.0
    tones[150:156, 205:211] = 4.0
    scene = replace(SCENE, label=label)
    movement = movement_at(rates_of_motion(scene, Conditions(cloud_fist_s=30.0), SNAP), 12.0)
    cloud = replace(movement.classes["cloud"], direction_deg=0.0)
    movement = replace(movement, classes=MappingProxyType({"cloud": cloud}))
    after = picture_in_motion(tones, scene, movement)
    high = (after[38:48].max(axis=0) > 0.25).sum()
    low = (after[148:158].max(axis=0) > 0.25).sum()
    assert high > 1.6 * low > 0


def test_water_smooths_and_people_fade() -> None:
    water, person = inside("water", 8), inside("other", 1)
    water[:, :200] = False  # the tree sways before it
    left = [drawn(5.0, t)[water].std() / TONES[water].std() for t in (1 / 125, 0.5, 4.0, 60.0)]
    assert left == sorted(left, reverse=True)
    assert left[0] > 0.8
    assert left[3] < 0.3
    ground = TONES[inside("grass", 25)].mean()
    fade = [
        (drawn(0.0, t)[person].mean() - TONES[person].mean()) / (ground - TONES[person].mean())
        for t in (1 / 250, 1, 30)
    ]
    assert fade == sorted(fade)
    assert fade[0] < 0.2
    assert fade[2] > 0.85


def test_a_shaking_tripod_softens_everything() -> None:
    movement = moved(5.0, 1.0)
    shaken = replace(movement.tripod, share_of_height=Range(4 / H, 6 / H, 9 / H))
    after = picture_in_motion(TONES, SCENE, replace(movement, tripod=shaken), stage=STAGE)
    region = inside("structure", 8)
    assert after[region].std() < 0.7 * TONES[region].std()


def test_same_input_same_output_and_any_size() -> None:
    movement = moved(6.0, 10.0)
    np.testing.assert_array_equal(
        picture_in_motion(TONES, SCENE, movement), picture_in_motion(TONES, SCENE, movement, stage=STAGE)
    )
    small = cv2.resize(TONES, (W // 2, H // 2), interpolation=cv2.INTER_AREA)
    assert picture_in_motion(small, SCENE, movement).shape == small.shape
    assert np.isfinite(picture_in_motion(small, SCENE, movement)).all()


@pytest.mark.parametrize(
    "name", ["clear_sky", "cloud", "water", "tree", "grass", "structure", "ground", "other", "snow"]
)
def test_a_picture_of_one_class_alone(name: str) -> None:
    label = np.full((60, 80), CLASS_ID[name], np.uint8)
    scene = replace(SCENE, label=label)
    tones = textured(9, 0.4, 0.2)[:60, :80].copy()
    for shutter in (0.01, 30.0):
        movement = movement_at(rates_of_motion(scene, Conditions(wind_m_s=12.0)), shutter)
        after = picture_in_motion(tones, scene, movement)
        assert np.isfinite(after).all()
        assert after.min() >= 0.0
        assert after.max() <= tones.max() * 1.05
        assert after.mean() == pytest.approx(tones.mean(), rel=0.03)


def test_what_is_no_picture_is_refused() -> None:
    with pytest.raises(BadValue, match="8 x 8"):
        picture_in_motion(np.zeros((4, 4), np.float32), SCENE, moved(1.0, 1.0))


def test_tones_are_carried_on_smoothly() -> None:
    weight = np.zeros((60, 80), np.float32)
    weight[:, :30] = 1.0
    tones = np.where(weight > 0, 0.7, 99.0).astype(np.float32)
    filled = continued(tones, weight)
    np.testing.assert_allclose(filled, 0.7, rtol=1e-3)


def test_clouds_without_direction_still_drift() -> None:
    movement = moved(5.0, 20.0)
    assert movement.clouds is not None
    assert isinstance(movement.clouds, CloudDrift)
    assert movement.clouds.image_deg is None
    region = inside("cloud", 12)
    assert drawn(5.0, 20.0)[region].std() < TONES[region].std()
