"""One snap with everything worked out, and what has to be worked out again when one input changes.

No page, no session, no state: each function takes a study and gives a new one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from irpreview import session
from irpreview.core.units import shutter_text
from irpreview.errors import BadValue, IrpreviewError
from irpreview.inputs import Inputs, conditions_of, kit_of, light_now
from irpreview.records import (
    Conditions,
    Exposure,
    Kit,
    Light,
    LightBy,
    LightKnown,
    Movement,
    Photo,
    Rendering,
    SceneMap,
    Verdict,
)

if TYPE_CHECKING:
    from irpreview.core.motion.motion_stage import Stage
    from irpreview.core.motion.rates import Rates

PAGE_SIDE_PX = 1024
"""Long side at which the page works; a print's blur is scaled from it."""
MOTION_SIDE_PX = 640
"""Long side of the picture that answers the sliders, small enough to answer at once."""
SHUTTERS_S = (
    *(1 / 250, 1 / 125, 1 / 60, 1 / 30, 1 / 15, 1 / 8, 1 / 4, 1 / 2, 1.0, 2.0, 4.0, 8.0, 15.0, 30.0),
    *(60.0, 120.0, 240.0, 480.0, 900.0, 1800.0, 3600.0),
)
"""Stops of the time slider [s]."""
WINDS_M_S = tuple(round(0.5 * step, 1) for step in range(36))
"""Stops of the wind slider [m/s], 0 to 17.5."""
SHUTTER_WITHOUT_LIGHT_S = 30.0
"""Shown movement where no exposure could be worked out."""


Repaints = tuple[tuple[tuple[NDArray[np.bool_], str], ...], ...]
"""Corrections in the order made; each is what one press of the button did."""


def read_snap(path: str | Path, zone: str, name: str | None = None) -> Photo:
    """A snap at the page's working size. Raises BadPhoto, BadValue."""
    from irpreview.io.photos import load_photo

    return load_photo(path, zone=zone or None, max_side=PAGE_SIDE_PX, name=name)


@dataclass(frozen=True, slots=True)
class Look:
    """The first half of a study: what is in the snap and how infrared sees it."""

    photo: Photo
    """With place, time and bearing as used."""
    bare_scene: SceneMap
    """The network's own answer, without corrections."""
    scene: SceneMap
    kit: Kit
    light: Light
    conditions: Conditions
    inputs: Inputs
    rendering: Rendering
    sorry: tuple[str, ...] = ()
    """Sentences about what could not be worked out."""


@dataclass(frozen=True, slots=True)
class Study:
    """A snap and all answers about it; `exposure` is None where there is no light, with a sentence in `sorry`."""

    look: Look
    rates: Rates
    exposure: Exposure | None
    movement: Movement
    verdict: Verdict
    stage: Stage
    """The layers of the small picture that answers the sliders."""
    sorry: tuple[str, ...] = ()

    @property
    def photo(self) -> Photo:
        return self.look.photo

    @property
    def scene(self) -> SceneMap:
        return self.look.scene

    @property
    def kit(self) -> Kit:
        return self.look.kit

    @property
    def light(self) -> Light:
        return self.look.light

    @property
    def conditions(self) -> Conditions:
        return self.look.conditions

    @property
    def inputs(self) -> Inputs:
        return self.look.inputs

    @property
    def rendering(self) -> Rendering:
        return self.look.rendering

    @property
    def shutter_s(self) -> float:
        return self.movement.shutter_s


def begin(photo: Photo, inputs: Inputs, repaints: Repaints = (), kit: Kit | None = None) -> Study:
    """All answers for a snap; `kit` instead of the one named in `inputs`. Raises IrpreviewError."""
    return finish(look(photo, inputs, repaints, kit=kit))


def look(
    photo: Photo,
    inputs: Inputs,
    repaints: Repaints = (),
    scene: SceneMap | None = None,
    kit: Kit | None = None,
) -> Look:
    """Scene and infrared picture of a snap; `scene` = the network's own answer when it is known already."""
    from irpreview.core.scene.scene_map import repaint_all

    kit, conditions = kit or kit_of(inputs), conditions_of(inputs)
    light, photo = light_now(photo, inputs)
    bare = scene if scene is not None else session.map_scene(photo)
    painted = repaint_all(bare, [one for step in repaints for one in step]) if repaints else bare
    sorry: list[str] = []
    try:
        rendering = session.render(photo, painted, kit, light, grade=inputs.grade)
    except BadValue as error:
        # No daylight at that time: show the snap's tones in ordinary light and say so.
        fallback = Light(known=LightKnown(LightBy.ASSUMED_NO_DAYLIGHT))
        sorry.append(_sentence(error))
        light = fallback
        rendering = session.render(photo, painted, kit, fallback, grade=inputs.grade)
    return Look(photo, bare, painted, kit, light, conditions, inputs, rendering, tuple(sorry))


def finish(seen: Look, stage: Stage | None = None) -> Study:
    """The second half: movement, exposure and verdict. `stage`: kept where the picture itself has not changed."""
    from irpreview.core.exposure.setting import Wishes

    motion = session.rates(seen.photo, seen.scene, seen.kit, seen.conditions)
    sorry = list(seen.sorry)
    exposure: Exposure | None = None
    try:
        exposure = session.expose(
            seen.photo,
            seen.scene,
            seen.kit,
            seen.light,
            seen.conditions,
            rendering=seen.rendering,
            motion=motion if motion.wind_known else None,
            wishes=Wishes(focal_35mm_mm=seen.inputs.focal_35mm_mm, nearest_m=seen.inputs.nearest_m),
        )
    except IrpreviewError as error:
        sorry.append(_sentence(error))
    shutter_s = seen.inputs.shutter_s
    if shutter_s is None:
        best = exposure.recommended if exposure is not None else None
        shutter_s = best.shutter_s.likely if best is not None else SHUTTER_WITHOUT_LIGHT_S
    verdict = session.judge(
        seen.photo,
        seen.scene,
        conditions=seen.conditions,
        shutter_s=shutter_s,
        rendering=seen.rendering,
        exposure=exposure,
        grade=seen.inputs.grade,
    )
    return Study(
        seen, motion, exposure, session.move(motion, shutter_s), verdict, stage or stage_of(seen), tuple(sorry)
    )


def stage_of(seen: Look) -> Stage:
    """The infrared picture in layers that can move, small enough to answer a slider at once."""
    import cv2

    from irpreview.core.imaging.resize import size_within
    from irpreview.core.motion.motion_stage import prepare_stage

    height, width = size_within(seen.photo.height, seen.photo.width, MOTION_SIDE_PX)
    tones = seen.rendering.tones
    if (height, width) != tones.shape:
        tones = np.asarray(cv2.resize(tones, (width, height), interpolation=cv2.INTER_AREA), np.float32)
    return prepare_stage(tones, seen.scene)


def moved(study: Study, wind_m_s: float | None, shutter_s: float | None) -> Study:
    """The study in another wind or at another time: movement only, quick enough for a slider."""
    inputs = replace(study.inputs, wind_m_s=wind_m_s, shutter_s=shutter_s)
    conditions = conditions_of(inputs)
    motion = study.rates
    if conditions != study.conditions:
        motion = session.rates(study.photo, study.scene, study.kit, conditions)
    return replace(
        study,
        look=replace(study.look, inputs=inputs, conditions=conditions),
        rates=motion,
        movement=session.move(motion, shutter_s if shutter_s is not None else study.shutter_s),
    )


def settled(study: Study) -> Study:
    """Exposure and verdict brought up to date with a wind or time that `moved` has set."""
    return finish(study.look, study.stage)


def _focal(study: Study) -> dict[str, float]:
    focal = study.conditions.focal_35mm_mm or study.photo.shot.focal_35mm_mm
    return {"focal_35mm_mm": focal} if focal is not None else {}


def motion_picture(study: Study) -> NDArray[np.uint8]:
    """The finished infrared picture (h, w) with its movement, at most `MOTION_SIDE_PX` on its long side."""
    from irpreview.core.motion.motion_rendering import picture_in_motion
    from irpreview.core.rendering.finishing import finish as print_of

    tones = picture_in_motion(study.stage.tones, study.scene, study.movement, stage=study.stage, **_focal(study))
    return print_of(np.sqrt(np.maximum(tones, 0)), grade=study.inputs.grade)


def _sentence(error: Exception) -> str:
    text = " ".join(str(error).split())
    text = text[:1].upper() + text[1:]
    return text if text.endswith(".") else text + "."


def shutter_stop(shutter_s: float) -> int:
    """Index of the time slider's stop nearest to a shutter time."""
    distances = [abs(math.log2(stop / shutter_s)) for stop in SHUTTERS_S]
    return distances.index(min(distances))


def shutter_labels() -> list[str]:
    """What the time slider says at each stop."""
    return [shutter_text(stop) for stop in SHUTTERS_S]
