"""What physics says of each class for a kit and a light: factors, reflectances, shade, and what direction does to them.

Pure: the tables are handed in. The reference is the kit of the research pairs in the snap's own light, which is what
the network learned; every other kit and light departs from it by the differences worked out here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from irpreview.core.light.daylight import light_spectra
from irpreview.core.light.optics import Roughness, leak_share, roughness_of_wind
from irpreview.core.light.planned_light import leak_doubts, planned_doubts
from irpreview.core.light.spectra import Tables
from irpreview.core.light.surfaces import class_factors, class_visible_reflectance, open_shade_stops
from irpreview.core.rendering.tones import REFERENCE_KIT, ClassPhysics
from irpreview.core.rendering.view_factors import brightness_change, light_is_known, view_factors, view_of
from irpreview.records import (
    CLASS_NAMES,
    Conditions,
    Doubt,
    Kit,
    Light,
    Photo,
    Range,
    SceneMap,
)


@dataclass(frozen=True, slots=True)
class _Values:
    factor_stops: Mapping[str, Range]
    visible_reflectance: Mapping[str, Range]
    open_shade_stops: float


def _bare(kit: Kit) -> Kit:
    """The kit as physics sees it: a personal correction plays no part, and its mapping is no key of a cache."""
    return replace(kit, class_correction_stops=MappingProxyType({})) if kit.class_correction_stops else kit


def _rounded(light: Light) -> Light:
    """The light as coarse as the class factors care for; spectra are made anew from it."""
    return Light(
        sun_height_deg=round(light.sun_height_deg, 1),
        haze_aod=round(light.haze_aod, 3),
        sky_state=light.sky_state,
        sun_side=light.sun_side,
    )


@lru_cache(maxsize=64)
def _values_of(kit: Kit, light: Light, tables: Tables, roughness: Roughness | None) -> _Values:
    return _Values(
        class_factors(kit, light, tables, water_roughness=roughness),
        class_visible_reflectance(tables, light),
        open_shade_stops(kit, light, tables).likely,
    )


def values_of(kit: Kit, light: Light, tables: Tables, roughness: Roughness | None = None) -> _Values:
    """Class factors, visible reflectances and open shade [stops] of a kit and light."""
    return _values_of(_bare(kit), _rounded(light), tables, roughness)


def water_roughness(conditions: Conditions) -> Roughness | None:
    """How rough the water is, from its kind and the wind; None = not known."""
    if conditions.water_kind == "falls":
        return "foam"
    if conditions.water_kind == "stream":
        return "wind_rough"
    return roughness_of_wind(conditions.wind_m_s)


def class_physics(
    kit: Kit,
    light: Light,
    tables: Tables,
    reference: Kit,
    roughness: Roughness | None = None,
    snap_light: Light | None = None,
) -> ClassPhysics:
    """What physics says of each class for a kit and light. snap_light: the snap's own, where `light` is planned."""
    snap_light = snap_light or light
    own = values_of(kit, light, tables, roughness)
    before = values_of(reference, snap_light, tables, roughness)
    change: Mapping[str, float] = {}
    if kit.name == REFERENCE_KIT and light is not snap_light:
        change = {n: own.factor_stops[n].likely - before.factor_stops[n].likely for n in CLASS_NAMES}
    return ClassPhysics(
        factor_stops=own.factor_stops,
        visible_reflectance=before.visible_reflectance,
        open_shade_stops=own.open_shade_stops,
        reference_open_shade_stops=before.open_shade_stops,
        reference_change_stops=MappingProxyType(dict(change)),
    )


def physics_in_view(
    photo: Photo,
    scene: SceneMap,
    kit: Kit,
    light: Light,
    tables: Tables,
    reference: Kit,
    roughness: Roughness | None,
    snap_light: Light,
) -> ClassPhysics:
    """The same, with what direction does to sky and water where the light is known."""
    physics = class_physics(kit, light, tables, reference, roughness, snap_light)
    if not light_is_known(light):
        return physics
    view = view_of(photo, scene)
    before = values_of(reference, snap_light, tables, roughness).factor_stops
    seen = view_factors(view, scene, kit, reference, light, snap_light, tables, before, roughness)
    physics = replace(physics, view=seen)
    if light.planned:
        physics = replace(physics, brightness_change=brightness_change(view, scene, light, snap_light, tables))
    return physics


@lru_cache(maxsize=32)
def _leak_share(kit: Kit, light: Light, tables: Tables) -> float:
    return leak_share(kit, tables, np.sum(light_spectra(light, tables), axis=0))


def light_doubts(kit: Kit, light: Light, snap_light: Light, tables: Tables) -> tuple[Doubt, ...]:
    """What has to be said of a planned light and of a leaking filter."""
    rough = Light(sun_height_deg=round(light.sun_height_deg, 1), haze_aod=round(light.haze_aod, 3))
    leak = leak_doubts(kit, _leak_share(_bare(kit), rough, tables))
    if not light.planned:
        return leak
    return (*planned_doubts(light, snap_light, snap_light.sun_bearing_deg is not None), *leak)
