"""What is taken along from a study: the card, the hours of the day, the windows of light."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from irpreview import session
from irpreview.core.card.card import build_card
from irpreview.errors import BadValue
from irpreview.io.card_files import small_picture
from irpreview.records import Range, ShotCard
from irpreview.study import Study

if TYPE_CHECKING:
    from irpreview.core.light.light_plan import LightPlan
    from irpreview.core.motion.rates import Rates


def card_of(study: Study, title: str, with_place: bool, light_window: tuple[str, ...] = ()) -> ShotCard:
    """The card of a study. Raises BadValue when there is no exposure to carry."""
    from irpreview import __version__

    if study.exposure is None:
        raise BadValue(
            "a card needs an exposure, and there is none: " + (study.sorry[-1] if study.sorry else "light not known")
        )
    known: dict[float, Rates] = {}

    def foliage_blur_px(wind_m_s: float, shutter_s: float) -> Range | None:
        if wind_m_s not in known:
            day = replace(study.conditions, wind_m_s=wind_m_s, gust_m_s=None)
            known[wind_m_s] = session.rates(study.photo, study.scene, study.kit, day)
        movement = session.move(known[wind_m_s], shutter_s)
        found = [movement.classes[name].blur_px for name in ("tree", "grass") if name in movement.classes]
        return max(found, key=lambda blur: blur.likely) if found else None

    return build_card(
        title=title,
        snap=small_picture(study.photo.pixels),
        infrared=small_picture(study.rendering.picture),
        scene=study.scene,
        rendering=study.rendering,
        verdict=study.verdict,
        exposure=study.exposure,
        movement=study.movement,
        conditions=study.conditions,
        foliage_blur_px=foliage_blur_px,
        light_window=light_window,
        white_balance=white_balance_words(study),
        assumptions=study.photo.doubts,
        sources=SOURCES,
        place=study.photo.place,
        with_place=with_place,
        version=__version__,
    )


def white_balance_words(study: Study) -> str:
    """Where to take the white balance in this scene; empty where it shows no sunlit green."""
    from irpreview.core.exposure.white_balance import patch_for_white_balance

    patch = patch_for_white_balance(study.photo, study.scene)
    return patch.says if patch is not None else ""


SOURCES = (
    "Exposure: ISO 2720. Wind: Beaufort scale, WMO-No. 306. Screen curve: IEC 61966-2-1.",
    "Sunlight: SPECTRL2 (Bird and Riordan 1986), NREL sun position, as in pvlib.",
    "Cloudy skies, zones, focus marks: common practice, no source.",
)


@dataclass(frozen=True, slots=True)
class Hour:
    """The light at one full hour of the day."""

    when: datetime
    sun_height_deg: float
    shutter_s: float | None
    """Time that the recommended ISO and aperture need then; None = too dark to tell."""


LEAST_SUN_DEG = 2.0
"""Below this the spectra of the sun model are not used."""


def hours_of_day(study: Study) -> tuple[Hour, ...]:
    """The light at each full hour of the snap's day, clear sky or the sky entered; empty without place or day."""
    from datetime import timedelta

    from irpreview.core.exposure.metering import ev100_of_lux
    from irpreview.core.light.daylight import illuminance_lx, light_for, sun_positions
    from irpreview.io.tables import load_tables

    place, when = study.photo.place, study.photo.taken_at
    if place is None or when is None:
        return ()
    midnight = when.replace(hour=0, minute=0, second=0, microsecond=0)
    times = [midnight + timedelta(hours=hour) for hour in range(24)]
    heights, _ = sun_positions(place, times)
    best = study.exposure.recommended if study.exposure is not None else None
    tables = load_tables()
    now = ev100_of_lux(illuminance_lx(study.light, tables)) if study.light.sun_height_deg >= LEAST_SUN_DEG else None
    found = []
    for time, height in zip(times, heights, strict=True):
        shutter_s = None
        if best is not None and now is not None and height >= LEAST_SUN_DEG:
            then = light_for(place, time, None, study.inputs.haze, study.light.sky_state)
            shutter_s = best.shutter_s.likely * 2.0 ** (now - ev100_of_lux(illuminance_lx(then, tables)))
        found.append(Hour(time, float(height), shutter_s))
    return tuple(found)


DAYS_AHEAD = 14


def day_plan(study: Study) -> LightPlan | None:
    """The light of the snap's day and of the two weeks from it; None without place or day."""
    from irpreview.core.light.light_plan import plan_light
    from irpreview.io.tables import load_tables

    place, when = study.photo.place, study.photo.taken_at
    if place is None or when is None:
        return None
    haze = study.inputs.haze if study.inputs.haze != "unknown" else "normal"
    zone = study.inputs.zone or when.strftime("%z")
    return plan_light(
        place,
        when.date(),
        zone,
        study.kit,
        load_tables(),
        heading_deg=study.photo.heading_deg,
        days=DAYS_AHEAD,
        haze=haze,
        focal_35mm_mm=study.inputs.focal_35mm_mm or study.photo.shot.focal_35mm_mm,
    )


def window_words(study: Study) -> list[str]:
    """When the light serves best, in sentences; empty without place or day."""
    plan = day_plan(study)
    if plan is None:
        return []
    day = plan.days[0]
    said = [f"{day.day:%-d %B %Y}: {day.words}."]
    said += [f"Good light {window.words}." for window in day.windows[:3]]
    later = [window for window in plan.best if window.start.date() != day.day]
    if later:
        said.append(f"Best of the two weeks from then: {later[0].start:%-d %B}, {later[0].words}.")
    return said
