"""One snap of a scouting: judged in a worker, from a task that travels to an answer that travels back.

Judged at a reduced size, which is all that a verdict needs. Settings, content and network make the key under which the
answer is kept.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from irpreview import __version__, session
from irpreview.core.scouting.ranking import finding_of
from irpreview.errors import BadValue, IrpreviewError
from irpreview.io.scout_store import Kept, place_text
from irpreview.records import DEFAULT_GRADE, ByteArray, Conditions, Kit, Light, Photo, Place

if TYPE_CHECKING:
    from irpreview.records import Exposure

JUDGED_SIDE_PX = 768
"""Long side at which snaps are judged."""
SMALL_SIDE_PX = 440
"""Long side of the small pictures of the contact sheet."""
SMALL_QUALITY = 78
METHOD = 2
"""Raised whenever the same snap would be judged otherwise by the same version and network."""


@dataclass(frozen=True, slots=True)
class Settings:
    """All that a judgement depends on besides the snap and the network."""

    kit: Kit = field(default_factory=session.default_kit)
    wind_m_s: float | None = None
    shutter_s: float | None = None
    grade: float = DEFAULT_GRADE
    zone: str | None = None
    planned_sun_deg: float | None = None
    """Height of the sun [degrees] whose light is laid over all snaps, a what-if; None = each snap's own light."""
    planned_time: str | None = None
    """Or a date and time whose light is."""
    at: Place | None = None
    """Place for `planned_time`; None = where each snap was taken."""
    haze: str | None = None
    """Haze of the planned light; None = as on the day of each snap."""

    @property
    def planned(self) -> bool:
        return self.planned_sun_deg is not None or self.planned_time is not None

    def facts(self) -> dict[str, Any]:
        """Plain values, the same for the same settings."""
        facts: dict[str, Any] = _plain(self)
        return facts


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
        "side_px": JUDGED_SIDE_PX,
        "small_px": [SMALL_SIDE_PX, SMALL_QUALITY],
        "version": [__version__, METHOD],
    }
    return hashlib.sha256(json.dumps(whole, sort_keys=True).encode()).hexdigest()


def pictures_key_of(content_sha256: str, settings: Settings, model_id: str) -> str:
    """What the small pictures are kept under: neither wind nor shutter time changes them."""
    return key_of(content_sha256, replace(settings, wind_m_s=None, shutter_s=None), model_id)


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
    task: Task
    why: str


@dataclass(frozen=True, slots=True)
class NotThere:
    """The worker does not see this content at the task's path."""

    task: Task


@dataclass(frozen=True, slots=True)
class Judged:
    task: Task
    kept: Kept


def judge_task(task: Task, settings: Settings, with_place: bool = False) -> Judged | Refused | NotThere:
    """Judge one photo in a worker. Gives every refusal as an answer; raises nothing that the photo causes."""
    import cv2

    cv2.setNumThreads(1)  # as many photos at once as there are cores: more threads would only get in each other's way
    try:
        photo = _read(task, settings.zone)
        if photo is None:
            return NotThere(task)
        kept = _judge(photo, settings, with_place)
    except IrpreviewError as error:
        return Refused(task, " ".join(str(error).split()))
    except MemoryError:
        return Refused(task, f"{task.name} needs more memory than there is; try again with --jobs 1")
    except Exception as error:  # one photo never ends the run
        said = " ".join(str(error).split())[:160]
        return Refused(task, f"{task.name}: something went wrong that should not ({type(error).__name__}: {said})")
    return Judged(task, kept)


def _read(task: Task, zone: str | None) -> Photo | None:
    from irpreview.io.photos import load_photo

    if task.data is not None:
        return load_photo(task.data, zone=zone, max_side=JUDGED_SIDE_PX, name=task.name)
    try:
        data = Path(task.file).read_bytes()
    except OSError:
        return None
    if hashlib.sha256(data).hexdigest() != task.sha256:
        return None
    return load_photo(data, zone=zone, max_side=JUDGED_SIDE_PX, name=task.name)


def light_for_snap(photo: Photo, settings: Settings) -> tuple[Light, str]:
    """The light to judge in, and a doubt where the planned one could not be laid over this snap."""
    own = session.light_of(photo)
    if not settings.planned:
        return own, ""
    place = settings.at or photo.place
    when = None
    try:
        if settings.planned_time is not None:
            if place is None:
                raise BadValue("its place is not known; give one with --at")
            from irpreview.core.light.light_plan import parse_moment

            when = parse_moment(settings.planned_time, settings.zone, place)
        return session.planned_light(
            photo, sun_height_deg=settings.planned_sun_deg, when=when, place=place, haze=settings.haze
        ), ""
    except BadValue as error:
        return own, f"judged in its own light, not in the planned one: {error}"


def _judge(photo: Photo, settings: Settings, with_place: bool) -> Kept:
    from irpreview.core.scouting.near_duplicates import fingerprint

    kit = replace(settings.kit, class_correction_stops=MappingProxyType(dict(settings.kit.class_correction_stops)))
    conditions = Conditions(wind_m_s=settings.wind_m_s)
    scene = session.map_scene(photo)
    light, other_light = light_for_snap(photo, settings)
    rendering = session.render(photo, scene, kit, light, grade=settings.grade)
    doubts = [*photo.doubts, *rendering.doubts, *([other_light] if other_light else [])]
    exposure: Exposure | None = None
    shutter_s = settings.shutter_s
    if shutter_s is None:
        exposure, shutter_s, why = session.planned_shutter(photo, scene, kit, light, conditions, rendering)
        if why:
            doubts.append(f"no shutter time was planned ({why}); give one with --shutter")
    verdict = session.judge(
        photo,
        scene,
        kit,
        light,
        conditions,
        shutter_s,
        rendering=rendering,
        exposure=exposure,
        grade=settings.grade,
    )
    finding = finding_of(photo, scene, verdict, shutter_s, doubts)
    return Kept(
        key=key_of(photo.content_sha256, settings, scene.model_id),
        pictures_key=pictures_key_of(photo.content_sha256, settings, scene.model_id),
        finding=finding.as_dict(),
        fingerprint_png=_encoded(fingerprint(photo.pixels), "PNG"),
        snap_jpeg=_encoded(_small(photo.pixels), "JPEG", quality=SMALL_QUALITY),
        infrared_jpeg=_encoded(_small(rendering.picture), "JPEG", quality=SMALL_QUALITY),
        place=place_text(photo.place) if with_place else None,
    )


def _small(pixels: ByteArray) -> ByteArray:
    import cv2

    k = min(1.0, SMALL_SIDE_PX / max(pixels.shape[:2]))
    size = (max(1, round(pixels.shape[1] * k)), max(1, round(pixels.shape[0] * k)))
    small: ByteArray = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    return small


def _encoded(pixels: ByteArray, kind: str, **options: int) -> bytes:
    from io import BytesIO

    from PIL import Image

    out = BytesIO()
    Image.fromarray(pixels).save(out, kind, **options)
    return out.getvalue()


def identity() -> str:
    """What must be the same on all machines of a cluster."""
    return f"irpreview {__version__}, method {METHOD}, network {session.scene_network().model_id}"
