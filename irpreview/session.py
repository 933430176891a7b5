"""The use case from photo to verdict: what the command line, the page and a script of one's own all call.

Loads what has to be loaded once (network, tables), hands it to the pure core, and keeps nothing of the user's.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from irpreview.errors import BadModel, BadValue, IrpreviewError
from irpreview.io.paths import data_file
from irpreview.records import (
    CLASS_NAMES,
    DEFAULT_GRADE,
    Conditions,
    Exposure,
    Kit,
    Light,
    Movement,
    Photo,
    Place,
    Range,
    Rendering,
    SceneMap,
    Verdict,
)

if TYPE_CHECKING:
    from datetime import datetime

    from irpreview.core.exposure.metering import Metering
    from irpreview.core.exposure.setting import Wishes
    from irpreview.core.light.optics import Roughness
    from irpreview.core.motion.clip_motion import ClipMotion
    from irpreview.core.motion.rates import Rates
    from irpreview.core.rendering.tones import ClassPhysics, PairsTable
    from irpreview.io.network import SceneNetwork

LOWEST_SUN_DEG = 1.0
"""Below this the model of daylight says nothing; a photo whose clock claims so has a wrong clock or zone."""

Repaint = Sequence[tuple[NDArray[np.bool_], str]]
"""(mask (H, W), class name) in the order painted."""


@lru_cache(maxsize=1)
def scene_network() -> SceneNetwork:
    """The scene network of this installation, loaded once."""
    from irpreview.io.network import load_network

    return load_network()


@lru_cache(maxsize=1)
def pairs_table() -> PairsTable:
    """What the research pairs taught about each class. Raises BadModel where the table is missing or damaged."""
    from irpreview.core.rendering.tones import PairsTable

    path = data_file("reference_pairs_tones.json")
    try:
        classes = json.loads(path.read_text())["classes"]
        return PairsTable(
            factor_stops=MappingProxyType({n: Range(*classes[n]["factor_stops"]) for n in CLASS_NAMES}),
            colour_stops=np.array([classes[n]["colour_stops"] for n in CLASS_NAMES], np.float32),
            colour_centre=np.array([classes[n]["colour_centre"] for n in CLASS_NAMES], np.float32),
            residual_stops=MappingProxyType({n: float(classes[n]["residual_stops"]) for n in CLASS_NAMES}),
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BadModel(
            f"the table {path.name} of this installation is damaged ({error}); install irpreview again"
        ) from error


@lru_cache(maxsize=64)
def _class_values(
    kit: Kit, light_key: tuple[float, float, str, str], roughness: Roughness | None
) -> tuple[Mapping[str, Range], Mapping[str, Range], float]:
    from irpreview.core.light.surfaces import class_factors, class_visible_reflectance, open_shade_stops
    from irpreview.io.tables import load_tables

    tables = load_tables()
    sun_height_deg, haze_aod, sky_state, sun_side = light_key
    light = Light(
        sun_height_deg=sun_height_deg,
        haze_aod=haze_aod,
        sky_state=sky_state,  # type: ignore[arg-type]
        sun_side=sun_side,  # type: ignore[arg-type]
    )
    return (
        class_factors(kit, light, tables, water_roughness=roughness),
        class_visible_reflectance(tables, light),
        open_shade_stops(kit, light, tables).likely,
    )


def _values_of(
    kit: Kit, light: Light, roughness: Roughness | None = None
) -> tuple[Mapping[str, Range], Mapping[str, Range], float]:
    """(class factors, visible reflectances, open shade [stops]) of a kit and light."""
    # a kit's correction mapping is no key and plays no part in physics
    bare = replace(kit, class_correction_stops=MappingProxyType({}))
    key = (round(light.sun_height_deg, 1), round(light.haze_aod, 3), light.sky_state, light.sun_side)
    if kit.filter_curve is not None:  # holds arrays and cannot be a cache key
        return _class_values.__wrapped__(bare, key, roughness)
    return _class_values(bare, key, roughness)


def water_roughness(conditions: Conditions | None) -> Roughness | None:
    """How rough the water is, from its kind and the wind; None = not known."""
    from irpreview.core.light.optics import roughness_of_wind

    if conditions is None:
        return None
    if conditions.water_kind == "falls":
        return "foam"
    if conditions.water_kind == "stream":
        return "wind_rough"
    return roughness_of_wind(conditions.wind_m_s)


def class_physics(
    kit: Kit, light: Light, conditions: Conditions | None = None, snap_light: Light | None = None
) -> ClassPhysics:
    """What physics says of each class for a kit and light. snap_light: the snap's own, where `light` is planned."""
    from irpreview.core.rendering.tones import REFERENCE_KIT, ClassPhysics
    from irpreview.io.kits import load_kit

    roughness, snap_light = water_roughness(conditions), snap_light or light
    factors, _, shade = _values_of(kit, light, roughness)
    reference = load_kit(REFERENCE_KIT)
    before, visible, reference_shade = _values_of(reference, snap_light, roughness)
    change: Mapping[str, float] = {}
    if kit.name == REFERENCE_KIT and light is not snap_light:
        change = {name: factors[name].likely - before[name].likely for name in CLASS_NAMES}
    return ClassPhysics(
        factor_stops=factors,
        visible_reflectance=visible,
        open_shade_stops=shade,
        reference_open_shade_stops=reference_shade,
        reference_change_stops=MappingProxyType(dict(change)),
    )


def _physics_in_view(
    photo: Photo, scene: SceneMap, kit: Kit, light: Light, conditions: Conditions | None, snap_light: Light
) -> ClassPhysics:
    """The same, with what direction does to sky and water where the light is known."""
    from irpreview.core.rendering.tones import REFERENCE_KIT
    from irpreview.core.rendering.view_factors import brightness_change, light_is_known, view_factors, view_of
    from irpreview.io.kits import load_kit
    from irpreview.io.tables import load_tables

    physics = class_physics(kit, light, conditions, snap_light)
    if not light_is_known(light):
        return physics
    view, tables, roughness = view_of(photo, scene), load_tables(), water_roughness(conditions)
    reference = load_kit(REFERENCE_KIT)
    before = _values_of(reference, snap_light, roughness)[0]
    physics = replace(
        physics, view=view_factors(view, scene, kit, reference, light, snap_light, tables, before, roughness)
    )
    if light.planned:
        physics = replace(physics, brightness_change=brightness_change(view, scene, light, snap_light, tables))
    return physics


def default_kit() -> Kit:
    """The kit taken where none is named: 720 nm long-pass on an unmodified camera."""
    from irpreview.io.kits import load_kit

    return load_kit("unmodified-720")


def light_of(photo: Photo) -> Light:
    """The snap's own light: from its time and place where both are known, else clear sun of middle height."""
    if photo.taken_at is None or photo.place is None:
        return Light()
    from irpreview.core.light.daylight import light_for

    try:
        light = light_for(photo.place, photo.taken_at, photo.heading_deg)
    except BadValue:
        light = None
    if light is None or light.sun_height_deg < LOWEST_SUN_DEG:
        return Light(
            how_known="assumed: clear sky, sun 45 degrees high; the photo's own time and place give no sunlight"
        )
    return light


def map_scene(photo: Photo, network: SceneNetwork | None = None) -> SceneMap:
    """What is where in the photo. network: default the shipped one; `SceneNetwork.alone` judges one of its members."""
    from irpreview.core.scene.scene_map import scene_from_network, working_of

    network = network or scene_network()
    small = working_of(photo)
    answer = network.run(small)
    return scene_from_network(photo, answer.probability, answer.mix, network.model_id, small)


def render(
    photo: Photo,
    scene: SceneMap | None = None,
    kit: Kit | None = None,
    light: Light | None = None,
    repaint: Repaint | None = None,
    *,
    conditions: Conditions | None = None,
    grade: float = DEFAULT_GRADE,
    film_look: bool = False,
    snap_light: Light | None = None,
) -> Rendering:
    """The predicted infrared picture of a snap.

    scene: from `map_scene`, made here if None. kit: default 720 nm on an unmodified camera. light: default the snap's
    own; from `planned_light` for another, a what-if. repaint: corrections by hand, (mask (H, W), class name) in order.
    conditions: a known wind roughens water. grade: paper grade 0..5.
    """
    from irpreview.core.rendering.tones import render_tones
    from irpreview.core.scene.photo_doubts import scene_doubts
    from irpreview.core.scene.scene_map import repaint_all

    scene = scene or map_scene(photo)
    if repaint:
        scene = repaint_all(scene, repaint)
    kit = kit or default_kit()
    light = light or light_of(photo)
    if not light.planned:
        snap_light = light
    elif snap_light is None:
        snap_light = light_of(photo)
    physics = _physics_in_view(photo, scene, kit, light, conditions, snap_light)
    done = render_tones(photo, scene, kit, light, physics, pairs_table(), grade=grade, film_look=film_look)
    told = (*_light_words(kit, light, snap_light), *scene_doubts(photo, scene), *done.doubts)
    return replace(done, doubts=tuple(dict.fromkeys(told)))


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
    from irpreview.core.light import planned_light as module

    return module.planned_light(
        light_of(photo),
        sun_height_deg=sun_height_deg,
        when=when,
        place=place or photo.place,
        heading_deg=photo.heading_deg,
        haze=haze,
    )


@lru_cache(maxsize=32)
def _leak_share(kit: Kit, sun_height_deg: float, haze_aod: float) -> float:
    from irpreview.core.light.daylight import light_spectra
    from irpreview.core.light.optics import leak_share
    from irpreview.io.tables import load_tables

    tables = load_tables()
    light = Light(sun_height_deg=sun_height_deg, haze_aod=haze_aod)
    return leak_share(kit, tables, np.sum(light_spectra(light, tables), axis=0))


def _light_words(kit: Kit, light: Light, snap_light: Light) -> tuple[str, ...]:
    """What has to be said of a planned light and of a leaking filter."""
    from irpreview.core.light.planned_light import leak_words, planned_words

    bare = replace(kit, class_correction_stops=MappingProxyType({}))
    share = _leak_share if kit.filter_curve is None else _leak_share.__wrapped__
    leak = leak_words(kit, share(bare, round(light.sun_height_deg, 1), round(light.haze_aod, 3)))
    if not light.planned:
        return leak
    return (*planned_words(light, snap_light, snap_light.sun_bearing_deg is not None), *leak)


def rates(
    photo: Photo,
    scene: SceneMap,
    kit: Kit | None = None,
    conditions: Conditions | None = None,
    clip: ClipMotion | None = None,
) -> Rates:
    """How fast everything in the picture moves, before any shutter time."""
    from irpreview.core.motion.rates import rates_of_motion

    return rates_of_motion(scene, kit or default_kit(), conditions, photo, clip=clip)


def move(motion: Rates, shutter_s: float) -> Movement:
    """What a shutter time [s] makes of the rates of motion."""
    from irpreview.core.motion.blur import movement_at

    return movement_at(motion, shutter_s)


def expose(
    photo: Photo | None,
    scene: SceneMap | None = None,
    kit: Kit | None = None,
    light: Light | None = None,
    conditions: Conditions | None = None,
    *,
    rendering: Rendering | None = None,
    motion: Rates | None = None,
    readings: Sequence[Metering] = (),
    wishes: Wishes | None = None,
    in_shade: bool = False,
) -> Exposure:
    """What to set, and how sure it is.

    The light is read from `readings`, else from the snap's own exposure data; the sun model joins in where place and
    time are known, or stands alone where nothing else is. motion: from `rates`; made here when wind was given.
    """
    from irpreview.core.exposure.metering import from_snap, from_sun
    from irpreview.core.exposure.setting import plan_exposure
    from irpreview.core.light.daylight import illuminance_lx, light_spectra
    from irpreview.core.light.filter_factor import filter_factor
    from irpreview.core.light.optics import effective_wavelength_nm
    from irpreview.io.tables import load_tables

    kit = kit or default_kit()
    conditions = conditions or Conditions()
    light = light or (light_of(photo) if photo is not None else Light())
    tables = load_tables()
    sun_known = light.sun_bearing_deg is not None
    metered = list(readings)
    if sun_known or not (metered or (photo is not None and from_snap(photo) is not None)):
        metered.append(from_sun(illuminance_lx(light, tables), light))
    if motion is None and scene is not None and photo is not None and conditions.wind_m_s is not None:
        motion = rates(photo, scene, kit, conditions)
    return plan_exposure(
        photo,
        kit,
        light,
        conditions,
        (lambda shutter_s: move(motion, shutter_s)) if motion is not None else None,
        factor=filter_factor(kit, light, tables, in_shade=in_shade),
        readings=tuple(metered),
        rendering=rendering,
        scene_share=scene.share() if scene is not None else None,
        band_nm=effective_wavelength_nm(kit, tables, np.sum(light_spectra(light, tables), axis=0)),
        wishes=wishes,
    )


def planned_shutter(
    photo: Photo, scene: SceneMap, kit: Kit, light: Light, conditions: Conditions, rendering: Rendering
) -> tuple[Exposure | None, float | None, str]:
    """(exposure, shutter time [s] that it recommends, why there is none) for a verdict without a given time."""
    from irpreview.records import Shot

    # another light than the snap's own: what its phone metered then says nothing
    metered = replace(photo, shot=Shot(focal_35mm_mm=photo.shot.focal_35mm_mm)) if light.planned else photo
    try:
        exposure = expose(metered, scene, kit, light, conditions, rendering=rendering)
    except IrpreviewError as error:
        return None, None, str(error)
    best = exposure.recommended
    return exposure, None if best is None else best.shutter_s.likely, ""


def judge(
    photo: Photo,
    scene: SceneMap | None = None,
    kit: Kit | None = None,
    light: Light | None = None,
    conditions: Conditions | None = None,
    shutter_s: float | None = None,
    *,
    rendering: Rendering | None = None,
    exposure: Exposure | None = None,
    grade: float = DEFAULT_GRADE,
) -> Verdict:
    """Whether the layers separate, what the sky does, and what should lead the picture.

    conditions: wind not given is unknown. shutter_s: planned time [s]; else that of `exposure`, else none is assumed.
    """
    from irpreview.core.verdict.judging import judge_scene

    scene = scene or map_scene(photo)
    rendering = rendering or render(photo, scene, kit, light, conditions=conditions, grade=grade)
    if shutter_s is None and exposure is not None and exposure.recommended is not None:
        shutter_s = exposure.recommended.shutter_s.likely
    return judge_scene(photo, scene, rendering, conditions, None, grade, shutter_s)
