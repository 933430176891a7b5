"""The filter factor in stops, split into the parts that a photographer can point at.

The factor is that of a neutral grey in the same light, filter on, against a visible exposure by an ordinary camera
without it. What the subject adds and what shade adds are parts of their own. A part's low and high are its share of
the doubt: parts that do not depend on each other add in quadrature, and each gets its portion of the sum, so that low,
likely and high of all parts add up to the whole.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from irpreview.core.light.daylight import LOWEST_TABLE_DEG, light_spectra, usable_height_deg
from irpreview.core.light.optics import band_response, visible_exposure_response
from irpreview.core.light.spectra import Array, Tables
from irpreview.core.light.surfaces import class_factors, open_shade_stops, sub_kind_factors
from irpreview.errors import BadValue
from irpreview.records import CLASS_NAMES, Kit, Light, Range

PART_NAMES = ("camera", "filter", "sun_height", "shade", "subject")
PART_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "camera": "the camera's own infrared cut",
        "filter": "the filter, and how little silicon sees out there",
        "sun_height": "a lower sun is redder",
        "shade": "open shade holds little infrared",
        "subject": "what the meter saw against what glows in infrared",
    }
)

REFERENCE_LIGHT = Light()
"""Clear sky, sun 45 degrees high: the light that camera and filter parts are stated in."""
FLOOR_DOUBT, EDGE_DOUBT_NM, SLOPE_DOUBT_NM = 3.0, 8.0, 1.5
"""What is not known of an unmodified sensor within its class (5-95 %): leakage floor by this factor, edge, slope."""
CUT_ON_DOUBT_NM = 7.0
SILICON_DOUBT_STOPS = 0.35
"""Peak efficiency, dyes and depth of the silicon (5-95 %)."""


def grey_factor_stops(kit: Kit, light: Light, tables: Tables) -> float:
    """Stops of neutral grey by the kit's spectra alone, no doubt, no calibration. Raises BadValue without daylight."""
    direct, sky = light_spectra(light, tables)
    return _grey(kit, direct + sky, tables)


def _grey(kit: Kit, light: Array, tables: Tables) -> float:
    return -float(np.log2((light @ band_response(kit, tables)) / (light @ visible_exposure_response(tables))))


def filter_factor(
    kit: Kit,
    light: Light,
    tables: Tables,
    subject: str | Mapping[str, float] | None = None,
    *,
    in_shade: bool = False,
) -> tuple[Range, Mapping[str, Range]]:
    """(whole, parts) in stops, the parts in the order camera, filter, sun_height, shade, subject.

    subject: None = neutral grey; a class ("grass"), a material of the tables ("granite"), or classes with their shares
    (what fills the frame): then the whole is the factor that keeps that subject as bright as the meter saw it.
    in_shade: the subject lies in open shade while the meter saw it there too. A calibrated kit's `factor_stops` (grey
    in sun) replaces what the class of the kit would give for camera and filter together.
    Raises BadValue for an unknown subject, or when there is no daylight.
    """
    usable_height_deg(light)
    direct, sky = light_spectra(REFERENCE_LIGHT, tables)
    reference = direct + sky
    converted = replace(kit, sensor="converted")
    bare = _grey(converted, reference, tables)
    with_camera = _grey(kit, reference, tables)
    parts: dict[str, tuple[float, float, float]] = {}  # likely, half-width down, half-width up
    if kit.factor_stops is None:
        parts["camera"] = (with_camera - bare, *_camera_doubt(kit, reference, tables))
        parts["filter"] = (bare, *_filter_doubt(kit, reference, tables))
    else:
        known = kit.factor_stops
        parts["camera"] = (known.likely - bare, known.likely - known.low, known.high - known.likely)
        parts["filter"] = (bare, 0.0, 0.0)
    here = grey_factor_stops(kit, light, tables) - with_camera
    height = max(light.sun_height_deg, LOWEST_TABLE_DEG)
    down = up = 0.05 + 0.15 * float(np.exp(-height / 8.0))
    if light.sky_state in ("overcast", "thin_cloud"):
        # green ground and cloud light each other: up to 0.4 stop more infrared over meadow and wood, none over stone
        here, down, up = here - 0.1, down + 0.3, up + 0.1
    parts["sun_height"] = (here, down, up)
    parts["shade"] = (0.0, 0.0, 0.0)
    if in_shade:
        drop = open_shade_stops(kit, light, tables)
        parts["shade"] = (-drop.likely, drop.high - drop.likely, drop.likely - drop.low)
    parts["subject"] = (0.0, 0.0, 0.0)
    if subject is not None:
        lift = _subject_lift(kit, light, tables, subject)
        parts["subject"] = (-lift.likely, lift.high - lift.likely, lift.likely - lift.low)
    return _whole(parts)


def _camera_doubt(kit: Kit, light: Array, tables: Tables) -> tuple[float, float]:
    """(down, up) in stops from what is not known of an unmodified sensor."""
    if kit.sensor != "unmodified":
        return 0.1, 0.1
    likely = _grey(kit, light, tables)
    down = up = 0.0
    for low, high in (
        (
            replace(kit, infrared_cut_floor=kit.infrared_cut_floor / FLOOR_DOUBT),
            replace(kit, infrared_cut_floor=min(0.95, kit.infrared_cut_floor * FLOOR_DOUBT)),
        ),
        (
            replace(kit, infrared_cut_edge_nm=kit.infrared_cut_edge_nm - EDGE_DOUBT_NM),
            replace(kit, infrared_cut_edge_nm=kit.infrared_cut_edge_nm + EDGE_DOUBT_NM),
        ),
        (
            replace(kit, infrared_cut_slope_nm=max(1.0, kit.infrared_cut_slope_nm - SLOPE_DOUBT_NM)),
            replace(kit, infrared_cut_slope_nm=kit.infrared_cut_slope_nm + SLOPE_DOUBT_NM),
        ),
    ):
        steps = [_grey(k, light, tables) - likely for k in (low, high)]
        down = float(np.hypot(down, -min(0.0, *steps)))
        up = float(np.hypot(up, max(0.0, *steps)))
    return down, up


def _filter_doubt(kit: Kit, light: Array, tables: Tables) -> tuple[float, float]:
    """(down, up) in stops from the filter's cut-on and the silicon."""
    if kit.filter_curve is not None:
        return SILICON_DOUBT_STOPS, SILICON_DOUBT_STOPS
    likely = _grey(kit, light, tables)
    steps = [
        _grey(replace(kit, filter_cut_on_nm=kit.filter_cut_on_nm + d), light, tables) - likely
        for d in (-CUT_ON_DOUBT_NM, CUT_ON_DOUBT_NM)
    ]
    return (
        float(np.hypot(SILICON_DOUBT_STOPS, min(0.0, *steps))),
        float(np.hypot(SILICON_DOUBT_STOPS, max(0.0, *steps))),
    )


def _subject_lift(kit: Kit, light: Light, tables: Tables, subject: str | Mapping[str, float]) -> Range:
    """Factor of the subject against grey. [stops]"""
    if isinstance(subject, str):
        if subject in CLASS_NAMES:
            return class_factors(kit, light, tables)[subject]
        if subject in tables.materials:
            return sub_kind_factors(kit, light, tables)[subject]
        raise BadValue(
            f"subject {subject!r}: must be a class ({', '.join(CLASS_NAMES)}) or a material "
            f"({', '.join(tables.materials)})"
        )
    unknown = [name for name in subject if name not in CLASS_NAMES]
    total = float(sum(subject.values()))
    if unknown or not total > 0.0 or min(subject.values()) < 0.0:
        raise BadValue(
            f"subject shares {dict(subject)!r}: name classes ({', '.join(CLASS_NAMES)}) with shares of 0 or more, "
            "one of them above 0"
        )
    factors = class_factors(kit, light, tables)
    mean = {
        word: float(sum(share / total * 2.0 ** getattr(factors[name], word) for name, share in subject.items()))
        for word in ("low", "likely", "high")
    }
    return Range(*(float(np.log2(mean[word])) for word in ("low", "likely", "high")))


def _whole(parts: Mapping[str, tuple[float, float, float]]) -> tuple[Range, Mapping[str, Range]]:
    """Half-widths in quadrature; each part gets its portion of the sum."""
    down = float(np.sqrt(sum(p[1] ** 2 for p in parts.values())))
    up = float(np.sqrt(sum(p[2] ** 2 for p in parts.values())))
    out = {}
    for name in PART_NAMES:
        likely, below, above = parts[name]
        out[name] = Range(likely - (below**2 / down if down else 0.0), likely, likely + (above**2 / up if up else 0.0))
    likely = float(sum(p.likely for p in out.values()))
    whole = Range(
        min(likely, float(sum(p.low for p in out.values()))),
        likely,
        max(likely, float(sum(p.high for p in out.values()))),
    )
    return whole, MappingProxyType(out)
