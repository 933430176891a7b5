"""Thousands of damaged files: each gives a photo or a one-line refusal, never anything else, and never a warning."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from irpreview.errors import BadPhoto
from irpreview.io.photos import load_photo
from irpreview.records import Photo
from tests.io import making_photos as make

KINDS = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")
FACTS = make.exif_block(
    {0x0112: 6},
    {0x9003: "2026:06:21 13:05:00", 0x9011: "+02:00", 0x829A: make.rational(1, 200), 0xA405: 26},
    {1: "N", 2: (60.0, 30.0, 0.0), 3: "E", 4: (10.0, 15.0, 0.0), 17: make.rational(90, 1)},
)


@pytest.fixture(scope="module")
def good_files(sample_photographs) -> dict[str, bytes]:
    return sound_files(sample_photographs)


def sound_files(sample_photographs: dict[str, np.ndarray]) -> dict[str, bytes]:
    """One small picture of each kind, with facts and a colour profile."""
    view = np.ascontiguousarray(sample_photographs["china.jpg"][100:292, 100:388][::3, ::3])
    profile = make.colour_profile(make.DISPLAY_P3)
    files = {kind: make.encode(view, kind, exif=FACTS, icc_profile=profile) for kind in KINDS if kind != "HEIF"}
    files["HEIF"] = make.encode(view, "HEIF", exif=FACTS)
    files["JPEG progressive"] = make.encode(view, "JPEG", exif=FACTS, progressive=True)
    files["TIFF packed"] = make.encode(view, "TIFF", compression="tiff_lzw")
    return files


def spoil(data: bytes, rng: np.random.Generator) -> bytes:
    """One of the ways in which files go wrong: bytes changed, cut out, doubled, set to zero, moved."""
    bad, way = bytearray(data), rng.integers(6)
    # half of the damage near the start, where the header is
    reach = len(bad) if rng.random() < 0.5 else min(len(bad), 700)
    at = int(rng.integers(reach))
    length = int(rng.integers(1, 40))
    if way == 0:
        bad[at] ^= 1 << int(rng.integers(8))
    elif way == 1:
        for _ in range(length):
            bad[int(rng.integers(reach))] = int(rng.integers(256))
    elif way == 2:
        del bad[at : at + length]
    elif way == 3:
        bad[at:at] = bad[at : at + length]
    elif way == 4:
        bad[at : at + length] = bytes(min(length, len(bad) - at))
    else:
        bad[at : at + 4] = int(rng.choice([0, 1, 0x7FFFFFFF, 0xFFFFFFFF, 0x80000000])).to_bytes(4, "big")
    return bytes(bad)


def attempt(data: bytes) -> bool:
    """Whether a photo came of it. Anything but a photo or a refusal in one line fails the test."""
    try:
        photo = load_photo(data)
    except BadPhoto as refused:
        text = str(refused)
        photo = None
    if photo is None:
        assert "\n" not in text
        assert 20 < len(text) < 400
        return False
    assert isinstance(photo, Photo)
    assert photo.pixels.dtype == np.uint8
    assert photo.pixels.shape[2] == 3
    assert photo.pixels.nbytes < 200e6
    if photo.place is not None:
        assert abs(photo.place.latitude_deg) <= 90
        assert abs(photo.place.longitude_deg) <= 180
    return True


def soak(good_files: dict[str, bytes], seed: int, rounds: int, capfd: pytest.CaptureFixture[str]) -> None:
    rng = np.random.default_rng(seed)
    came = 0
    with warnings.catch_warnings(record=True) as seen:
        warnings.simplefilter("always")
        for _ in range(rounds):
            for data in good_files.values():
                came += attempt(spoil(data, rng))
    assert not seen, {str(warning.message) for warning in seen}
    assert 0 < came < rounds * len(good_files)  # both outcomes occur, or the test shows nothing
    out, err = capfd.readouterr()
    assert out == ""
    assert err == "", err[:300]  # the decoders' own libraries kept quiet too


def test_the_unharmed_files_are_good(good_files):
    for data in good_files.values():
        assert attempt(data)


def test_a_few_thousand_damaged_files(good_files, capfd):
    soak(good_files, seed=20261125, rounds=430, capfd=capfd)


@pytest.mark.long
def test_a_hundred_thousand_damaged_files(good_files, capfd):
    soak(good_files, seed=7, rounds=15_000, capfd=capfd)


@pytest.mark.parametrize("kind", [*KINDS, "JPEG progressive", "TIFF packed"])
def test_truncation_is_always_refused(good_files, kind):
    data = good_files[kind]
    step = max(len(data) // 150, 1)
    cuts = {*range(0, len(data), step), *range(len(data) - 12, len(data))}
    for length in sorted(cuts):
        with pytest.raises(BadPhoto):
            load_photo(data[:length])


@pytest.mark.long
@pytest.mark.parametrize("kind", [*KINDS, "JPEG progressive", "TIFF packed"])
def test_truncation_at_every_byte_is_refused(good_files, kind):
    data = good_files[kind]
    for length in range(len(data)):
        with pytest.raises(BadPhoto):
            load_photo(data[:length])


def test_damaged_colour_profiles_and_facts(good_files, capfd):
    """The two blocks that a stranger's program wrote, each spoilt by itself so that the rest of the file holds."""

    rng = np.random.default_rng(3)
    view = np.ascontiguousarray(np.indices((64, 64, 3)).sum(0) % 256).astype(np.uint8)
    profile = make.colour_profile(make.DISPLAY_P3)
    profiles = (profile, profile.replace(b"para\0\0\0\0\0\x03", b"para\0\0\0\0\0\x01"))  # two kinds of curve
    kept = 0
    with warnings.catch_warnings(record=True) as seen:
        warnings.simplefilter("always")
        for i in range(700):
            kept += attempt(make.encode(view, "JPEG", icc_profile=spoil(profiles[i % 2], rng)))
            facts = spoil(FACTS.removeprefix(b"Exif\0\0"), rng)
            kept += attempt(make.encode(view, "JPEG", exif=b"Exif\0\0" + facts))
    assert not seen, {str(warning.message) for warning in seen}
    assert kept == 1400  # a picture without its facts or its exact colours is still a picture
    assert capfd.readouterr() == ("", "")
