"""The card to carry: everything already known, in the order in which it is needed outdoors.

Pure: it takes records and gives records, words and plain dictionaries. `io.card_files` writes them down.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal

from irpreview.core.exposure import HOLD_PX
from irpreview.core.sensor_noise import ROUGH_SNR
from irpreview.core.wind import BEAUFORT, beaufort_of
from irpreview.core.wording import beaufort_m_s, shutter_text, zone_text
from irpreview.records import (
    CLASS_WORDS,
    ByteArray,
    Conditions,
    Exposure,
    Kit,
    LeadChoice,
    Movement,
    Place,
    Range,
    Rendering,
    SceneMap,
    Setting,
    ShotCard,
    SkyState,
    Verdict,
    frozen_array,
)

SCHEMA = "irpreview/1"

SKY_BRIGHTNESS_EV100 = MappingProxyType(
    {"clear": (15.0, 15.0), "thin_cloud": (13.0, 14.0), "broken": (12.0, 15.0), "overcast": (11.0, 12.0)}
)
"""Usual exposure values at ISO 100 in daylight [EV]. Common practice, no source; low sun and haze take more."""

LEAD_WORDS: Mapping[LeadChoice, str] = MappingProxyType(
    {
        "structure": "build on the buildings and rocks",
        "foliage": "build on the foliage",
        "sky": "build on the sky",
        "wait": "wait",
        "none": "nothing carries it today",
    }
)
FINE_RED_SHARE = 0.87
"""Where sunlit leaves should end on the red channel's scale: Zone VII (0.72 linear) through the sRGB curve."""


@dataclass(frozen=True, slots=True)
class WindRow:
    """What to do in one force of wind."""

    beaufort: int
    from_m_s: float
    to_m_s: float
    signs: str
    lead: LeadChoice
    shutter_text: str
    iso: float | None
    f_number: float | None
    blur_px: Range | None
    """Of the foliage at that shutter, pixels of the snap; None = no foliage or not known."""
    foliage_holds: bool = False
    """Whether leaves and grass stay sharp at that setting."""


@dataclass(frozen=True, slots=True)
class Correction:
    """How much more or less light a change of the sky asks for."""

    when: str
    times_low: float
    times_high: float
    shutter_text: str


@dataclass(frozen=True, slots=True)
class Block:
    """One part of the card as it is printed."""

    heading: str
    lines: tuple[str, ...] = ()
    table: tuple[tuple[str, ...], ...] = ()
    """First row = column heads."""
    kind: Literal["text", "numbered", "strong", "notes", "small"] = "text"


# ---- words for numbers -------------------------------------------------------------------------------------------


def range_words(shutter_s: Range) -> str:
    """Low to high of a shutter time: `1 min 20 s to 5 min`."""
    low, high = shutter_text(shutter_s.low), shutter_text(shutter_s.high)
    return low if low == high else f"{low} to {high}"


def _two_figures(value: float) -> float:
    scale = 10.0 ** (math.floor(math.log10(value)) - 1)
    return float(round(value / scale) * scale)


def setting_words(setting: Setting) -> str:
    """`ISO 400, f/8, 2 min 30 s`."""
    return f"ISO {setting.iso:.0f}, f/{setting.f_number:g}, {setting.shutter_text}"


# ---- tables ------------------------------------------------------------------------------------------------------


def wind_table(
    exposure: Exposure,
    verdict: Verdict,
    foliage_blur_px: Callable[[float, float], Range | None] | None,
    *,
    pixels_wide: int,
    can_lead: Sequence[LeadChoice] = ("structure", "foliage", "sky"),
) -> tuple[WindRow, ...]:
    """What leads and which setting, for Beaufort 1 to 7.

    `foliage_blur_px(wind_m_s, shutter_s)` is the expected extent of the foliage's blur [pixels of the snap], None when
    there is no foliage. `pixels_wide` is the snap's width, `can_lead` what the scene has at all. Foliage may lead as
    long as the likely blur stays within `HOLD_PX` (scaled to the snap) at one of the settings, the cleanest
    that does; else the picture is built on what stands still, at the recommended setting.
    """
    limit_px = HOLD_PX * pixels_wide / 6000.0
    settings = list(setting_choices(exposure))
    calm = exposure.recommended or (settings[0] if settings else None)
    rows = []
    for force in range(1, 8):
        wind = beaufort_m_s(force)
        chosen, lead, blur, holds = calm, _still_lead(verdict, can_lead), None, False
        if foliage_blur_px is not None and "foliage" in can_lead:
            order = ([calm] if calm is not None else []) + settings
            for setting in order:
                if setting.snr is not None and setting.snr < ROUGH_SNR:
                    continue
                extent = foliage_blur_px(wind, setting.shutter_s.likely)
                if extent is not None and extent.likely <= limit_px:
                    chosen, blur, holds = setting, extent, True
                    lead = "foliage" if verdict.lead in ("foliage", "wait", "none") else verdict.lead
                    break
            else:
                if calm is not None:
                    blur = foliage_blur_px(wind, calm.shutter_s.likely)
        elif verdict.lead != "foliage":
            lead = verdict.lead
        rows.append(
            WindRow(
                beaufort=force,
                from_m_s=BEAUFORT[force].low_m_s,
                to_m_s=BEAUFORT[force].high_m_s,
                signs=BEAUFORT[force].land,
                lead=lead,
                shutter_text=chosen.shutter_text if chosen is not None else "unknown",
                iso=chosen.iso if chosen is not None else None,
                f_number=chosen.f_number if chosen is not None else None,
                blur_px=blur,
                foliage_holds=holds,
            )
        )
    return tuple(rows)


def _still_lead(verdict: Verdict, can_lead: Sequence[LeadChoice]) -> LeadChoice:
    """What to build on when the foliage does not hold."""
    if verdict.lead in ("structure", "sky"):
        return verdict.lead
    for choice in ("structure", "sky"):
        if choice in can_lead:
            return choice
    return "wait"


def sky_corrections(sky_state: SkyState, setting: Setting | None) -> tuple[Correction, ...]:
    """Longer or shorter times when the sky is not as planned; an unknown sky is taken as clear.

    Thin cloud and overcast dim infrared and visible light by about the same (the overcast spectrum differs by -0.05 to
    +0.4 stop only), so the usual exposure values serve for both.
    """
    planned = SKY_BRIGHTNESS_EV100["clear" if sky_state == "unknown" else sky_state]
    middle = sum(planned) / 2
    found = []
    words = {
        "clear": "Sun out, clear sky",
        "thin_cloud": "Thin cloud over the sun, soft shadows",
        "overcast": "Full overcast, no shadows",
    }
    for state, when in words.items():
        if state == ("clear" if sky_state == "unknown" else sky_state):
            continue
        dark, bright = SKY_BRIGHTNESS_EV100[state]
        low, high = 2.0 ** (middle - bright), 2.0 ** (middle - dark)
        text = "unknown"
        if setting is not None:
            likely = setting.shutter_s.likely
            text = range_words(Range(likely * low, likely * math.sqrt(low * high), likely * high))
        found.append(Correction(when, low, high, text))
    return tuple(found)


def red_channel_rows() -> tuple[tuple[float, float], ...]:
    """Where the leaves' red hump ends (share of the scale) and the stops that bring it to `FINE_RED_SHARE`.

    From the sRGB curve of IEC 61966-2-1; a camera's own curve may differ by half a stop.
    """
    aim = _linear(FINE_RED_SHARE)
    return tuple((share, math.log2(aim / _linear(share))) for share in (0.25, 0.5, 0.75))


def _linear(encoded: float) -> float:
    return encoded / 12.92 if encoded <= 0.04045 else float(((encoded + 0.055) / 1.055) ** 2.4)


def red_channel_words(kit: Kit) -> tuple[str, ...]:
    """How to read a test frame: which channel, where the leaves should sit, what to change."""
    steps = "; ".join(f"{_part(share)}: {_times(stops)}" for share, stops in red_channel_rows())
    first = (
        "Judge the red channel of the histogram alone: behind the filter the other two see next to nothing."
        if kit.sensor == "unmodified" and kit.filter_cut_on_nm >= 665
        else "Judge the red channel of the histogram first: it fills before green and blue."
    )
    return (
        first,
        f"Sunlit leaves should end near {FINE_RED_SHARE:.0%} of its width, off the right edge.",
        f"They end elsewhere? Change the time: {steps}; piled up at the right edge: a quarter of the time, look again.",
        "The overall histogram reads too low; do not chase it.",
    )


def _part(share: float) -> str:
    return {0.25: "a quarter across", 0.5: "half across", 0.75: "three quarters across"}[share]


def _times(stops: float) -> str:
    return f"{_two_figures(2.0**stops * 10) / 10:g} times"


def order_of_work(kit: Kit, exposure: Exposure) -> tuple[str, ...]:
    """The hand movements in order, from an open lens to the frame."""
    setting = exposure.recommended
    f_number = f"f/{setting.f_number:g}" if setting is not None else "the working aperture"
    steps = [
        "Frame without the filter, tripod low and weighted, strap off, stabilisation off.",
        f"Focus without the filter at {f_number}, as said under Focus.",
        "Lock: autofocus off, tape the ring.",
        "Meter without the filter, manual mode, RAW, shade the eyepiece.",
        "Fit the filter without turning the ring; cloth round the mount against stray light.",
        "Take the test frames, read the red channel, keep the time that fits.",
        "Check at full magnification: near edge, far edge, and the middle for a bright spot.",
    ]
    if kit.sensor == "converted" or kit.focus == "on_sensor":
        steps[6] = "Check in live view at full magnification: near edge, far edge, the middle for a bright spot."
    return tuple(steps)


def focus_lines(focus: Mapping[str, object]) -> tuple[str, ...]:
    """The sentences of a focus advice (`core.focus.focus_advice`), each with its full stop."""
    says = focus.get("says", ())
    lines = (says,) if isinstance(says, str) else says if isinstance(says, Sequence) else ()
    return tuple(_sentence(str(line)) for line in lines)


def _sentence(text: str) -> str:
    text = one_line(text)
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."


def minutes_per_frame(exposure: Exposure) -> float | None:
    """Minutes from one press of the release to the next, for the recommended setting; None = not worked out."""
    minutes = exposure.frame_cost.get("minutes_per_frame")
    if isinstance(minutes, (int, float)):
        return float(minutes)
    return exposure.recommended.minutes_per_frame if exposure.recommended is not None else None


def setting_choices(exposure: Exposure) -> tuple[Setting, ...]:
    """The recommended setting with its neighbours at the same and at the widest aperture, ISO two stops apart.

    A kit has hundreds of settings; on paper and in a table of wind these few are enough. Sorted by ISO.
    """
    best = exposure.recommended
    if best is None:
        return ()
    widest = min(setting.f_number for setting in exposure.settings) if exposure.settings else best.f_number
    kept = {(best.iso, best.f_number): best}
    for extra in (exposure.freezes, exposure.streaks):
        if extra is not None:
            kept[(extra.iso, extra.f_number)] = extra
    for setting in exposure.settings:
        steps = math.log2(setting.iso / best.iso) / 2.0
        if setting.f_number in (best.f_number, widest) and abs(steps - round(steps)) < 0.1:
            kept[(setting.iso, setting.f_number)] = setting
    return tuple(kept[key] for key in sorted(kept))


WHITE_BALANCE_WORDS = (
    "Set the white balance by hand on sunlit grass or leaves through the filter; without grass, on a grey card in"
    " the same sun. It only helps the camera's own picture; RAW can be set later."
)

USUAL_CAUTIONS = (
    "Never look at the sun through the finder or lens, and do not leave the camera pointing at it.",
    "Long frames keep you standing: mind edges, tide, falling branches, private land. Local rules win.",
)


# ---- the card ----------------------------------------------------------------------------------------------------


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
    foliage_blur_px: Callable[[float, float], Range | None] | None = None,
    light_window: Sequence[str] = (),
    white_balance: str = "",
    cautions: Sequence[str] = (),
    assumptions: Sequence[str] = (),
    sources: Sequence[str] = (),
    place: Place | None = None,
    with_place: bool = False,
    version: str = "",
) -> ShotCard:
    """Everything for the field on one card.

    `snap` (h, w, 3) and `infrared` (h, w) are small uint8 pictures. The place goes on the card only `with_place`;
    without it, coordinates are also taken out of every sentence.
    """
    share = scene.share()
    can_lead: list[LeadChoice] = []
    if share["structure"] + share["other"] + share["ground"] >= 0.03:
        can_lead.append("structure")
    if share["tree"] + share["grass"] >= 0.03:
        can_lead.append("foliage")
    if share["clear_sky"] + share["cloud"] >= 0.1:
        can_lead.append("sky")
    kit, light = rendering.kit, rendering.light
    width = int(scene.label.shape[1])
    rows = wind_table(exposure, verdict, foliage_blur_px, pixels_wide=width, can_lead=can_lead)
    sky_state: SkyState = conditions.sky_state if conditions.sky_state != "unknown" else light.sky_state

    def clean(texts: Iterable[str]) -> tuple[str, ...]:
        kept = (one_line(text) for text in texts if text)
        return tuple(dict.fromkeys(text if with_place else without_coordinates(text) for text in kept))

    facts: dict[str, object] = {
        "wind_table": rows,
        "wind_now": _wind_words(conditions),
        "corrections": sky_corrections(sky_state, exposure.recommended),
        "order_of_work": order_of_work(kit, exposure),
        "red_channel": red_channel_words(kit),
        "minutes_per_frame": minutes_per_frame(exposure),
        "light_window": clean(light_window),
        "focus": focus_lines(exposure.focus),
        "white_balance": _sentence(white_balance) if white_balance else WHITE_BALANCE_WORDS,
        "movement": clean(movement.warnings) if movement is not None else (),
        "cautions": clean(_sentence(text) for text in (*exposure.cautions, *cautions, *USUAL_CAUTIONS)),
        "assumptions": clean(
            _sentence(text)
            for text in (
                f"Light: {light.how_known}.",
                f"Brightness: {exposure.metered_by}." if exposure.metered_by else "",
                f"Filter factor: {exposure.factor_stops.likely:.1f} stops ({exposure.factor_stops.low:.1f} to"
                f" {exposure.factor_stops.high:.1f}), from {kit.factor_source}.",
                _wind_words(conditions) + ".",
                *assumptions,
                *exposure.doubts,
                *rendering.doubts,
            )
            if text
        ),
        "sources": clean(sources),
        "version": version,
        "model_id": scene.model_id,
    }
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
        facts=MappingProxyType(facts),
        place=place if with_place else None,
    )


def _wind_words(conditions: Conditions) -> str:
    if conditions.wind_m_s is None:
        return "Wind not known when this was made"
    return f"Wind when this was made: {conditions.wind_m_s:.1f} m/s (Beaufort {beaufort_of(conditions.wind_m_s)})"


_COORDINATES = re.compile(
    r"[-+]?\d{1,3}(?:[.,]\d+)?\s*(?:°|deg(?:rees)?)?\s*(?:north|south|[NS])\b[\s,;/]*(?:and\s+)?"
    r"[-+]?\d{1,3}(?:[.,]\d+)?\s*(?:°|deg(?:rees)?)?\s*(?:east|west|[EWO])\b"
    r"|(?:lat(?:itude)?|lon(?:gitude)?)\W{0,3}[-+]?\d{1,3}(?:[.,]\d+)?\s*(?:°|deg(?:rees)?)?"
    r"|[-+]?\d{1,2}[.]\d{2,}\s*[,;/]\s*[-+]?\d{1,3}[.]\d{2,}",
    re.IGNORECASE,
)


def without_coordinates(text: str) -> str:
    """The text with geographic coordinates replaced by words."""
    return _COORDINATES.sub("the photo's place", text)


def one_line(text: str) -> str:
    """Printable text on one line."""
    return "".join(mark if mark.isprintable() else " " for mark in text).strip()


# ---- as blocks for paper, as a dictionary for programs --------------------------------------------------------------


def card_blocks(card: ShotCard) -> tuple[Block, ...]:
    """The card's parts in printing order, pictures apart."""
    facts: Mapping[str, Any] = card.facts
    exposure, verdict = card.exposure, card.verdict
    best = exposure.recommended
    minutes = facts["minutes_per_frame"]
    setting_lines = [setting_words(best) if best is not None else "No setting of this kit reaches the light."]
    if best is not None:
        setting_lines.append(
            f"Could be {range_words(best.shutter_s)}."
            + (f" Allow {shutter_text(60.0 * minutes)} a frame in all." if minutes else "")
        )
    alternatives = [
        f"{words}: {setting_words(other)}"
        for words, other in (("To freeze", exposure.freezes), ("For streaks", exposure.streaks))
        if other is not None and other != best
    ]
    others = [
        one
        for one in setting_choices(exposure)
        if best is not None and one.f_number == best.f_number and one not in (best, exposure.freezes, exposure.streaks)
    ]
    if others:
        alternatives.append("Also: " + "; ".join(setting_words(one) for one in others[:4]) + ".")
    blocks = [
        Block("Setting", (*setting_lines, *alternatives), kind="strong"),
        Block("Test frames", tuple(frame_words(frame) for frame in exposure.test_frames[:6]), kind="numbered"),
        Block("Will it hold apart", _verdict_lines(verdict)),
        Block("What is in it, and its tone", (_tone_words(card),)),
        Block("If the wind differs", table=_wind_cells(facts["wind_table"]), lines=(facts["wind_now"] + ".",)),
        Block(
            "If the sky differs",
            (
                *(f"{one.when}: {_factor(one)}, {one.shutter_text}." for one in facts["corrections"]),
                "Open shade: another 2 to 3 times beyond what a meter without the filter asks.",
            ),
        ),
        Block("Order of work", facts["order_of_work"], kind="numbered"),
        Block("Reading the red channel", facts["red_channel"]),
        Block("Focus", facts["focus"]),
        Block("White balance", (facts["white_balance"],)),
        Block("When the light is right", facts["light_window"]),
        Block("What moves", facts["movement"]),
        Block("Take care", facts["cautions"]),
        Block("Taken for granted", facts["assumptions"], kind="small"),
        Block("Where the figures come from", facts["sources"], kind="small"),
    ]
    if card.place is not None:
        blocks.append(Block("Place", (place_words(card.place),)))
    blocks.append(Block("Notes", kind="notes"))
    return tuple(block for block in blocks if block.lines or block.table or block.kind == "notes")


def place_words(place: Place) -> str:
    """`50.1234 N, 12.3456 E`."""
    north = "N" if place.latitude_deg >= 0 else "S"
    east = "E" if place.longitude_deg >= 0 else "W"
    return f"{abs(place.latitude_deg):.4f} {north}, {abs(place.longitude_deg):.4f} {east}"


def footer_words(card: ShotCard) -> str:
    """Kit, version and model on one line."""
    model = card.facts["model_id"] or "no network"
    return f"{card.kit.words} · irpreview {card.facts['version']} · scene network {model}"


def frame_words(frame: Mapping[str, object]) -> str:
    """One rung of the ladder of test frames (`core.quick_frames.ladder`) in words."""
    return _sentence(str(frame["says"]))


def _verdict_lines(verdict: Verdict) -> tuple[str, ...]:
    lines = [f"Plan: {LEAD_WORDS[verdict.lead]}."]
    lines += [sentence.text for sentence in verdict.sentences[:5]]
    if verdict.turns_at_wind_m_s is not None:
        turn = verdict.turns_at_wind_m_s
        lines.append(f"Turns at {turn.likely:.0f} m/s of wind ({turn.low:.0f} to {turn.high:.0f}).")
    return tuple(dict.fromkeys(lines))


def _tone_words(card: ShotCard) -> str:
    parts = []
    for name, share in sorted(card.scene_share.items(), key=lambda pair: -pair[1]):
        if share >= 0.01 and name in card.rendering_zones:
            zone = card.rendering_zones[name]
            parts.append(f"{CLASS_WORDS[name]} {share:.0%}, {zone_text(zone)}")
    return "; ".join(parts) + "."


def _wind_cells(rows: Sequence[WindRow]) -> tuple[tuple[str, ...], ...]:
    head = ("Bft", "m/s", "look for", "lead", "time", "ISO")
    short: Mapping[LeadChoice, str] = {
        "structure": "built, rock",
        "foliage": "foliage",
        "sky": "sky",
        "wait": "wait",
        "none": "none",
    }
    body = tuple(
        (
            str(row.beaufort),
            f"{row.from_m_s:g}-{row.to_m_s:g}",
            row.signs,
            short[row.lead] + ("; leaves sharp" if row.foliage_holds and row.lead != "foliage" else ""),
            row.shutter_text,
            f"{row.iso:.0f}" if row.iso is not None else "?",
        )
        for row in rows
    )
    return (head, *body)


def _factor(correction: Correction) -> str:
    low, high = correction.times_low, correction.times_high
    if high <= 1.0:
        return (
            f"1/{1 / high:.0f} of the time"
            if round(1 / low) == round(1 / high)
            else (f"1/{1 / low:.0f} to 1/{1 / high:.0f} of the time")
        )
    if low < 1.0:
        return f"{low:.2g} to {high:.2g} times"
    return f"{low:.0f} to {high:.0f} times as long"


def card_dict(card: ShotCard) -> dict[str, Any]:
    """The card as plain JSON values, by `data/schemas/card.json`; pictures stay out."""
    facts: Mapping[str, Any] = card.facts
    exposure, verdict, light = card.exposure, card.verdict, card.light
    return {
        "schema": SCHEMA,
        "kind": "card",
        "title": card.title,
        "version": facts["version"],
        "model_id": facts["model_id"],
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
            "sun_height_deg": round(light.sun_height_deg),
            "sun_side": light.sun_side,
            "sky_state": light.sky_state,
            "planned": light.planned,
            "window": list(facts["light_window"]),
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
            "sentences": [{"text": one.text, "evidence": one.evidence} for one in verdict.sentences],
            "lead_reasons": [{"text": one.text, "evidence": one.evidence} for one in verdict.lead_reasons],
            "turns_at_wind_m_s": verdict.turns_at_wind_m_s.as_dict(1) if verdict.turns_at_wind_m_s else None,
            "layers": [
                {"index": one.index, "name": one.name, "class": one.class_name, "zone": one.zone.as_dict(2)}
                for one in verdict.layers
            ],
            "gaps": [
                {"a": gap.a, "b": gap.b, "zones": round(gap.zones, 2), "low": round(gap.low, 2)}
                | {"high": round(gap.high, 2), "says": gap.says}
                for gap in verdict.gaps
            ],
        },
        "exposure": {
            "factor_stops": exposure.factor_stops.as_dict(2),
            "recommended": _setting_dict(exposure.recommended),
            "freezes": _setting_dict(exposure.freezes),
            "streaks": _setting_dict(exposure.streaks),
            "settings": [_setting_dict(one) for one in setting_choices(exposure)],
            "test_frames": [frame_words(frame) for frame in exposure.test_frames],
            "focus": list(facts["focus"]),
            "minutes_per_frame": _rounded(facts["minutes_per_frame"], 1),
        },
        "wind_now": facts["wind_now"],
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
            for row in facts["wind_table"]
        ],
        "corrections": [
            {
                "when": one.when,
                "times_low": round(one.times_low, 3),
                "times_high": round(one.times_high, 3),
                "shutter_text": one.shutter_text,
            }
            for one in facts["corrections"]
        ],
        "order_of_work": list(facts["order_of_work"]),
        "red_channel": list(facts["red_channel"]),
        "white_balance": facts["white_balance"],
        "movement": list(facts["movement"]),
        "cautions": list(facts["cautions"]),
        "assumptions": list(facts["assumptions"]),
        "sources": list(facts["sources"]),
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
