"""Files that lie: cut in the middle and closed, endless, or pointing elsewhere. T.81 = ITU-T T.81 (JPEG)."""

import io
import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from irpreview.core.units import parse_shutter, parse_wind
from irpreview.errors import BadKit, BadPhoto, BadValue
from irpreview.io.kits import load_kit
from irpreview.io.photos import load_photo

SCENE = Path(__file__).parents[2] / "demo_scenes" / "low_flats" / "photo.jpg"


_LAST_SCAN = pytest.mark.xfail(reason="a cut within the last scan, the finest bits, is not noticed", strict=True)


@pytest.mark.parametrize(
    ("share", "progressive"),
    [
        *((share, False) for share in (0.2, 0.4, 0.55, 0.7)),
        *((share, True) for share in (0.2, 0.4)),
        *(pytest.param(share, True, marks=_LAST_SCAN) for share in (0.55, 0.7)),
    ],
)
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
