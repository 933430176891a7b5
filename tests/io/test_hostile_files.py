"""Files that lie: cut in the middle and closed, endless, or pointing elsewhere. T.81 = ITU-T T.81 (JPEG)."""

import contextlib
import io
import os
import time
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from irpreview.core.units import parse_shutter, parse_wind
from irpreview.core.words import long_words
from irpreview.errors import BadKit, BadLog, BadPhoto, BadValue, IrpreviewError
from irpreview.io.day_plan_file import read_field_day
from irpreview.io.field_log import FieldLog
from irpreview.io.field_notes import read_field_notes
from irpreview.io.home_proposal import read_proposal
from irpreview.io.kits import load_kit
from irpreview.io.log_entry_files import content_sha256
from irpreview.io.log_exchange import import_log
from irpreview.io.photos import load_photo
from irpreview.io.places_file import read_places

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


def test_scans_are_counted_against_the_size_they_go_over():
    """Each scan is a pass over the whole picture (T.81, G.1.1), so what counts is scans times pixels."""
    packed = io.BytesIO()
    Image.new("RGB", (8000, 8000), (90, 90, 90)).save(packed, "JPEG", progressive=True, quality=10)
    data = packed.getvalue()
    load_photo(data, max_side=256)
    at = data.rfind(b"\xff\xda")
    begun = time.process_time()
    with pytest.raises(BadPhoto, match="goes over its 64 megapixels"):
        load_photo(data[:at] + data[at:-2] * 20 + b"\xff\xd9", max_side=256)
    assert time.process_time() - begun < 5.0


SECRET = "kx7secret"


@pytest.mark.parametrize(
    "text",
    [
        f'{SECRET} = "{SECRET}"',
        f"{SECRET}:x:0:0:{SECRET}:/root",
        f"[{SECRET}]\n{SECRET} = 1",
        f'[filter]\n{SECRET} = "{SECRET}"',
        f'[filter]\ncut_on_nm = "{SECRET}"',
        f'[body]\nhas_bulb = "{SECRET}"',
        f"[filter]\ncut_on_nm = {SECRET}",
        f"a.{SECRET} = 1\n[a.{SECRET}.b]",
        f"a = '''{SECRET}",
        f'[calibration]\nclass_correction_stops = {{ {SECRET} = "{SECRET}" }}',
    ],
)
def test_no_refusal_of_a_kit_quotes_the_file(tmp_path, text):
    (tmp_path / "k.toml").write_text(text, encoding="utf-8")
    with pytest.raises(BadKit) as caught:
        load_kit(tmp_path / "k.toml")
    assert SECRET not in str(caught.value)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a.json", f'{{"{SECRET}": {SECRET}}}'),
        ("a.json", f'{{"schema": "{SECRET}", "frames": []}}'),
        ("a.json", f'{{"schema": "irpreview-log/{"9" * 99}", "frames": []}}'),
        *(
            ("a.json", f'{{"schema": "irpreview-log/2", "frames": [{{"kit_name": "k", "{key}": "{SECRET}"}}]}}')
            for key in ("iso", "in_shade", "taken_at", "taken_on", "outcome", "subject", "latitude_deg")
        ),
        ("a.json", f'{{"schema": "irpreview-log/2", "frames": [], "hot_spots": [{{"kit_name": "{SECRET}"}}]}}'),
        (
            "a.json",
            '{"schema": "irpreview-log/2", "frames": [], "differences": [{"kit_name": "k", "class_name": "SECRET",'
            ' "difference_stops": 1, "share": 0.2, "pair_key": "SECRET"}]}'.replace("SECRET", SECRET),
        ),
        ("a.csv", f"kit_name,iso\nk,{SECRET}\n"),
        ("a.csv", f"{SECRET},iso\nk,1\n"),
        ("a.csv", f"kit_name,subject\nk,{SECRET}\n"),
    ],
)
def test_no_refusal_of_an_import_quotes_the_file(tmp_path, name, text):
    (tmp_path / name).write_text(text, encoding="utf-8")
    with FieldLog(tmp_path / "log.sqlite") as log, pytest.raises(BadLog) as caught:
        import_log(log, tmp_path / name)
    assert SECRET not in str(caught.value)
    assert "9" * 20 not in str(caught.value)


def test_no_refusal_of_a_photo_quotes_the_file():
    chunk = b"sEcR"
    packed = io.BytesIO()
    Image.new("RGB", (80, 80)).save(packed, "PNG")
    data = packed.getvalue()
    body = len(b"").to_bytes(4, "big") + chunk + zlib.crc32(chunk).to_bytes(4, "big")
    told = []
    for bad in (data[:33] + body.replace(b"sEcR", b"SEcR") + data[33:], data[:8] + body + data[33:]):
        with contextlib.suppress(BadPhoto):
            load_photo(bad)
            continue
        told.append(refusal(bad))
    assert told
    assert not any("EcR" in one for one in told)


def refusal(data):
    with pytest.raises(BadPhoto) as caught:
        load_photo(data)
    return str(caught.value)


@pytest.mark.parametrize(
    "read",
    [
        load_kit,
        read_places,
        read_field_notes,
        read_proposal,
        load_photo,
        lambda path: content_sha256(path) and load_photo(path),
        lambda path: read_field_day(path, with_place=False),
        lambda path: import_log(FieldLog(path.with_name("log.sqlite")), path),
    ],
    ids=["kit", "places", "notes", "proposal", "photo", "frame", "day plan", "import"],
)
def test_a_pipe_hangs_no_reader_and_a_stranger_s_text_is_not_quoted(tmp_path, read):
    for ending in ("toml", "json", "csv"):
        os.mkfifo(tmp_path / f"pipe.{ending}")
        (tmp_path / f"text.{ending}").write_text(f'{{"{SECRET}": "{SECRET}"}}', encoding="utf-8")
        for name in (f"pipe.{ending}", f"text.{ending}"):
            with pytest.raises(IrpreviewError) as caught:
                read(tmp_path / name)
            assert SECRET not in str(caught.value)
