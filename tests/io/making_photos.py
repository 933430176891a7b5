"""Small photo files of every kind, good and bad, made from a real photograph when a test runs."""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any

import numpy as np
import pillow_heif
from PIL import Image, TiffImagePlugin

GPS, EXIF = 0x8825, 0x8769


def encode(pixels: np.ndarray, kind: str = "JPEG", **options: object) -> bytes:
    out = io.BytesIO()
    image = Image.fromarray(pixels)
    if kind == "HEIF":
        pillow_heif.from_pillow(image).save(out, quality=80, **options)
    else:
        if kind == "JPEG":
            options = {"quality": 90, **options}
        image.save(out, kind, **options)
    return out.getvalue()


Tags = dict[int, Any] | None


def exif_block(tags: Tags = None, inner: Tags = None, gps: Tags = None) -> bytes:
    """EXIF bytes with the given tags; rationals may be given as (numerator, denominator)."""
    exif = Image.Exif()
    for number, value in (tags or {}).items():
        exif[number] = value
    if inner:
        exif.get_ifd(EXIF).update(inner)
    if gps:
        exif.get_ifd(GPS).update(gps)
    return exif.tobytes()


def rational(numerator: int, denominator: int) -> TiffImagePlugin.IFDRational:
    return TiffImagePlugin.IFDRational(numerator, denominator)


def png_chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png_of_size(width: int, height: int) -> bytes:
    """A one-bit PNG of any size in a few kilobytes; valid up to 15,000 rows, then its last rows are missing."""
    rows = zlib.compressobj(9)
    line = b"\0" * (1 + (width + 7) // 8)
    body = b"".join(rows.compress(line) for _ in range(min(height, 15_000))) + rows.flush()
    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", header) + png_chunk(b"IDAT", body) + png_chunk(b"IEND", b"")


def _fixed(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def colour_profile(colorants: tuple[tuple[float, ...], ...], name: str = "test colours") -> bytes:
    """An ICC version 2 profile of three colorants (seen from D50) and the sRGB curve."""
    curve = b"para" + bytes(4) + struct.pack(">HH", 3, 0)
    curve += b"".join(_fixed(v) for v in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
    said = name.encode() + b"\0"
    tags = {
        b"desc": b"desc" + bytes(4) + struct.pack(">I", len(said)) + said + bytes(79),
        b"cprt": b"text" + bytes(4) + b"none\0",
        b"wtpt": b"XYZ " + bytes(4) + b"".join(_fixed(v) for v in (0.9642, 1.0, 0.8249)),
    }
    for letter, colorant in zip(b"rgb", colorants, strict=True):
        tags[bytes([letter]) + b"XYZ"] = b"XYZ " + bytes(4) + b"".join(_fixed(v) for v in colorant)
        tags[bytes([letter]) + b"TRC"] = curve
    start, table, body = 128 + 4 + 12 * len(tags), b"", b""
    for tag, value in tags.items():
        value += bytes(-len(value) % 4)
        table += tag + struct.pack(">II", start + len(body), len(value))
        body += value
    head = (
        struct.pack(">I4xI", start + len(body), 0x02400000) + b"mntrRGB XYZ " + struct.pack(">6H", 2026, 1, 1, 0, 0, 0)
    )
    head = (head + b"acsp" + bytes(28) + b"".join(_fixed(v) for v in (0.9642, 1.0, 0.8249))).ljust(128, b"\0")
    return head + struct.pack(">I", len(tags)) + table + body


# Display P3's primaries (SMPTE EG 432-1 with D65) seen from the profile white D50 by the Bradford change of white.
DISPLAY_P3 = ((0.51512, 0.24120, -0.00105), (0.29198, 0.69225, 0.04189), (0.15710, 0.06657, 0.78407))
