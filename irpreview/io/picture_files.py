"""What kind of file this is, and whether all of it is there, told from its bytes before anything is decoded.

The decoders forgive much: a JPEG cut within its last rows or a PNG with a damaged block can come back as a
picture with blank rows. A prediction from such a picture would look sound and be wrong, so the file's own
bookkeeping is checked first: end markers, block sums, lengths and offsets.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from irpreview.errors import BadPhoto

WHAT_OPENS = "JPEG, HEIC, PNG, WebP and TIFF can be opened"

_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1"}
_RAW_SUFFIXES = frozenset(
    [
        "3fr",
        "arw",
        "cr2",
        "cr3",
        "crw",
        "dcr",
        "dng",
        "erf",
        "iiq",
        "kdc",
        "mef",
        "mos",
        "mrw",
        "nef",
        "nrw",
        "orf",
        "pef",
        "raf",
        "raw",
        "rw2",
        "rwl",
        "sr2",
        "srf",
        "srw",
        "x3f",
    ]
)
_VIDEO_SUFFIXES = frozenset(["3gp", "avi", "m2ts", "m4v", "mkv", "mov", "mp4", "mpeg", "mpg", "mts", "webm", "wmv"])

_RAW_ADVICE = "develop it to JPEG or TIFF first, or take the JPEG that the camera wrote beside it"
_VIDEO_ADVICE = "take a still from it, or a photo of the same view"

# (offset, bytes, what it is, what to do); the first that fits wins
_OTHER_KINDS: tuple[tuple[int, bytes, str, str], ...] = (
    (0, b"GIF8", "a GIF, which holds too few colours to tell surfaces apart", "use the original photo"),
    (0, b"BM", "a BMP picture", "save it as JPEG or PNG"),
    (0, b"%PDF", "a PDF", "take the photo out of it as JPEG"),
    (0, b"8BPS", "a layered picture of an editing program", "export it as JPEG or TIFF"),
    (0, b"\x1a\x45\xdf\xa3", "a video", _VIDEO_ADVICE),
    (8, b"AVI ", "a video", _VIDEO_ADVICE),
    (0, b"\x00\x00\x01\xba", "a video", _VIDEO_ADVICE),
    (0, b"\x00\x00\x01\xb3", "a video", _VIDEO_ADVICE),
    (0, b"OggS", "a sound or video file", _VIDEO_ADVICE),
    (0, b"\xff\x0a", "a JPEG XL picture", "save it as JPEG"),
    (4, b"JXL ", "a JPEG XL picture", "save it as JPEG"),
    (4, b"jP  ", "a JPEG 2000 picture", "save it as JPEG"),
    (0, b"PK\x03\x04", "a ZIP archive or document", "take the photo out of it first"),
    (0, b"\x1f\x8b", "a compressed archive", "take the photo out of it first"),
    (0, b"7z\xbc\xaf", "a compressed archive", "take the photo out of it first"),
    (0, b"\x7fELF", "a program", "choose a photo"),
    (0, b"MZ", "a program", "choose a photo"),
)


def kind_of(head: bytes, name: str) -> str:
    """'JPEG', 'PNG', 'WEBP', 'TIFF' or 'HEIF', from the first bytes (64 are enough) of a file.

    The name only helps to word a refusal. Raises BadPhoto for everything else, saying what it is instead.
    """
    suffix = name.rpartition(".")[2].lower() if "." in name else ""
    if not head:
        raise BadPhoto(f"{name} is empty (0 bytes); copy it again from the phone")
    if head.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if head.startswith(b"RIFF") and head[8:12] == b"WEBP":
        return "WEBP"
    if head[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):
        if suffix in _RAW_SUFFIXES or head[8:10] == b"CR":
            raise BadPhoto(f"{name} is a camera raw file; {_RAW_ADVICE}")
        return "TIFF"
    if head[4:8] == b"ftyp":
        return _kind_of_boxed(head, name)
    for offset, mark, what, advice in _OTHER_KINDS:
        if head[offset : offset + len(mark)] == mark:
            raise BadPhoto(f"{name} is {what}; {advice}")
    if head[4:8] in (b"moov", b"mdat", b"wide", b"free", b"skip") or suffix in _VIDEO_SUFFIXES:
        raise BadPhoto(f"{name} is a video; {_VIDEO_ADVICE}")
    if suffix in _RAW_SUFFIXES:
        raise BadPhoto(f"{name} is a camera raw file; {_RAW_ADVICE}")
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if start.startswith(b"<svg") or (suffix == "svg" and start.startswith(b"<")):
        raise BadPhoto(f"{name} is a drawing (SVG), not a photo; choose a photo")
    if start.startswith((b"<!doctype", b"<html", b"<?xml")):
        raise BadPhoto(f"{name} is a web page or text, not a photo; save the photo itself")
    if not any(head):
        raise BadPhoto(f"{name} holds only zeros, as after a failed copy; copy it again from the phone")
    if _looks_like_text(head):
        raise BadPhoto(f"{name} is text, not a photo; choose a photo ({WHAT_OPENS})")
    raise BadPhoto(f"{name} is no picture that is known here, or its start is damaged; {WHAT_OPENS}")


def _kind_of_boxed(head: bytes, name: str) -> str:
    length = struct.unpack(">I", head[:4])[0]
    brands = [head[8:12]] + [head[i : i + 4] for i in range(16, min(length, len(head)) - 3, 4)]
    if b"crx " in brands:
        raise BadPhoto(f"{name} is a camera raw file; {_RAW_ADVICE}")
    if brands[0] in (b"avif", b"avis") or (b"avif" in brands and not _HEIC_BRANDS & {brands[0]} - {b"mif1"}):
        raise BadPhoto(f"{name} is an AVIF picture, which is not opened here; save it as JPEG")
    if _HEIC_BRANDS & set(brands[:2]) or brands[0] in _HEIC_BRANDS:
        return "HEIF"
    raise BadPhoto(f"{name} is a video; {_VIDEO_ADVICE}")


def _looks_like_text(head: bytes) -> bool:
    try:
        text = head[:60].decode("utf-8", errors="ignore")
    except ValueError:
        return False
    return len(text) >= 0.8 * len(head[:60]) and all(c.isprintable() or c in "\r\n\t" for c in text)


def check_whole(data: bytes, kind: str, name: str) -> None:
    """Raise BadPhoto if the file ends too early or its own sums do not add up."""
    fault = {"JPEG": _jpeg_fault, "PNG": _png_fault, "WEBP": _webp_fault, "TIFF": _tiff_fault, "HEIF": _boxed_fault}
    if problem := fault[kind](data):
        raise BadPhoto(f"{name} is damaged: {problem}; copy it again from the phone, or use another photo")


_CUT = "the file ends too early"


def _jpeg_fault(data: bytes) -> str | None:
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return "its header makes no sense"
        marker = data[at + 1]
        if marker == 0xFF:  # padding
            at += 1
            continue
        if marker == 0xDA:
            # in compressed data FF is always followed by 00 or a restart mark, so the end mark is no accident
            return _scans_fault(data, at) if data.rfind(b"\xff\xd9") > at else _CUT
        if marker == 0x01 or 0xD0 <= marker <= 0xD8:
            at += 2
            continue
        if marker == 0xD9:
            return "it holds no picture"
        at += 2 + struct.unpack(">H", data[at + 2 : at + 4])[0]
    return _CUT


MOST_SCANS = 200
"""Of one JPEG. Cameras and programs write 1 to 15; each costs a pass over the whole picture."""
MOST_SCANNED_MEGAPIXELS = 1500.0
"""Scans times megapixels, which is what decoding costs: 15 scans of 65 megapixels are 975."""
_MARK = re.compile(rb"\xff[\xc4\xd9\xda\xdd\xdb\xc0-\xc2]")


def _scans_fault(data: bytes, at: int) -> str | None:
    """Too many scans, or a progressive picture (ITU-T T.81, annex G) that lacks the scans that complete it."""
    progressive, scans = b"\xff\xc2" in data[:at], 0
    left: dict[int, list[int]] = {}
    megapixels = _jpeg_pixels(data[:at]) / 1e6
    for mark in _MARK.finditer(data, at):
        kind, start = data[mark.start() + 1], mark.end()
        if kind == 0xD9:
            break
        if kind != 0xDA:
            continue
        scans += 1
        if scans > MOST_SCANS:
            return f"it has more than {MOST_SCANS} scans"
        if scans * megapixels > MOST_SCANNED_MEGAPIXELS:
            return f"it goes over its {megapixels:.0f} megapixels {scans} times and more"
        if start + 3 > len(data):
            return _CUT
        number = data[start + 2]
        end = start + 3 + 2 * number
        if not 1 <= number <= 4 or end + 3 > len(data):
            return "its header makes no sense"
        first, last, low_bit = data[end], data[end + 1], data[end + 2] & 15
        for component in data[start + 3 : end : 2]:
            bits = left.setdefault(component, [1] * 64)
            bits[first : min(last, 63) + 1] = [low_bit] * max(min(last, 63) + 1 - first, 0)
    if progressive and any(any(bits) for bits in left.values()):
        return _CUT
    return None


def _jpeg_pixels(head: bytes) -> int:
    """Pixels by the frame header in what comes before the first scan; 0 where there is none."""
    at = 2
    while at + 9 <= len(head):
        marker = head[at + 1]
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            return int.from_bytes(head[at + 5 : at + 7], "big") * int.from_bytes(head[at + 7 : at + 9], "big")
        at += 1 if marker == 0xFF else 2 + int.from_bytes(head[at + 2 : at + 4], "big")
    return 0


def _png_fault(data: bytes) -> str | None:
    view, at = memoryview(data), 8
    while at + 12 <= len(data):
        length = int.from_bytes(view[at : at + 4], "big")
        end = at + 12 + length
        if end > len(data):
            return _CUT
        if zlib.crc32(view[at + 4 : end - 4]) != int.from_bytes(view[end - 4 : end], "big"):
            return "a block of it does not match its check sum"
        if data[at + 4 : at + 8] == b"IEND":
            return None
        at = end
    return _CUT


def _webp_fault(data: bytes) -> str | None:
    return _CUT if len(data) < 12 or len(data) < 8 + int.from_bytes(data[4:8], "little") else None


def _boxed_fault(data: bytes) -> str | None:
    at = 0
    while at < len(data):
        if at + 8 > len(data):
            return _CUT
        length = int.from_bytes(data[at : at + 4], "big")
        if length == 1 and at + 16 <= len(data):
            length = int.from_bytes(data[at + 8 : at + 16], "big")
        elif length == 0:  # to the end of the file
            return None
        if length < 8:
            return "its header makes no sense"
        at += length
    return _CUT if at > len(data) else None


# ---------------------------------------------------------------- TIFF, which also is the inside of an EXIF block

_TYPE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
_STRIP_TAGS = ((273, 279), (324, 325))
_DNG_VERSION = 50706
_SUB_FOLDERS = (34665, 34853)  # EXIF, GPS
_MOST_ENTRIES = 4096


@dataclass(frozen=True, slots=True)
class _Entry:
    tag: int
    kind: int
    count: int
    offset: int
    """Where the value lies."""
    length: int


class _Malformed(Exception):
    pass


def _tiff_folders(data: bytes, sub: bool) -> Iterator[list[_Entry]]:
    """The entries of each image file directory, in file order. Raises _Malformed where one leaves the file."""
    if len(data) < 8:
        raise _Malformed(_CUT)
    order = "<" if data[:2] == b"II" else ">"
    big = data[2:4] in (b"+\x00", b"\x00+")
    count_form, word_form, entry_bytes = ("Q", "Q", 20) if big else ("H", "I", 12)
    word = struct.calcsize(order + word_form)
    waiting, seen = [_read(data, order + word_form, 8 if big else 4)], set()
    while waiting:
        at = waiting.pop(0)
        if at == 0 or at in seen:
            continue
        seen.add(at)
        if len(seen) > 64:
            raise _Malformed("its header makes no sense")
        number = _read(data, order + count_form, at)
        start = at + struct.calcsize(order + count_form)
        if not 0 < number <= _MOST_ENTRIES:
            raise _Malformed("its header makes no sense")
        entries = []
        for i in range(number):
            place = start + i * entry_bytes
            tag, kind = _read(data, order + "H", place), _read(data, order + "H", place + 2)
            count = _read(data, order + word_form, place + 4)
            length = _TYPE_BYTES.get(kind, 1) * count
            inside = place + 4 + word
            offset = inside if length <= word else _read(data, order + word_form, inside)
            if kind in _TYPE_BYTES and offset + length > len(data):
                raise _Malformed(_CUT)
            entries.append(_Entry(tag, kind, count, offset, length))
            if sub and tag in _SUB_FOLDERS:
                waiting.append(_read(data, order + word_form, inside))
        yield entries
        waiting.append(_read(data, order + word_form, start + number * entry_bytes))


def _read(data: bytes, form: str, at: int) -> int:
    try:
        return int(struct.unpack_from(form, data, at)[0])
    except struct.error as error:
        raise _Malformed(_CUT) from error


def _numbers(data: bytes, entry: _Entry) -> list[int]:
    order = "<" if data[:2] == b"II" else ">"
    form = {3: "H", 4: "I", 16: "Q"}.get(entry.kind)
    if form is None or entry.count > 1_000_000:
        return []
    return list(struct.unpack_from(f"{order}{entry.count}{form}", data, entry.offset))


def _tiff_fault(data: bytes) -> str | None:
    try:
        for entries in _tiff_folders(data, sub=False):
            by_tag = {entry.tag: entry for entry in entries}
            for where, how_long in _STRIP_TAGS:
                if where in by_tag and how_long in by_tag:
                    starts, lengths = _numbers(data, by_tag[where]), _numbers(data, by_tag[how_long])
                    if any(a + b > len(data) for a, b in zip(starts, lengths, strict=False)):
                        return _CUT
    except _Malformed as fault:
        return str(fault)
    return None


def is_raw_tiff(data: bytes) -> bool:
    """A raw file without a telling name: the tag that says which version of the digital negative it is."""
    try:
        return any(entry.tag == _DNG_VERSION for entries in _tiff_folders(data, sub=False) for entry in entries)
    except _Malformed:
        return False


def exif_is_sound(block: bytes) -> bool:
    """Whether an EXIF block can be walked from end to end without leaving it."""
    block = block.removeprefix(b"Exif\x00\x00")
    if block[:4] not in (b"II*\x00", b"MM\x00*"):
        return False
    try:
        for _ in _tiff_folders(block, sub=True):
            pass
    except _Malformed:
        return False
    return True
