"""Frames brought home in words: where each belongs, how it came out against the plan, what the next plan learns."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from types import MappingProxyType

from irpreview.core.field_log.comparison import CLEAR_ZONES
from irpreview.core.field_log.homecoming import Homecoming, RealFrame
from irpreview.core.field_log.matching import Clocks, Found
from irpreview.core.units import how_many, shutter_text
from irpreview.core.words.phrases import listed
from irpreview.records import Range

FOUND_WORDS: Mapping[Found, str] = MappingProxyType(
    {
        Found.PICTURE: "by the picture",
        Found.PICTURE_AND_TIME: "by picture and time",
        Found.EITHER: "by the picture, but other snaps show the same view",
        Found.NONE: "belongs to none of the snaps",
    }
)


def headline(home: Homecoming) -> str:
    """How many frames found their snap, and how many the log would take in."""
    found = sum(one.snap is not None for one in home.frames)
    known = sum(one.known for one in home.frames)
    new = len(home.taken_in)
    said = f"{found} of {how_many(len(home.frames), 'frame')} found {'its' if len(home.frames) == 1 else 'their'} snap"
    if known:
        said += f"; {known} {'is' if known == 1 else 'are'} in the log already"
    return f"{said}; {new} would go in" if new != found or known else said


def clock_words(clocks: Clocks | None) -> str:
    """How far the camera's clock is off, or that nothing is known of it."""
    if clocks is None:
        return "too few frames lie surely on a snap to compare the clocks; times are used as they stand"
    way = "later" if clocks.ahead >= timedelta() else "earlier"
    said = (
        f"the camera's clock reads {_span(clocks.ahead)} {way} than the phone's, by {how_many(clocks.pairs, 'frame')}"
    )
    if clocks.correction:
        return f"{said}; the frames' times are put right by so much"
    return f"{said}: no more than the time from snap to frame"


def where_words(one: RealFrame) -> str:
    """Which snap a frame belongs to, and how that is known."""
    if one.snap is None:
        near = f"; {one.nearest} (left) is most like it, but not surely the same view" if one.nearest else ""
        return f"{FOUND_WORDS[one.found]}{near}: left out"
    said = f"snap {one.snap}, {FOUND_WORDS[one.found]}"
    if one.found is Found.EITHER and one.rivals:
        said += f" ({listed(one.rivals[:3])})"
    if one.after is not None and abs(one.after) >= timedelta(minutes=1):
        said += f", {_span(one.after)} {'after' if one.after > timedelta() else 'before'} it"
    return said


def exposure_words(one: RealFrame) -> str:
    """What was taken beside what was planned; empty where nothing is known."""
    if one.home is None:
        return ""
    entry = one.home.entry
    taken = exposure_text(entry.iso, entry.f_number, entry.shutter_s)
    planned = exposure_text(entry.planned_iso, entry.planned_f_number, entry.planned_shutter_s)
    parts = [f"taken {taken}" if taken else "the file does not say its exposure"]
    if planned:
        parts.append(f"planned {planned}")
    return "; ".join(parts)


def outcome_words(one: RealFrame) -> tuple[str, ...]:
    """How it came out against the prediction: exposure first, then the classes that differ."""
    if one.snap is None:
        return ()
    if one.known:
        return ("in the log already: nothing is added",)
    if one.why_not:
        return (one.why_not,)
    out = []
    off, came = one.off_stops, one.came_out_stops
    if off is not None and one.expected_stops is not None and came is not None:
        inside = "inside" if one.within_range else "outside"
        said = "as predicted" if abs(off) < 0.1 else f"{stops_text(off)} than predicted"
        out.append(
            f"exposure {said}: grey came out {came:+.1f}, predicted {one.expected_stops.likely:+.1f} stops, {inside} "
            f"its range ({_range_text(one.expected_stops)})"
        )
    elif came is not None:
        why = "the snap is of another hour or its time is not known" if not _same_light(one) else "no metered light"
        out.append(f"grey came out {came:+.1f} stops against middle grey; not compared with the plan ({why})")
    parts = sorted(one.classes.values(), key=lambda p: -abs(p.zones.likely) * p.share**0.5)
    clear = [p for p in parts if abs(p.zones.likely) >= CLEAR_ZONES][:3]
    if clear:
        out.append("; ".join(f"{p.name} {stops_text(p.zones.likely)} than predicted" for p in clear))
    elif parts:
        out.append(f"tones as predicted: no class is off by more than {CLEAR_ZONES:g} stop")
    if one.home is not None and one.home.entry.lacks:
        out.append(f"teaches nothing of the factor, it lacks: {', '.join(one.home.entry.lacks)}")
    return tuple(out)


def lesson_words(home: Homecoming) -> tuple[str, ...]:
    """What the next plan learns from these frames."""
    new = [one for one in home.taken_in if one.home is not None]
    if not new:
        return ("The log learns nothing: no new frame found its snap.",)
    telling = sum(one.home is not None and one.home.entry.raw_factor_stops is not None for one in new)
    before, after = home.before.factor_stops, home.after.factor_stops
    if not telling:
        return (
            "The factor stays as it is: none of these frames has exposure and metered light both. "
            "Their tones are kept for the personal correction.",
        )
    step = after.likely - before.likely
    verb = "stays" if abs(step) < 0.05 else f"goes {'up' if step > 0 else 'down'} by {abs(step):.1f} stop to"
    out = [
        f"Next plan: the factor {verb} {after.likely:.1f} stops ({after.low:.1f} to {after.high:.1f}; before "
        f"{before.likely:.1f}, {before.low:.1f} to {before.high:.1f}), from {how_many(home.after.frames, 'frame')}."
    ]
    aside = [n for n in home.after.set_aside if n == 0]
    if aside:
        out.append(
            f"{how_many(len(aside), 'frame')} of these disagree{'s' if len(aside) == 1 else ''} too much to count."
        )
    return tuple(out)


def exposure_text(iso: float | None, f_number: float | None, shutter_s: float | None) -> str:
    """`30 s, f/8, ISO 200`; what is not known is left out."""
    parts = (
        shutter_text(shutter_s) if shutter_s else "",
        f"f/{f_number:g}" if f_number else "",
        f"ISO {iso:g}" if iso else "",
    )
    return ", ".join(p for p in parts if p)


def stops_text(stops: float) -> str:
    """`0.4 stop darker`."""
    size = abs(stops)
    return f"{size:.1f} stop{'s' if size >= 1.05 else ''} {'brighter' if stops > 0 else 'darker'}"


def _range_text(value: Range) -> str:
    return f"{value.low:+.1f} to {value.high:+.1f}"


def _same_light(one: RealFrame) -> bool:
    return one.home is not None and one.home.entry.metered_ev100 is not None


def _span(time: timedelta) -> str:
    """`1 h 4 min`, without sign."""
    minutes = round(abs(time.total_seconds()) / 60.0)
    if minutes >= 2 * 1440:
        return f"{minutes / 1440:.0f} days"
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest} min" if hours else f"{rest} min"
