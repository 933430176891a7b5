"""The photos of a folder and its subfolders, found without ever going round in circles."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from irpreview.errors import BadValue

PHOTO_SUFFIXES = frozenset(
    (".jpg", ".jpeg", ".jpe", ".jfif", ".heic", ".heif", ".hif", ".png", ".webp", ".tif", ".tiff")
)


@dataclass(frozen=True, slots=True)
class FoundPhoto:
    """One file that calls itself a photo."""

    path: str
    """Relative to the folder, with forward slashes; may hold bytes that are no text (surrogates)."""
    file: Path
    stamp: tuple[int, int, int, int]
    """Size, times of last change of content and of entry, and number of the file: equal = not touched since."""


@dataclass(frozen=True, slots=True)
class FolderListing:
    """What a folder holds."""

    photos: tuple[FoundPhoto, ...]
    unreadable: tuple[tuple[str, str], ...]
    """(relative path, one line why) of subfolders and files that may not be looked at."""
    other_files: int
    """Files of other kinds, left aside."""


def stamp_of(facts: os.stat_result) -> tuple[int, int, int, int]:
    """What tells that a file is the same as before."""
    return facts.st_size, facts.st_mtime_ns, facts.st_ctime_ns, facts.st_ino


def list_photos(folder: Path, leave_out: Path | None = None) -> FolderListing:
    """All photos in `folder` and below, by path.

    leave_out: a folder inside that is not looked into (the results). Links are followed, each real folder is entered
    once, and links that lead up to a folder above are not followed. Names that begin with a dot are left aside.
    Raises BadValue where `folder` is no folder that can be read.
    """
    root = check_folder(folder)
    seen = {_id(facts) for facts in _above(root)}
    seen.add(_id(root.stat()))
    if leave_out is not None and leave_out.exists():
        seen.add(_id(leave_out.stat()))
    photos: list[FoundPhoto] = []
    unreadable: list[tuple[str, str]] = []
    others = 0
    plain: list[tuple[Path, str]] = [(root, "")]
    linked: list[tuple[Path, str]] = []  # after all real ones: a link to one of those is then its second name
    while plain or linked:
        where, prefix = plain.pop() if plain else linked.pop(0)
        if prefix and not _first_time(where, seen):
            continue
        try:
            with os.scandir(where) as entries:
                found = sorted(entries, key=lambda e: e.name)
        except OSError as error:
            if not prefix:
                raise BadValue(
                    f"{folder} cannot be looked into ({error.strerror or error}); change its permissions"
                ) from None
            unreadable.append((prefix.rstrip("/"), f"this folder may not be looked into ({error.strerror or error})"))
            continue
        for entry in found:
            if entry.name.startswith("."):
                continue
            path = prefix + entry.name
            try:
                if entry.is_dir():
                    (linked if entry.is_symlink() else plain).append((Path(entry.path), path + "/"))
                elif os.path.splitext(entry.name)[1].lower() not in PHOTO_SUFFIXES:
                    others += 1
                elif entry.is_symlink() and not os.path.exists(entry.path):
                    unreadable.append((path, "this link leads nowhere"))
                elif entry.is_file():
                    photos.append(FoundPhoto(path, Path(entry.path), stamp_of(os.stat(entry.path))))
            except OSError as error:  # a link in a circle, or gone since
                unreadable.append((path, f"cannot be looked at ({error.strerror or error})"))
    photos.sort(key=lambda p: p.path)
    return FolderListing(tuple(photos), tuple(sorted(unreadable)), others)


def check_folder(folder: Path) -> Path:
    """The folder by its real path. Raises BadValue where it is none or cannot be reached."""
    text = str(folder)
    if not text.strip() or "\x00" in text:
        raise BadValue(f"{text[:80]!r} is no name of a folder; give the folder with the snaps")
    try:
        if not folder.exists():
            raise BadValue(f"there is no folder {text}; check the path and the spelling")
        if not folder.is_dir():
            raise BadValue(f"{text} is a file, not a folder; for single photos there is `irpreview judge`")
        return folder.resolve()
    except (OSError, RuntimeError) as error:
        raise BadValue(f"{text[:200]} cannot be looked into ({getattr(error, 'strerror', None) or error})") from None


def _id(facts: os.stat_result) -> tuple[int, int]:
    return facts.st_dev, facts.st_ino


def _above(folder: Path) -> Iterator[os.stat_result]:
    for parent in folder.parents:
        try:
            yield parent.stat()
        except OSError:
            continue


def _first_time(folder: Path, seen: set[tuple[int, int]]) -> bool:
    try:
        own = _id(folder.stat())
    except OSError:
        return True  # refused with its reason when it is opened
    if own in seen:
        return False
    seen.add(own)
    return True
