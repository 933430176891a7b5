"""Photos in: what is opened and how, what is refused and with which words, what is doubted."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import re
import struct
import subprocess
import sys
import threading
import warnings
import zlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps

from irpreview.core.words import long_words
from irpreview.errors import BadPhoto, BadValue
from irpreview.io.photos import MOST_MEGAPIXELS, load_photo
from tests.io import making_photos as make


@pytest.fixture(scope="module")
def view(sample_photographs) -> np.ndarray:
    """(120, 160, 3) of a real photograph, nothing alike on its four sides."""
    return np.ascontiguousarray(sample_photographs["china.jpg"][60:300, 100:420][::2, ::2])


def refusal(source, **options) -> str:
    with pytest.raises(BadPhoto) as caught:
        load_photo(source, **options)
    text = str(caught.value)
    assert "\n" not in text
    assert len(text) < 320
    assert re.search(r"[;:,] ?\w+", text), f"says nothing to do: {text}"
    return text


def far(a: np.ndarray, b: np.ndarray) -> float:
    return float(np.abs(a.astype(int) - b.astype(int)).mean())


# ------------------------------------------------------------------------------------------- what is opened


@pytest.mark.parametrize(("kind", "limit"), [("JPEG", 6), ("PNG", 0), ("WEBP", 6), ("TIFF", 0), ("HEIF", 8)])
def test_every_kind_from_bytes_and_from_a_file(view, tmp_path, kind, limit):
    data = make.encode(view, kind)
    path = tmp_path / "view.xyz"  # the content counts, not the name
    path.write_bytes(data)
    photo, same = load_photo(data), load_photo(path)
    assert photo.pixels.shape == view.shape
    assert photo.pixels.dtype == np.uint8
    assert far(photo.pixels, view) <= limit
    assert not photo.pixels.flags.writeable
    assert np.array_equal(photo.pixels, same.pixels)
    assert same.name == "view.xyz"
    assert photo.content_sha256 == same.content_sha256
    assert load_photo(str(path)).content_sha256 == same.content_sha256


def test_content_sum_is_the_published_sum(view, tmp_path):
    """Against sha256sum of GNU coreutils, or Python's hashlib where that is absent."""

    data = make.encode(view)
    assert load_photo(data).content_sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_all_eight(view, kind, orientation):
    """Against Pillow's exif_transpose (a general-purpose library)."""
    exif = make.exif_block({0x0112: orientation})
    data = make.encode(view, kind, exif=exif, **({"lossless": True} if kind == "WEBP" else {}))
    expected = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB"))
    photo = load_photo(data)
    assert photo.pixels.shape == expected.shape
    assert np.array_equal(photo.pixels, expected)
    if orientation in (5, 6, 7, 8):
        assert photo.width < photo.height


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_orientation_of_heic_is_applied_once(view, orientation):
    data = make.encode(view, "HEIF", exif=make.exif_block({0x0112: orientation}))
    turned = {1: view, 3: view[::-1, ::-1], 6: np.rot90(view, -1), 8: np.rot90(view)}[orientation]
    assert far(load_photo(data).pixels, turned) < 8


@pytest.mark.parametrize("orientation", [0, 77])
def test_orientation_outside_1_to_8_changes_nothing(view, orientation):
    photo = load_photo(make.encode(view, exif=make.exif_block({0x0112: orientation})))
    assert photo.pixels.shape == view.shape
    assert any("orientation 77" in d for d in long_words(photo.doubts)) == (orientation == 77)


def test_max_side_reads_smaller_and_alike(sample_photographs):
    pixels = sample_photographs["china.jpg"]
    for kind in ("JPEG", "PNG"):
        data = make.encode(pixels, kind)
        small = load_photo(data, max_side=200)
        assert max(small.pixels.shape) == 200
        reference = np.asarray(Image.open(io.BytesIO(data)).resize((small.width, small.height), Image.Resampling.BOX))
        assert far(small.pixels, reference) < 6
    assert load_photo(make.encode(pixels), max_side=5000).pixels.shape == pixels.shape
    for bad in (0, -5, 63):
        with pytest.raises(BadValue, match="64"):
            load_photo(make.encode(pixels), max_side=bad)


@pytest.mark.parametrize("mode", ["L", "P", "1", "CMYK", "LA", "RGBA"])
def test_modes_become_rgb(view, mode):
    image = Image.fromarray(view).convert("RGBA" if mode in ("RGBA", "LA") else "RGB").convert(mode)
    out = io.BytesIO()
    image.save(out, "JPEG" if mode == "CMYK" else "PNG")
    photo = load_photo(out.getvalue())
    assert photo.pixels.shape == view.shape
    reference = np.asarray(Image.open(out).convert("RGB"))
    assert far(photo.pixels, reference) < 1.5


@pytest.mark.parametrize("kind", ["TIFF", "PNG"])
def test_sixteen_bits_are_scaled(kind):
    ramp = np.linspace(0, 65535, 160).astype(np.uint16)[None].repeat(100, 0)
    out = io.BytesIO()
    Image.fromarray(ramp).save(out, kind)
    pixels = load_photo(out.getvalue()).pixels
    assert np.abs(pixels[50, :, 0].astype(float) - ramp[50] / 257.0).max() <= 0.51
    assert pixels[0, 0, 0] == 0
    assert pixels[0, -1, 0] == 255


def test_sixteen_bit_colour_tiff_is_scaled(view):
    deep = view.astype(np.uint16) * 257
    ok, data = cv2.imencode(".tiff", deep[..., ::-1])
    assert ok
    assert far(load_photo(data.tobytes()).pixels, view) <= 1


def test_see_through_parts_go_on_white(view):
    alpha = np.full(view.shape[:2], 255, np.uint8)
    alpha[:40] = 0
    photo = load_photo(make.encode(np.dstack([view, alpha]), "PNG"))
    assert (photo.pixels[:40] == 255).all()
    assert np.array_equal(photo.pixels[40:], view[40:])
    assert any("see-through" in d for d in long_words(photo.doubts))
    full = load_photo(make.encode(np.dstack([view, np.full_like(alpha, 255)]), "PNG"))
    assert not any("see-through" in d for d in long_words(full.doubts))


def test_animation_gives_its_first_picture(view):
    for kind in ("WEBP", "PNG"):
        out = io.BytesIO()
        frames = [Image.fromarray(np.ascontiguousarray(np.roll(view, k, 1))) for k in (0, 9)]
        extra = {"lossless": True} if kind == "WEBP" else {}
        frames[0].save(out, kind, save_all=True, append_images=frames[1:], duration=90, **extra)
        photo = load_photo(out.getvalue())
        assert np.array_equal(photo.pixels, view)
        assert any("several pictures" in d for d in long_words(photo.doubts))


def test_two_pictures_in_one_jpeg_are_no_trouble(view):
    """Phones put a gain map or a second view behind the photo (CIPA DC-007 multi-picture format)."""
    out = io.BytesIO()
    image = Image.fromarray(view)
    image.save(out, "MPO", save_all=True, append_images=[image.resize((80, 60))])
    photo = load_photo(out.getvalue())
    assert far(photo.pixels, view) < 8
    assert not any("several" in d for d in long_words(photo.doubts))


def test_trailing_data_after_the_picture_is_no_trouble(view):
    assert load_photo(make.encode(view) + b"\x00moov" * 100).pixels.shape == view.shape


# ------------------------------------------------------------------------------------------- colours


def test_display_p3_becomes_srgb(view):
    """Against LittleCMS by Pillow (a general-purpose library), and against the colour science by hand."""
    profile = make.colour_profile(make.DISPLAY_P3, "wide colours of phones")
    data = make.encode(view, "PNG", icc_profile=profile)
    ours = load_photo(data).pixels
    lcms = ImageCms.profileToProfile(
        Image.fromarray(view),
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.createProfile("sRGB"),
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    difference = np.abs(ours.astype(int) - np.asarray(lcms).astype(int))
    assert difference.max() <= 2
    assert difference.mean() < 0.3
    assert far(ours, view) > 1.0  # it did change


def test_display_p3_green_has_its_published_place():
    """P3 (0.5, 0.5, 0.5) stays grey; P3 red 1, 0, 0 is out of sRGB and clips to 255, 0, 0 (W3C CSS Color 4, 10.3)."""
    profile = make.colour_profile(make.DISPLAY_P3)
    patch = np.zeros((64, 192, 3), np.uint8)
    patch[:, :64] = 128
    patch[:, 64:128] = (255, 0, 0)
    patch[:, 128:] = (
        117,
        251,
        76,
    )  # sRGB pure green in P3 codes: CSS Color 4 gives color(display-p3 .4584 .9853 .2983)
    pixels = load_photo(make.encode(patch, "PNG", icc_profile=profile)).pixels
    assert np.abs(pixels[0, 0].astype(int) - 128).max() <= 1
    assert pixels[0, 100].tolist() == [255, 0, 0]
    assert np.abs(pixels[0, 150].astype(int) - (0, 255, 0)).max() <= 6


def test_srgb_profile_changes_nothing(view):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert np.array_equal(load_photo(make.encode(view, "PNG", icc_profile=profile)).pixels, view)


def test_profile_of_the_wrong_kind_and_of_nonsense(view):
    grey = make.encode(view[..., 0], "PNG", icc_profile=make.colour_profile(make.DISPLAY_P3))
    assert far(load_photo(grey).pixels[..., 0], view[..., 0]) <= 1
    photo = load_photo(make.encode(view, "PNG", icc_profile=b"nonsense" * 40))
    assert np.array_equal(photo.pixels, view)
    assert any("colour profile" in d for d in long_words(photo.doubts))


def test_cmyk_with_a_profile_is_read_or_doubted(view):
    data = io.BytesIO()
    Image.fromarray(view).convert("CMYK").save(data, "JPEG", icc_profile=make.colour_profile(make.DISPLAY_P3))
    photo = load_photo(data.getvalue())
    assert any("colour profile" in d for d in long_words(photo.doubts))
    assert far(photo.pixels, view) < 12


# ------------------------------------------------------------------------------------------- facts

NOON = {0x9003: "2026:06:21 13:05:00"}


def test_facts_of_a_phone(view):
    exif = make.exif_block(
        inner={
            **NOON,
            0x9011: "+02:00",
            0x829A: make.rational(1, 1000),
            0x829D: make.rational(18, 10),
            0x8827: 50,
            0xA405: 26,
            0x9203: make.rational(92, 10),
            0x9204: make.rational(-1, 3),
        },
        gps={
            1: "S",
            2: (54.0, 48.0, 36.0),
            3: "W",
            4: (68.0, 18.0, 0.0),
            5: b"\x00",
            6: make.rational(12345, 100),
            16: "T",
            17: make.rational(2715, 10),
        },
    )
    for kind in ("JPEG", "HEIF", "PNG", "WEBP", "TIFF"):
        photo = load_photo(make.encode(view, kind, exif=exif))
        assert photo.taken_at == datetime(2026, 6, 21, 11, 5, tzinfo=UTC), kind
        assert photo.taken_at.utcoffset() == timedelta(hours=2)
        assert photo.place is not None
        assert photo.place.latitude_deg == pytest.approx(-54.81)
        assert photo.place.longitude_deg == pytest.approx(-68.3)
        assert photo.place.altitude_m == pytest.approx(123.45)
        assert photo.heading_deg == pytest.approx(271.5)
        shot = photo.shot
        assert shot.f_number == pytest.approx(1.8)
        assert (shot.iso, shot.focal_35mm_mm) == (50, 26)
        assert shot.shutter_s == pytest.approx(0.001)
        assert shot.brightness_ev == pytest.approx(9.2)
        assert shot.exposure_bias_ev == pytest.approx(-1 / 3)
        # worked by hand: log2(1.8^2 / 0.001) - log2(50 / 100) = 11.66 + 1
        assert shot.ev100 == pytest.approx(12.66, abs=0.01)
        assert not [d for d in long_words(photo.doubts) if "small" not in d], kind


def test_time_without_a_zone_stays_unknown_and_is_said(view):
    data = make.encode(view, exif=make.exif_block(inner=NOON))
    photo = load_photo(data)
    assert photo.taken_at is None
    assert photo.taken_at_naive == datetime(2026, 6, 21, 13, 5)
    assert any("without a time zone" in d for d in long_words(photo.doubts))
    for zone, utc_hour in (("Europe/Oslo", 11), ("+05:30", 7), ("UTC", 13), ("-3", 16)):
        told = load_photo(data, zone=zone)
        assert told.taken_at is not None
        assert told.taken_at.astimezone(UTC).hour == utc_hour
        assert not any("time zone" in d for d in long_words(told.doubts))
    with pytest.raises(BadValue, match="Atlantis"):
        load_photo(data, zone="Atlantis/Deep")


def test_zone_from_the_satellite_time(view):
    gps = {7: (11.0, 4.0, 58.0), 29: "2026:06:21"}
    photo = load_photo(make.encode(view, exif=make.exif_block(inner=NOON, gps=gps)))
    assert photo.taken_at == datetime(2026, 6, 21, 11, 5, tzinfo=UTC)
    assert any("satellite" in d for d in long_words(photo.doubts))
    stale = {7: (9.0, 51.0, 0.0), 29: "2026:06:21"}  # no zone lies 3 h 14 min from UTC
    assert load_photo(make.encode(view, exif=make.exif_block(inner=NOON, gps=stale))).taken_at is None


@pytest.mark.parametrize(
    "text", ["0000:00:00 00:00:00", "    :  :     :  :  ", "", "2026-06-21", "1970:01:01 00:00:00", "\x00"]
)
def test_times_that_mean_nothing(view, text):
    photo = load_photo(make.encode(view, exif=make.exif_block(inner={0x9003: text, 0x9011: "+02:00"})))
    assert photo.taken_at is None
    assert photo.taken_at_naive is None


GOOD_GPS = {1: "N", 2: (60.0, 30.0, 0.0), 3: "E", 4: (10.0, 15.0, 0.0)}


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({2: (1e9, 0.0, 0.0)}, "latitude of a billion"),
        ({2: (91.0, 0.0, 0.0)}, "beyond the pole"),
        ({4: (200.0, 0.0, 0.0)}, "beyond 180"),
        ({4: 10.0}, "a single number instead of a triple"),
        ({2: (60.0, 75.0, 0.0)}, "75 minutes"),
        ({2: (make.rational(60, 1), make.rational(1, 0), make.rational(0, 1))}, "zero denominator"),
        ({1: "X"}, "no such hemisphere"),
        ({3: ""}, "no hemisphere"),
        ({2: (0.0, 0.0, 0.0), 4: (0.0, 0.0, 0.0)}, "null island"),
    ],
)
def test_places_that_make_no_sense(view, change, why):
    photo = load_photo(make.encode(view, exif=make.exif_block(gps={**GOOD_GPS, **change})))
    assert photo.place is None, why
    assert any("place" in d for d in long_words(photo.doubts)), why


def test_place_altitude_and_heading_limits(view):
    def load(**gps):
        tags = {**GOOD_GPS, **{int(k[1:]): v for k, v in gps.items()}}
        return load_photo(make.encode(view, exif=make.exif_block(gps=tags)))

    assert load(_5=b"\x01", _6=make.rational(400, 1)).place.altitude_m == -400
    high = load(_5=b"\x00", _6=make.rational(99999, 1))
    assert high.place.altitude_m == 0
    assert any("altitude" in d for d in long_words(high.doubts))
    assert load(_16="T", _17=make.rational(360, 1)).heading_deg == 0
    magnetic = load(_16="M", _17=make.rational(90, 1))
    assert magnetic.heading_deg == 90
    assert any("magnetic" in d for d in long_words(magnetic.doubts))
    assert load(_16="T", _17=make.rational(1, 0)).heading_deg is None
    assert load(_16="T", _17=make.rational(400, 1)).heading_deg is None
    assert load_photo(make.encode(view)).place is None


def test_exposure_from_apex_and_nonsense(view):
    def shot(**inner):
        tags = {int(k[1:], 16): v for k, v in inner.items()}
        return load_photo(make.encode(view, exif=make.exif_block(inner=tags))).shot

    apex = shot(_9201=make.rational(10, 1), _9202=make.rational(4, 1))
    assert apex.shutter_s == pytest.approx(1 / 1024)  # Exif 2.32 annex C: Tv = -log2 t
    assert apex.f_number == pytest.approx(4.0)  # Av = 2 log2 N
    for bad in (make.rational(1, 0), make.rational(0, 1)):
        assert shot(_829A=bad, _829D=bad).ev100 is None
    assert shot(_8827=65535, _8832=102400).iso == 102400
    assert shot(_A405=0).focal_35mm_mm is None
    assert shot(_829A=make.rational(10**9, 1)).shutter_s is None


def test_broken_exif_is_a_doubt(view, recwarn):
    whole = make.exif_block({0x010F: "maker of nothing", 0x0112: 6}, NOON)
    for block in (b"Exif\0\0II*\0\xff\xff\xff\xff", b"Exif\0\0garbage", whole[:30], whole[:-20]):
        photo = load_photo(make.encode(view, exif=block))
        assert any("damaged" in d for d in long_words(photo.doubts)), block
        assert photo.pixels.size == view.size
    assert not recwarn.list


def test_opens_no_file_by_the_name_it_was_told(view, tmp_path, monkeypatch):
    """A name is for messages only: not even an uncompressed TIFF makes the decoder open it."""
    monkeypatch.chdir(tmp_path)
    Path("other.tif").write_bytes(make.encode(view[::-1].copy(), "TIFF"))
    assert np.array_equal(load_photo(make.encode(view, "TIFF"), name="other.tif").pixels, view)
    grey = make.encode(view[..., 0], "TIFF")
    Path("other.tif").write_bytes(make.encode(255 - view[..., 0], "TIFF"))
    assert np.array_equal(load_photo(grey, name="other.tif").pixels[..., 0], view[..., 0])


def test_no_warning_leaks_and_limits_stay(view):
    before = Image.MAX_IMAGE_PIXELS
    with warnings.catch_warnings(record=True) as seen:
        warnings.simplefilter("always")
        load_photo(make.encode(view, exif=b"Exif\0\0II*\0\x08\0\0\0\xff\x00"))
        refusal(make.png_of_size(10_000, 10_000))
        refusal(make.png_of_size(14_000, 14_000))
    assert not seen
    assert before == Image.MAX_IMAGE_PIXELS


def test_many_threads_at_once(view):
    good, results = make.encode(view, exif=b"Exif\0\0II*\0\xff\xff\xff\xff"), []

    def work():
        for _ in range(10):
            results.append(load_photo(good).pixels.shape)

    threads = [threading.Thread(target=work) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert results == [view.shape] * 60


# ------------------------------------------------------------------------------------------- what is refused


def test_refuses_what_is_no_file(tmp_path, monkeypatch):
    assert "folder" in refusal(tmp_path)
    assert "does not exist" in refusal(tmp_path / "none.jpg")
    assert "does not exist" in refusal(str(tmp_path / "none.jpg"))
    (tmp_path / "a").write_bytes(b"x")
    assert "no folder" in refusal(tmp_path / "a" / "b.jpg")
    for text in ("", "  ", "a\x00b"):
        assert "no name of a file" in refusal(text)
    for address in ("https://example.org/a.jpg", "file:///etc/hostname", "ftp://x/y", "data:image/png;base64,AAAA"):
        assert "address" in refusal(address)
    refusal("x" * 5000)
    refusal(3.5)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.jpg")
        assert "ordinary file" in refusal(tmp_path / "pipe.jpg")


def test_refuses_what_may_not_be_read(view, tmp_path, monkeypatch):
    path = tmp_path / "locked.jpg"
    path.write_bytes(make.encode(view))
    if os.name == "posix" and os.geteuid() != 0:
        path.chmod(0)
        assert "permission" in refusal(path)
    else:  # the superuser may read everything: let the system call refuse
        monkeypatch.setattr(os, "open", lambda *_a, **_k: (_ for _ in ()).throw(PermissionError(13, "denied")))
        assert "permission" in refusal(path)
    monkeypatch.setattr(os, "open", lambda *_a, **_k: (_ for _ in ()).throw(OSError(5, "Input/output error")))
    assert "Input/output error" in refusal(path)


ISO = b"\x00\x00\x00\x18ftyp"
OTHER_FILES = [
    (b"", "a.jpg", "empty"),
    (b"\x00" * 500, "a.jpg", "only zeros"),
    (b"Dear diary, today I went up the hill and it was fine.\n" * 9, "a.jpg", "text"),
    (b"GIF89a" + b"\x10\x00" * 30, "a.gif", "GIF"),
    (b"BM" + b"\x10\x00" * 30, "a.bmp", "BMP"),
    (b"%PDF-1.7\n" + b"x" * 90, "a.pdf", "PDF"),
    (b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"/>', "a.svg", "SVG"),
    (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "drawing", "SVG"),
    (b"<!DOCTYPE html><html></html>", "a.jpg", "web page"),
    (ISO + b"isom\x00\x00\x02\x00isommp41" + b"\x00" * 40, "a.mp4", "video"),
    (ISO + b"qt  \x00\x00\x02\x00qt  qt  " + b"\x00" * 40, "a.mov", "video"),
    (b"\x1a\x45\xdf\xa3" + b"\x00" * 40, "a.mkv", "video"),
    (b"RIFF\x00\x00\x10\x00AVI LIST" + b"\x00" * 40, "a.avi", "video"),
    (b"\x47" + b"\x01\x02\x99" * 40, "a.mts", "video"),
    (ISO + b"avif\x00\x00\x00\x00avifmif1" + b"\x00" * 40, "a.avif", "AVIF"),
    (ISO + b"crx \x00\x00\x00\x01crx isom" + b"\x00" * 40, "a.cr3", "raw"),
    (b"II*\x00\x10\x00\x00\x00CR\x02\x00" + b"\x00" * 60, "a.bin", "raw"),
    (b"MM\x00*\x00\x00\x00\x08" + b"\x00" * 60, "a.nef", "raw"),
    (b"II*\x00\x08\x00\x00\x00" + b"\x00" * 60, "a.DNG", "raw"),
    (b"\x00\x01\x99\x98\xff" * 20, "a.raf", "raw"),
    (b"8BPS\x00\x01" + b"\x00" * 60, "a.psd", "layered"),
    (b"\xff\x0a\xfa\x5f" + b"\x07" * 60, "a.jxl", "JPEG XL"),
    (b"\x00\x00\x00\x0cjP  \r\n\x87\n" + b"\x00" * 60, "a.jp2", "JPEG 2000"),
    (b"PK\x03\x04" + b"\x14" * 60, "a.zip", "ZIP"),
    (b"\x7fELF" + b"\x02" * 60, "a.jpg", "program"),
    (bytes(range(128, 256)) * 3, "a.jpg", "no picture"),
]


@pytest.mark.parametrize(("data", "name", "word"), OTHER_FILES, ids=[f"{w}-{n}" for _, n, w in OTHER_FILES])
def test_refuses_other_files_by_what_they_are(data, name, word, tmp_path):
    path = tmp_path / name
    path.write_bytes(data)
    text = refusal(path)
    assert word in text
    assert name in text
    assert word in refusal(data, name=name)


def test_refuses_a_raw_file_without_a_telling_name(view):
    out = io.BytesIO()
    Image.fromarray(view).save(out, "TIFF", tiffinfo={50706: b"\x01\x04\x00\x00"})
    assert "raw" in refusal(out.getvalue())


def test_refuses_sizes_out_of_hand(view):
    for width, height, word in ((1, 1, "at least 64"), (63, 500, "at least 64"), (5000, 66, "crop")):
        assert word in refusal(make.png_of_size(width, height))
    assert "65000 x 64" in refusal(make.png_of_size(65000, 64))
    for width, height, size in ((10_000, 10_000, "100 megapixels"), (14_000, 14_000, "196"), (30_000, 20_000, "600")):
        text = refusal(make.png_of_size(width, height))
        assert size in text
        assert "200 megapixels exist" in text
        assert f"{MOST_MEGAPIXELS:.0f}" in text


def test_a_bomb_is_refused_without_being_decoded(tmp_path):
    """196 megapixels in a few kilobytes: the process must not grow by what a decoded picture would take."""
    path = tmp_path / "bomb.png"
    path.write_bytes(make.png_of_size(14_000, 14_000))
    code = (
        "import resource, sys\n"
        "from irpreview.io.photos import load_photo\n"
        "from irpreview.errors import BadPhoto\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "try: load_photo(sys.argv[1])\n"
        "except BadPhoto: print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)\n"
    )
    pytest.importorskip("resource")
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    assert int(done.stdout) < 20_000 * (1 if sys.platform != "darwin" else 1024)


def test_a_very_large_jpeg_can_be_read_small(view):
    wide = Image.fromarray(view[..., 0]).resize((12_000, 6_000), Image.Resampling.NEAREST)
    out = io.BytesIO()
    wide.save(out, "JPEG", quality=30)
    assert "72 megapixels" in refusal(out.getvalue())
    assert load_photo(out.getvalue(), max_side=1024).pixels.shape == (512, 1024, 3)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"])
@pytest.mark.parametrize("share", [0.02, 0.33, 0.5, 0.9, 0.999])
def test_refuses_cut_files(view, kind, share):
    data = make.encode(view, kind)
    refusal(data[: int(len(data) * share)])
    refusal(data[:-1])


def test_refuses_a_jpeg_of_300_bytes(view):
    assert "damaged" in refusal(make.encode(view)[:300])


def test_refuses_a_png_with_one_byte_flipped(view):
    data = bytearray(make.encode(view, "PNG"))
    for at in range(0, len(data), 997):
        bad = data.copy()
        bad[at] ^= 0x40
        refusal(bytes(bad))


def test_refuses_huge_text_in_a_png(view):
    data = make.encode(view, "PNG")
    text = make.png_chunk(b"zTXt", b"note\0\0" + zlib.compress(b"x" * 80_000_000, 9))
    refusal(data[:33] + text + data[33:])


def test_refuses_values_without_a_known_white(view):
    for values in (view[..., 0].astype(np.float32), view[..., 0].astype(np.int32) * 70_000):
        out = io.BytesIO()
        Image.fromarray(values).save(out, "TIFF")
        assert "8 or 16 bits" in refusal(out.getvalue())


def test_refuses_a_wholly_transparent_picture(view):
    assert "see-through" in refusal(make.encode(np.dstack([view, np.zeros(view.shape[:2], np.uint8)]), "PNG"))


def test_damage_inside_a_jpeg_that_still_decodes_may_pass(view):
    data = bytearray(make.encode(view))
    middle = len(data) // 2
    data[middle : middle + 300] = np.random.default_rng(1).integers(0, 255, 300, np.uint8).tobytes()
    with contextlib.suppress(BadPhoto):
        assert load_photo(bytes(data)).pixels.shape == view.shape


def test_png_header_that_lies_about_its_size(view):
    data = make.encode(view, "PNG")
    header = struct.pack(">II", 4000, 3000) + data[24:29]
    refusal(data[:8] + make.png_chunk(b"IHDR", header) + data[33:])
