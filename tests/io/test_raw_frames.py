"""Raw files: mosaic to linear frame, exposure data, and what is said where rawpy is not installed."""

import struct
import sys
from pathlib import Path

import numpy as np
import pytest

from irpreview.errors import BadPhoto
from irpreview.io.raw_frames import frame_from_mosaic, is_raw, load_raw
from irpreview.records import Shot

BLACK, WHITE = 512, 16000
PATTERN = np.array([[0, 1], [3, 2]], np.uint8)  # red green / green blue


def mosaic_of(red: float, green: float, blue: float, size: tuple[int, int] = (64, 96)) -> np.ndarray:
    """Even colour as shares of full scale, black level added."""
    value = np.empty(size, np.float64)
    value[0::2, 0::2], value[1::2, 1::2] = red, blue
    value[0::2, 1::2] = value[1::2, 0::2] = green
    return np.round(BLACK + value * (WHITE - BLACK)).astype(np.uint16)


def write_dng(path: Path, mosaic: np.ndarray, *, shutter: tuple[int, int], f_number: tuple[int, int], iso: int) -> Path:
    """The smallest DNG (Adobe DNG 1.4 tags on TIFF 6.0) that a reader takes."""
    tall, wide = mosaic.shape
    extra = bytearray()
    data_at = 8 + 2 + 22 * 12 + 4

    def entry(tag: int, kind: int, count: int, payload: bytes) -> bytes:
        if len(payload) <= 4:
            return struct.pack("<HHI", tag, kind, count) + payload.ljust(4, b"\0")
        where = data_at + len(extra)
        extra.extend(payload + b"\0" * (len(payload) % 2))
        return struct.pack("<HHII", tag, kind, count, where)

    def short(*v: int) -> tuple[int, int, bytes]:
        return 3, len(v), struct.pack(f"<{len(v)}H", *v)

    def long(*v: int) -> tuple[int, int, bytes]:
        return 4, len(v), struct.pack(f"<{len(v)}I", *v)

    def text(v: str) -> tuple[int, int, bytes]:
        return 2, len(v) + 1, v.encode() + b"\0"

    def ratio(*v: tuple[int, int]) -> tuple[int, int, bytes]:
        return 5, len(v), b"".join(struct.pack("<II", *x) for x in v)

    def signed(*v: tuple[int, int]) -> tuple[int, int, bytes]:
        return 10, len(v), b"".join(struct.pack("<ii", *x) for x in v)

    one, none = (1, 1), (0, 1)
    strip_at = data_at + 4096
    tags = {
        254: long(0),
        256: long(wide),
        257: long(tall),
        258: short(16),
        259: short(1),
        262: short(32803),
        271: text("Drawn"),
        272: text("Drawn One"),
        273: long(strip_at),
        274: short(1),
        277: short(1),
        278: long(tall),
        279: long(mosaic.nbytes),
        33421: short(2, 2),
        33422: (1, 4, bytes([0, 1, 1, 2])),
        34665: long(0),
        50706: (1, 4, bytes([1, 4, 0, 0])),
        50708: text("Drawn One"),
        50714: long(BLACK),
        50717: long(WHITE),
        50721: signed(one, none, none, none, one, none, none, none, one),
        50728: ratio((1, 2), (1, 1), (2, 3)),
    }
    assert len(tags) == 22
    exif = {33434: ratio(shutter), 33437: ratio(f_number), 34855: short(iso)}
    entries = b"".join(entry(tag, *value) for tag, value in sorted(exif.items()))
    tags[34665] = long(data_at + len(extra))
    extra.extend(struct.pack("<H", len(exif)) + entries + struct.pack("<I", 0))
    body = b"".join(entry(tag, *value) for tag, value in sorted(tags.items()))
    head = b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(tags)) + body + struct.pack("<I", 0)
    path.write_bytes((head + bytes(extra)).ljust(strip_at, b"\0") + mosaic.astype("<u2").tobytes())
    return path


def frame(mosaic: np.ndarray):
    colours = np.tile(PATTERN, (mosaic.shape[0] // 2, mosaic.shape[1] // 2))
    black = np.full(4, BLACK, np.float32)
    return frame_from_mosaic(mosaic.astype(np.float32), colours, black, WHITE, (2.0, 1.0, 1.5), Shot(iso=100), "a.dng")


def test_a_mosaic_becomes_linear_channels_at_neutral_balance() -> None:
    made = frame(mosaic_of(0.2, 0.4, 0.1))
    assert made.linear.shape == (32, 48, 3)
    assert made.linear.mean(axis=(0, 1)) == pytest.approx([0.4, 0.4, 0.15], abs=0.001)
    assert made.raw
    assert made.clipped is not None
    assert not made.clipped.any()


def test_clipping_is_kept_per_channel() -> None:
    made = frame(mosaic_of(1.0, 0.4, 0.1))
    assert made.clipped is not None
    assert made.clipped.mean(axis=(0, 1)).tolist() == [1.0, 0.0, 0.0]


def test_names_tell_raw_files() -> None:
    assert is_raw(Path("A.NEF"))
    assert is_raw(Path("b.dng"))
    assert not is_raw(Path("b.jpg"))


def test_without_rawpy_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(BadPhoto, match=r"pip install 'irpreview\[raw\]'"):
        load_raw(Path("a.dng"))


def test_a_dng_is_read_with_its_exposure_data(tmp_path: Path) -> None:
    pytest.importorskip("rawpy", reason="the optional extra irpreview[raw] is not installed")
    path = write_dng(
        tmp_path / "drawn.dng", mosaic_of(0.2, 0.4, 0.1, (256, 384)), shutter=(30, 1), f_number=(80, 10), iso=400
    )
    read = load_raw(path)
    assert read.shot.shutter_s == pytest.approx(30.0)
    assert read.shot.f_number == pytest.approx(8.0)
    assert read.shot.iso == pytest.approx(400.0)
    sensor = read.linear.mean(axis=(0, 1)) / np.array(read.gains)
    assert sensor == pytest.approx([0.2, 0.4, 0.1], abs=0.005)


def test_a_broken_raw_file_is_refused(tmp_path: Path) -> None:
    pytest.importorskip("rawpy", reason="the optional extra irpreview[raw] is not installed")
    path = tmp_path / "broken.nef"
    path.write_bytes(b"II*\0 not a raw file")
    with pytest.raises(BadPhoto, match="cannot be read as a raw file"):
        load_raw(path)
