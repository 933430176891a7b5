"""The card to carry: everything already known, in the order in which it is needed outdoors.

Pure: it takes records and gives one record, and that as plain values. `card_blocks` lays it out, `io.card_files`
writes it down.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from types import MappingProxyType
from typing import Any

from irpreview.core.card.field_tables import (
    WindCase,
    minutes_per_frame,
    setting_choices,
    sky_corrections,
    wind_table,
)
from irpreview.core.card.shot_card import CardFacts, ShotCard
from irpreview.core.exposure.asked_time import AskedTime
from irpreview.core.exposure.white_balance import ReadingPatch
from irpreview.core.light.coarse_sun import tells_place
from irpreview.core.light.light_plan import LightPlan
from irpreview.core.words import in_words, long_words
from irpreview.core.words.card_words import (
    HOURS_LEFT_OUT,
    LOCAL_RULES,
    SOURCES,
    STANDING,
    STANDING_CAMERA,
    STAYING,
    SUN_LEFT_OUT,
    SUN_TAKEN_MIDDLE,
    WHITE_BALANCE,
    order_of_work,
    red_channel,
    wind_now,
)
from irpreview.core.words.exposure_words import focus_lines
from irpreview.core.words.light_words import best_light, day_lines
from irpreview.core.words.phrases import one_line, sentence
from irpreview.core.words.verdict_words import reasons, sentences
from irpreview.records import (
    ByteArray,
    Caution,
    CautionKind,
    Conditions,
    Doubt,
    Exposure,
    Light,
    LightBy,
    Movement,
    Place,
    Rendering,
    SceneMap,
    Setting,
    SkyState,
    SunReading,
    Verdict,
    Words,
    frozen_array,
)
from irpreview.records.framing import Framing

SCHEMA = "irpreview/1"


def build_card(
    *,
    title: str,
    snap: ByteArray,
    infrared: ByteArray,
    scene: SceneMap,
    rendering: Rendering,
    verdict: Verdict,
    exposure: Exposure,
    movement: Movement | None,
    conditions: Conditions,
    in_wind: Callable[[float], WindCase],
    pixels_wide: int,
    day_plan: LightPlan | None = None,
    white_patch: ReadingPatch | None = None,
    framing: Framing | None = None,
    cautions: Sequence[Caution] = (),
    assumptions: Sequence[Doubt] = (),
    sources: Sequence[Words] = SOURCES,
    place: Place | None = None,
    with_place: bool = False,
    version: str = "",
    asked_time: AskedTime | None = None,
) -> ShotCard:
    """Everything for the field on one card.

    `snap` (h, w, 3) and `infrared` (h, w) are small uint8 pictures. `in_wind` gives the answer for a mean wind [m/s],
    `pixels_wide` is the width of the snap at its own size. The place goes on the card only `with_place`;
    no sentence holds coordinates. Without it, what was worked out from place and time stays off too: the hours of the
    day and the sun's height tell a latitude to half a degree.
    """
    share = scene.share()
    kit, light = rendering.kit, rendering.light
    rows = wind_table(in_wind, pixels_wide=pixels_wide)
    sky_state: SkyState = conditions.sky_state if conditions.sky_state != "unknown" else light.sky_state

    left_out = not with_place and (day_plan is not None or tells_place(light))
    facts = CardFacts(
        wind_table=rows,
        wind_m_s=conditions.wind_m_s,
        corrections=sky_corrections(sky_state, exposure.recommended),
        order_of_work=order_of_work(kit, exposure),
        red_channel=red_channel(kit),
        minutes_per_frame=minutes_per_frame(exposure),
        best_light="" if day_plan is None or left_out else best_light(day_plan.days[0]),
        hours_left_out=left_out,
        light_lines=(HOURS_LEFT_OUT,) if left_out else day_lines(day_plan),
        sun_height_deg=None if not with_place and tells_place(light) else round(light.sun_height_deg),
        focus=focus_lines(exposure.focus),
        white_balance=WHITE_BALANCE if white_patch is None else in_words(white_patch),
        movement=movement.notes if movement is not None else (),
        cautions=_cautions((*exposure.cautions, *cautions)),
        assumptions=assumptions_of(
            light, exposure, kit.factor_source, (*assumptions, *rendering.doubts), with_place=with_place
        ),
        sources=tuple(sources),
        asked_time=asked_time,
        version=version,
        model_id=scene.model_id,
    )
    return ShotCard(
        title=one_line(title)[:80] or "photo",
        snap=frozen_array(snap.copy()),
        infrared=frozen_array(infrared.copy()),
        scene_share=MappingProxyType(share),
        rendering_zones=MappingProxyType({name: tone.zone for name, tone in rendering.classes.items()}),
        verdict=verdict,
        exposure=exposure,
        movement=movement,
        kit=kit,
        light=light,
        facts=facts,
        framing=framing,
        place=place if with_place else None,
    )


def assumptions_of(
    light: Light, exposure: Exposure, factor_source: str, more: Iterable[Doubt], *, with_place: bool
) -> tuple[Words, ...]:
    """What the card stands on, long and short, nothing twice."""
    sun, metered, factor = in_words(light), in_words(exposure.metered_by), exposure.factor_stops
    stops = f"{factor.likely:.1f} stops ({factor.low:.1f} to {factor.high:.1f}), from {factor_source}."
    ev100 = f"EV {exposure.metered_ev100.likely:.1f} at ISO 100"
    if not with_place and tells_place(light):
        sun = SUN_TAKEN_MIDDLE if light.known.by is LightBy.PLACE_AND_TIME else SUN_LEFT_OUT
        if isinstance(exposure.metered_by, SunReading):
            metered, ev100 = Words("a clear day's sun, left out with the place", "clear day"), "by the sun"
    said = [
        Words(f"Light: {sun.long}.", f"{sun.short}."),
        Words(f"Brightness: {metered.long}.", f"Brightness: {ev100}, {metered.short}."),
        Words(f"Filter factor: {stops}", f"Filter: {stops}"),
        *(in_words(one) for one in (*exposure.doubts, *more)),
    ]
    return tuple(dict.fromkeys(Words(*(sentence(text) for text in one)) for one in said))


def _cautions(of_this_day: Sequence[Caution]) -> tuple[Words, ...]:
    """The usual ones first; what the day's own say again, or say better, is left to these."""
    local = () if any(one.kind is CautionKind.LOCAL_RULES for one in of_this_day) else (LOCAL_RULES,)
    eyes = any(one.kind is CautionKind.SUN_EYES for one in of_this_day)
    standing = STANDING_CAMERA if eyes else STANDING
    return tuple(dict.fromkeys((standing, STAYING, *map(in_words, of_this_day), *local)))


def card_dict(card: ShotCard) -> dict[str, Any]:
    """The card as plain JSON values, by `data/schemas/card.json`; pictures stay out."""
    facts = card.facts
    exposure, verdict, light = card.exposure, card.verdict, card.light
    return {
        "schema": SCHEMA,
        "kind": "card",
        "title": card.title,
        "version": facts.version,
        "model_id": facts.model_id,
        "kit": {"name": card.kit.name, "words": card.kit.words, "factor_source": card.kit.factor_source},
        "place": (
            {
                "latitude_deg": card.place.latitude_deg,
                "longitude_deg": card.place.longitude_deg,
                "altitude_m": card.place.altitude_m,
            }
            if card.place is not None
            else None
        ),
        "light": {
            "sun_height_deg": facts.sun_height_deg,
            "sun_side": light.sun_side,
            "sky_state": light.sky_state,
            "planned": light.planned,
            "window": [one.long for one in facts.light_lines],
        },
        "classes": {
            name: {
                "share": round(share, 4),
                "zone": card.rendering_zones[name].as_dict(2) if name in card.rendering_zones else None,
            }
            for name, share in card.scene_share.items()
        },
        "verdict": {
            "lead": verdict.lead,
            "sentences": [{"text": one.text, "evidence": one.evidence} for one in sentences(verdict)],
            "lead_reasons": [{"text": one.text, "evidence": one.evidence} for one in reasons(verdict)],
            "turns_at_wind_m_s": verdict.turns_at_wind_m_s.as_dict(1) if verdict.turns_at_wind_m_s else None,
            "layers": [
                {"index": one.index, "name": one.name, "class": one.class_name, "zone": one.zone.as_dict(2)}
                for one in verdict.layers
            ],
            "separations": [
                {
                    "a": separation.a,
                    "b": separation.b,
                    "zones": round(separation.zones, 2),
                    "low": round(separation.low, 2),
                }
                | {"high": round(separation.high, 2), "says": separation.says}
                for separation in verdict.separations
            ],
        },
        "exposure": {
            "factor_stops": exposure.factor_stops.as_dict(2),
            "recommended": _setting_dict(exposure.recommended),
            "freezes": _setting_dict(exposure.freezes),
            "streaks": _setting_dict(exposure.streaks),
            "settings": [_setting_dict(one) for one in setting_choices(exposure)],
            "test_frames": list(long_words(exposure.test_exposures)),
            "focus": [one.long for one in facts.focus],
            "minutes_per_frame": _rounded(facts.minutes_per_frame, 1),
        },
        "wind_now": wind_now(facts.wind_m_s),
        "wind_table": [
            {
                "beaufort": row.beaufort,
                "from_m_s": row.from_m_s,
                "to_m_s": row.to_m_s,
                "signs": row.signs,
                "lead": row.lead,
                "shutter_text": row.shutter_text,
                "iso": row.iso,
                "f_number": row.f_number,
                "blur_px": row.blur_px.as_dict(2) if row.blur_px is not None else None,
                "foliage_holds": row.foliage_holds,
            }
            for row in facts.wind_table
        ],
        "corrections": [
            {
                "when": one.when,
                "times_low": round(one.times_low, 3),
                "times_high": round(one.times_high, 3),
                "shutter_text": one.shutter_text,
            }
            for one in facts.corrections
        ],
        "order_of_work": [one.long for one in facts.order_of_work],
        "red_channel": [one.long for one in facts.red_channel],
        "white_balance": facts.white_balance.long,
        "movement": list(long_words(facts.movement)),
        "cautions": [one.long for one in facts.cautions],
        "assumptions": [one.long for one in facts.assumptions],
        "sources": [one.long for one in facts.sources],
    }


def _setting_dict(setting: Setting | None) -> dict[str, Any] | None:
    if setting is None:
        return None
    return {
        "iso": setting.iso,
        "f_number": setting.f_number,
        "shutter_s": setting.shutter_s.as_dict(4),
        "shutter_text": setting.shutter_text,
        "minutes_per_frame": _rounded(setting.minutes_per_frame, 1),
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
