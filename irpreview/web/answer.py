"""What the page says of one snap, read off its `Analysis`: the only module of the page that knows the records.

`answer_of` gives the sixty words beside the picture; the other functions give the tables behind them. No markup here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from irpreview.analysis import Analysis
from irpreview.core.card.field_tables import setting_choices
from irpreview.core.light.filter_factor import PART_WORDS
from irpreview.core.light.light_plan import LightPlan
from irpreview.core.light.sensor_noise import FAIR_SNR, noise_word
from irpreview.core.motion.wind import BEAUFORT, beaufort_of
from irpreview.core.units import share_text, shutter_text, zone_text
from irpreview.core.verdict.plausibility import ASSUMED_WIND_M_S
from irpreview.core.words import in_words, long_words, short_words, verdict_words
from irpreview.core.words.exposure_words import cost_lines, focus_lines, setting_words, time_range_words
from irpreview.core.words.framing_words import (
    framing_details,
    framing_focus,
    framing_row,
    framing_sentence,
    framing_short,
    wider_sentence,
)
from irpreview.core.words.lead_words import lead_text
from irpreview.core.words.light_words import best_light, next_good_light
from irpreview.core.words.phrases import sentence, two_figures, wind_name
from irpreview.core.words.short_answer import short_answer
from irpreview.records import CLASS_WORDS, Setting, Words

SHUTTERS_S = (
    *(1 / 250, 1 / 125, 1 / 60, 1 / 30, 1 / 15, 1 / 8, 1 / 4, 1 / 2, 1.0, 2.0, 4.0, 8.0, 15.0, 30.0),
    *(60.0, 120.0, 240.0, 480.0, 900.0, 1800.0, 3600.0),
)
"""Stops of the shutter slider [s]."""
MOST_WORDS = 70
"""Of the answer, seen at once."""
WINDS_M_S: tuple[float | None, ...] = (None, 0.0, 0.9, 2.4, 4.4, 6.7, 9.4, 12.3, 15.5)
"""Stops of the wind slider [m/s, 10 m mean]: unknown, then the middle of Beaufort 0 to 7."""


def wind_words(index: int, *, in_metres: bool = False) -> str:
    """What the wind slider says at a stop, by force or by speed."""
    wind = WINDS_M_S[index]
    if wind is None:
        return f"Unknown: {wind_name(ASSUMED_WIND_M_S)} assumed"
    force = beaufort_of(wind)
    if in_metres:
        return f"{wind:g} m/s, {wind_name(wind)}: {BEAUFORT[force].land}"
    return f"Beaufort {force}, {wind_name(wind)}: {BEAUFORT[force].land}"


def wind_step(index: int) -> tuple[str, str]:
    """(force, speed [m/s]) below a stop of the wind slider."""
    wind = WINDS_M_S[index]
    return ("?", "?") if wind is None else (f"{beaufort_of(wind)}", f"{wind:.0f}")


def wind_stop(wind_m_s: float | None) -> int:
    """The slider's stop for a wind: 0 = unknown."""
    return 0 if wind_m_s is None else min(beaufort_of(wind_m_s), len(WINDS_M_S) - 2) + 1


def shutter_stop(shutter_s: float) -> int:
    """Index of the shutter slider's stop nearest to a time."""
    distances = [abs(math.log2(stop / shutter_s)) for stop in SHUTTERS_S]
    return distances.index(min(distances))


@dataclass(frozen=True, slots=True)
class Answer:
    """The sixty words. Empty = nothing to say."""

    lead: str
    why: str
    merges: str
    wind: str
    setting: str
    """`ISO 400`, `f/9`, `30 s`, joined by commas; empty where there is none."""
    setting_range: str
    setting_note: str
    focus: str
    hours: str
    warning: str
    shutter: str
    mood: str
    """The bare lead, for marks: structure, foliage, sky, wait, none."""
    framed: bool = False
    """Whether framings are looked for: their row waits for the first."""

    def words(self) -> int:
        """How many words of it are seen, with the labels of its rows and without the row of the first framing."""
        rows = (self.merges, self.wind, self.focus, self.hours, self.warning)
        text = f"{self.lead} {self.why} {self.setting} {self.setting_range} {self.setting_note} {' '.join(rows)}"
        could_be = 2 if self.setting and " to " in self.setting_range else 0
        return len(text.split()) + sum(map(bool, rows)) + could_be

    @property
    def framing_room(self) -> int:
        """How many words the row of the first framing may have."""
        return MOST_WORDS - self.words() - 1 if self.framed else 0


def answer_of(analysis: Analysis) -> Answer:
    """The answer beside the picture."""
    verdict = analysis.verdict
    exposure = analysis.exposure if analysis.why_no_exposure is None else None
    said = short_answer(
        verdict,
        analysis.setting,
        analysis.focus,
        () if exposure is None else exposure.cautions,
        analysis.movement.notes,
    )
    return Answer(
        lead=said.lead,
        why=said.why,
        merges=said.merges,
        wind=said.wind,
        setting=said.setting,
        setting_range=said.setting_range,
        setting_note=_setting_note(analysis),
        focus=said.focus,
        hours=_hours(analysis.day_plan),
        warning=said.warning,
        shutter=shutter_text(analysis.shutter_s),
        mood=verdict.lead,
        framed=verdict.gate.landscape,
    )


def shutter_now(analysis: Analysis) -> dict[str, object]:
    """The time shown: the slider's step, the words, and whether it is the recommended one."""
    shutter_s = analysis.shutter_s
    return {
        "step": shutter_stop(shutter_s),
        "text": shutter_text(shutter_s),
        "recommended": analysis.request.shutter_s is None,
    }


def _setting_note(analysis: Analysis) -> str:
    """A note on what cannot be had, and on noise."""
    if analysis.why_no_exposure is not None:
        return "No meter reading, so no exposure time."
    asked, best = analysis.asked_time, analysis.setting
    if best is not None:
        grey = "" if asked is None or asked.grey_filter is None else in_words(asked.grey_filter).short
        return " ".join(filter(None, (_noise_note(best), grey)))
    return "No setting of this kit fits the light." if asked is None else in_words(asked).long


def _noise_note(best: Setting) -> str:
    return f"Noise: {noise_word(best.snr)}." if best.snr is not None and best.snr < FAIR_SNR else ""


def _hours(plan: LightPlan | None) -> str:
    if plan is None:
        return "Best hours: give place and day."
    return best_light(plan.days[0]) or next_good_light(plan)


# ---- one line for the strip of snaps --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Glance:
    """A snap in the strip: what leads, how many neighbours separate, and its place among the others."""

    lead: str = ""
    why: str = ""
    separates: str = ""
    setting: str = ""
    worth: float = -1.0
    """For best first; below 0 = not looked at yet."""
    framing: str = ""
    """The best framing in a sentence; empty = not looked for, or none."""
    frame: tuple[float, ...] = ()
    """Where that framing lies in the snap: left, top, width and height in shares."""
    framing_sought: bool = False
    judged_for: str = ""
    """Wind and focal length it was judged for: what its framing hangs on and the rest of the line does not show."""

    def bare(self) -> Glance:
        """The same without its framing."""
        return replace(self, framing="", frame=(), framing_sought=False)


def glance_of(analysis: Analysis, with_framing: bool = False) -> Glance:
    """What the strip and the side-by-side section say of a snap; looking for its framings takes longer."""
    verdict = analysis.verdict
    separating = sum(one.says == "separates" for one in verdict.separations)
    words = verdict_words.neighbours_words(separating, len(verdict.separations))
    why = verdict_words.why_line(verdict)
    best = analysis.setting
    return Glance(
        sentence(lead_text(verdict)).rstrip("."),
        sentence(why),
        words,
        setting_words(best) if best is not None else "",
        float(verdict.layered_contrast),
        *_best_framing(analysis if with_framing else None),
        framing_sought=with_framing,
        judged_for=f"{analysis.request.conditions.wind_m_s} m/s, {analysis.request.wishes.focal_35mm_mm} mm",
    )


def _best_framing(analysis: Analysis | None) -> tuple[str, tuple[float, ...]]:
    if analysis is None or not analysis.framings.best:
        return "", ()
    best = analysis.framings.best[0]
    frame = best.frame
    return framing_sentence(best), (frame.left, frame.top, frame.width, frame.height)


@dataclass(frozen=True, slots=True)
class FramingLine:
    """A framing in the list below its picture."""

    short: str
    sentence: str
    details: tuple[str, ...]
    frame: tuple[float, ...]
    """Left, top, width and height in shares of the snap."""
    focus: str
    """With its lens."""


def first_framing(analysis: Analysis) -> str:
    """The best framing in a row of the answer: lens, which way up and where to point, as much as there is room for."""
    best = analysis.framings.best
    room = answer_of(analysis).framing_room
    return framing_row(best[0].frame, room) if best else "None with these lenses."


def framing_lines(analysis: Analysis) -> tuple[list[FramingLine], str]:
    """(framings, best first; what is said where there are none, or of lenses wider than the snap)."""
    found = analysis.framings
    lines = [
        FramingLine(
            framing_short(one),
            framing_sentence(one),
            tuple(framing_details(one, with_focus=False)),
            (one.frame.left, one.frame.top, one.frame.width, one.frame.height),
            framing_focus(one),
        )
        for one in found.best
    ]
    if lines:
        return lines, wider_sentence(found) or ""
    if not analysis.verdict.gate.landscape:
        return [], "No framings: this is not a daylight landscape."
    return [], "No framings: no lens of this kit sees less than the snap."


# ---- behind the answer ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its heading; the first column names its row."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def tests(analysis: Analysis) -> tuple[list[str], list[str]]:
    """(test exposures, cautions) in sentences."""
    if analysis.why_no_exposure is not None:
        return [], [sentence(str(analysis.why_no_exposure))]
    exposure = analysis.exposure
    return list(long_words(exposure.test_exposures)), list(long_words(exposure.cautions))


def explained(words: Iterable[Words]) -> list[tuple[str, str]]:
    """(what is said, what stands behind it: the figures with their ranges; empty where all is said)."""
    return [(one.short, "" if one.long == one.short else one.long) for one in dict.fromkeys(words)]


def reasons(analysis: Analysis) -> list[tuple[str, str]]:
    """Why this setting, where to focus, where the white balance, what a frame costs."""
    if analysis.why_no_exposure is not None:
        return []
    exposure = analysis.exposure
    patch = analysis.white_patch
    said = [*map(in_words, exposure.reasons), in_words(exposure.placement)]
    said += [*focus_lines(analysis.focus), *cost_lines(exposure.frame_cost)]
    return explained([*said, *([in_words(patch)] if patch is not None else [])])


def separations(analysis: Analysis) -> tuple[list[tuple[int, str, str]], Table, list[tuple[str, str]]]:
    """(layers: number, name, zone), the table of neighbours, sentences with what each rests on."""
    verdict = analysis.verdict
    names = {layer.index: verdict_words.full_name(layer, verdict) for layer in verdict.layers}
    rows = tuple(
        (
            f"{names[gap.a]} and {names[gap.b]}",
            gap.says,
            f"{abs(gap.zones):.1f} zones ({gap.low:+.1f} to {gap.high:+.1f})",
        )
        for gap in verdict.separations
        if gap.a in names and gap.b in names
    )
    table = Table(f"Neighbours, on paper of grade {verdict.grade:g}", ("Between", "In the print", "Step"), rows)
    said = [
        (sentence(one.text), sentence(one.evidence))
        for one in (*verdict_words.reasons(verdict), *verdict_words.sentences(verdict))
    ]
    return [(one.index + 1, names[one.index], zone_text(one.zone)) for one in verdict.layers], table, said


def movement_table(analysis: Analysis) -> tuple[Table, list[tuple[str, str]]]:
    """How far each class moves at the time shown, and what has to be said of it."""
    movement, rows = analysis.movement, []
    for name, one in movement.classes.items():
        holds = (
            "any exposure"
            if one.holds_until_s is None or one.holds_until_s.likely >= 3600
            else shutter_text(max(one.holds_until_s.likely, 1e-4))
        )
        rows.append(
            (
                CLASS_WORDS.get(name, name),
                f"{two_figures(one.print_mm.likely)} mm "
                f"({two_figures(one.print_mm.low)} to {two_figures(one.print_mm.high)})",
                holds,
                in_words(one.known).short,
            )
        )
    title = f"Blur at {shutter_text(movement.shutter_s)}"
    return (
        Table(title, ("What", "On a 30 x 40 cm print", "Sharp at", "Known from"), tuple(rows)),
        explained(map(in_words, movement.notes)),
    )


def tone_table(analysis: Analysis) -> Table:
    """Share and zone of each class."""
    share = analysis.scene.share()
    rows = tuple(
        (CLASS_WORDS[name], share_text(share[name]), zone_text(tone.zone))
        for name, tone in sorted(analysis.rendering.classes.items(), key=lambda pair: -pair[1].share)
        if share.get(name, 0) >= 0.01
    )
    return Table("Tone of each part", ("What", "Share", "Zone in infrared"), rows)


def settings_table(analysis: Analysis) -> Table | None:
    """Other settings with the same exposure."""
    if analysis.why_no_exposure is not None:
        return None
    exposure = analysis.exposure
    marks = {exposure.recommended: "recommended", exposure.freezes: "freezes", exposure.streaks: "streaks the clouds"}
    rows = tuple(
        (
            setting_words(one),
            time_range_words(one.shutter_s),
            " ".join(word for word in (sentence(marks.get(one, "")), *short_words(one.limits)) if word),
        )
        for one in setting_choices(exposure)
    )
    return Table("Other settings", ("Setting", "Could be", "Note"), rows)


def time_parts(analysis: Analysis) -> list[tuple[str, str]]:
    """Where the exposure comes from."""
    if analysis.why_no_exposure is not None:
        return []
    exposure = analysis.exposure
    factor, metered = exposure.factor_stops, exposure.metered_ev100
    light = f"Light: EV {metered.likely:.1f}."
    takes = f"Filter and camera take {factor.likely:.1f} stops."
    parts = [
        f"{PART_WORDS.get(name, name)} {part.likely:+.1f} ({part.low:+.1f} to {part.high:+.1f})"
        for name, part in exposure.factor_parts.items()
        if abs(part.likely) >= 0.05
    ]
    lines = [
        (light, f"EV {metered.low:.1f} to {metered.high:.1f} at ISO 100; {in_words(exposure.metered_by).long}."),
        (takes, f"{factor.low:.1f} to {factor.high:.1f} stops: {'; '.join(parts)}."),
    ]
    return [*lines, *explained(map(in_words, exposure.doubts))]


def doubts(analysis: Analysis) -> list[str]:
    """Assumptions: kit, light, and what makes the picture uncertain."""
    first = f"{analysis.kit.words}. Light: {in_words(analysis.light).long}"
    return [sentence(text) for text in (first, *long_words(analysis.doubts))]
