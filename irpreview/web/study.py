"""One snap with everything worked out, and what has to be worked out again when one input changes.

Pure use of the library: no page, no session, no state. Each function takes a study and gives a new one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from irpreview import session
from irpreview.core.shotcard import build_card
from irpreview.core.wording import shutter_text
from irpreview.errors import BadValue, IrpreviewError
from irpreview.io.card_files import small_picture
from irpreview.records import (
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
    ShotCard,
    SkyState,
    Verdict,
    WaterKind,
)

if TYPE_CHECKING:
    from irpreview.core.light_plan import LightPlan
    from irpreview.core.motion_rates import Rates
    from irpreview.core.motion_stage import Stage

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


@dataclass(frozen=True, slots=True)
class Inputs:
    """What the photographer entered; None or "unknown" = not known. Texts are kept as typed."""

    kit: str = "unmodified-720"
    factor_stops: float | None = None
    focal_35mm_mm: float | None = None
    widest_f_number: float | None = None
    lowest_iso: float | None = None
    highest_iso: float | None = None
    place: str = ""
    when: str = ""
    zone: str = ""
    heading_deg: float | None = None
    sky_state: SkyState = "unknown"
    haze: str = "unknown"
    temperature_c: float | None = None
    wind_from_deg: float | None = None
    cloud_fist_s: float | None = None
    trees_m: float | None = None
    nearest_m: float | None = None
    water_kind: WaterKind = "unknown"
    grade: float = 4.0
    wind_m_s: float | None = None
    shutter_s: float | None = None
    """None = the recommended time."""


Repaints = tuple[tuple[tuple[NDArray[np.bool_], str], ...], ...]
"""Corrections in the order made; each is what one press of the button did."""


def read_snap(path: str | Path, zone: str, name: str | None = None) -> Photo:
    """A snap at the page's working size. Raises BadPhoto, BadValue."""
    from irpreview.io.photos import load_photo

    data = Path(path).read_bytes()
    return load_photo(data, zone=zone or None, max_side=PAGE_SIDE_PX, name=name or Path(path).name)


def parse_place(text: str) -> Place | None:
    """`51.2345, 7.4321` or `51.2345 N, 7.4321 E`; empty or `unknown` = None. Raises BadValue."""
    cleaned = text.strip()
    if not cleaned or cleaned.lower() in ("unknown", "?", "-"):
        return None
    parts = cleaned.replace(";", ",").split(",") if "," in cleaned or ";" in cleaned else cleaned.split()
    how = "write latitude and longitude in degrees such as 51.2345, 7.4321, or leave it empty"
    if len(parts) == 4:
        parts = [parts[0] + parts[1], parts[2] + parts[3]]
    if len(parts) != 2:
        raise BadValue(f"the place {cleaned[:40]!r} cannot be read; {how}")
    values = []
    for part, letters in zip(parts, ("NS", "EW"), strict=True):
        word = part.strip().upper().replace("°", "")
        sign = 1.0
        if word and word[-1] in letters:
            sign = -1.0 if word[-1] == letters[1] else 1.0
            word = word[:-1]
        try:
            values.append(sign * float(word))
        except ValueError:
            raise BadValue(f"the place {cleaned[:40]!r} cannot be read; {how}") from None
    latitude, longitude = values
    if not (abs(latitude) <= 90 and abs(longitude) <= 180):
        raise BadValue(
            f"the place {latitude:g}, {longitude:g} is not on Earth; latitude -90 to 90, longitude -180 to 180"
        )
    return Place(latitude, longitude)


def parse_when(text: str, zone: str) -> datetime | None:
    """An aware time from `2026-06-21 14:30` and a zone; None where either is not known. Raises BadValue."""
    from irpreview.io.photo_facts import time_zone

    cleaned = text.strip()
    if not cleaned or cleaned.lower() == "unknown":
        return None
    try:
        when = datetime.fromisoformat(cleaned)
    except ValueError:
        raise BadValue(
            f"the time {cleaned[:40]!r} cannot be read; write it as 2026-06-21 14:30, or leave it empty"
        ) from None
    if when.tzinfo is not None:
        return when
    return when.replace(tzinfo=time_zone(zone.strip())) if zone.strip() else None


def kit_of(inputs: Inputs) -> Kit:
    """The chosen kit with the photographer's own limits. Raises BadKit, BadValue."""
    from irpreview.io.kits import load_kit

    kit = load_kit(inputs.kit)
    changes: dict[str, Any] = {}
    if inputs.factor_stops is not None:
        stops = _within(inputs.factor_stops, 0.0, 24.0, "filter factor", "stops")
        changes |= {"factor_stops": Range(stops - 0.5, stops, stops + 0.5), "factor_source": "your own test frame"}
    if inputs.widest_f_number is not None:
        changes["f_number_min"] = _within(inputs.widest_f_number, 0.7, kit.f_number_max, "widest aperture", "")
    low = inputs.lowest_iso if inputs.lowest_iso is not None else kit.iso_min
    high = inputs.highest_iso if inputs.highest_iso is not None else kit.iso_max
    changes["iso_min"] = _within(low, 6, 1e6, "lowest ISO", "")
    changes["iso_max"] = _within(high, low, 1e7, "highest ISO", "")
    return replace(kit, **changes)


def conditions_of(inputs: Inputs) -> Conditions:
    """The day as entered. Raises BadValue."""
    distance = {}
    if inputs.trees_m is not None:
        distance["tree"] = _within(inputs.trees_m, 0.3, 1e5, "distance of the trees", "m")
    heading = inputs.wind_from_deg
    return Conditions(
        wind_m_s=None if inputs.wind_m_s is None else _within(inputs.wind_m_s, 0.0, 60.0, "wind", "m/s"),
        wind_from_deg=None if heading is None else _within(heading, 0.0, 360.0, "wind direction", "degrees"),
        sky_state=inputs.sky_state,
        haze=inputs.haze,  # type: ignore[arg-type]
        temperature_c=(
            None if inputs.temperature_c is None else _within(inputs.temperature_c, -60, 60, "temperature", "°C")
        ),
        cloud_fist_s=(
            None if inputs.cloud_fist_s is None else _within(inputs.cloud_fist_s, 1, 7200, "cloud's crossing time", "s")
        ),
        distance_m=distance,
        focal_35mm_mm=(
            None if inputs.focal_35mm_mm is None else _within(inputs.focal_35mm_mm, 8, 2000, "focal length", "mm")
        ),
        water_kind=inputs.water_kind,
    )


def _within(value: float, low: float, high: float, what: str, unit: str) -> float:
    if not (math.isfinite(value) and low <= value <= high):
        raise BadValue(
            f"{what} {value:g} {unit}".strip() + f" must lie between {low:g} and {high:g}; leave it empty if unknown"
        )
    return float(value)


def light_now(photo: Photo, inputs: Inputs) -> tuple[Light, Photo]:
    """The light by what was typed, else by the snap, and the snap with its corrected facts. Raises BadValue."""
    from irpreview.core.daylight import light_for

    place = parse_place(inputs.place) or photo.place
    when = parse_when(inputs.when, inputs.zone) or photo.taken_at
    heading = photo.heading_deg
    if inputs.heading_deg is not None:
        heading = _within(inputs.heading_deg, 0.0, 360.0, "bearing of the view", "degrees")
    photo = replace(photo, place=place, taken_at=when, heading_deg=heading)
    sky: SkyState = "clear" if inputs.sky_state == "unknown" else inputs.sky_state
    if place is not None and when is not None:
        return light_for(place, when, heading, inputs.haze, sky), photo
    return (
        Light(sky_state=sky, how_known="assumed: sun 45 degrees high, because place and time are not both known"),
        photo,
    )


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
    from irpreview.core.scene import repaint_all

    kit, conditions = kit or kit_of(inputs), conditions_of(inputs)
    light, photo = light_now(photo, inputs)
    bare = scene if scene is not None else session.map_scene(photo)
    painted = repaint_all(bare, [one for step in repaints for one in step]) if repaints else bare
    sorry: list[str] = []
    try:
        rendering = session.render(photo, painted, kit, light, grade=inputs.grade)
    except BadValue as error:
        # No daylight at that time: show the snap's tones in ordinary light and say so.
        fallback = Light(how_known="assumed: sun 45 degrees high, because the given time has no daylight")
        sorry.append(_sentence(error))
        light = fallback
        rendering = session.render(photo, painted, kit, fallback, grade=inputs.grade)
    return Look(photo, bare, painted, kit, light, conditions, inputs, rendering, tuple(sorry))


def finish(seen: Look, stage: Stage | None = None) -> Study:
    """The second half: movement, exposure and verdict. `stage`: kept where the picture itself has not changed."""
    from irpreview.core.exposure import Wishes

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

    from irpreview.core.motion_stage import prepare_stage
    from irpreview.core.scene import size_within

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
    from irpreview.core.white_balance import patch_for_white_balance

    patch = patch_for_white_balance(study.photo, study.scene)
    return patch.says if patch is not None else ""


SOURCES = (
    "Exposure relation: ISO 2720. Wind signs: Beaufort scale, WMO-No. 306. Screen curve: IEC 61966-2-1.",
    "Sunlight: SPECTRL2 (Bird and Riordan 1986), sun position by the NREL algorithm, both as in pvlib.",
    "Exposure values of cloudy skies, zone placement, focus marks: common practice, no source.",
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

    from irpreview.core.daylight import illuminance_lx, light_for, sun_positions
    from irpreview.core.metering import ev100_of_lux
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
    from irpreview.core.light_plan import plan_light
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


def _focal(study: Study) -> dict[str, float]:
    focal = study.conditions.focal_35mm_mm or study.photo.shot.focal_35mm_mm
    return {"focal_35mm_mm": focal} if focal is not None else {}


def motion_picture(study: Study) -> NDArray[np.uint8]:
    """The finished infrared picture (h, w) with its movement, at most `MOTION_SIDE_PX` on its long side."""
    from irpreview.core.finishing import finish as print_of
    from irpreview.core.motion_rendering import picture_in_motion

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
