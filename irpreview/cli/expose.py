"""`irpreview expose`: what to set, how sure it is, and the test frames that make it surer."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from irpreview.cli.common import (
    AtOption,
    EvOption,
    FocalOption,
    GustOption,
    HazeOption,
    HeadingOption,
    JsonOption,
    KitOption,
    LensOption,
    LogOption,
    MeterOption,
    TemperatureOption,
    WhenOption,
    WindOption,
    ZoneOption,
    emit_json,
    fail_usage,
    say,
)
from irpreview.core.units import shutter_text
from irpreview.core.words import in_words, long_words
from irpreview.core.words.exposure_words import cost_lines, focus_lines

if TYPE_CHECKING:
    from irpreview.core.exposure.metering import Metering
    from irpreview.records import (
        Conditions,
        Exposure,
        ExposureTest,
        FocusAdvice,
        FrameCost,
        Kit,
        Light,
        Photo,
        Rendering,
        SceneMap,
        Setting,
    )

PhotoOption = Annotated[
    Path | None, typer.Argument(metavar="PHOTO", help="The snap: its own exposure data are a light meter.")
]
SkyOption = Annotated[
    str, typer.Option("--sky", metavar="STATE", help="clear, thin_cloud, broken, overcast or unknown.")
]
NearestOption = Annotated[
    float | None, typer.Option("--nearest", metavar="M", help="Nearest thing that must be sharp, metres.")
]
HoldOption = Annotated[
    float, typer.Option("--hold", metavar="PX", min=0.5, max=100.0, help="Smear that still counts as sharp, pixels.")
]
NoiseReductionOption = Annotated[
    bool, typer.Option("--noise-reduction", help="The camera takes a dark frame of equal length after each.")
]
LightMinutesOption = Annotated[
    float | None, typer.Option("--light-minutes", metavar="MIN", help="How long the light will last, minutes.")
]
ShadeOption = Annotated[bool, typer.Option("--shade", help="What matters lies in open shade, and was metered there.")]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("expose")
    def expose(
        photo: PhotoOption = None,
        kit: KitOption = None,
        meter: MeterOption = None,
        ev: EvOption = None,
        at: AtOption = None,
        when: WhenOption = None,
        heading: HeadingOption = None,
        zone: ZoneOption = None,
        sky: SkyOption = "unknown",
        haze: HazeOption = "unknown",
        wind: WindOption = None,
        gust: GustOption = None,
        temperature: TemperatureOption = None,
        focal: FocalOption = None,
        lens: LensOption = None,
        nearest: NearestOption = None,
        hold: HoldOption = 5.0,
        noise_reduction: NoiseReductionOption = False,
        light_minutes: LightMinutesOption = None,
        shade: ShadeOption = False,
        log: LogOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """What ISO, aperture and time, how sure it is, and quick test frames."""
        from dataclasses import replace

        from irpreview import session
        from irpreview.core.exposure.setting import Wishes
        from irpreview.io.kits import load_kit, with_lens
        from irpreview.io.photos import load_photo
        from irpreview.records import Conditions, Shot

        chosen = load_kit(kit) if kit is not None else session.default_kit()
        conditions = Conditions(
            wind_m_s=wind,
            gust_m_s=gust,
            temperature_c=temperature,
            sky_state=_one_of("sky", sky, ("clear", "thin_cloud", "broken", "overcast", "unknown")),
            haze=_one_of("haze", haze, ("clear", "normal", "hazy", "unknown")),
            focal_35mm_mm=focal,
        )
        if lens is not None:
            chosen = with_lens(chosen, lens)
        readings = _readings(meter, ev)
        snap = load_photo(photo, zone=zone) if photo is not None else None
        light = _light(at, when, zone, heading, conditions, snap)
        chosen, doubts = _taught(chosen, log, in_shade=shade, light=light, focal_mm=focal)
        scene, rendering, more = _looked_at(snap, chosen)
        doubts += more
        metered_snap = snap
        if snap is not None and when is not None and _is_another_time(snap, light):
            metered_snap = replace(snap, shot=Shot())
            doubts.append("the snap's light differs from the planned one: its exposure data are left out")
        wishes = Wishes(
            focal_35mm_mm=focal,
            nearest_m=nearest,
            hold_px=hold,
            noise_reduction=noise_reduction,
            light_minutes=light_minutes,
        )
        answer = session.expose(
            metered_snap,
            scene,
            chosen,
            light,
            conditions,
            rendering=rendering,
            readings=readings,
            wishes=wishes,
            in_shade=shade,
        )
        if as_json:
            emit_json({**facts_of(answer, chosen, photo, doubts), "white_balance": _white_balance(snap, scene)})
        else:
            print(report(answer, chosen))
            if snap is not None:
                patch = _white_balance(snap, scene)
                print(f"White    {patch['says'] if patch else 'no sunlit grass or leaves in the photo for a reading'}")
            for doubt in (*doubts, *long_words(answer.doubts)):
                say(f"doubt: {doubt}")


def _taught(
    kit: Kit, log: Path | None, *, in_shade: bool, light: Light, focal_mm: float | None
) -> tuple[Kit, list[str]]:
    """The kit as the field log taught it. A log named by hand must be readable; the usual one is no reason to stop."""
    from irpreview.errors import BadLog
    from irpreview.io.log_exchange import teach

    sun_known = light.sun_bearing_deg is not None
    try:
        taught = teach(
            kit, log, in_shade=in_shade, sun_height_deg=light.sun_height_deg if sun_known else None, focal_mm=focal_mm
        )
    except BadLog as error:
        if log is not None:
            raise
        return kit, [f"the field log was not used: {error}"]
    return taught.kit, list(taught.says)


def _one_of(name: str, word: str, allowed: tuple[str, ...]) -> Any:
    if word not in allowed:
        raise fail_usage(f"--{name} {word!r} is not known; give one of {', '.join(allowed)}")
    return word


def _readings(meter: str | None, ev: float | None) -> tuple[Metering, ...]:
    from irpreview.core.exposure.metering import from_ev, from_meter, parse_exposure

    if meter is not None and ev is not None:
        raise fail_usage("give --meter or --ev, not both")
    if meter is not None:
        return (from_meter(parse_exposure(meter)),)
    return (from_ev(ev),) if ev is not None else ()


def _looked_at(snap: Photo | None, kit: Kit) -> tuple[SceneMap | None, Rendering | None, list[str]]:
    """What is in the photo; without weights the exposure still works, and says what it lacks."""
    from irpreview import session
    from irpreview.errors import BadModel

    if snap is None:
        return None, None, []
    try:
        scene = session.map_scene(snap)
        return scene, session.render(snap, scene, kit, session.light_of(snap)), []
    except BadModel as error:
        return None, None, [f"what is in the photo is not known ({error}): grey is placed, not a layer"]


SAME_SUN_DEG = 8.0
"""Half an hour of sun: further apart, the snap's exposure data speak of another light."""


def _is_another_time(snap: Photo, light: Light) -> bool:
    """Whether the snap was taken under another sun than the one asked for; unknown = no."""
    from irpreview import session

    own = session.light_of(snap)
    if own.sun_bearing_deg is None or light.sun_bearing_deg is None:
        return False
    turned = abs((own.sun_bearing_deg - light.sun_bearing_deg + 180.0) % 360.0 - 180.0)
    return abs(own.sun_height_deg - light.sun_height_deg) > SAME_SUN_DEG or turned > 2.0 * SAME_SUN_DEG


def _white_balance(snap: Photo | None, scene: SceneMap | None) -> dict[str, Any] | None:
    """Where to take the custom reading, in pixels of the photo."""
    from dataclasses import asdict

    from irpreview.core.exposure.white_balance import patch_for_white_balance

    patch = None if snap is None else patch_for_white_balance(snap, scene)
    return None if patch is None else asdict(patch)


def _light(
    at: str | None,
    when: str | None,
    zone: str | None,
    heading: float | None,
    conditions: Conditions,
    photo: Photo | None,
) -> Light:
    from dataclasses import replace

    from irpreview import session
    from irpreview.core.light.daylight import HAZE_AOD, light_for
    from irpreview.core.light.light_plan import parse_moment, parse_place
    from irpreview.records import Light

    state = conditions.sky_state if conditions.sky_state != "unknown" else "clear"
    if (at is None) != (when is None):
        raise fail_usage("--at and --when go together: the sun model needs a place and a time")
    if at is not None and when is not None:
        place = parse_place(at)
        return light_for(place, parse_moment(when, zone, place), heading, conditions.haze, state)
    light = session.light_of(photo) if photo is not None else Light()
    if state != light.sky_state or conditions.haze != "unknown":
        # the snap's own spectra belong to a clear sky of usual haze: leave them to the tables
        light = replace(light, sky_state=state, haze_aod=HAZE_AOD[conditions.haze], direct=None, sky=None)
    return light


def setting_facts(setting: Setting | None) -> dict[str, Any] | None:
    """One setting as JSON holds it; times exact in seconds."""
    if setting is None:
        return None
    return {
        "iso": setting.iso,
        "f_number": setting.f_number,
        "shutter_s": round(setting.shutter_s.likely, 6),
        "shutter_range_s": setting.shutter_s.as_dict(6),
        "shutter_text": setting.shutter_text,
        "limits": [in_words(limit).long for limit in setting.limits],
        "snr": setting.snr,
        "minutes_per_frame": setting.minutes_per_frame,
    }


def frame_cost_facts(cost: FrameCost | None) -> dict[str, Any]:
    """What a frame costs as JSON holds it."""
    if cost is None:
        return {}
    short = cost.short_frames
    return {
        "seconds_per_frame": round(cost.seconds_per_frame, 1),
        "minutes_per_frame": round(cost.minutes_per_frame, 2),
        "dark_frame_s": round(cost.dark_frame_s, 1),
        "light_minutes": cost.light_minutes,
        "frames_in_light": cost.frames_in_light,
        "short_frames": None
        if short is None
        else {
            "frames": short.frames,
            "iso": short.iso,
            "shutter_s": round(short.shutter_s, 2),
            "shutter_text": shutter_text(short.shutter_s),
            "snr": round(short.snr, 1),
            "snr_one_long": round(short.snr_one_long, 1),
            "says": in_words(short).long,
        },
        "battery_frames": list(cost.battery_frames),
        "says": [one.long for one in cost_lines(cost)],
    }


def ladder_facts(one: ExposureTest) -> dict[str, Any]:
    """A test exposure as JSON holds it."""
    return {
        "iso": one.iso,
        "f_number": one.f_number,
        "shutter_s": one.shutter_s,
        "shutter_text": shutter_text(one.shutter_s),
        "if_right_factor_stops": round(one.factor_stops, 2),
        "stands_for": {
            "iso": one.long_iso,
            "f_number": one.long_f_number,
            "shutter_s": round(one.long_shutter_s, 4),
            "shutter_text": shutter_text(one.long_shutter_s),
        },
        "says": in_words(one).long,
    }


def focus_facts(focus: FocusAdvice | None) -> dict[str, Any]:
    """Where to focus as JSON holds it."""
    if focus is None:
        return {}
    return {
        "focal_mm": round(focus.focal_mm, 1),
        "f_number": focus.f_number,
        "hyperfocal_m": round(focus.hyperfocal_m, 2),
        "focus_at_m": round(focus.focus_at_m, 2),
        "near_m": round(focus.near_m, 2),
        "far_m": None if focus.far_m is None else round(focus.far_m, 2),
        "blur_circle_mm": round(focus.blur_circle_mm, 4),
        "airy_um": round(focus.airy_um, 1),
        "band_nm": round(focus.band_nm),
        "infrared_shift_mm": focus.shift_mm.as_dict(4),
        "shift_share_of_focal": round(focus.shift_mm.likely / focus.focal_mm, 5),
        "shift_covered": focus.shift_covered,
        "needs_f_number": None if focus.needs_f_number is None else round(focus.needs_f_number, 1),
        "says": [one.long for one in focus_lines(focus)],
    }


def facts_of(answer: Exposure, kit: Kit, photo: Path | None, doubts: list[str]) -> dict[str, Any]:
    """The exposure as JSON holds it; see data/schemas/expose.json."""
    return {
        "kind": "exposure",
        "photo": None if photo is None else str(photo),
        "kit": kit.name,
        "factor_stops": {
            **answer.factor_stops.as_dict(),
            "parts": {name: part.as_dict() for name, part in answer.factor_parts.items()},
            "source": kit.factor_source if kit.factor_stops is not None else "kit class",
        },
        "metered_ev100": round(answer.metered_ev100.likely, 3),
        "metered_ev100_range": answer.metered_ev100.as_dict(),
        "metered_by": in_words(answer.metered_by).long,
        "readings_ev100": {name: value.as_dict() for name, value in answer.readings_ev100.items()},
        "placement_stops": round(answer.placement.stops, 3),
        "placed": in_words(answer.placement).long,
        "settings": [setting_facts(s) for s in answer.settings],
        "recommended": setting_facts(answer.recommended),
        "freezes": setting_facts(answer.freezes),
        "nearest_freeze": setting_facts(answer.nearest_freeze),
        "streaks": setting_facts(answer.streaks),
        "nearest_streak": setting_facts(answer.nearest_streak),
        "reasons": list(long_words(answer.reasons)),
        "frame_cost": frame_cost_facts(answer.frame_cost),
        "test_frames": [ladder_facts(one) for one in answer.test_exposures],
        "focus": focus_facts(answer.focus),
        "cautions": list(long_words(answer.cautions)),
        "doubts": [*doubts, *long_words(answer.doubts)],
    }


def report(answer: Exposure, kit: Kit) -> str:
    """The exposure as a short text."""
    from irpreview.core.light.filter_factor import PART_WORDS

    f, ev = answer.factor_stops, answer.metered_ev100
    lines = [
        f"{kit.words}",
        *([f"Lens     {kit.lens}"] if kit.lens else []),
        *([f"Factor   {kit.factor_source}"] if kit.factor_stops is not None else []),
        f"Light    EV {ev.likely:.1f} at ISO 100 ({ev.low:.1f} to {ev.high:.1f}), {in_words(answer.metered_by).long}",
        f"Filter   {f.likely:.1f} stops ({f.low:.1f} to {f.high:.1f}) for neutral grey, made of",
    ]
    lines += [
        f"         {part.likely:+5.1f}  {PART_WORDS.get(name, name)}"
        for name, part in answer.factor_parts.items()
        if abs(part.likely) >= 0.05
    ]
    lines.append(f"Place    {in_words(answer.placement).long}")
    best = answer.recommended
    if best is not None:
        lines += ["", f"Take     ISO {best.iso:g}   f/{best.f_number:g}   {best.shutter_text}"]
        low, high = shutter_text(best.shutter_s.low), shutter_text(best.shutter_s.high)
        if low != high:
            lines.append(f"         between {low} and {high} until a test frame tells")
    lines += [f"         - {reason}" for reason in long_words(answer.reasons)]
    if answer.test_exposures:
        lines += ["", "Test first", *(f"         {text}" for text in long_words(answer.test_exposures))]
        lines.append(
            f"         keep it: irpreview calibrate --ev {ev.likely:.1f} --filtered SETTING"
            + (f" --placed {answer.placement.stops:.1f}" if abs(answer.placement.stops) >= 0.05 else "")
            + " --save FILE, then --kit FILE"
        )
    lines += ["", "Cost", *(f"         {text}" for text, _ in cost_lines(answer.frame_cost))]
    lines += ["", "Focus", *(f"         {text}" for text, _ in focus_lines(answer.focus))]
    lines += ["", *_by_time(answer)]
    if answer.cautions:
        lines += ["", *(f"! {text}" for text in long_words(answer.cautions))]
    return "\n".join(lines)


WANTED_S = (1 / 60, 1 / 15, 1 / 4, 1.0, 4.0, 15.0, 30.0, 60.0, 120.0, 240.0, 480.0, 960.0)


def _by_time(answer: Exposure) -> list[str]:
    """For every useful time the setting that asks one to put up with least (all of them are in --json)."""
    lines = ["If you want another time"]
    for wanted in WANTED_S:
        near = [s for s in answer.settings if abs(math.log2(s.shutter_s.likely / wanted)) < 0.3]
        if not near:
            continue
        s = min(near, key=lambda s: (len(s.limits), -min(s.snr or 0.0, 40.0), abs(math.log2(s.f_number / 9.0))))
        limits = "; ".join(in_words(limit).short for limit in s.limits) if s.limits else "nothing against it"
        lines.append(f"         {s.shutter_text:<11} ISO {s.iso:<6g} f/{s.f_number:<5g} {limits}")
    return lines
