"""Files that lie: cut in the middle and closed, endless, or pointing elsewhere. T.81 = ITU-T T.81 (JPEG)."""

import io
import os
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from irpreview.core.units import parse_shutter, parse_wind
from irpreview.core.words import long_words
from irpreview.errors import BadKit, BadPhoto, BadValue
from irpreview.io.kits import load_kit
from irpreview.io.photos import load_photo

SCENE = Path(__file__).parents[2] / "demo_scenes" / "low_flats" / "photo.jpg"


@pytest.mark.parametrize("share", [0.2, 0.4, 0.55, 0.7, 0.95])
@pytest.mark.parametrize("progressive", [False, True])
def test_a_jpeg_that_is_cut_and_closed_again_is_refused(share, progressive):
    packed = io.BytesIO()
    Image.open(SCENE).save(packed, "JPEG", quality=90, progressive=progressive)
    data = packed.getvalue()
    load_photo(data)
    with pytest.raises(BadPhoto, match="damaged"):
        load_photo(data[: int(len(data) * share)] + b"\xff\xd9")


def test_a_jpeg_of_thousands_of_scans_is_refused_before_it_is_decoded():
    packed = io.BytesIO()
    Image.fromarray(np.full((80, 80, 3), 90, np.uint8)).save(packed, "JPEG", progressive=True)
    data = packed.getvalue()
    at = data.rfind(b"\xff\xda")
    with pytest.raises(BadPhoto, match="scans"):
        load_photo(data[:at] + data[at:-2] * 1000 + b"\xff\xd9")


@pytest.mark.parametrize("progressive", [False, True])
def test_a_hole_of_zeros_is_not_believed(progressive):
    packed = io.BytesIO()
    Image.open(SCENE).save(packed, "JPEG", quality=90, progressive=progressive)
    data = bytearray(packed.getvalue())
    for share in (0.3, 0.5, 0.7):
        at = int(len(data) * share)
        holed = bytes(data[:at]) + bytes(4096) + bytes(data[at + 4096 :])
        assert _believed(holed) is False


def test_a_small_picture_whose_header_says_it_is_large_is_refused():
    packed = io.BytesIO()
    Image.open(SCENE).convert("RGB").resize((640, 480)).save(packed, "JPEG", quality=90)
    data = bytearray(packed.getvalue())
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = (8000).to_bytes(2, "big") * 2
    with pytest.raises(BadPhoto, match="damaged"):
        load_photo(bytes(data))


def _believed(data: bytes) -> bool:
    try:
        return not any("may be damaged" in doubt for doubt in long_words(load_photo(data).doubts))
    except BadPhoto:
        return False


def test_flipped_bits_are_noticed_nine_times_in_ten():
    """Wrong = more than 5 % of the pixels off by more than 8 levels from those of the sound file, by its own reader."""
    rng = np.random.default_rng(17)
    noticed = wrong = 0
    for name in ("low_flats", "moor_tower", "chalk_head", "dry_hill"):
        for progressive in (False, True):
            packed = io.BytesIO()
            scene = Image.open(SCENE.parents[1] / name / "photo.jpg")
            scene.resize((1200, 900)).save(packed, "JPEG", quality=90, progressive=progressive)
            data = packed.getvalue()
            assert _believed(data)
            sound = np.asarray(Image.open(io.BytesIO(data))).astype(int)
            for _ in range(10):
                bad, first = bytearray(data), data.index(b"\xff\xda") + 14
                at = int(rng.integers(first, len(bad) - 6))
                for k in range(3):
                    bad[at + k] ^= 1 << int(rng.integers(8))
                try:
                    seen = np.asarray(Image.open(io.BytesIO(bytes(bad)))).astype(int)
                except OSError:
                    continue
                if (np.abs(seen - sound).max(-1) > 8).mean() > 0.05:
                    wrong += 1
                    noticed += not _believed(bytes(bad))
    assert wrong >= 20
    assert noticed >= 0.9 * wrong, (noticed, wrong)


@pytest.mark.research
def test_sound_photographs_are_not_doubted(research):
    files = sorted(research.rglob("*.jpg"))[::6]
    doubted = [file.name for file in files if not _believed(file.read_bytes())]
    assert len(files) > 200
    assert len(doubted) <= len(files) / 500 + 1, doubted


def test_an_offset_beyond_all_files_is_one_line():
    with pytest.raises(BadPhoto):
        load_photo(b"II+\x00\x08\x00\x00\x00" + b"\xff" * 8)


def test_kits_read_ordinary_files_of_their_own_folder_only(tmp_path):
    outside = tmp_path / "secret.csv"
    outside.write_text("root:x:0\n" * 5, encoding="utf-8")
    folder = tmp_path / "kits"
    folder.mkdir()
    for curve in ("../secret.csv", str(outside)):
        (folder / "k.toml").write_text(f'[filter]\ncurve = "{curve}"\n', encoding="utf-8")
        with pytest.raises(BadKit, match="beside") as caught:
            load_kit(folder / "k.toml")
        assert "x:0" not in str(caught.value)
    (folder / "deep.toml").write_text("a = " + "[" * 20000, encoding="utf-8")
    with pytest.raises(BadKit):
        load_kit(folder / "deep.toml")
    with pytest.raises(BadKit):
        load_kit("k" * 400)
    os.mkfifo(folder / "pipe.toml")
    with pytest.raises(BadKit, match="ordinary"):
        load_kit(folder / "pipe.toml")


def test_numbers_in_other_scripts_are_not_understood():
    for read in (parse_wind, parse_shutter):
        with pytest.raises(BadValue):
            read("\u0665")


def test_a_kit_of_endless_names_is_told_at_once(tmp_path):
    path = tmp_path / "k.toml"
    for text in (".".join("a" * 30_000) + "=1", ".".join("a" * 200_000) + "=1"):
        path.write_text(text, encoding="utf-8")
        begun = time.process_time()
        with pytest.raises(BadKit):
            load_kit(path)
        assert time.process_time() - begun < 2.0


def test_a_curve_file_that_is_none_is_not_quoted(tmp_path):
    (tmp_path / "k.toml").write_text('[filter]\ncurve = "notes.csv"\n', encoding="utf-8")
    (tmp_path / "notes.csv").write_text("700,0\n720,1\nsecret words,1\n800,1\n", encoding="utf-8")
    with pytest.raises(BadKit) as caught:
        load_kit(tmp_path / "k.toml")
    assert "secret" not in str(caught.value)
