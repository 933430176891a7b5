"""What is behind the answer, one section at a time, and the card: facts from `answer`, markup from the templates."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from types import MappingProxyType

from irpreview.analysis import Analysis
from irpreview.core.scene.strokes import regions
from irpreview.core.units import share_text, shutter_text
from irpreview.core.words.framing_words import LEAST_OF_A_FRAMING
from irpreview.core.words.light_words import day_lines
from irpreview.records import CLASS_WORDS
from irpreview.web import answer, pictures
from irpreview.web.sessions import Session
from irpreview.web.templating import filled

MOST_BESIDE = 12


def strip(session: Session) -> str:
    """The snaps of a session, the best first."""
    order = sorted(range(len(session.snaps)), key=lambda i: (-session.snaps[i].glance.worth, i))
    entries = [
        {
            "index": index,
            "name": snap.photo.name,
            "thumb": pictures.jpeg_address(snap.infrared or snap.thumb),
            "lead": snap.glance.lead,
            "separates": snap.glance.separates,
            "trouble": snap.trouble,
        }
        for index, snap in ((i, session.snaps[i]) for i in order)
    ]
    return filled("strip.html", snaps=entries, current=session.current)


def answered(told: answer.Answer) -> str:
    """The answer beside the picture."""
    return filled("answer.html", answer=told, least=LEAST_OF_A_FRAMING)


def first_framing(analysis: Analysis) -> str:
    """The row of the best framing, which opens the view of framings."""
    return filled("first_framing.html", frame=bool(analysis.framings.best), text=answer.first_framing(analysis))


def _tests(analysis: Analysis) -> str:
    frames, cautions = answer.tests(analysis)
    why = [
        ("Why this setting", answer.reasons(analysis)),
        ("Where the exposure comes from", answer.time_parts(analysis)),
    ]
    return filled("tests.html", frames=frames, cautions=cautions, why=why)


def _separations(analysis: Analysis) -> str:
    layers, table, said = answer.separations(analysis)
    return filled("separations.html", layers=layers, table=table, said=said)


def _light(analysis: Analysis) -> str:
    day = analysis.hours
    shortest = min((hour.shutter_s for hour in day if hour.shutter_s is not None), default=1.0)
    rows = [
        {
            "at": f"{hour.when:%H:%M}",
            "sun": f"{hour.sun_height_deg:.0f}°",
            "time": shutter_text(hour.shutter_s),
            # one more stop of time makes the bar seven hundredths longer
            "length": round(min(100.0, 8.0 + 11.0 * math.log2(max(hour.shutter_s / shortest, 1.0)))),
        }
        for hour in day
        if hour.shutter_s is not None
    ]
    best = analysis.setting
    at = f"ISO {best.iso:.0f} and f/{best.f_number:g}" if best is not None else "the same setting"
    words = [one.long for one in day_lines(analysis.day_plan)]
    return filled("light.html", known=bool(day), rows=rows, words=words, setting=at)


def _tables(analysis: Analysis) -> str:
    movement, said = answer.movement_table(analysis)
    tables = [answer.tone_table(analysis), movement, answer.settings_table(analysis)]
    return filled(
        "tables.html",
        tables=[one for one in tables if one is not None and one.rows],
        said=said,
        assumptions=answer.doubts(analysis),
    )


SECTIONS: Mapping[str, Callable[[Analysis], str]] = MappingProxyType(
    {"tests": _tests, "separations": _separations, "light": _light, "tables": _tables}
)


def best_first(session: Session) -> list[int]:
    """The snaps that stand side by side, by their numbers in the session."""
    return sorted(range(len(session.snaps)), key=lambda i: (-session.snaps[i].glance.worth, i))[:MOST_BESIDE]


def beside(session: Session) -> str:
    """All snaps side by side, best first, each with what leads."""
    snaps = [
        {
            "index": index,
            "name": snap.photo.name,
            "picture": pictures.jpeg_address(snap.infrared or snap.thumb),
            "glance": snap.glance,
            "tall": 100.0 * snap.photo.height / snap.photo.width,
            "trouble": snap.trouble,
        }
        for index, snap in ((i, session.snaps[i]) for i in best_first(session))
    ]
    return filled("beside.html", snaps=snaps, current=session.current)


def framings(analysis: Analysis) -> str:
    """The framings, best first, below the picture of the one chosen."""
    lines, note = answer.framing_lines(analysis)
    tall = 100.0 * analysis.photo.height / analysis.photo.width
    return filled("framings.html", lines=lines, note=note, tall=tall)


def legend(analysis: Analysis) -> str:
    """Numbers of the layers and kinds of line, below the separation view."""
    layers, _, _ = answer.separations(analysis)
    return filled("legend.html", layers=layers)


def areas(analysis: Analysis) -> str:
    """The list of areas for correcting without drawing, the least sure first, and the least sure by name."""
    unsure = pictures.unsure_places(analysis.scene)
    listed = []
    for index, one in enumerate(regions(analysis.scene)):
        doubt = float(unsure[one.mask].mean()) if one.mask.any() else 0.0
        words = f"{CLASS_WORDS[one.class_name]}, {one.words}, {share_text(one.share)}"
        listed.append((doubt, index, words, f"{CLASS_WORDS[one.class_name]} {one.words}"))
    listed.sort(key=lambda item: -item[0])
    doubtful = [item[3] for item in listed if item[0] > 0.15][:2]
    return filled("areas.html", areas=[(item[1], item[2]) for item in listed], doubtful=doubtful)
