"""Which files of a folder are frames brought home, and which snaps they may belong to."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from irpreview.errors import BadPhoto, BadValue
from irpreview.io.raw_frames import RAW_SUFFIXES
from irpreview.io.scout_folder import list_photos

_OWN_SHEET = re.compile(r"home-[0-9a-f]{8}\.jpg")


def frames_in(folder: Path, leave_out: Path | None = None) -> list[Path]:
    """Finished pictures and raw files in a folder and below, by name.

    Of a frame that is there both ways (same name, other ending) the finished picture stands for it: its time is known.
    Raises BadValue where `folder` is no folder that can be read.
    """
    finished = [p.file for p in list_photos(folder, leave_out).photos if not _OWN_SHEET.fullmatch(p.file.name)]
    there = {path.with_suffix("") for path in finished}
    inside = None if leave_out is None else leave_out.resolve()
    raw = [
        path
        for path in sorted(folder.rglob("*"))
        if path.suffix.lower() in RAW_SUFFIXES
        and path.is_file()
        and not path.name.startswith(".")
        and path.with_suffix("") not in there
        and (inside is None or inside not in path.resolve().parents)
    ]
    return sorted([*finished, *raw], key=str)


def snaps_in(given: Sequence[Path]) -> list[Path]:
    """The snaps of files and folders, each once, by its real path. Raises BadValue, BadPhoto."""
    out: list[Path] = []
    for path in given:
        if path.is_dir():
            out += [photo.file for photo in list_photos(path).photos]
        elif path.exists():
            out.append(path)
        else:
            raise BadValue(f"there is no snap or folder {path}; check the path and the spelling")
    if not out:
        raise BadPhoto(f"there is no snap in {', '.join(map(str, given))} (JPEG, HEIC, PNG, WebP, TIFF)")
    return list(dict.fromkeys(path.resolve() for path in out))
