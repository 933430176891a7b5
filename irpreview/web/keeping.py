"""Nothing lost: the owner's snaps, corrections and entries in one folder of this computer, until it is emptied.

One sub-folder for each browser, named by a hash of its token; in it the snaps as they were given, the masks of the
corrections as PNG, and `session.json`. Guests of the local network leave nothing here.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from platformdirs import user_data_path

from irpreview.errors import CannotWrite
from irpreview.io.photos import load_photo
from irpreview.io.pictures import write_file
from irpreview.records import CLASS_ID, WORKING_SIDE_PX
from irpreview.request import Inputs
from irpreview.web.answer import Glance
from irpreview.web.pictures import THUMB_SIDE_PX, jpeg_bytes, shrunk
from irpreview.web.sessions import MOST_SNAPS, Correction, Session, Snap

MOST_KEPT = 4
"""Browsers whose sessions are kept; the longest unused goes first."""
VERSION = 1


def default_folder() -> Path:
    """Where sessions are kept: $IRPREVIEW_PAGE, else beside the field log in the user's own data folder."""
    given = os.environ.get("IRPREVIEW_PAGE")
    return Path(given) if given else user_data_path("irpreview", appauthor=False) / "page"


class Keeping:
    """The folder of kept sessions."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder if folder is not None else default_folder()

    def of(self, token: str) -> Path:
        """The sub-folder of a token."""
        return self.folder / hashlib.sha256(token.encode()).hexdigest()[:32]

    def take_in(self, token: str, path: Path) -> Path:
        """Move a snap's file in; returns where it lies now."""
        place = self.of(token)
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
        number = 1 + max((int(one.name.partition("-")[0]) for one in place.glob("[0-9]*-*")), default=0)
        kept = place / f"{number:04d}-{path.name}"
        return write_file(kept, path.read_bytes())

    def save(self, session: Session) -> None:
        """Write the session down; a disk that is full or not writable is no reason to stop work."""
        if not session.owner or not (session.snaps or self.of(session.token).exists()):
            return
        with contextlib.suppress(OSError, CannotWrite):
            place = self.of(session.token)
            place.mkdir(mode=0o700, parents=True, exist_ok=True)
            masks: dict[int, str] = {}
            snaps = [self._snap_facts(place, snap, masks) for snap in session.snaps]
            state = {
                "version": VERSION,
                "current": session.current,
                "inputs": _plain(session.inputs),
                "snaps": snaps,
            }
            write_file(place / "session.json", json.dumps(state).encode())
            wanted = {name for snap in snaps for name in _names(snap)}
            for path in place.iterdir():
                if path.name not in wanted and path.name != "session.json":
                    path.unlink()
            self._prune(place)

    def _snap_facts(self, place: Path, snap: Snap, masks: dict[int, str]) -> dict[str, Any]:
        def written(steps: tuple[Correction, ...]) -> list[list[dict[str, str]]]:
            return [[{"mask": _mask_file(place, mask, masks), "class": name} for mask, name in step] for step in steps]

        small = ""
        if snap.infrared:
            small = f"infrared-{hashlib.sha256(snap.infrared).hexdigest()[:16]}.jpg"
            if not (place / small).exists():
                write_file(place / small, snap.infrared)
        return {
            "file": snap.file.name if snap.file is not None else "",
            "name": snap.photo.name,
            "zone": "",
            "infrared": small,
            "glance": asdict(snap.glance),
            "corrections": written(snap.corrections),
            "undone": written(snap.undone),
        }

    def _prune(self, newest: Path) -> None:
        """Forget the oldest; the one in use is the newest, also when the clock was set back."""
        kept = sorted(
            (one for one in self.folder.iterdir() if (one / "session.json").exists()),
            key=lambda one: (one == newest, (one / "session.json").stat().st_mtime),
        )
        for old in kept[:-MOST_KEPT]:
            shutil.rmtree(old, ignore_errors=True)

    def load(self, session: Session) -> bool:
        """Fill an empty session with what was kept for its token; False where nothing was, or none can be read."""
        place = self.of(session.token)
        try:
            state = json.loads((place / "session.json").read_text())
            if state["version"] != VERSION:
                return False
            session.inputs = _inputs(state["inputs"])
            order = []
            for number, one in enumerate(state["snaps"][:MOST_SNAPS]):
                with contextlib.suppress(Exception):
                    session.snaps.append(_snap(place, one, session.inputs.zone))
                    order.append(number)
            session.current = order.index(state["current"]) if state["current"] in order else 0
        except (OSError, ValueError, KeyError, TypeError):
            return False
        session.put_away = bool(session.snaps)
        return bool(session.snaps)

    def empty(self) -> None:
        """Delete all that is kept."""
        shutil.rmtree(self.folder, ignore_errors=True)


def _names(snap: dict[str, Any]) -> list[str]:
    steps = [*snap["corrections"], *snap["undone"]]
    return [snap["file"], snap["infrared"], *(part["mask"] for step in steps for part in step)]


def _mask_file(place: Path, mask: Any, masks: dict[int, str]) -> str:
    if id(mask) not in masks:
        name = f"mask-{hashlib.sha256(np.packbits(mask).tobytes()).hexdigest()[:16]}.png"
        if not (place / name).exists():
            write_file(place / name, cv2.imencode(".png", mask.astype(np.uint8) * 255)[1].tobytes())
        masks[id(mask)] = name
    return masks[id(mask)]


def _plain(inputs: Inputs) -> dict[str, Any]:
    """The entries as JSON holds them; what does not come from the page's own fields is left at its start."""
    kept = {one.name: getattr(inputs, one.name) for one in fields(Inputs)}
    return {name: value for name, value in kept.items() if value is None or isinstance(value, (str, float, int))}


def _inputs(values: dict[str, Any]) -> Inputs:
    known = {one.name for one in fields(Inputs)}
    return Inputs(**{name: value for name, value in values.items() if name in known})


def _inside(place: Path, name: str) -> Path:
    path = place / name
    if path.parent != place:
        raise ValueError("not a file of this folder")
    return path


def _steps(place: Path, steps: list[list[dict[str, str]]], size: tuple[int, int]) -> tuple[Correction, ...]:
    found = []
    for step in steps:
        parts = []
        for part in step:
            mask = cv2.imread(str(_inside(place, part["mask"])), cv2.IMREAD_GRAYSCALE)
            if mask is None or mask.shape != size or part["class"] not in CLASS_ID:
                raise ValueError("not a mask of this snap")
            parts.append((np.asarray(mask > 127, bool), part["class"]))
        found.append(tuple(parts))
    return tuple(found)


def _snap(place: Path, one: dict[str, Any], zone: str) -> Snap:
    path = _inside(place, one["file"])
    photo = load_photo(path, zone=zone or None, max_side=WORKING_SIDE_PX, name=one["name"])
    size = (photo.height, photo.width)
    return Snap(
        photo,
        jpeg_bytes(shrunk(photo.pixels, THUMB_SIDE_PX), 80),
        _inside(place, one["infrared"]).read_bytes() if one["infrared"] else b"",
        Glance(**one["glance"]),
        corrections=_steps(place, one["corrections"], size),
        undone=_steps(place, one["undone"], size),
        file=path,
    )
