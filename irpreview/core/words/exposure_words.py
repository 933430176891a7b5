"""Exposure in words: limits, reasons, focus, test exposures, cost, doubts."""

from __future__ import annotations

from irpreview.core.exposure.asked_time import AskedTime, GreyFilter
from irpreview.core.exposure.metering import TypedExposure
from irpreview.core.exposure.white_balance import ReadingPatch
from irpreview.core.light.sensor_noise import noise_word
from irpreview.core.units import how_many, shutter_text
from irpreview.core.words.phrases import cap
from irpreview.core.words.saying import both, in_words
from irpreview.records import (
    CLASS_WORDS,
    ApertureReason,
    BlurReason,
    Exposure,
    ExposureTest,
    FocusAdvice,
    FrameCost,
    FreezeReason,
    HandReading,
    HotSpotUnknown,
    Limit,
    LimitKind,
    MovementLeftOut,
    NoiseReason,
    Placement,
    Range,
    ReadingsDisagree,
    RedFirst,
    Setting,
    SettingsLeftOut,
    ShortFrames,
    ShutterUnknown,
    SnapBlownOut,
    SnapReading,
    SnapTagsDisagree,
    StreakReason,
    SunAndCloud,
    SunReading,
    TimeReason,
    TimeUnsure,
    Words,
)
from irpreview.records.exposure import MeterName

READING_WORDS: dict[MeterName, str] = {
    "meter": "the meter reading",
    "snap": "the snap's exposure",
    "sun": "the clear-day sun",
}


def setting_words(setting: Setting) -> str:
    """`ISO 400, f/8, 2 min 30 s`."""
    return f"ISO {setting.iso:.0f}, f/{setting.f_number:g}, {setting.shutter_text}"


def time_range_words(shutter_s: Range) -> str:
    """Low to high of a shutter time: `1 min 20 s to 5 min`."""
    low, high = shutter_text(shutter_s.low), shutter_text(shutter_s.high)
    return low if low == high else f"{low} to {high}"


def _set(iso: float, f_number: float, shutter_s: float) -> str:
    return f"ISO {iso:g}, f/{f_number:g}, {shutter_text(shutter_s)}"


def _px(blur: float) -> str:
    return f"{blur:.0f} px" if blur >= 9.5 else f"{blur:.1f} px"


def _class(name: str) -> str:
    return CLASS_WORDS.get(name, name)


_PLURAL = ("tree", "structure", "other")
"""Classes whose words are plurals."""


def _stops(value: float) -> str:
    """`2 stops`, `1 stop`, `0.4 stop`."""
    said = f"{value:.0f}" if value >= 1.75 else f"{value:.1f}".removesuffix(".0")
    return f"{said} stops" if float(said) > 1 else f"{said} stop"


# ---- the light -----------------------------------------------------------------------------------------------------


@in_words.register
def _(reading: HandReading) -> Words:
    setting = TypedExposure(reading.shutter_s, reading.f_number, reading.iso).words
    return Words(f"meter: {setting or f'EV {reading.ev100:g} at ISO 100'}", "meter")


@in_words.register
def _(reading: SnapReading) -> Words:
    text = f"snap: EV {reading.ev100:.1f} at ISO 100 from its exposure data"
    above = reading.above_grey_stops
    if above is None:
        return Words(text, "the snap's exposure")
    if abs(above) < 0.1:
        return Words(f"{text}; the scene is as bright as middle grey", "the snap's exposure")
    how = "brighter" if above > 0 else "darker"
    return Words(
        f"{text}; the scene is {abs(above):.1f} stops {how} than middle grey, so EV {reading.ev100 - above:.1f} for "
        "grey",
        "the snap's exposure",
    )


@in_words.register
def _(reading: SunReading) -> Words:
    height = f"sun {reading.sun_height_deg:.0f} degrees high"
    return Words(
        f"{height}, {reading.illuminance_lx / 1000.0:.1f} klx: EV {reading.ev100:.1f} at ISO 100",
        f"clear day, {height}",
    )


@in_words.register
def _(placement: Placement) -> Words:
    if placement.class_name is None or placement.zone is None:
        why = "no layer is large enough to place" if placement.picture_known else "there is no picture to place"
        return Words(f"Middle grey stays middle grey: {why}.", "Middle grey stays middle grey.")
    who = cap(_class(placement.class_name))
    missing = placement.wanted_stops - placement.stops
    if abs(missing) <= 0.05:
        return Words(f"{who}: zone VII, light with full texture.", f"{who}: light with full texture.")
    stay = "stay" if placement.class_name in _PLURAL else "stays"
    if missing > 0:
        text = f"{who} {stay} grey; brighter would take {_stops(missing)} more."
    else:
        text = f"{who} {stay} very light; darker would take {_stops(-missing)} less."
    return Words(f"{text[:-1]} (zone {placement.zone:.1f}).", text)


# ---- a time that was asked for -------------------------------------------------------------------------------------


@in_words.register
def _(grey: GreyFilter) -> Words:
    took, stops = f"ISO {grey.iso:g}, f/{grey.f_number:g}", f"{how_many(grey.stops, 'stop')}"
    return Words(
        f"A further grey filter of {stops} gives it at {took}.", f"Or {took} through a further grey filter of {stops}."
    )


@in_words.register
def _(asked: AskedTime) -> Words:
    time = shutter_text(asked.shutter_s)
    through = "" if asked.grey_filter is None else in_words(asked.grey_filter).long
    if asked.setting is not None:
        took = f"ISO {asked.setting.iso:g}, f/{asked.setting.f_number:g}"
        mind = "; ".join(in_words(limit).short for limit in asked.setting.limits)
        text = f"{time}: {took}" + (f"; mind: {mind}." if mind else ".")
        return Words(f"{text} {through}".strip(), f"{time}: {took}.")
    stops = f"{abs(asked.off_stops):.1f}"
    if asked.off_stops > 0:
        text = f"{time} is out of reach: {stops} stops too bright. Longest is {setting_words(asked.longest)}."
    else:
        text = f"{time} is out of reach: {stops} stops too dark. Shortest is {setting_words(asked.shortest)}."
    return both(f"{text} {through}".strip())


@in_words.register
def _(patch: ReadingPatch) -> Words:
    plant = {"grass": "grass", "leaves": "leaves", "green": "grass or leaves"}[patch.plant]
    up = {"high": "high up", "half_way": "half way up", "low": "low down"}[patch.up]
    across = {"left": "at the left", "middle": "in the middle", "right": "at the right"}[patch.across]
    return Words(
        f"Custom white balance: the sunlit {plant} {up} {across}, filter on, filling the frame.",
        f"Custom white balance: the sunlit {plant} {across}, filter on.",
    )


# ---- limits and reasons --------------------------------------------------------------------------------------------


@in_words.register
def _(limit: Limit) -> Words:
    match limit.kind:
        case LimitKind.MOVEMENT:
            who = _class(limit.class_name or "other")
            blur = f"{who} {'blur' if limit.class_name in _PLURAL else 'blurs'}"
            return Words(f"{blur} {_px(limit.found)}; {limit.bound:.0f} px still looks sharp", blur)
        case LimitKind.TRIPOD:
            return Words(f"tripod shakes {_px(limit.found)}; {limit.bound:.0f} px still looks sharp", "tripod shakes")
        case LimitKind.DIFFRACTION:
            return Words(
                f"diffraction softens: disc {limit.found:.0f} µm, {limit.bound:.0f} µm still looks sharp", "diffraction"
            )
        case LimitKind.DEPTH:
            return Words(f"depth of field too small: f/{limit.bound:.1f} needed", "depth of field too small")
        case LimitKind.NOISE:
            return Words(
                f"noise: {noise_word(limit.found)} ({limit.found:.0f} to 1)", f"noise: {noise_word(limit.found)}"
            )
        case LimitKind.BULB:
            return Words(f"bulb: longer than the camera's {limit.bound:g} s", "bulb")
        case LimitKind.NO_BULB:
            return Words(f"no bulb: this camera stops at {limit.bound:g} s", "no bulb")
        case LimitKind.HOT_SPOT:
            return both(f"hot spot from f/{limit.bound:g}")
        case LimitKind.LIGHT_WINDOW:
            return Words(f"longer than the light, which lasts {limit.bound / 60.0:g} min", "longer than the light")


@in_words.register
def _(reason: NoiseReason) -> Words:
    word = noise_word(reason.snr)
    return Words(
        f"Noise: {word} at ISO {reason.iso:g} (signal to noise {reason.snr:.0f} in mid grey).", f"Noise: {word}."
    )


@in_words.register
def _(reason: ApertureReason) -> Words:
    sharp = reason.airy_um <= reason.circle_um
    f_number = f"f/{reason.f_number:g}"
    text = f"{f_number} is sharp enough" if sharp else f"{f_number} softens by diffraction"
    if reason.nearest_m is not None and reason.needs_f_number is not None:
        reach = f"from {reason.nearest_m:g} m to infinity"
        if reason.f_number >= reason.needs_f_number * 0.999:
            text += f" {reach}"
        else:
            text += f", but not {reach}: f/{reason.needs_f_number:.1f} needed"
    disc = f"diffraction disc {reason.airy_um:.0f} µm at {reason.band_nm:.0f} nm"
    figures = f"{disc}; {reason.circle_um:.0f} µm still looks sharp"
    return Words(f"{text} ({figures}).", f"{text}.")


@in_words.register
def _(reason: TimeReason) -> Words:
    time = cap(shutter_text(reason.shutter_s))
    if reason.bulb:
        return Words(f"{time} needs bulb; shorter would cost more in noise or depth of field.", f"{time} needs bulb.")
    return both(f"{time}: no bulb needed.")


@in_words.register
def _(reason: BlurReason) -> Words:
    time = shutter_text(reason.shutter_s)
    each = ", ".join(f"{_class(name)} {_px(blur)}" for name, blur in reason.blur_px.items())
    soft = [_class(name) for name, blur in reason.blur_px.items() if blur > reason.hold_px]
    verb = "blur" if len(soft) != 1 or soft[0] == "trees" else "blurs"
    short = f"{cap(' and '.join(soft))} {verb} at {time}." if soft else f"Everything is sharp at {time}."
    return Words(f"Blur at {time}: {each}; {reason.hold_px:.0f} px still looks sharp.", short)


@in_words.register
def _(_reason: RedFirst) -> Words:
    return Words(
        "Judge exposure by the red channel: it clips first; the whole picture looks darker.",
        "Judge exposure by the red channel: it clips first.",
    )


@in_words.register
def _(reason: FreezeReason) -> Words:
    setting = _set(reason.iso, reason.f_number, reason.shutter_s)
    if reason.freezes is None:
        return Words(
            f"Shortest with usable tones: {setting}. Wind not given, so whether it freezes the foliage is not known.",
            f"Shortest usable: {setting}.",
        )
    if reason.freezes:
        return both(f"To freeze the foliage: {setting}.")
    blur = "" if reason.blur_px is None else f" (blur {_px(reason.blur_px)}; {reason.hold_px:.0f} px still looks sharp)"
    return Words(
        f"Nothing freezes the foliage in this wind. Nearest: {setting}{blur}.",
        f"Nothing freezes the foliage in this wind. Nearest: {setting}.",
    )


@in_words.register
def _(reason: StreakReason) -> Words:
    setting = _set(reason.iso, reason.f_number, reason.shutter_s)
    span = f"{shutter_text(reason.low_s)} to {shutter_text(reason.high_s)}"
    if reason.drift_deg_per_s is None:
        known = f"{span} is usual; cloud speed not known"
    else:
        known = f"{span}; drift {reason.drift_deg_per_s:.2f} degrees a second"
    if reason.streaks:
        return Words(f"To streak the clouds: {setting} ({known}).", f"To streak the clouds: {setting}.")
    return Words(
        f"Nothing streaks the clouds. Nearest: {setting} ({known}).", f"Nothing streaks the clouds. Nearest: {setting}."
    )


# ---- test exposures, focus, cost -----------------------------------------------------------------------------------


@in_words.register
def _(test: ExposureTest) -> Words:
    taken = _set(test.iso, test.f_number, test.shutter_s)
    long = f"{shutter_text(test.long_shutter_s)} at ISO {test.long_iso:g}, f/{test.long_f_number:g}"
    return Words(
        f"{taken}: if it looks right, take {long}.",
        f"{taken}: if right, take {shutter_text(test.long_shutter_s)}.",
    )


def focus_lines(focus: FocusAdvice | None) -> tuple[Words, ...]:
    """Where to focus and what to do about the infrared shift, the most important first."""
    if focus is None:
        return ()
    far = "infinity" if focus.far_m is None else f"{focus.far_m:.1f} m"
    lines = [
        Words(
            f"Focus at {focus.focus_at_m:.1f} m: sharp from {focus.near_m:.1f} m to {far} ({focus.focal_mm:.0f} mm, "
            f"f/{focus.f_number:g}).",
            f"Focus at {focus.focus_at_m:.1f} m: sharp from {focus.near_m:.1f} m to {far}.",
        )
    ]
    covers = {
        "yes": "depth of field covers it",
        "likely": "depth of field should cover it, check a test exposure",
        "no": "depth of field does not cover it",
    }[focus.shift_covered]
    share = 100.0 * focus.shift_mm.likely / focus.focal_mm
    shift = f"{focus.shift_mm.likely:.2f} mm"
    lines.append(
        Words(
            f"Infrared focus shift {shift} ({share:.2f} % of the focal length): {covers}.",
            f"Infrared focus shift: {covers}.",
        )
    )
    if focus.through_filter:
        lines += [
            both("Best: focus through the fitted filter, magnified, wide open."),
            Words(
                "Filter fitted after focusing: tape the ring, then check magnified through the filter.",
                "Filter fitted later: tape the ring, check magnified.",
            ),
        ]
    else:
        lines += [
            Words(
                "This camera focuses beside the sensor: focus without the filter, go to manual, turn the ring to the "
                "infrared mark, then fit the filter.",
                "Focus without the filter, go to manual, turn the ring to the infrared mark, fit the filter.",
            ),
            Words(
                "Check a test exposure magnified: the shift differs from lens to lens.",
                "Check a test exposure magnified: lenses differ.",
            ),
        ]
    if focus.needs_f_number is not None and focus.needs_f_number > focus.f_number * 1.02:
        lines.append(both(f"Sharp from the nearest thing to infinity takes f/{focus.needs_f_number:.1f}."))
    return tuple(lines)


def cost_lines(cost: FrameCost | None) -> tuple[Words, ...]:
    """What one frame takes: minutes, frames that fit, short ones instead, battery."""
    if cost is None:
        return ()
    whole, time = shutter_text(cost.seconds_per_frame), shutter_text(cost.shutter_s)
    dark = cost.dark_frame_s > 0
    rest = "the camera's dark frame, handling" if dark else "handling"
    lines = [Words(f"Allow {whole} a frame: {time} exposure, {rest}.", f"Allow {whole} a frame.")]
    if cost.frames_in_light is not None and cost.light_minutes is not None:
        light = f"{cost.light_minutes:g} min of light"
        if cost.frames_in_light >= 1:
            lines.append(both(f"{how_many(cost.frames_in_light, 'frame')} in {light}."))
        elif dark and cost.shutter_s <= cost.light_minutes * 60.0:
            lines.append(both(f"One frame in {light}; its dark frame runs on after it."))
        else:
            lines.append(both(f"No frame fits into {light}: it takes {whole}."))
    if cost.short_frames is not None:
        lines.append(in_words(cost.short_frames))
    open_s = cost.shutter_s + cost.dark_frame_s
    if open_s >= 10.0:
        low, high = cost.battery_minutes
        cold = ", halved for the cold" if cost.cold else ""
        few, many = cost.battery_frames
        lines.append(
            Words(
                f"A full battery lasts {few} to {many} frames (assumed {low:.0f} to {high:.0f} min open{cold}).",
                f"A full battery lasts at least {few} frames.",
            )
        )
    return tuple(lines)


@in_words.register
def _(short: ShortFrames) -> Words:
    frames = f"{short.frames} frames of {shutter_text(short.shutter_s)} at ISO {short.iso:g}, averaged"
    return Words(
        f"Or {frames}: no bulb, noise {noise_word(short.snr)} (signal to noise {short.snr:.0f} against "
        f"{short.snr_one_long:.0f}); what moves blurs as in one long exposure.",
        f"Or {frames}.",
    )


# ---- doubts --------------------------------------------------------------------------------------------------------


@in_words.register
def _(doubt: ReadingsDisagree) -> Words:
    used, other = READING_WORDS[doubt.used], READING_WORDS[doubt.other]
    step = doubt.other_ev100 - doubt.used_ev100
    if doubt.other == "sun" and step > 0:
        why = "cloud, shade or a wrong time, so meter in the light you will use"
    elif doubt.other == "sun":
        why = "bright cloud, snow, or a wrong place or time"
    elif doubt.used == "meter":
        why = "has the light changed since the snap? Meter again"
    else:
        why = "meter again"
    return Words(
        f"{cap(used)} and {other} disagree by {abs(step):.1f} stops (EV {doubt.used_ev100:.1f} against "
        f"{doubt.other_ev100:.1f}), {used} is used: {why}.",
        f"{cap(used)} and {other} disagree by {abs(step):.1f} stops: {why}.",
    )


@in_words.register
def _(doubt: SnapTagsDisagree) -> Words:
    return Words(
        f"The snap contradicts itself: its settings say EV {doubt.settings_ev100:.1f} (used), its brightness tag EV "
        f"{doubt.brightness_ev100:.1f}. Meter again if it matters.",
        "The snap contradicts itself on the light: meter again.",
    )


@in_words.register
def _(doubt: SnapBlownOut) -> Words:
    return Words(
        f"{100 * doubt.share:.0f} % of the snap is blown out: the scene may be brighter than it says.",
        f"{100 * doubt.share:.0f} % of the snap is blown out.",
    )


@in_words.register
def _(doubt: SettingsLeftOut) -> Words:
    return both(f"{doubt.left_out} of {doubt.of} settings left out: longer than 1 h or shorter than 1/8000.")


@in_words.register
def _(doubt: HotSpotUnknown) -> Words:
    return Words(
        f"Hot spot at f/{doubt.f_number:g} not known for this lens: look for a bright patch in the middle of a test "
        "exposure, and write the f-number where it starts into the kit.",
        f"Hot spot at f/{doubt.f_number:g} not known: check the middle of a test exposure.",
    )


@in_words.register
def _(_doubt: MovementLeftOut) -> Words:
    return Words(
        "No wind given and no clip measured, so the setting leaves movement out.", "Wind not given: movement left out."
    )


@in_words.register
def _(doubt: ShutterUnknown) -> Words:
    return Words(f"No exposure planned: {doubt.why}; give one with --shutter.", "No exposure planned.")


@in_words.register
def _(doubt: TimeUnsure) -> Words:
    low, high = shutter_text(doubt.low_s), shutter_text(doubt.high_s)
    return Words(
        f"Take the test exposures first: the exposure could be {low} to {high} ({doubt.stops:.1f} stops).",
        f"Take the test exposures first: could be {low} to {high}.",
    )


@in_words.register
def _(doubt: SunAndCloud) -> Words:
    time = shutter_text(doubt.shutter_s)
    if doubt.does == "average_out":
        return both(f"Sun and cloud average out over {time}: about {doubt.stops:.1f} stops darker than steady sun.")
    if doubt.does == "come_and_go":
        return Words(
            f"The sun may go in during {time}: up to {doubt.stops:g} stops darker. Start as it comes out and count how "
            "long it stays.",
            f"The sun may go in during {time}: up to {doubt.stops:g} stops darker.",
        )
    return Words(
        f"Wait for a gap in the clouds: in their shadow it is about {doubt.stops:g} stops darker.",
        "Wait for a gap in the clouds.",
    )


def exposure_words(exposure: Exposure) -> Words:
    """The answer itself."""
    best = exposure.recommended
    if best is None:
        return both("No setting of this kit reaches the light.")
    return Words(f"{setting_words(best)} ({time_range_words(best.shutter_s)})", setting_words(best))
