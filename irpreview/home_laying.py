"""Frames brought home, one at a time in a worker: a snap made ready to be looked for, a frame laid on the likely snaps.

What is made of the snaps lies in a folder of its own for as long as the run takes; each worker reads from it what it
needs. Every refusal is an answer, so that one bad file never ends the run.
"""

from __future__ import annotations

import pickle
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.analysis import Analysis, analyse
from irpreview.core.field_log.comparison import Comparison, compare, differences_of
from irpreview.core.field_log.entries import ToneDifference
from irpreview.core.field_log.matching import NEAR_IN_TIME, Sighting
from irpreview.core.imaging.registration import (
    LEAST_BITE,
    Registration,
    best_placement,
    placement_from,
    placement_near,
)
from irpreview.core.imaging.resize import within
from irpreview.core.imaging.srgb import luminance
from irpreview.core.imaging.template_search import Template, likely_places, rough_places, sharper_place, template_of
from irpreview.core.verdict.layers import at_photo_size
from irpreview.errors import BadPair, IrpreviewError
from irpreview.io.log_entry_files import FrameFile, read_frame
from irpreview.io.log_exchange import LogLessons
from irpreview.io.photos import load_photo
from irpreview.log_frames import facts_of_snap, without_lessons
from irpreview.records import WORKING_SIDE_PX, ByteArray, FloatArray, Kit, Layer, Place, Range, frozen_array
from irpreview.request import Request

LAID_SIDE_PX = 512
"""Long side of a snap as frames are laid on it."""
SHOWN_SIDE_PX = 440
ALIKE_TRIED, NEAR_TRIED = 4, 2
"""On so many of the snaps most like it a frame is tried, and on so many nearest in time."""
BEYOND_DOUBT = 2.0 * LEAST_BITE
SHARPENED = (3, 1)
"""Where nothing is beyond doubt: so many places are searched more finely on the snap most like it, and on the next."""
WORTH_A_CLOSER_LOOK = 0.35
"""Less alike at first look, a snap is none that a costly search would find the frame on: of 55 frames on their own
snaps none was below 0.39, half of those on others were below 0.27."""
RIVAL_LIKENESS = 0.6
"""Once a frame lies beyond doubt on a snap, only others that are so alike at first look are tried as well."""
_NO_PICTURE: ByteArray = np.zeros((0, 0, 3), np.uint8)


@dataclass(frozen=True, slots=True)
class SnapTask:
    """One snap to make ready."""

    file: str
    kit: Kit
    zone: str | None
    lessons: LogLessons | None


@dataclass(frozen=True, slots=True)
class SnapView:
    """A snap as frames are laid on it and compared with its prediction."""

    file: str
    name: str
    clock: datetime | None
    """Its phone's own clock, without zone."""
    facts: dict[str, Any]
    """Fields of a log entry."""
    kit_name: str
    place: Place | None
    taken_at: datetime | None
    recommended: dict[str, float]
    """ISO, f-number and time; empty where no light is known."""
    metered_ev100: Range | None
    factor_stops: Range | None
    """As the plan had it: what the log taught before included."""
    tones: NDArray[np.float16]
    """(h, w) predicted, 512 px long."""
    luminance: NDArray[np.float16]
    label: ByteArray
    layers: tuple[Layer, ...]
    layer_map: NDArray[np.int16]
    shown: ByteArray
    """(h, w) the finished prediction, 440 px long."""


@dataclass(frozen=True, slots=True)
class FrameTask:
    """One frame to find the snap of."""

    file: str
    zone: str | None
    folder: str
    """Where the snaps lie ready."""


@dataclass(frozen=True, slots=True)
class Unusable:
    """A file that cannot be used, and why."""

    file: str
    why: str


@dataclass(frozen=True, slots=True)
class Laid:
    """A frame laid on one snap and compared with its prediction."""

    came_out_stops: float
    """Of a neutral grey against middle grey."""
    result: Comparison
    differences: tuple[ToneDifference, ...]
    frame_shown: ByteArray
    """(h, w) the frame as seen from the snap, 440 px long; black where it does not reach."""
    difference_shown: ByteArray


@dataclass(frozen=True, slots=True)
class FrameSeen:
    """A frame and how it lies on the snaps it was tried on."""

    file: str
    clock: datetime | None
    facts: dict[str, Any]
    sightings: tuple[Sighting, ...]
    placements: tuple[Registration | None, ...]
    best: int | None
    """Snap on which it lies best."""
    laid: Laid | None
    """On that snap."""
    why_not: str = ""
    """Why it could not be compared."""
    small: ByteArray | None = None
    """The frame itself, for one that is placed nowhere."""


# --- snaps ----------------------------------------------------------------------------------------------------------


def ready_snap(task: SnapTask) -> SnapView | Unusable:
    """Predict one snap and keep what frames are laid on."""
    cv2.setNumThreads(1)
    try:
        photo = load_photo(Path(task.file), zone=task.zone, max_side=WORKING_SIDE_PX)
        taught = analyse(photo, Request(kit=task.kit, lessons=task.lessons))
        _ = taught.scene  # asked for first, both share it
        # what was learned before must not hide what this frame teaches
        plain = without_lessons(taught) if task.lessons is not None or task.kit.class_correction_stops else taught
        return _view(task.file, taught, plain)
    except IrpreviewError as error:
        return Unusable(task.file, " ".join(str(error).split()))
    except Exception as error:  # one photo never ends the run
        return Unusable(task.file, _unexpected(error))


def _view(file: str, taught: Analysis, plain: Analysis) -> SnapView:
    photo, rendering, verdict = plain.photo, plain.rendering, plain.verdict
    exposure = taught.exposure if taught.why_no_exposure is None else None
    best = exposure.recommended if exposure is not None else None
    tall, wide = rendering.tones.shape
    k = min(1.0, LAID_SIDE_PX / max(tall, wide))
    size = (round(wide * k), round(tall * k))

    def small(picture: FloatArray) -> NDArray[np.float16]:
        return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float16)

    return SnapView(
        file,
        photo.name,
        photo.taken_at_naive,
        facts_of_snap(plain) | {"snap_path": str(Path(file).resolve())},
        plain.kit.name,
        photo.place,
        photo.taken_at,
        {} if best is None else {"iso": best.iso, "f_number": best.f_number, "shutter_s": best.shutter_s.likely},
        exposure.metered_ev100 if exposure is not None and photo.shot.ev100 is not None else None,
        exposure.factor_stops if exposure is not None else None,
        small(rendering.tones),
        small(luminance(photo.pixels)),
        cv2.resize(plain.scene.label, size, interpolation=cv2.INTER_NEAREST),
        verdict.layers,
        cv2.resize(at_photo_size(verdict.layer_map, tall, wide), size, interpolation=cv2.INTER_NEAREST),
        within(rendering.picture, SHOWN_SIDE_PX),
    )


def keep_ready(folder: Path, views: list[SnapView]) -> None:
    """Lay the snaps ready for the workers."""
    for i, view in enumerate(views):
        (folder / f"{i}.snap").write_bytes(pickle.dumps(view))
    ready = [(template_of(np.asarray(v.tones, np.float32)), v.clock) for v in views]
    (folder / "all").write_bytes(pickle.dumps(ready))


@lru_cache(maxsize=1)
def _templates(folder: str) -> list[tuple[Template, datetime | None]]:
    found: list[tuple[Template, datetime | None]] = pickle.loads((Path(folder) / "all").read_bytes())
    return found


@lru_cache(maxsize=12)
def view_of(folder: str, snap: int) -> SnapView:
    """A snap that lies ready."""
    view: SnapView = pickle.loads((Path(folder) / f"{snap}.snap").read_bytes())
    return view


# --- frames ---------------------------------------------------------------------------------------------------------


def place_frame(task: FrameTask) -> FrameSeen | Unusable:
    """Read one frame, find how it lies on the likely snaps, and compare it with the one on which it lies best."""
    cv2.setNumThreads(1)
    try:
        frame = read_frame(Path(task.file), task.zone)
        return _seen(task, frame)
    except IrpreviewError as error:
        return Unusable(task.file, " ".join(str(error).split()))
    except Exception as error:
        return Unusable(task.file, _unexpected(error))


def _seen(task: FrameTask, frame: FrameFile) -> FrameSeen:
    ready = _templates(task.folder)
    rough = rough_places([template for template, _ in ready], frame.linear) if ready else []
    order = sorted(range(len(rough)), key=lambda i: -rough[i].likeness)
    near = _nearest_in_time(frame.clock, [clock for _, clock in ready])
    tried = list(dict.fromkeys((*order[:ALIKE_TRIED], *near)))
    found: dict[int, tuple[Sighting, Registration | None]] = {}
    starts = {}
    likely = dict(zip(tried, likely_places([ready[i][0] for i in tried], frame.linear), strict=True))
    likest = max((places[0].likeness for places in likely.values()), default=0.0)
    for i in sorted(tried, key=lambda n: -likely[n][0].likeness):
        rough_likeness = likely[i][0].likeness
        starts[i] = [place.matrix for place in likely[i]]
        sure = any(s.bite >= BEYOND_DOUBT for s, _ in found.values())
        if sure and rough_likeness < RIVAL_LIKENESS * likest:  # no second snap of the same view
            found[i] = (Sighting(i, 0.0, rough_likeness), None)
            continue
        placed = placement_from(np.asarray(view_of(task.folder, i).tones, np.float32), frame.linear, starts[i])
        found[i] = (Sighting(i, _bite(placed), rough_likeness), placed)
    if found and max(s.bite for s, _ in found.values()) < BEYOND_DOUBT:
        for i in tried:  # where the prediction is wrong, the snap's own brightness may still hold
            view = view_of(task.folder, i)
            _better(found, i, placement_from(np.asarray(view.luminance, np.float32), frame.linear, starts[i]))
    if found and max(s.bite for s, _ in found.values()) < BEYOND_DOUBT:
        for i, most in zip(sorted(tried, key=lambda n: -likely[n][0].likeness), SHARPENED, strict=False):
            view = view_of(task.folder, i)
            tones = np.asarray(view.tones, np.float32)
            for place in likely[i][:most]:
                if place.likeness < WORTH_A_CLOSER_LOOK:
                    break
                sharp = sharper_place(tones, frame.linear, place)
                _better(found, i, placement_near(tones, frame.linear, sharp.matrix))
                if found[i][0].bite < LEAST_BITE:
                    luminance = np.asarray(view.luminance, np.float32)
                    _better(found, i, placement_near(luminance, frame.linear, sharp.matrix))
                if found[i][0].bite >= LEAST_BITE:
                    break
    if found and max(s.bite for s, _ in found.values()) < LEAST_BITE:
        i = max(found, key=lambda n: found[n][0].rough)
        if found[i][0].rough >= WORTH_A_CLOSER_LOOK:
            tones = np.asarray(view_of(task.folder, i).tones, np.float32)
            _better(found, i, best_placement(tones, frame.linear))
    best = max(found, key=lambda n: found[n][0].bite, default=None)
    laid, why = None, ""
    if best is not None:
        placed = found[best][1]
        try:
            laid = lay(view_of(task.folder, best), frame.linear, placed, Path(task.file).name)
        except BadPair as error:
            why = " ".join(str(error).split())
    return FrameSeen(
        task.file,
        frame.clock,
        dict(frame.facts),
        tuple(s for s, _ in found.values()),
        tuple(p for _, p in found.values()),
        best,
        laid,
        why,
        within(_grey(frame.linear), SHOWN_SIDE_PX),
    )


def _better(found: dict[int, tuple[Sighting, Registration | None]], i: int, placed: Registration | None) -> None:
    if _bite(placed) > found[i][0].bite:
        found[i] = (Sighting(i, _bite(placed), found[i][0].rough), placed)


def _bite(placed: Registration | None) -> float:
    return 0.0 if placed is None else max(placed.bite, 0.0)


def _nearest_in_time(clock: datetime | None, snaps: list[datetime | None]) -> list[int]:
    """Snaps taken just before the frame, should both clocks be right: others are found by their likeness."""
    if clock is None:
        return []
    apart = {i: abs(clock - c) for i, c in enumerate(snaps) if c is not None}
    return sorted((i for i, d in apart.items() if d <= 3 * NEAR_IN_TIME), key=lambda i: apart[i])[:NEAR_TRIED]


def lay(view: SnapView, frame: FloatArray, placed: Registration | None, name: str) -> Laid:
    """A frame laid on a snap and compared with its prediction. Raises BadPair where that cannot be."""
    if placed is None:
        raise BadPair("the frame shows nothing that the snap has too")
    tones = np.asarray(view.tones, np.float32)
    result = compare(tones, view.label, frame, placed, view.layers, view.layer_map)
    tall, wide = tones.shape
    over = np.nan_to_num(placed.lay_over(np.asarray(frame, np.float32), tall, wide))
    key = f"{str(view.facts['snap_sha256'])[:16]}:{name}"
    return Laid(
        result.grey_came_out_stops,
        # only what travels: no mapping proxy does, and the large pictures need not
        replace(result, classes=dict(result.classes), picture=_NO_PICTURE),
        differences_of(result, view.kit_name, key),
        within(_grey(over), SHOWN_SIDE_PX),
        within(result.picture, SHOWN_SIDE_PX),
    )


def _grey(linear: FloatArray) -> ByteArray:
    """The frame's own look: sRGB by the plain power curve."""
    return frozen_array(np.asarray(np.clip(linear, 0.0, 1.0) ** (1.0 / 2.2) * 255.0 + 0.5, np.uint8))


def _unexpected(error: Exception) -> str:
    return f"something went wrong that should not ({type(error).__name__}: {' '.join(str(error).split())[:160]})"
