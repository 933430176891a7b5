"""A log entry from the files of a day: the infrared frame, the snap beside it, and what was typed on top."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from irpreview.core.exposure.frame_pairs import curve_linear
from irpreview.core.exposure.metering import from_snap, picture_brightness_stops
from irpreview.core.field_log.entries import LogEntry, check_entry
from irpreview.core.field_log.hot_spot import EvenFrame
from irpreview.core.light.daylight import sun_position
from irpreview.errors import BadPhoto, BadValue
from irpreview.io.ordinary_file import Wanted, opened
from irpreview.io.photos import load_photo
from irpreview.io.raw_frames import is_raw, load_raw
from irpreview.records import FloatArray, Photo, Shot

READ_SIDE_PX = 1200
BLOWN_SHARE = 0.10
BLACK_STOPS = -2.9
"""Mean of a frame that says no more than that it is black: the lowest that `picture_brightness_stops` gives is -3."""


def entry_from_files(
    kit_name: str,
    kit_key: str,
    frame: Path | None,
    snap: Path | None,
    typed: Mapping[str, Any],
    zone: str | None = None,
) -> LogEntry:
    """What the files say, overruled by what was typed (fields of LogEntry). Raises BadPhoto, BadValue.

    The frame's own brightness stands for how it came out where nothing was typed: its mean against middle grey.
    """
    value: dict[str, Any] = {}
    if snap is not None:
        value |= _from_snap(load_photo(snap, zone=zone, max_side=READ_SIDE_PX), snap)
    if frame is not None:
        judged = bool({"came_out_stops", "outcome"} & typed.keys())
        value |= _from_frame(frame, zone, judged=judged)
    value |= typed
    entry = LogEntry(kit_name=kit_name, kit_key=kit_key, **value)
    if entry.sun_height_deg is None and entry.place is not None and entry.taken_at is not None:
        entry = replace(entry, sun_height_deg=round(sun_position(entry.place, entry.taken_at)[0], 1))
    return check_entry(entry)


def _from_snap(photo: Photo, path: Path) -> dict[str, Any]:
    out: dict[str, Any] = {"snap_path": str(path.resolve()), "snap_sha256": photo.content_sha256}
    out |= _when_and_where(photo)
    metering = from_snap(photo)
    if metering is not None:
        out["metered_ev100"] = round(metering.ev100.likely, 3)
    return out


def _from_frame(path: Path, zone: str | None, *, judged: bool) -> dict[str, Any]:
    out: dict[str, Any] = {"frame_path": str(path.resolve()), "frame_sha256": content_sha256(path)}
    shot: Shot
    if is_raw(path):
        shot = load_raw(path).shot  # raw values have no middle grey of their own: how it came out is typed
    else:
        photo = load_photo(path, zone=zone, max_side=READ_SIDE_PX)
        shot = photo.shot
        out |= _when_and_where(photo)
        if not judged:
            mean, blown = picture_brightness_stops(photo.pixels)
            out["came_out_stops"] = round(mean, 2)
            if blown > BLOWN_SHARE:
                out["outcome"] = "clipped"
            elif mean <= BLACK_STOPS:
                out["outcome"] = "blocked"
    return out | _exposure_of(shot)


def _exposure_of(shot: Shot) -> dict[str, Any]:
    out = {name: getattr(shot, name) for name in ("iso", "f_number", "shutter_s") if getattr(shot, name) is not None}
    if shot.focal_35mm_mm is not None:
        out["focal_mm"] = shot.focal_35mm_mm
    return out


def content_sha256(path: Path) -> str:
    """What a file is known by wherever it lies. Raises BadPhoto."""
    with opened(path, Wanted(BadPhoto, "the frame", "name a frame")) as (file, _):
        return hashlib.file_digest(file, "sha256").hexdigest()


@dataclass(frozen=True, slots=True)
class FrameFile:
    """An infrared frame as its file gives it, read once for all that is done with it."""

    linear: FloatArray
    """(H, W) at most `READ_SIDE_PX` long: brightness, linear as far as its curve allows, full scale 1."""
    clock: datetime | None
    """Its camera's own clock, without zone."""
    facts: Mapping[str, Any]
    """Fields of a log entry; how it came out is judged by its brightness alone."""


def read_frame(path: Path, zone: str | None = None) -> FrameFile:
    """Read a frame brought home: picture, clock, exposure. Raises BadPhoto."""
    out: dict[str, Any] = {"frame_path": str(path.resolve()), "frame_sha256": content_sha256(path)}
    if is_raw(path):
        raw = load_raw(path)
        whole = np.asarray(raw.linear.mean(axis=2), np.float32)
        k = READ_SIDE_PX / max(whole.shape)
        linear = cv2.resize(whole, None, fx=k, fy=k, interpolation=cv2.INTER_AREA) if k < 1 else whole
        return FrameFile(np.asarray(linear, np.float32), None, out | _exposure_of(raw.shot))
    photo = load_photo(path, zone=zone, max_side=READ_SIDE_PX)
    mean, blown = picture_brightness_stops(photo.pixels)
    out |= _when_and_where(photo) | _exposure_of(photo.shot) | {"came_out_stops": round(mean, 2)}
    if blown > BLOWN_SHARE:
        out["outcome"] = "clipped"
    elif mean <= BLACK_STOPS:
        out["outcome"] = "blocked"
    return FrameFile(_linear_of(photo), photo.taken_at_naive, out)


def _when_and_where(photo: Photo) -> dict[str, Any]:
    out: dict[str, Any] = {}
    if photo.taken_at is not None:
        out["taken_at"] = photo.taken_at
    elif photo.taken_at_naive is not None:
        out["taken_on"] = photo.taken_at_naive.date()
    if photo.place is not None:
        out["place"] = photo.place
    return out


def linear_frame(path: Path) -> tuple[FloatArray, str]:
    """(brightness (H, W) of an infrared frame, linear as far as its curve allows, full scale 1; its name).

    Behind the filter nearly all light is in the red channel, but a picture already made grey has three equal ones: the
    mean of the channels serves both. Raises BadPhoto.
    """
    if is_raw(path):
        return np.asarray(load_raw(path).linear.mean(axis=2), np.float32), path.name
    photo = load_photo(path)
    return _linear_of(photo), photo.name


def _linear_of(photo: Photo) -> FloatArray:
    return np.asarray(curve_linear(photo.pixels.astype(np.float32) / 255.0, 0.0).mean(axis=2), np.float32)


def focal_and_aperture(path: Path, focal_mm: float | None, f_number: float | None) -> tuple[float, float]:
    """(focal length [mm], f-number) of a frame as typed, else as its file says. Raises BadValue where neither does."""
    shot = load_raw(path).shot if is_raw(path) else load_photo(path, max_side=READ_SIDE_PX).shot
    focal_mm = focal_mm if focal_mm is not None else shot.focal_35mm_mm
    f_number = f_number if f_number is not None else shot.f_number
    missing = [n for n, v in (("focal length (--focal)", focal_mm), ("aperture (--aperture)", f_number)) if v is None]
    if focal_mm is None or f_number is None:
        raise BadValue(f"{path.name} does not say its {' and '.join(missing)}; give it")
    return focal_mm, f_number


def spot_frame(path: Path) -> EvenFrame:
    """A frame of an even subject as the hot-spot measurement takes it. Raises BadPhoto."""
    if is_raw(path):
        raw = load_raw(path)
        return EvenFrame(np.asarray(raw.linear.mean(axis=2), np.float32), coded=False, shot=raw.shot, name=path.name)
    photo = load_photo(path)
    code = photo.pixels.astype(np.float32).mean(axis=2) / 255.0
    return EvenFrame(np.asarray(code, np.float32), coded=True, shot=photo.shot, name=photo.name)
