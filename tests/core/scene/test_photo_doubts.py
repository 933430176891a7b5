"""Doubts about a picture: raised by what deserves them, hardly ever by an ordinary landscape photograph."""

from __future__ import annotations

import io
import math

import cv2
import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from irpreview.core.scene.photo_doubts import pixel_doubts, scene_doubts
from irpreview.core.words import (
    in_words,
    long_words,
)
from irpreview.io.photos import load_photo
from irpreview.records import CLASS_ID, Photo, SceneMap, Shot


@pytest.fixture(scope="module")
def views(sample_photographs) -> dict[str, np.ndarray]:
    """A temple in trees and a flower, enlarged past the limit of "small" with fine grain, as a phone would give."""
    rng = np.random.default_rng(5)
    made = {}
    for name, pixels in sample_photographs.items():
        big = cv2.resize(pixels, (960, 640), interpolation=cv2.INTER_LANCZOS4).astype(np.int16)
        made[name] = np.clip(big + rng.integers(-4, 5, big.shape), 0, 255).astype(np.uint8)
    return made


@pytest.fixture(scope="module")
def view(views) -> np.ndarray:
    return views["china.jpg"]


def as_jpeg(pixels: np.ndarray, quality: int = 85) -> np.ndarray:
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=quality)
    with Image.open(out) as image:
        return np.asarray(image.convert("RGB"))


def light_times(pixels: np.ndarray, factor: float) -> np.ndarray:
    """The same view with more or less light: sRGB to linear and back by IEC 61966-2-1."""
    c = pixels / 255.0
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4) * factor
    back = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.clip(linear, 0, 1) ** (1 / 2.4) - 0.055)
    return np.round(255 * back).astype(np.uint8)


def said(pixels: np.ndarray, shot: Shot | None = None) -> str:
    return " | ".join(long_words(pixel_doubts(pixels, shot or Shot())))


def test_ordinary_photographs_raise_none(views):
    for pixels in views.values():
        assert said(pixels) == ""
        assert said(np.ascontiguousarray(pixels[:, ::-1])) == ""
        assert said(as_jpeg(pixels, 60)) == ""


def test_research_photographs_hardly_raise_any(research):
    """Besides "small", which all of them are: at most 1 in 100 landscapes and 1 in 60 other outdoor scenes."""

    for pattern, most in (("rgb_nir_pairs/*_rgb.jpg", 0.01), ("labelled_scenes/*/*.jpg", 1 / 60)):
        paths = sorted(research.glob(pattern))[::3]
        doubted = [p.name for p in paths if any("small" not in d for d in long_words(load_photo(p).doubts))]
        assert len(doubted) <= max(most * len(paths), 1), doubted


# ------------------------------------------------------------------------------------------- colour


def toned(pixels: np.ndarray, shadows: tuple[int, ...], lights: tuple[int, ...]) -> np.ndarray:
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)[..., None] / 255.0
    return np.round(np.array(shadows) * (1 - grey) + np.array(lights) * grey).astype(np.uint8)


@pytest.mark.parametrize(
    ("shadows", "lights"),
    [((0, 0, 0), (255, 255, 255)), ((22, 12, 4), (255, 243, 222)), ((6, 10, 22), (238, 244, 255))],
    ids=["grey", "warm tone", "cold tone"],
)
def test_black_and_white_is_doubted(view, shadows, lights):
    for pixels in (toned(view, shadows, lights), as_jpeg(toned(view, shadows, lights))):
        assert "black-and-white" in said(pixels)


def test_fog_is_not_black_and_white(view):
    """A pale picture keeps some colour: a quarter of it left is still told as colour."""
    grey = toned(view, (0, 0, 0), (255, 255, 255)).astype(float)
    fog = np.round(0.5 * (0.75 * grey + 0.25 * view) + 110).astype(np.uint8)
    assert "black-and-white" not in said(fog)


# ------------------------------------------------------------------------------------------- light


@pytest.mark.parametrize(("stops", "word"), [(-7, "dark"), (-5, "dark"), (4, "plain white"), (6, "plain white")])
def test_strongly_wrong_exposure_is_doubted(view, stops, word):
    assert word in said(as_jpeg(light_times(view, 2.0**stops)))


@pytest.mark.parametrize("stops", [-1, -0.5, 0.5])
def test_moderate_exposure_is_not(view, stops):
    assert said(as_jpeg(light_times(view, 2.0**stops))) == ""


def test_night_by_its_lights_and_by_its_metering(view):
    night = light_times(view, 2.0**-9)
    for x in range(40, 900, 90):
        cv2.circle(night, (x, 500), 14, (255, 220, 150), -1)
    assert "night" in said(as_jpeg(night))
    # EV 100 = log2(N^2 / t) - log2(ISO / 100): 1.8^2 * 10 at ISO 1600 gives 1.0, 1.8^2 * 1000 at ISO 50 gives 12.7
    assert "EV 1.0" in said(view, Shot(f_number=1.8, shutter_s=0.1, iso=1600))
    assert said(view, Shot(f_number=1.8, shutter_s=0.001, iso=50)) == ""
    assert "night" in said(view, Shot(brightness_ev=-1.0))
    assert said(view, Shot(brightness_ev=8.0)) == ""


# ------------------------------------------------------------------------------------------- sharpness and size


@pytest.mark.parametrize("sigma", [6, 9, 15])
def test_blur_is_doubted(view, sigma):
    assert "blurred" in said(as_jpeg(cv2.GaussianBlur(view, (0, 0), sigma)))


def test_a_shaken_picture_is_blurred_too(view):
    for kernel in (np.full((1, 61), 1 / 61, np.float32), np.full((61, 1), 1 / 61, np.float32)):
        assert "blurred" in said(as_jpeg(cv2.filter2D(view, -1, kernel)))


def test_a_little_softness_is_not(view):
    assert said(cv2.GaussianBlur(view, (0, 0), 0.8)) == ""


def test_small_pictures_are_told(view):
    small = cv2.resize(view, (320, 213), interpolation=cv2.INTER_AREA)
    assert "320 x 213" in said(small)
    assert "small" not in said(view)


def test_any_size_gets_an_answer():
    for shape in ((64, 64, 3), (64, 1280, 3), (1280, 64, 3), (65, 67, 3)):
        pixel_doubts(np.random.default_rng(0).integers(0, 255, shape).astype(np.uint8), Shot())
        assert "screenshot" in said(np.full(shape, 90, np.uint8))


# ------------------------------------------------------------------------------------------- drawn, not photographed


def screen(ground: tuple[int, ...], ink: tuple[int, ...], size: tuple[int, int], seed: int) -> np.ndarray:
    """A page of text with coloured boxes, as a phone's or a desk's screen shows it."""
    rng, image = np.random.default_rng(seed), Image.new("RGB", size, ground)
    pen, font = ImageDraw.Draw(image), ImageFont.load_default(30)
    pen.rectangle((0, 0, size[0], 130), fill=(40, 90, 150))
    words = ["over", "the", "stones", "runs", "a", "quiet", "river", "and", "wind", "moves", "until", "evening"]
    y = 170
    while y < size[1] - 60:
        pen.text((40, y), " ".join(rng.choice(words, 8)), fill=ink, font=font)
        y += 46
        if rng.random() < 0.15:
            shade = tuple(int(v) for v in rng.integers(150, 250, 3))
            pen.rounded_rectangle((30, y, size[0] - 30, y + 110), 18, fill=shade)
            y += 130
    return np.asarray(image)


@pytest.mark.parametrize("size", [(1080, 2340), (1920, 1080)])
@pytest.mark.parametrize(("ground", "ink"), [((255, 255, 255), (20, 20, 20)), ((18, 18, 18), (230, 230, 230))])
def test_screenshots_are_doubted(size, ground, ink):
    for seed in (8, 9):
        drawn = screen(ground, ink, size, seed)
        for pixels in (drawn, as_jpeg(drawn, 85), as_jpeg(drawn, 60)):
            assert "screenshot" in said(pixels)


def test_a_white_sky_is_no_screenshot(view):
    blown = view.copy()
    blown[:230] = 255
    assert "screenshot" not in said(as_jpeg(blown))


# ------------------------------------------------------------------------------------------- by what was recognised


def scene(shares: dict[str, float], confidence: float) -> tuple[Photo, SceneMap]:
    label = np.concatenate([np.full(math.ceil(v * 6400), CLASS_ID[k], np.uint8) for k, v in shares.items()])[:6400]
    label = label.reshape(80, 80)
    probability = np.full((9, 4, 4), 1 / 9, np.float32)
    mapped = SceneMap(probability, label, np.full(label.shape, confidence, np.float32), np.zeros((1, 1, 1), np.float32))
    return Photo(np.zeros((80, 80, 3), np.uint8)), mapped


def test_no_landscape_is_doubted():
    assert "no landscape" in in_words(scene_doubts(*scene({"structure": 0.6, "other": 0.4}, 0.9))[0]).long
    assert scene_doubts(*scene({"clear_sky": 0.3, "tree": 0.3, "ground": 0.4}, 0.9)) == ()
    assert scene_doubts(*scene({"structure": 0.8, "clear_sky": 0.2}, 0.9)) == ()
    # a facade and nothing else; a room with a floor; a street with a car in it
    assert scene_doubts(*scene({"structure": 1.0}, 0.9)) == ()
    assert (
        "no landscape" in in_words(scene_doubts(*scene({"structure": 0.35, "ground": 0.3, "other": 0.35}, 0.9))[0]).long
    )
    assert scene_doubts(*scene({"structure": 0.6, "ground": 0.3, "other": 0.1}, 0.9)) == ()


def test_little_confidence_is_doubted():
    assert "confidence" in in_words(scene_doubts(*scene({"tree": 0.5, "water": 0.5}, 0.4))[0]).long
