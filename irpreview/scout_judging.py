"""One snap of a scouting: judged in a worker, from a task that travels to an answer that travels back.

Settings, content and network make the key under which the answer is kept.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import Any

import cv2
from PIL import Image

from irpreview import __version__, installation
from irpreview.analysis import analyse
from irpreview.core.imaging.resize import within
from irpreview.core.scouting.near_duplicates import fingerprint
from irpreview.core.scouting.ranking import finding_of
from irpreview.core.words import long_words
from irpreview.errors import BadValue, IrpreviewError
from irpreview.io.log_exchange import LogLessons
from irpreview.io.photo_reader import PhotoReader
from irpreview.io.scout_store import Kept, place_text
from irpreview.records import WORKING_SIDE_PX, ByteArray, DoorDoubt, DoorDoubtKind, Doubt, Kit, Photo
from irpreview.request import Inputs, Request, request_of

SMALL_SIDE_PX = 440
"""Long side of the small pictures of the contact sheet."""
SMALL_QUALITY = 78
METHOD = 5
"""Raised whenever the same snap would be judged otherwise by the same version and network."""


@dataclass(frozen=True, slots=True)
class Settings:
    """All that a judgement depends on besides the snap and the network."""

    kit: Kit = field(default_factory=installation.default_kit)
    """As loaded: a worker elsewhere need not see its file."""
    inputs: Inputs = field(default_factory=Inputs)
    """Everything else that was said; its `kit` and `lens` are those of `kit`."""
    lessons: LogLessons | None = None
    """What the field log taught; None = the kit as it stands."""
    with_places: bool = False
    """Whether the places may be told; if not, everything is worked out in a light that does not lead back to them."""

    @property
    def planned(self) -> bool:
        """Whether a light other than the snaps' own was asked for."""
        return self.inputs.planned_sun_deg is not None or bool(self.inputs.planned_time)

    def facts(self) -> dict[str, Any]:
        """Plain values, the same for the same settings."""
        facts: dict[str, Any] = _plain(self)
        return facts

    def travelling(self) -> Settings:
        """The same, fit for the way to another process, on which no mapping proxy goes."""
        kit = replace(self.kit, class_correction_stops=dict(self.kit.class_correction_stops))
        inputs = replace(self.inputs, kit="unmodified-720", lens="", distance_m=dict(self.inputs.distance_m))
        return replace(self, kit=kit, inputs=inputs)

    def request(self, photo: Photo) -> tuple[Request, Doubt | None]:
        """The request for one snap, and a doubt where the planned light cannot be laid over it."""
        try:
            asked = replace(request_of(self.inputs, photo, lessons=self.lessons), kit=self.kit)
            _ = analyse(photo, asked).light
            return asked, None
        except BadValue as error:
            if not self.planned:
                raise
            own = replace(self.inputs, planned_sun_deg=None, planned_time="", planned_place="", planned_haze="")
            asked = replace(request_of(own, photo, lessons=self.lessons), kit=self.kit)
            return asked, DoorDoubt(DoorDoubtKind.OWN_LIGHT, str(error))


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in sorted(value.items())}
    if isinstance(value, (tuple, list)):
        return [_plain(v) for v in value]
    return value.tolist() if hasattr(value, "tolist") else value


def key_of(content_sha256: str, settings: Settings, model_id: str) -> str:
    """What a judgement is kept under: the photo's content, network, settings and version. Hexadecimal."""
    whole = {
        "content": content_sha256,
        "model": model_id,
        "settings": settings.facts(),
        "side_px": WORKING_SIDE_PX,
        "small_px": [SMALL_SIDE_PX, SMALL_QUALITY],
        "version": [__version__, METHOD],
    }
    return hashlib.sha256(json.dumps(whole, sort_keys=True).encode()).hexdigest()


def pictures_key_of(content_sha256: str, settings: Settings, model_id: str) -> str:
    """What the small pictures are kept under: a shutter time does not change them, and of a wind only rough water."""
    still = replace(settings.inputs, wind_m_s=None, gust_m_s=None, shutter_s=None)
    return key_of(content_sha256, replace(settings, inputs=still), model_id)


# --- one photo ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Task:
    """One photo to judge, as it travels to a worker."""

    path: str
    name: str
    file: str
    sha256: str
    data: bytes | None = None
    """The file's bytes, for a worker that cannot see the file."""


@dataclass(frozen=True, slots=True)
class Refused:
    """A snap that could not be judged."""

    task: Task
    why: str


@dataclass(frozen=True, slots=True)
class NotThere:
    """The worker does not see this content at the task's path."""

    task: Task


@dataclass(frozen=True, slots=True)
class Judged:
    """A snap that was judged."""

    task: Task
    kept: Kept


def judge_task(task: Task, settings: Settings) -> Judged | Refused | NotThere:
    """Judge one photo in a worker. Gives every refusal as an answer; raises nothing that the photo causes."""
    cv2.setNumThreads(1)  # as many photos at once as there are cores: more threads would only get in each other's way
    try:
        photo = _read(task, settings.inputs.zone or None)
        if photo is None:
            return NotThere(task)
        kept = _judge(photo, settings)
    except IrpreviewError as error:
        return Refused(task, " ".join(str(error).split()))
    except MemoryError:
        return Refused(task, f"{task.name} needs more memory than there is; try again with --jobs 1")
    except Exception as error:  # one photo never ends the run
        said = " ".join(str(error).split())[:160]
        return Refused(task, f"{task.name}: something went wrong that should not ({type(error).__name__}: {said})")
    return Judged(task, kept)


def _read(task: Task, zone: str | None) -> Photo | None:
    if task.data is not None:
        return reader().read(task.data, zone=zone, max_side=WORKING_SIDE_PX, name=task.name)
    try:
        data = Path(task.file).read_bytes()
    except OSError:
        return None
    if hashlib.sha256(data).hexdigest() != task.sha256:
        return None
    return reader().read(data, zone=zone, max_side=WORKING_SIDE_PX, name=task.name)


@lru_cache(maxsize=1)
def reader() -> PhotoReader:
    """Where this process has its photos read: one that takes too long costs that photo, not the night."""
    return PhotoReader(one_thread=True)


def _judge(photo: Photo, settings: Settings) -> Kept:
    asked, other_light = settings.request(photo)
    analysis = analyse(photo, asked)
    if not settings.with_places:
        analysis = analysis.without_place()
    doubts = long_words((*analysis.doubts, *([other_light] if other_light is not None else [])))
    finding = finding_of(analysis.photo, analysis.scene, analysis.verdict, analysis.shutter_s, doubts)
    model_id = analysis.scene.model_id
    return Kept(
        key=key_of(photo.content_sha256, settings, model_id),
        pictures_key=pictures_key_of(photo.content_sha256, settings, model_id),
        finding=finding.as_dict(),
        fingerprint_png=_encoded(fingerprint(photo.pixels), "PNG"),
        snap_jpeg=_encoded(within(photo.pixels, SMALL_SIDE_PX), "JPEG", quality=SMALL_QUALITY),
        infrared_jpeg=_encoded(within(analysis.rendering.picture, SMALL_SIDE_PX), "JPEG", quality=SMALL_QUALITY),
        place=place_text(photo.place) if settings.with_places else None,
    )


def _encoded(pixels: ByteArray, kind: str, **options: int) -> bytes:
    out = BytesIO()
    Image.fromarray(pixels).save(out, kind, **options)
    return out.getvalue()


def identity() -> str:
    """What must be the same on all machines of a cluster."""
    return f"irpreview {__version__}, method {METHOD}, network {installation.scene_network().model_id}"
