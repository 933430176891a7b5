"""The single steps of an analysis: each takes what it is made of and gives one answer; nothing is kept here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview import installation
from irpreview.core.exposure.asked_time import AskedTime, setting_for_time
from irpreview.core.exposure.metering import ev100_of_lux, from_snap, from_sun
from irpreview.core.exposure.setting import plan_exposure
from irpreview.core.light.daylight import HAZE_AOD, illuminance_lx, light_for, light_spectra, sun_positions
from irpreview.core.light.filter_factor import filter_factor
from irpreview.core.light.optics import effective_wavelength_nm
from irpreview.core.light.planned_light import planned_light as light_planned
from irpreview.core.rendering.class_physics import light_doubts, physics_in_view, water_roughness
from irpreview.core.rendering.tones import render_tones
from irpreview.core.scene.photo_doubts import scene_doubts
from irpreview.core.scene.scene_map import repaint_all, scene_from_network, working_of
from irpreview.io.network import SceneNetwork
from irpreview.records import (
    Conditions,
    Exposure,
    Kit,
    Light,
    Movement,
    Photo,
    Place,
    Rendering,
    SceneMap,
    Setting,
    Taught,
)
from irpreview.request import Corrections, PlannedLight, Request

LEAST_HOUR_SUN_DEG = 2.0
"""Below this the spectra of the sun model are not used for the hours of the day."""


@dataclass(frozen=True, slots=True)
class Hour:
    """The light at one full hour of the day."""

    when: datetime
    sun_height_deg: float
    shutter_s: float | None
    """Time that the recommended ISO and aperture need then; None = too dark to tell."""


def asked_time_of(exposure: Exposure, kit: Kit, request: Request) -> AskedTime | None:
    """What a kit can set at the time asked for; None where no time was asked for."""
    if request.shutter_s is None or not exposure.settings:
        return None
    best = exposure.recommended
    liked = {} if best is None else {"liked_f_number": best.f_number}
    return setting_for_time(exposure.settings, request.shutter_s, kit, **liked)


def seen(photo: Photo, network: SceneNetwork) -> SceneMap:
    """What the network sees in a photo, before corrections by hand."""
    small = working_of(photo)
    answer = network.run(small)
    return scene_from_network(photo, answer.probability, answer.mix, network.model_id, small)


def corrected(scene: SceneMap, marks: Corrections) -> SceneMap:
    """The scene with corrections laid over it, whatever size they were painted at."""
    if not marks:
        return scene
    height, width = scene.label.shape
    fitting = [
        (mask, name) if mask.shape == (height, width) else (_mask_at(mask, width, height), name) for mask, name in marks
    ]
    return repaint_all(scene, fitting)


def _mask_at(mask: NDArray[np.bool_], width: int, height: int) -> NDArray[np.bool_]:
    grown = cv2.resize(mask.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST)
    return np.asarray(grown > 0)


def rendering_of(
    photo: Photo,
    scene: SceneMap,
    kit: Kit,
    light: Light,
    snap_light: Light,
    *,
    conditions: Conditions,
    grade: float,
    film_look: bool,
) -> Rendering:
    """The infrared picture of a photo at its own size, with what is to be doubted of it."""
    tables = installation.load_tables()
    physics = physics_in_view(
        photo, scene, kit, light, tables, installation.reference_kit(), water_roughness(conditions), snap_light
    )
    done = render_tones(photo, scene, kit, light, physics, installation.pairs_table(), grade=grade, film_look=film_look)
    told = (*light_doubts(kit, light, snap_light, tables), *scene_doubts(photo, scene), *done.doubts)
    return replace(done, doubts=tuple(dict.fromkeys(told)))


def exposure_of(
    photo: Photo | None,
    kit: Kit,
    light: Light,
    asked: Request,
    *,
    rendering: Rendering | None = None,
    scene: SceneMap | None = None,
    movement_at: Callable[[float], Movement] | None = None,
) -> Exposure:
    """What to set, and how sure it is; also without a snap, from a light meter or the sun alone.

    The light is read from the request's readings, else from the snap's own exposure data; the sun model joins in where
    place and time are known, or stands alone where nothing else is. Raises BadValue where nothing tells the light.
    """
    tables = installation.load_tables()
    sun_known = light.sun_bearing_deg is not None
    metered = list(asked.readings)
    if sun_known or not (metered or (photo is not None and from_snap(photo) is not None)):
        metered.append(from_sun(illuminance_lx(light, tables), light))
    return plan_exposure(
        photo,
        kit,
        light,
        asked.conditions,
        movement_at,
        factor=filter_factor(kit, light, tables, in_shade=asked.in_shade),
        readings=tuple(metered),
        rendering=rendering,
        scene_share=scene.share() if scene is not None else None,
        band_nm=effective_wavelength_nm(kit, tables, np.sum(light_spectra(light, tables), axis=0)),
        wishes=asked.wishes,
    )


def expose_without_snap(asked: Request) -> tuple[Exposure, Taught]:
    """What to set without a photo, from a light meter or from place and time, and the kit as it was taught.

    Raises IrpreviewError where nothing tells the light.
    """
    light = light_at(asked.place, asked.taken_at, asked.heading_deg, asked.conditions)
    light = in_planned_light(asked.planned, light, asked.place, asked.heading_deg)
    taught = taught_kit(asked, light)
    return exposure_of(None, taught.kit, light, asked), taught


def light_at(place: Place | None, when: datetime | None, heading_deg: float | None, day: Conditions) -> Light:
    """The light of a place and time under the day's sky; where they are not both known, the sun of middle height.

    Raises BadValue where there is no daylight.
    """
    sky = "clear" if day.sky_state == "unknown" else day.sky_state
    if place is None or when is None:
        return Light(sky_state=sky, haze_aod=HAZE_AOD[day.haze])
    return light_for(place, when, heading_deg, day.haze, sky)


def in_planned_light(planned: PlannedLight | None, own: Light, place: Place | None, heading_deg: float | None) -> Light:
    """The light asked for instead of the snap's own, if any. Raises BadValue for one without daylight."""
    if planned is None:
        return own
    return light_planned(
        own,
        sun_height_deg=planned.sun_height_deg,
        when=planned.when,
        place=planned.place or place,
        heading_deg=heading_deg,
        haze=planned.haze,
    )


def taught_kit(asked: Request, light: Light) -> Taught:
    """The kit asked for, with the request's lessons."""
    kit = asked.kit or installation.default_kit()
    if asked.lessons is None:
        return Taught(kit)
    learned = asked.lessons(kit, light.sun_height_deg if light.sun_bearing_deg is not None else None)
    return learned if isinstance(learned, Taught) else Taught(learned)


def hours_of(place: Place, when: datetime, light: Light, day: Conditions, best: Setting | None) -> tuple[Hour, ...]:
    """The light at each full hour of a day in its own zone. best: what is set now, for the time needed then."""
    midnight = when.replace(hour=0, minute=0, second=0, microsecond=0)
    times = [midnight + timedelta(hours=hour) for hour in range(24)]
    heights, _ = sun_positions(place, times)
    tables = installation.load_tables()
    now = ev100_of_lux(illuminance_lx(light, tables)) if light.sun_height_deg >= LEAST_HOUR_SUN_DEG else None
    found = []
    for time, height in zip(times, heights, strict=True):
        shutter_s = None
        if best is not None and now is not None and height >= LEAST_HOUR_SUN_DEG:
            then = light_for(place, time, None, day.haze, light.sky_state)
            shutter_s = best.shutter_s.likely * 2.0 ** (now - ev100_of_lux(illuminance_lx(then, tables)))
        found.append(Hour(time, float(height), shutter_s))
    return tuple(found)
