"""The page's parts as HTML: each function turns what is known into one piece of the page.

Pure: records and pictures in, text out. Everything that came from outside goes through `safe`.
"""

from __future__ import annotations

import html
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from irpreview.core.card.field_tables import focus_lines, frame_words, range_words, setting_choices
from irpreview.core.motion.wind import BEAUFORT, beaufort_of
from irpreview.core.scene.strokes import Region
from irpreview.core.units import share_text, shutter_text, zone_text
from irpreview.core.words.lead_words import LEAD_WORDS
from irpreview.core.words.verdict_words import reasons, sentences
from irpreview.records import CLASS_NAMES, CLASS_WORDS, Exposure, Movement, SceneMap, SeparationWord, Setting, Verdict
from irpreview.study import SHUTTERS_S, WINDS_M_S, Look, Study, shutter_labels, shutter_stop
from irpreview.take_along import hours_of_day, white_balance_words, window_words
from irpreview.web.access_control import UPLOAD_LIMIT_BYTES, UPLOAD_PATH

SAYS_WORDS: dict[SeparationWord, str] = {
    "separates": "holds apart",
    "merges": "melts together",
    "uncertain": "cannot be told",
}


@dataclass(frozen=True, slots=True)
class SnapEntry:
    """One snap in the list at the top."""

    name: str
    thumb: str
    figure: str
    sentence: str


def scrolling(name: str) -> str:
    """Opening tag of a box that scrolls sideways on a phone: reachable by keyboard, named for a screen reader."""
    return f'<div class="scroll" tabindex="0" role="region" aria-label="{name}">'


def safe(text: object) -> str:
    """Text for HTML that the browser's template engine leaves alone too."""
    escaped = html.escape(str(text), quote=True)
    for mark in "{}$`\\":
        escaped = escaped.replace(mark, f"&#{ord(mark)};")
    return escaped


def block(inner: str) -> str:
    return f'<div class="irp">{inner}</div>'


def heading(title: str, words: str) -> str:
    """A part's heading with the question that it answers."""
    return block(f'<h2>{safe(title)}</h2><p class="quiet">{safe(words)}</p>')


def status(text: str, sorry: bool = False) -> str:
    """The one line that says what has just happened; read out by screen readers."""
    kind = "status sorry" if sorry else "status"
    return block(f'<div class="{kind}" role="status" aria-live="polite">{safe(text)}</div>')


def paragraphs(lines: Sequence[str]) -> str:
    return "".join(f"<p>{safe(line)}</p>" for line in lines)


def listed(lines: Sequence[str], ordered: bool = False) -> str:
    if not lines:
        return ""
    tag = "ol" if ordered else "ul"
    return f"<{tag}>" + "".join(f"<li>{safe(line)}</li>" for line in lines) + f"</{tag}>"


def folded(title: str, inner: str) -> str:
    return f"<details><summary>{safe(title)}</summary>{inner}</details>" if inner else ""


def sentence(text: str) -> str:
    """A first capital and a full stop."""
    text = " ".join(text.split())
    first = text.partition(" ")[0]
    if not ("." in first[:-1] or "/" in first):  # a file's name or an aperture stays as it is written
        text = text[:1].upper() + text[1:]
    return text if not text or text.endswith((".", "!", "?")) else text + "."


# ---- your photograph ------------------------------------------------------------------------------------------------


GIVING_TYPES = "image/*,.heic,.heif"


def giving() -> str:
    """Where files come in: chosen, dropped, or from a phone's camera. It is never drawn anew, so nothing is lost."""
    return block(
        f'<div class="give" data-limit-mb="{UPLOAD_LIMIT_BYTES // 1024**2}" data-address="{UPLOAD_PATH}">'
        '<label class="drop"><span class="big">Choose snaps, or drop them here</span>'
        f'<span class="small quiet">JPEG, HEIC, PNG, WebP or TIFF, up to {UPLOAD_LIMIT_BYTES // 1024**2} MB each</span>'
        f'<input type="file" multiple accept="{GIVING_TYPES}" aria-label="Choose snaps"></label>'
        '<label class="take button">Take one now<input type="file" accept="image/*" capture="environment" '
        'aria-label="Take one now"></label><output class="small" aria-live="polite"></output></div>'
    )


def snaps(entries: Sequence[SnapEntry], current: int) -> str:
    """The snaps with their figure and one sentence; the one looked at is marked."""
    if not entries:
        return ""
    rows = []
    for index, entry in enumerate(entries):
        pressed = "true" if index == current else "false"
        rows.append(
            f'<li><button type="button" class="snap" data-index="{index}" aria-pressed="{pressed}">'
            f'<img src="{entry.thumb}" alt="">'
            f'<span><span class="name">{safe(entry.name)}</span><span class="figure">{safe(entry.figure)}</span>'
            f'<span class="small">{safe(entry.sentence)}</span></span></button></li>'
        )
    hint = '<p class="small quiet">Choose a snap to look closer.</p>' if len(entries) > 1 else ""
    return block(f'<ol class="snaps" aria-label="Your snaps">{"".join(rows)}</ol>{hint}')


# ---- what is in it --------------------------------------------------------------------------------------------------


def seen(study: Look, overlay: str, colours: dict[str, tuple[str, str]], regions: Sequence[Region]) -> str:
    """The scene map over the photo, its legend, and the brush. `colours` = class: (colour, letter)."""
    share = study.scene.share()
    ordered = sorted(CLASS_NAMES, key=lambda name: -share[name])
    chips = []
    for index, name in enumerate(ordered):
        colour, letter = colours[name]
        checked = " checked" if index == 0 else ""
        chips.append(
            f'<label><input type="radio" name="brush-class" value="{name}" data-colour="{colour}"{checked}>'
            f'<span class="swatch" style="background:{colour};color:{ink_on(colour)}" aria-hidden="true">'
            f"{letter}</span>"
            f"{safe(CLASS_WORDS[name])} {share_text(share[name])}</label>"
        )
    options = "".join(
        f'<option value="{i}">{safe(CLASS_WORDS[one.class_name])}, {safe(one.words)}, {share_text(one.share)}</option>'
        for i, one in enumerate(regions)
    )
    classes = "".join(f'<option value="{name}">{safe(CLASS_WORDS[name])}</option>' for name in CLASS_NAMES)
    words = ", ".join(f"{CLASS_WORDS[name]} {share_text(share[name])}" for name in ordered if share[name] >= 0.01)
    return block(
        f'<div class="brush"><div class="stage"><img src="{overlay}" alt="Your photograph with what is in it marked by '
        f'colour and letter: {safe(words)}"><canvas aria-hidden="true"></canvas></div>'
        f"<fieldset><legend>Something is wrong? Choose what it is and draw over it</legend>"
        f'<div class="choices">{"".join(chips)}</div></fieldset>'
        '<div class="row"><label>Brush width <input type="range" class="width" min="1" max="15" value="3" '
        'aria-label="Brush width, percent of the picture" style="width:10rem"></label>'
        '<label><input type="checkbox" class="grow" checked> Grow my strokes to the edges</label></div>'
        '<div class="row"><button type="button" class="go" data-do="use">Use my strokes</button>'
        '<button type="button" data-do="back">Wipe the last stroke</button>'
        '<button type="button" data-do="undo">Undo the last correction</button></div>'
        '<details><summary>Correct without drawing</summary><div class="row">'
        f'<label>Area <select class="area" aria-label="Area to correct">{options}</select></label>'
        f'<label>is <select class="is" aria-label="What it is">{classes}</select></label>'
        '<button type="button" data-do="area">Correct this area</button></div></details></div>'
    )


def ink_on(colour: str) -> str:
    """Black or white, whichever reads better on `#rrggbb` (WCAG 2.1 relative luminance)."""
    linear = [
        value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
        for value in (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    ]
    luminance = float(np.dot(linear, (0.2126, 0.7152, 0.0722)))
    return "#000000" if luminance > 0.179 else "#ffffff"


# ---- how infrared sees it -------------------------------------------------------------------------------------------


def twin(photo: str, infrared: str, study: Look) -> str:
    """Photo and infrared in one frame, with a seam that a finger, a mouse or the arrow keys move."""
    share = study.scene.share()
    rows = "".join(
        f"<tr><th scope='row'>{safe(CLASS_WORDS[name])}</th><td>{share_text(share[name])}</td>"
        f"<td>{safe(zone_text(tone.zone))}</td></tr>"
        for name, tone in sorted(study.rendering.classes.items(), key=lambda pair: -pair[1].share)
        if share.get(name, 0) >= 0.01
    )
    table = (
        scrolling("What is in it, as a table") + '<table><thead><tr><th scope="col">What</th><th scope="col">Share</th>'
        f'<th scope="col">Zone in infrared, with its doubt</th></tr></thead><tbody>{rows}</tbody></table></div>'
    )
    return block(
        f'<figure class="twin"><div class="fit"><div class="stage"><img src="{infrared}" '
        f'alt="The scene as infrared will show it, black and white"><img class="over" src="{photo}" '
        'alt="The photograph as taken"><span class="seam"></span><input type="range" min="0" max="100" value="50" '
        'aria-label="Seam between photograph and infrared" aria-valuetext="half photograph, half infrared"></div>'
        '<figcaption class="ends"><span>photograph</span><span>infrared</span></figcaption></div>'
        '<div class="row"><button type="button" data-cut="0">Infrared only</button>'
        '<button type="button" data-cut="50">Half and half</button>'
        '<button type="button" data-cut="100">Photograph only</button></div></figure>'
        + paragraphs([_kit_light(study)])
        + folded("Tone of each part", table)
        + folded(
            "What makes this uncertain", listed([sentence(t) for t in (*study.photo.doubts, *study.rendering.doubts)])
        )
    )


def _kit_light(study: Look) -> str:
    how = study.light.how_known
    return sentence(f"{study.kit.words}. Light: {how}")


# ---- will it hold apart ---------------------------------------------------------------------------------------------


MOST_SENTENCES = 6
"""So many are shown at once; the rest is one press away."""


def hold(verdict: Verdict, drawn: str) -> str:
    """Layers and separations drawn in, and the verdict in sentences with what each rests on."""
    by_index = {layer.index: layer for layer in verdict.layers}
    rows = "".join(
        f"<tr><td>{safe(by_index[separation.a].name)} and {safe(by_index[separation.b].name)}</td>"
        f'<td><span class="says {separation.says}">{SAYS_WORDS[separation.says]}</span></td>'
        f"<td>{abs(separation.zones):.1f} zones ({separation.low:+.1f} to {separation.high:+.1f})</td></tr>"
        for separation in verdict.separations
        if separation.a in by_index and separation.b in by_index
    )
    table = (
        scrolling("Neighbours, as a table") + "<table><caption>Neighbours in the picture, on paper of grade "
        f"{verdict.grade:g}</caption><thead><tr><th scope='col'>Between</th><th scope='col'>In the print</th>"
        f"<th scope='col'>Step</th></tr></thead><tbody>{rows}</tbody></table></div>"
        if rows
        else ""
    )
    said = [sentence(one.text) for one in (*reasons(verdict), *sentences(verdict))]
    rests = "".join(
        f"<li>{safe(sentence(one.text))} <span class='quiet'>{safe(sentence(one.evidence))}</span></li>"
        for one in (*reasons(verdict), *sentences(verdict))
        if one.evidence
    )
    key = "".join(
        f'<li><span class="number">{one.index + 1}</span> {safe(one.name)}, {safe(zone_text(one.zone))}</li>'
        for one in verdict.layers
    )
    lines = (
        '<p class="small quiet">Figures on the lines: the step in zones. Unbroken line: holds apart. Dashed, with a '
        "question mark: too close to call. Dotted: melts together.</p>"
    )
    turn = ""
    if verdict.turns_at_wind_m_s is not None:
        at = verdict.turns_at_wind_m_s
        turn = f"<p>This turns at a wind of about {at.likely:.1f} m/s ({at.low:.1f} to {at.high:.1f}).</p>"
    return block(
        f'<img src="{drawn}" alt="The infrared picture with its layers numbered and the edges between them drawn: '
        "unbroken where they hold apart, dashed where it cannot be told, dotted where they melt together. The table "
        f'below says the same." style="margin:.5rem 0">'
        f'<ul class="key" aria-label="Layers by their number">{key}</ul>{lines}'
        f'<p class="lead">{safe(sentence(LEAD_WORDS[verdict.lead]))}</p>{turn}'
        + listed(said[:MOST_SENTENCES])
        + folded("All that was found", listed(said[MOST_SENTENCES:]))
        + folded("Every edge as a table", table)
        + folded("What each sentence rests on", f"<ul class='small'>{rests}</ul>" if rests else "")
    )


def figure_words(verdict: Verdict) -> str:
    """The verdict as one figure: how many of the neighbouring layers hold apart."""
    held = sum(separation.says == "separates" for separation in verdict.separations)
    if not verdict.separations:
        return "one tone throughout"
    return f"{held} of {len(verdict.separations)} edges hold"


def one_sentence(verdict: Verdict) -> str:
    """What to do with this snap, in one sentence."""
    first = reasons(verdict) or sentences(verdict)
    return sentence(first[0].text) if first else sentence(LEAD_WORDS[verdict.lead])


# ---- wind and time --------------------------------------------------------------------------------------------------


def wind_words(wind_m_s: float) -> str:
    force = beaufort_of(wind_m_s)
    return f"{wind_m_s:.1f} m/s, Beaufort {force}: {BEAUFORT[force].land}"


def dials(study: Study) -> str:
    """Two sliders, wind and time, each with its value in words."""
    wind, known = study.conditions.wind_m_s, study.conditions.wind_m_s is not None
    wind_at = 0 if wind is None else min(range(len(WINDS_M_S)), key=lambda i: abs(WINDS_M_S[i] - wind))
    shutter_at = shutter_stop(study.shutter_s)
    words = safe(json.dumps([wind_words(one) for one in WINDS_M_S]))
    times = safe(json.dumps(shutter_labels()))
    best = study.exposure.recommended if study.exposure is not None else None
    recommended = (
        f'<button type="button" data-do="recommended" data-at="{shutter_stop(best.shutter_s.likely)}">'
        f"Back to the recommended {safe(best.shutter_text)}</button>"
        if best is not None
        else ""
    )
    at_wind = wind_words(WINDS_M_S[wind_at]) if known else "not known: anything from still air to a fresh breeze"
    return block(
        f'<div class="dials" data-winds="{words}" data-times="{times}"><div>'
        f'<label for="dial-wind">Wind</label><input id="dial-wind" type="range" min="0" max="{len(WINDS_M_S) - 1}" '
        f'step="1" value="{wind_at}" aria-valuetext="{safe(at_wind)}"><output for="dial-wind" class="wind">'
        f"{safe(at_wind)}</output>"
        f'<label style="font-weight:400"><input type="checkbox" class="unknown"{"" if known else " checked"}> '
        "I do not know the wind</label></div>"
        f'<div><label for="dial-time">Time that the shutter stays open</label><input id="dial-time" type="range" '
        f'min="0" max="{len(SHUTTERS_S) - 1}" step="1" value="{shutter_at}" '
        f'aria-valuetext="{safe(shutter_text(study.shutter_s))}">'
        f'<output for="dial-time" class="time">{safe(shutter_text(study.shutter_s))}</output>{recommended}</div></div>'
    )


def moving(study: Study, picture: str) -> str:
    """The infrared picture with its movement, and what moves how far."""
    movement = study.movement
    when = shutter_text(movement.shutter_s)
    wind = study.conditions.wind_m_s
    air = "the wind is not known" if wind is None else f"{wind:.1f} m/s of wind"
    return block(
        f'<img src="{picture}" alt="The infrared picture as it would move in {safe(when)}, {safe(air)}" '
        'style="margin:.3rem auto">'
        f'<p class="small quiet">As it would move in {safe(when)}; {safe(air)}.</p>'
        + listed([sentence(text) for text in movement.warnings])
        + folded("How far each part moves", movement_table(movement))
    )


def movement_table(movement: Movement) -> str:
    rows = []
    for name, one in movement.classes.items():
        holds = (
            "any time"
            if one.holds_until_s is None or one.holds_until_s.likely >= 3600
            else f"until {shutter_text(max(one.holds_until_s.likely, 1e-4))}"
        )
        rows.append(
            f"<tr><th scope='row'>{safe(CLASS_WORDS.get(name, name))}</th>"
            f"<td>{one.print_mm.likely:.2g} mm ({one.print_mm.low:.2g} to {one.print_mm.high:.2g})</td>"
            f"<td>{safe(holds)}</td><td>{safe(one.how_known)}</td></tr>"
        )
    if not rows:
        return ""
    return (
        scrolling("Movement, as a table") + '<table><thead><tr><th scope="col">What</th>'
        '<th scope="col">Smear on a 30 x 40 cm print</th><th scope="col">Holds</th>'
        '<th scope="col">Known from</th></tr></thead><tbody>' + "".join(rows) + "</tbody></table></div>"
    )


# ---- how long to open -----------------------------------------------------------------------------------------------


def opening(study: Study) -> str:
    """The setting to use, what else works, the test frames, where to focus, what to mind."""
    exposure = study.exposure
    if exposure is None:
        return block(paragraphs([*study.sorry, "Without a reading of the light there is no time to give."]))
    best = exposure.recommended
    big = (
        f'<p class="big">{_setting(best)}</p><p>Likely between {safe(range_words(best.shutter_s))}. '
        f"{safe(sentence(exposure.placed)) if exposure.placed else ''}</p>"
        if best is not None
        else "<p>No setting of this kit reaches the light.</p>"
    )
    balance = [sentence(text) for text in (white_balance_words(study),) if text]
    cost = exposure.frame_cost.get("says", ())
    return block(
        big
        + ("<h3>Take care</h3>" + listed([sentence(text) for text in exposure.cautions]) if exposure.cautions else "")
        + f"<h3>Test frames first</h3>{listed([frame_words(frame) for frame in exposure.test_frames], ordered=True)}"
        + folded("Why this setting", listed([sentence(reason) for reason in exposure.reasons]))
        + folded("Other settings", _settings_table(exposure))
        + folded(
            "What one frame costs", listed([sentence(str(text)) for text in cost]) if isinstance(cost, tuple) else ""
        )
        + folded("Where to focus, where to take the white balance", listed([*focus_lines(exposure.focus), *balance]))
        + folded("Where the time comes from", listed(_time_parts(exposure)))
        + paragraphs(study.sorry)
    )


def _setting(setting: Setting) -> str:
    return f"ISO {setting.iso:.0f}, f/{setting.f_number:g}, {safe(setting.shutter_text)}"


def _settings_table(exposure: Exposure) -> str:
    rows = []
    marks = {exposure.recommended: "recommended", exposure.freezes: "freezes", exposure.streaks: "streaks the clouds"}
    for one in setting_choices(exposure):
        rows.append(
            f"<tr><td>ISO {one.iso:.0f}</td><td>f/{one.f_number:g}</td><td>{safe(one.shutter_text)}</td>"
            f"<td>{safe(range_words(one.shutter_s))}</td><td>{safe(marks.get(one, ''))} "
            f"{safe('; '.join(one.limits))}</td></tr>"
        )
    return (
        scrolling("Other settings, as a table")
        + '<table><thead><tr><th scope="col">ISO</th><th scope="col">Aperture</th>'
        '<th scope="col">Time</th><th scope="col">Could be</th><th scope="col">Mind</th></tr></thead><tbody>'
        + "".join(rows)
        + "</tbody></table></div>"
    )


def _time_parts(exposure: Exposure) -> list[str]:
    factor = exposure.factor_stops
    lines = [
        f"Light without the filter: {exposure.metered_by}, between EV {exposure.metered_ev100.low:.1f} and "
        f"{exposure.metered_ev100.high:.1f} at ISO 100.",
        f"The filter on this camera takes {factor.likely:.1f} stops ({factor.low:.1f} to {factor.high:.1f}).",
    ]
    lines += [
        f"{sentence(name.replace('_', ' '))[:-1]}: {part.likely:+.1f} stops ({part.low:+.1f} to {part.high:+.1f})."
        for name, part in exposure.factor_parts.items()
    ]
    return lines + [sentence(text) for text in exposure.doubts]


# ---- when to come back ----------------------------------------------------------------------------------------------


def hours(study: Study) -> str:
    """The day hour by hour: how long the frame would take then. Bars with their value in words."""
    day = hours_of_day(study)
    lit = [hour for hour in day if hour.shutter_s is not None]
    if not day:
        return block(
            paragraphs(
                [
                    "This needs the place and the time of the snap, and this snap does not say both. Write them under "
                    "“Kit, place and day”; they stay in this browser."
                ]
            )
        )
    if not lit:
        return block(paragraphs(["On that day there is no daylight at that place that a time could be given for."]))
    shortest = min(hour.shutter_s or 0.0 for hour in lit)
    rows = []
    for hour in day:
        if hour.shutter_s is None:
            continue
        # One more stop of time makes the bar seven hundredths longer.
        length = min(60.0, 8.0 + 7.0 * math.log2(max(hour.shutter_s / shortest, 1.0)))
        rows.append(
            f'<div class="hour" role="listitem"><span>{hour.when:%H:%M}</span><span class="beam"><span class="bar" '
            f'style="width:{length:.0f}%"></span><span>{safe(shutter_text(hour.shutter_s))}, sun '
            f"{hour.sun_height_deg:.0f}°</span></span></div>"
        )
    best = study.exposure.recommended if study.exposure is not None else None
    at = f"ISO {best.iso:.0f} and f/{best.f_number:g}" if best is not None else "the same setting"
    return block(
        listed(window_words(study))
        + f'<p class="small quiet">How long the frame takes at {safe(at)}, hour by hour. Shadows lie elsewhere then: '
        "the snap shows only its own.</p>"
        f'<div class="hours" role="list" aria-label="Time the frame takes, hour by hour">{"".join(rows)}</div>'
    )


# ---- take it with you -----------------------------------------------------------------------------------------------


def regions_words(scene: SceneMap) -> str:
    share = scene.share()
    return ", ".join(
        f"{CLASS_WORDS[n]} {share_text(s)}" for n, s in sorted(share.items(), key=lambda p: -p[1]) if s >= 0.01
    )
