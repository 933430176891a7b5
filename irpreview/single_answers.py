"""Single answers for a script of one's own: thin views of one analysis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from irpreview.analysis import Analysis, analyse
from irpreview.core.scene.scene_map import scene_from_network
from irpreview.io.network import SceneNetwork
from irpreview.records import (
    DEFAULT_GRADE,
    Conditions,
    Kit,
    Light,
    Photo,
    Place,
    Rendering,
    SceneMap,
    Taught,
    Verdict,
)
from irpreview.request import PlannedLight, Request
from irpreview.steps import corrected, rendering_of, seen

T = TypeVar("T")


def light_of(photo: Photo) -> Light:
    """The snap's own light: from its time and place where both are known, else clear sun of middle height."""
    return analyse(photo).snap_light


def planned_light(
    photo: Photo,
    *,
    sun_height_deg: float | None = None,
    when: datetime | None = None,
    place: Place | None = None,
    haze: str | float | None = None,
) -> Light:
    """Another light than the snap's, for `render`: the sun at a height [degrees], or at an aware time.

    place: default the snap's own; haze: `clear`, `normal`, `hazy` or an optical depth, default the snap's own. The
    picture is a what-if on the snap's own shadows and says so. Raises BadValue.
    """
    return analyse(photo, Request(planned=PlannedLight(sun_height_deg, when, place, haze))).light


def map_scene(photo: Photo, network: SceneNetwork | None = None) -> SceneMap:
    """What is where in the photo. network: default the shipped one; `io.network.load_network` reads another."""
    if network is not None:
        return seen(photo, network)
    return analyse(photo).full_scene


def render(
    photo: Photo,
    scene: SceneMap | None = None,
    kit: Kit | None = None,
    light: Light | None = None,
    repaint: Sequence[tuple[NDArray[np.bool_], str]] | None = None,
    *,
    conditions: Conditions | None = None,
    grade: float = DEFAULT_GRADE,
    film_look: bool = False,
    snap_light: Light | None = None,
) -> Rendering:
    """The predicted infrared picture of a snap at its own size.

    scene: from `map_scene`, made here if None. kit: default 720 nm on an unmodified camera. light: default the snap's
    own; from `planned_light` for another, a what-if. repaint: corrections by hand, (mask (H, W), class name) in order.
    conditions: a known wind roughens water. grade: paper grade 0..5.
    """
    asked = Request(kit=kit, conditions=conditions or Conditions(), grade=grade, film_look=film_look)
    asked = replace(asked, corrections=tuple(repaint or ()))
    analysis = analyse(photo, asked)
    if scene is None and light is None:
        return analysis.full_rendering
    own = snap_light or (light if light is not None and not light.planned else analysis.snap_light)
    return rendering_of(
        photo,
        analysis.full_scene if scene is None else corrected(scene, asked.corrections),
        analysis.kit,
        light or own,
        own,
        conditions=asked.conditions,
        grade=grade,
        film_look=film_look,
    )


def judge(
    photo: Photo,
    scene: SceneMap | None = None,
    kit: Kit | None = None,
    light: Light | None = None,
    conditions: Conditions | None = None,
    shutter_s: float | None = None,
    *,
    rendering: Rendering | None = None,
    grade: float = DEFAULT_GRADE,
) -> Verdict:
    """Whether the layers separate, what the sky does, and what should lead the picture.

    conditions: wind not given is unknown. shutter_s: planned time [s], default the recommended one. scene, light,
    rendering: where they are known already; the photo is then judged at its own size.
    """
    asked = Request(kit=kit, conditions=conditions or Conditions(), shutter_s=shutter_s, grade=grade)
    if scene is None and rendering is None:
        return _in_light(analyse(photo, asked), light).verdict
    if rendering is None and scene is not None and scene.repainted is None:
        # as the network saw it: judged at the analysis' size like any other
        analysis = analyse(photo, asked)
        as_seen = scene_from_network(analysis.photo, scene.probability, scene.mix, scene.model_id)
        kept: dict[str, Any] = {"photo": analysis.photo, "bare_scene": as_seen}
        return _in_light(Analysis(photo, asked, kept), light).verdict
    kept = {"photo": photo, "bare_scene": scene if scene is not None else map_scene(photo)}
    if rendering is not None:
        kept |= {"rendering": rendering, "taught": Taught(rendering.kit), "light": rendering.light}
    return _in_light(Analysis(photo, asked, kept), light).verdict


def _in_light(analysis: Analysis, light: Light | None) -> Analysis:
    """The analysis in a light that is known already."""
    if light is None:
        return analysis
    kept = {**analysis._kept, "light": light}
    if not light.planned:
        kept["snap_light"] = light
    return Analysis(analysis.full_photo, analysis.request, kept)
