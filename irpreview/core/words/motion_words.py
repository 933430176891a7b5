"""Movement in words: how it is known, what blurs, what to mind."""

from __future__ import annotations

from irpreview.core.motion.print_blur import blur_word
from irpreview.core.motion.wind import beaufort_of, land_criterion
from irpreview.core.units import shutter_text
from irpreview.core.words.phrases import BLURS
from irpreview.core.words.saying import both, in_words
from irpreview.records import (
    CLASS_WORDS,
    ClassMovement,
    ClassMoves,
    ClipDoubt,
    ClipDoubtKind,
    CloudHeightBy,
    DistanceBy,
    DistanceEstimated,
    FocalAssumed,
    Gale,
    GustLikely,
    HorizonBy,
    HowKnown,
    KnownBy,
    Moving,
    Range,
    TripodShakes,
    WindUnknown,
    Words,
)

_LONGEST_S = 3600.0
_DISTANCE_WORDS = {
    DistanceBy.LEVEL_GROUND: "estimated from level ground",
    DistanceBy.FOOT_AND_HEIGHT: "estimated from its foot on level ground and its usual height",
    DistanceBy.USUAL_HEIGHT: "estimated from its usual height",
    DistanceBy.ASSUMED: "assumed: not in the picture",
}
_HORIZON_WORDS = {
    HorizonBy.WATER: "below the far edge of the water",
    HorizonBy.GRASS: "below the far edge of the grass",
    HorizonBy.GROUND: "below the far edge of the ground",
    HorizonBy.MIDDLE: "below the middle of the picture",
}


def wind_words(wind_m_s: Range, known: bool) -> str:
    """`4.0 m/s, Beaufort 3`, or that it is not known."""
    if known:
        return f"wind Beaufort {beaufort_of(wind_m_s.likely)}, {wind_m_s.likely:.1f} m/s"
    return "wind not given, light air to fresh breeze"


def _figures(value: float) -> str:
    """Two figures: 12, 1.2, 0.12."""
    return f"{value:.0f}" if value >= 9.5 else f"{value:.1f}" if value >= 0.95 else f"{value:.2f}"


def print_text(value: Range) -> str:
    """A blur with its range: "1.2 mm (0.4 to 3.5) on a 30 x 40 cm print"."""
    return f"{_figures(value.likely)} mm ({_figures(value.low)} to {_figures(value.high)}) on a 30 x 40 cm print"


def distance_words(known: HowKnown) -> str:
    """How far away and how that was told; empty where it played no part."""
    if known.distance_m is None or known.distance_by is None:
        return ""
    if known.distance_by is DistanceBy.GIVEN:
        return f"{known.distance_m.likely:g} m away as given"
    how = _DISTANCE_WORDS[known.distance_by]
    if known.horizon_by is not None:
        how += f" {_HORIZON_WORDS[known.horizon_by]}"
    return f"about {known.distance_m.likely:.0f} m away, {how}"


@in_words.register
def _(known: HowKnown) -> Words:
    wind = "" if known.wind_m_s is None else wind_words(known.wind_m_s, known.by is not KnownBy.WIND_UNKNOWN)
    parts: list[str] = []
    if known.by is KnownBy.CLIP:
        long = f"measured from a clip of {known.clip_s or 0.0:.0f} s"
        if known.moving is not Moving.CLOUDS:
            long += ", good to a factor of 1.4; was it a lull or a gust?"
        return Words(long, "measured from the clip")
    match known.moving:
        case Moving.PLANTS | Moving.GRASS:
            parts = [f"wind table, good to a factor of 3; {wind}", distance_words(known)]
            if known.moving is Moving.GRASS:
                parts.append("taken as tall grass; a mown lawn hardly moves")
        case Moving.WAVES:
            assert known.wave_period_s is not None
            t = known.wave_period_s
            kind = "" if known.water_kind == "unknown" else f", {known.water_kind}"
            clip = ", from the clip" if known.period_from_clip else ""
            parts = [
                f"waves of {t.likely:.1f} s ({t.low:.1f} to {t.high:.1f}){kind}{clip}",
                wind,
                distance_words(known),
            ]
            if known.wind_m_s is not None and known.wind_m_s.likely < 0.3:
                parts.append("old ripples still run without wind")
        case Moving.FALLS | Moving.STREAM:
            name = "falling water" if known.moving is Moving.FALLS else "running water"
            parts = [f"{name} at {known.speed_m_s or 0.0:.1f} m/s, usual for it", distance_words(known)]
            if known.looks_like_falls:
                parts.append("it looks like falling water")
        case Moving.CLOUDS:
            parts = _cloud_parts(known)
        case Moving.BOATS:
            parts = ["boats at rest, usual roll", distance_words(known)]
        case Moving.PEOPLE:
            parts = ["taken as people walking", distance_words(known)]
        case Moving.TRIPOD:
            parts = ["a firm tripod is assumed, centre column down", wind]
    short = {
        KnownBy.WIND_GIVEN: "from the wind given",
        KnownBy.WIND_UNKNOWN: "wind not known",
        KnownBy.FIST: "timed in the field",
        KnownBy.USUAL: "usual speed, assumed",
        KnownBy.CLIP: "measured from the clip",
    }[known.by]
    return Words("; ".join(part for part in parts if part), short)


def _cloud_parts(known: HowKnown) -> list[str]:
    if known.by is KnownBy.FIST:
        return [f"timed in the field: a fist in {known.fist_s or 0.0:.0f} s"]
    height = {
        CloudHeightBy.GIVEN: f"cloud height given, {known.cloud_height_m or 0.0:.0f} m",
        CloudHeightBy.DEW_POINT: f"cloud base about {known.cloud_height_m or 0.0:.0f} m from temperature and dew point",
        CloudHeightBy.ASSUMED_LOW: "low cloud assumed",
    }[known.cloud_height_by or CloudHeightBy.ASSUMED_LOW]
    if known.cloud_layer in ("high", "middle"):
        return [height, f"speed usual for {known.cloud_layer} cloud"]
    return [height, f"speed aloft {known.cloud_speed_m_s or 0.0:.0f} m/s, from the ground wind"]


# ---- what blurs ----------------------------------------------------------------------------------------------------


def holds_text(holds: Range | None) -> str:
    """`sharp at 1/4 (to be safe 1/15)`."""
    if holds is None:
        return "nothing moves"
    if holds.likely >= _LONGEST_S:
        return "sharp at any exposure"
    return f"sharp at {shutter_text(holds.likely)} (to be safe {shutter_text(holds.low)})"


def _air(known: HowKnown) -> str:
    if known.measured:
        return "as the clip shows"
    wind = known.wind_m_s
    if wind is None:
        return ""
    if known.by is KnownBy.WIND_UNKNOWN:
        return f"wind not given, {wind.low:.0f} to {wind.high:.0f} m/s"
    return f"Beaufort {beaufort_of(wind.likely)}, {land_criterion(wind.likely)}"


@in_words.register
def _(note: ClassMoves) -> Words:
    match note.moving:
        case Moving.PLANTS | Moving.GRASS:
            return _plants(note)
        case Moving.CLOUDS:
            return _clouds(note)
        case Moving.WAVES | Moving.FALLS | Moving.STREAM:
            return _water(note)
        case _:
            return _people(note, note.move)


def _plants(note: ClassMoves) -> Words:
    time, move = shutter_text(note.shutter_s), note.move
    who = "Grass and reeds" if note.class_name == "grass" else "Leaves"
    holds, air = holds_text(move.holds_until_s), _air(move.known)
    word = blur_word(move.print_mm)
    look = {"sharp": "sharp", "slightly_soft": "slightly soft"}.get(word)
    may = "" if note.sure else "may "
    be = f"{may}be" if may else "are"
    says = f"{who} {be} {look} at {time}" if look else f"{who} {may}blur into {BLURS[word]} at {time}"
    long = f"{says}: {print_text(move.print_mm)}; {holds}{f'; {air}' if air else ''}."
    if note.sure and move.flows_from_s is not None and note.shutter_s >= move.flows_from_s:
        long += f" Beyond {shutter_text(move.flows_from_s)} they blur hardly more."
    until = move.sharp_until_s
    sharp = "" if until is None or look == "sharp" or until < 1 / 4000 else f"; sharp at {shutter_text(until)}"
    return Words(long, f"{says}{sharp}.")


def _clouds(note: ClassMoves) -> Words:
    assert note.clouds is not None
    assert note.drift_deg_per_s is not None
    time, move, drift = shutter_text(note.shutter_s), note.move, note.drift_deg_per_s
    look = {
        "still": "stay sharp",
        "soft": "soften",
        "direction": "blur along their drift",
        "streaks": "streak",
        "veil": "turn into a veil",
    }[note.clouds]
    flows = "" if move.flows_from_s is None else f" They streak from about {shutter_text(move.flows_from_s)}."
    return Words(
        f"Clouds {look} at {time}: drift {_figures(drift.likely)} deg/s ({_figures(drift.low)} to "
        f"{_figures(drift.high)}), {_figures(100.0 * move.share_of_height.likely)} % of the picture's height.{flows}",
        f"Clouds {look} at {time}.{flows}",
    )


def _water(note: ClassMoves) -> Words:
    assert note.water is not None
    assert note.wave_period_s is not None
    time, periods = shutter_text(note.shutter_s), note.water.periods
    look = {
        "frozen": "stays sharp",
        "texture": "keeps its texture",
        "silky": "turns silky",
        "smooth": "turns smooth",
        "mist": "turns to mist",
    }[note.water.word]
    return Words(
        f"Water {look} at {time}: {_figures(periods.likely)} waves ({_figures(periods.low)} to "
        f"{_figures(periods.high)}) of {note.wave_period_s:.1f} s each.",
        f"Water {look} at {time}.",
    )


def _people(note: ClassMoves, move: ClassMovement) -> Words:
    time, held, flows = shutter_text(note.shutter_s), holds_text(move.holds_until_s), move.flows_from_s
    if note.moving is Moving.BOATS:
        return Words(f"Boats blur at {time}: {print_text(move.print_mm)}; {held}.", f"Boats blur at {time}.")
    if flows is not None and note.shutter_s >= flows:
        return Words(f"Walkers vanish or leave ghosts at {time}; {held}.", f"Walkers vanish or leave ghosts at {time}.")
    thin = f"; they fade from about {shutter_text(flows)}" if flows is not None else ""
    return Words(f"Walkers blur at {time}: {print_text(move.print_mm)}; {held}{thin}.", f"Walkers blur at {time}.")


@in_words.register
def _(note: TripodShakes) -> Words:
    wind = note.wind_m_s
    air = f"{wind.low:.0f} to {wind.high:.0f} m/s of wind" if wind.width > 0 else f"{wind.likely:.1f} m/s of wind"
    verb = "shakes" if note.sure else "may shake"
    return Words(
        f"The tripod {verb} in {air}, so nothing is sharp: {print_text(note.print_mm)}. Keep it low and weighted, "
        "centre column down, in the lee, or wait.",
        f"The tripod {verb}: keep it low, weighted, in the lee, or wait.",
    )


@in_words.register
def _(note: Gale) -> Words:
    gust = f"Gale: gusts to {note.gust_m_s:.0f} m/s"
    return Words(
        f"{gust}. Branches come down; keep away from trees, cliff edges and breaking waves, and follow local warnings.",
        f"{gust}. Keep away from trees, cliff edges and breaking waves; follow local warnings.",
    )


@in_words.register
def _(note: GustLikely) -> Words:
    return Words(
        f"Expect a gust in {shutter_text(note.shutter_s)}: {note.gust_m_s:.0f} m/s (mean {note.mean_m_s:.0f} m/s).",
        f"Expect a gust: {note.gust_m_s:.0f} m/s.",
    )


# ---- doubts --------------------------------------------------------------------------------------------------------


@in_words.register
def _(doubt: FocalAssumed) -> Words:
    return Words(
        f"Focal length not known: {doubt.focal_35mm_mm:.0f} mm assumed (35 mm equivalent); blur scales with it.",
        f"Focal length not known: {doubt.focal_35mm_mm:.0f} mm assumed.",
    )


@in_words.register
def _(_doubt: WindUnknown) -> Words:
    return Words(
        "Wind not given: anything from light air to a fresh breeze. Give the wind or a clip.", "Wind not given."
    )


@in_words.register
def _(doubt: DistanceEstimated) -> Words:
    who = CLASS_WORDS.get(doubt.class_name, doubt.class_name)
    d = doubt.distance_m
    return Words(
        f"{who.capitalize()} about {d.likely:.0f} m away ({d.low:.0f} to {d.high:.0f}), {_DISTANCE_WORDS[doubt.by]}. "
        "Give the metres to be surer.",
        f"{who.capitalize()} about {d.likely:.0f} m away, estimated.",
    )


@in_words.register
def _(doubt: ClipDoubt) -> Words:
    value, of = doubt.value, doubt.of
    who = CLASS_WORDS.get(doubt.class_name, doubt.class_name)
    text = {
        ClipDoubtKind.SHORT: f"only {value:.1f} s long; film at least 3 s, better 10 s",
        ClipDoubtKind.SLOW: f"{value:.0f} frames a second cannot follow leaves; 15 are needed. How far they sway is "
        "right, how fast may be wrong",
        ClipDoubtKind.CAMERA_LOST: f"the camera moved too far in {value:.0f} of {of:.0f} frames; rest the phone and "
        "film again",
        ClipDoubtKind.STILL_MOVES: f"what should stand still moves {value:.1f} px (0.3 px at most). Switch off "
        "electronic stabilisation and film again, or correct what is where",
        ClipDoubtKind.AT_THE_FLOOR: f"{who}: sway of {value:.2f} px is at the limit of the clip's compression",
        ClipDoubtKind.TOO_FAST: f"{who}: {value:.1f} Hz is too fast for {of:.0f} frames a second. How far they sway is "
        "right, how fast may be wrong",
        ClipDoubtKind.SUMMED: f"{who}: sway too wide to follow from the first frame; added up frame by frame",
        ClipDoubtKind.CLOUDS_HARDLY_MOVED: f"the clouds moved only {value:.1f} px in {of:.0f} s: drift uncertain. Film "
        "longer",
        ClipDoubtKind.NOT_TIMED: "the times between the stills are not known: how far things sway is measured, how "
        "fast is not",
        ClipDoubtKind.WATER_STILL: "the water hardly changes: no wave period measured",
        ClipDoubtKind.WATER_SLOW: f"the waves are too slow for {value:.0f} s of film; film 10 s or more",
        ClipDoubtKind.WATER_FAST: f"the water is too fast for {value:.0f} frames a second: no wave period measured",
        ClipDoubtKind.FOCAL_AS_SNAP: "taken with the snap's focal length; say so if it was zoomed",
        ClipDoubtKind.LITTLE_SKY: "too little sky to follow the clouds; film more of it",
        ClipDoubtKind.BLANK_SKY: "a blank sky: no drift measured",
        ClipDoubtKind.CLOUDS_DISAGREE: "the clouds move in no one direction: no drift measured",
        ClipDoubtKind.LITTLE_STANDS: f"only {100 * value:.0f} % of it stands still (5 % needed), so camera shake stays "
        "in. Include a wall, rock or bare ground, or rest the phone on something",
        ClipDoubtKind.SMOOTH_STANDS: f"what stands still is too smooth ({value:.0f} corners, 12 needed), so camera "
        "shake stays in. Rest the phone on something",
        ClipDoubtKind.RATE_ASSUMED: f"it does not tell its frame rate: {value:.0f} per second assumed",
        ClipDoubtKind.ENDS_EARLY: f"it ends early: {value:.0f} of {of:.0f} frames could be read",
        ClipDoubtKind.FIRST_SECONDS_ONLY: f"only its first {value:.0f} s were used",
        ClipDoubtKind.FIRST_STILLS_ONLY: f"only the first {value:.0f} of {of:.0f} stills were used",
        ClipDoubtKind.STILLS_NOT_TIMED: "the stills do not tell the time between them; give --clip-fps for frequencies "
        "and cloud drift",
    }[doubt.kind]
    return both(f"Clip: {text}.")
