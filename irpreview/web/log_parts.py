"""The part of the page about frames brought home, as HTML: the form, the comparison, what was learned, the entries.

Pure, like `parts`: records in, text out.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from irpreview.core.field_log.comparison import Comparison, Correction, CorrectionCheck
from irpreview.core.field_log.entries import OUTCOME_WORDS, OUTCOMES, LogEntry
from irpreview.core.units import shutter_text
from irpreview.records import CLASS_NAMES, CLASS_WORDS, Kit, Range
from irpreview.web.access_control import UPLOAD_LIMIT_BYTES, UPLOAD_PATH
from irpreview.web.parts import block, folded, listed, paragraphs, safe, scrolling, sentence

if TYPE_CHECKING:
    from irpreview.core.field_log.learning import Learned

MOST_SHOWN = 30
FRAME_TYPES = "image/*,.heic,.heif,.tif,.tiff,.dng,.nef,.cr2,.cr3,.arw,.raf,.orf,.rw2,.pef"
FOR_THE_OWNER = "The log lies on the computer that shows this page and is opened only there."


def _field(name: str, label: str, kind: str = "text", hint: str = "") -> str:
    extra = f' placeholder="{safe(hint)}"' if hint else ""
    return (
        f'<label class="field">{safe(label)}<input type="{kind}" data-field="{name}"{extra} autocomplete="off"></label>'
    )


def _choice(name: str, label: str, options: Sequence[tuple[str, str]]) -> str:
    inner = "".join(f'<option value="{value}">{safe(words)}</option>' for value, words in options)
    return f'<label class="field">{safe(label)}<select data-field="{name}">{inner}</select></label>'


def _file(name: str, label: str) -> str:
    return (
        f'<label class="field">{safe(label)}<input type="file" class="{name}" accept="{FRAME_TYPES}"></label>'
        f'<output class="small {name}" aria-live="polite"></output>'
    )


def forms() -> str:
    """Everything that is filled in; it is never drawn anew, so that nothing typed is lost."""
    subjects = [("", "neutral grey"), *((name, CLASS_WORDS[name]) for name in CLASS_NAMES)]
    outcomes = [(name, OUTCOME_WORDS[name]) for name in OUTCOMES]
    where = f'data-address="{UPLOAD_PATH}" data-limit-mb="{UPLOAD_LIMIT_BYTES // 1024**2}"'
    return block(
        f'<div class="home" {where}>'
        '<div class="row with-snap"><button type="button" class="go" data-do="plan">Write this plan down</button>'
        '<span class="small quiet">Setting, light and place of the snap above.</span></div>'
        '<fieldset class="note"><legend>Note a frame</legend><p class="small quiet which">A frame that was not planned '
        "here. To note one beside its plan, choose it in the list below.</p>"
        + _file("frame", "Its file, if you have it here (exposure and brightness are read)")
        + '<div class="fields">'
        + _field("taken", "Exposure", hint="30s f/8 ISO 200")
        + _choice("outcome", "How it looked", outcomes)
        + _field("came_out_stops", "Brighter (+) or darker (-) than middle grey, stops", hint="unknown")
        + _choice("subject", "What was judged", subjects)
        + _field("place_name", "Place, in your words")
        + _field("taken_on", "Day", "date")
        + _field("notes", "Notes")
        + "</div>"
        '<div class="row"><label><input type="checkbox" data-field="in_shade"> It lay in open shade</label>'
        '<label class="with-snap only-new"><input type="checkbox" class="at-snap" checked> Taken at the snap above'
        '</label></div><div class="row"><button type="button" class="go" data-do="note">Put it in the log</button>'
        '<button type="button" data-do="clear">Empty the form</button></div></fieldset>'
        '<fieldset class="with-snap"><legend>Compare an infrared frame with the prediction</legend>'
        + _file("pair", "The frame, of the same scene as the snap above; a tripod was not needed")
        + '</fieldset><fieldset><legend>Look something up</legend><div class="fields">'
        + _field("words", "Place, or words in the notes")
        + _field("since", "From day", "date")
        + _field("until", "To day", "date")
        + '</div><div class="row"><button type="button" data-do="search">Look up</button>'
        '<button type="button" data-do="undo">Undo the last change of the log</button></div></fieldset></div>'
    )


def closed() -> str:
    """What a guest sees."""
    return block(f'<div class="guest">{paragraphs([FOR_THE_OWNER])}</div>')


# ---- the comparison -------------------------------------------------------------------------------------------------


def compared(result: Comparison, picture: str, name: str) -> str:
    """Where the frame differs from the prediction, drawn and in words."""
    rows = "".join(
        f"<tr><th scope='row'>{safe(part.name)}</th><td>{part.predicted_zone:.1f}</td><td>{part.taken_zone:.1f}</td>"
        f"<td>{part.zones.likely:+.1f} ({part.zones.low:+.1f} to {part.zones.high:+.1f})</td></tr>"
        for part in (*result.classes.values(), *result.layers)
    )
    table = (
        scrolling("Differences, as a table")
        + '<table><thead><tr><th scope="col">What</th><th scope="col">Zone predicted</th><th scope="col">Zone taken'
        '</th><th scope="col">Difference, zones</th></tr></thead><tbody>' + rows + "</tbody></table></div>"
    )
    return block(
        f'<h3 tabindex="-1">{safe(name)} against the prediction</h3><img src="{picture}" alt="The predicted picture in '
        'grey; orange where the frame came out brighter, blue where darker. The sentences below say the same." '
        'style="margin:.4rem 0"><p class="small quiet">Orange: brighter than predicted. Blue: darker. Grey: as '
        "predicted, or not to be told.</p>"
        + listed([sentence(text) for text in result.sentences])
        + folded("Every part as a table", table)
        + '<div class="row"><button type="button" class="go" data-do="keep">Let my kit learn from this</button></div>'
    )


# ---- what was learned -----------------------------------------------------------------------------------------------


def learned(
    kit: Kit,
    found: Learned,
    own: Mapping[str, Correction],
    check: CorrectionCheck | None,
    uses: tuple[bool, bool],
) -> str:
    """The factor and the correction of one kit, from how many frames, and the switches."""
    lines = [sentence(text.replace(kit.name, "this kit")) for text in found.says]
    if not found.frames:
        lines.insert(0, f"Filter factor: {_stops(found.factor_stops)}, from the physics alone.")
    rows = "".join(
        f"<tr><th scope='row'>{safe(CLASS_WORDS[name])}</th><td>{_signed(one.stops.likely)} ({_signed(one.stops.low)} "
        f"to {_signed(one.stops.high)})</td><td>{one.pairs}</td></tr>"
        for name, one in own.items()
    )
    table = (
        scrolling("Your correction, as a table")
        + "<table><caption>Your correction: how much brighter than predicted your kit draws each part</caption><thead>"
        '<tr><th scope="col">What</th><th scope="col">Stops</th><th scope="col">Frames</th></tr></thead><tbody>'
        + rows
        + "</tbody></table></div>"
        if rows
        else "<p class='quiet'>No frame has been compared with its prediction yet, so there is no correction.</p>"
    )
    if rows:
        told = (
            sentence(check.says) if check is not None else "Fewer than three pairs: whether it helps is not known yet."
        )
        table += f"<p>{safe(told)}</p>"
    switches = "".join(
        f'<label><input type="checkbox" data-use="{what}"{" checked" if on else ""}> {words}</label>'
        for what, on, words in (
            ("learned", uses[0], "Use the learned factor"),
            ("correction", uses[1], "Use the correction"),
        )
    )
    return block(
        f"<h3>What your frames taught about: {safe(kit.words)}</h3>"
        + listed(lines)
        + table
        + f'<div class="row">{switches}</div>'
    )


def _signed(stops: float) -> str:
    return f"{round(stops, 1) + 0.0:+.1f}"


def _stops(value: Range) -> str:
    return f"{value.likely:.1f} stops ({value.low:.1f} to {value.high:.1f})"


# ---- the entries ----------------------------------------------------------------------------------------------------


def entries(found: Sequence[LogEntry], total: int, asked: bool) -> str:
    """The entries that answer, newest first, each with what can be done to it."""
    if not total:
        return block(heading_small("Earlier entries") + paragraphs(["The log is empty."]))
    if not found:
        return block(heading_small("Earlier entries") + paragraphs([f"None of the {total} entries answers that."]))
    shown = found[:MOST_SHOWN]
    count = f"{len(found)} of {total} entries answer." if asked else f"{total} in the log."
    if (len(found) if asked else total) > len(shown):
        count += f" The newest {len(shown)} are shown."
    rows = "".join(
        f'<li data-number="{one.id}" data-entry="{safe(json.dumps(form_values(one)))}"><div>{_entry_html(one)}</div>'
        f'<div class="row"><button type="button" data-do="fill" aria-label="{_fill_words(one)}, number {one.id}">'
        f"{_fill_words(one)}</button>"
        f'<button type="button" data-do="remove" aria-label="Take out number {one.id}">Take out</button></div></li>'
        for one in shown
    )
    return block(
        heading_small("Earlier entries") + f'<p class="small quiet">{count}</p><ol class="entries" '
        f'aria-label="Entries of the log">{rows}</ol>'
    )


def heading_small(title: str) -> str:
    return f"<h3>{safe(title)}</h3>"


def _fill_words(entry: LogEntry) -> str:
    return "Note what was taken" if entry.frame_ev100 is None else "Change"


def exposure_words(iso: float | None, f_number: float | None, shutter_s: float | None) -> str:
    """`ISO 200, f/8, 30 s`; what is not known is left out."""
    parts = [
        f"ISO {iso:g}" if iso is not None else "",
        f"f/{f_number:g}" if f_number is not None else "",
        shutter_text(shutter_s) if shutter_s is not None else "",
    ]
    return ", ".join(part for part in parts if part)


def entry_lines(entry: LogEntry) -> tuple[str, list[str]]:
    """Head and lines of one entry, in words."""
    day = f"{entry.day:%-d %B %Y}" if entry.day is not None else "day not known"
    head = f"{entry.id}. {day}" + (f", {entry.place_name}" if entry.place_name else "")
    planned = exposure_words(entry.planned_iso, entry.planned_f_number, entry.planned_shutter_s)
    taken = exposure_words(entry.iso, entry.f_number, entry.shutter_s)
    lines = [f"Planned: {planned}." if planned else "", f"Taken: {taken}." if taken else "No frame noted yet."]
    looked = [OUTCOME_WORDS[entry.outcome]] if entry.outcome != "unknown" else []
    if entry.came_out_stops is not None:
        way = "brighter" if entry.came_out_stops >= 0 else "darker"
        looked.append(f"{abs(entry.came_out_stops):.1f} stops {way} than middle grey")
    if looked:
        lines.append(sentence(", ".join(looked)))
    if entry.raw_factor_stops is not None:
        of = f" of {CLASS_WORDS[entry.subject]}" if entry.subject else ""
        shade = " in open shade" if entry.in_shade else ""
        lines.append(f"By itself it says a factor{of}{shade} of {entry.raw_factor_stops:.1f} stops.")
    lines.append(entry.notes)
    return head, [line for line in lines if line]


def _entry_html(entry: LogEntry) -> str:
    head, lines = entry_lines(entry)
    return f"<strong>{safe(head)}</strong> " + " ".join(safe(line) for line in lines)


def form_values(entry: LogEntry) -> dict[str, Any]:
    """An entry as the form's fields hold it."""
    taken = exposure_words(entry.iso, entry.f_number, None).replace(",", "")
    if entry.shutter_s is not None:
        taken = f"{taken} {shutter_text(entry.shutter_s)}".strip()
    return {
        "taken": taken,
        "outcome": entry.outcome,
        "came_out_stops": "" if entry.came_out_stops is None else f"{entry.came_out_stops:g}",
        "subject": entry.subject or "",
        "place_name": entry.place_name or "",
        "taken_on": entry.day.isoformat() if entry.day is not None else "",
        "notes": entry.notes,
        "in_shade": entry.in_shade,
    }
