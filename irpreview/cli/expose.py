"""`irpreview expose`: what to set, how sure it is, and the test frames that make it surer."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from irpreview.analysis import analyse
from irpreview.answers.exposure import exposure_answer
from irpreview.cli.asking import Asked, asks
from irpreview.cli.common import JsonOption, WhyOption, emit_json, fail_usage, say
from irpreview.core.light.filter_factor import PART_WORDS
from irpreview.core.units import shutter_text
from irpreview.core.words import in_words, long_words, short_words
from irpreview.core.words.exposure_words import cost_lines, focus_lines
from irpreview.io.photos import load_photo
from irpreview.records import (
    WORKING_SIDE_PX,
    Doubt,
)
from irpreview.steps import asked_time_of, expose_without_snap

if TYPE_CHECKING:
    from irpreview.core.exposure.asked_time import AskedTime
    from irpreview.records import Exposure, Kit

PhotoOption = Annotated[
    Path | None, typer.Argument(metavar="PHOTO", help="The snap: its own exposure data are a light meter.")
]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("expose")
    @asks
    def expose(asked: Asked, photo: PhotoOption = None, why: WhyOption = False, as_json: JsonOption = False) -> None:
        """What ISO, aperture and time, how sure it is, and test exposures."""
        asked.check()

        if photo is None:
            inputs = asked.inputs
            if not inputs.planned_time and bool(inputs.place.strip()) != bool(inputs.when.strip()):
                raise fail_usage("--place and --when go together: the sun model needs a place and a time")
            exposure, taught = expose_without_snap(asked.request())
            kit, patch = taught.kit, None
            wanted = asked_time_of(exposure, kit, asked.request())
            doubts: list[Doubt] = [*asked.lessons[1], *taught.doubts]
            log_used = kit != asked.request().kit
        else:
            snap = load_photo(photo, zone=asked.zone, max_side=WORKING_SIDE_PX)
            analysis = analyse(snap, asked.request(snap))
            exposure, kit, patch = analysis.exposure, analysis.kit, analysis.white_patch
            wanted = analysis.asked_time
            log_used, doubts = analysis.lessons_used, [*asked.lessons[1], *analysis.doubts]
        if as_json:
            name = None if photo is None else str(photo)
            emit_json(exposure_answer(exposure, kit, log_used, name, patch, doubts, wanted).as_json())
            return
        told = long_words if why else short_words
        print(report(exposure, kit, wanted, why=why))
        if photo is not None:
            print(f"White    {told([patch])[0] if patch else 'no sunlit foliage in the snap for a white balance'}")
        for doubt in told((*doubts, *exposure.doubts)):
            say(f"doubt: {doubt}")


def report(answer: Exposure, kit: Kit, asked: AskedTime | None = None, *, why: bool = False) -> str:
    """The exposure as a short text, a time asked for first; why: with the figures behind each sentence."""
    f, ev = answer.factor_stops, answer.metered_ev100
    lines = [
        f"{kit.words}",
        *([f"Lens     {kit.lens}"] if kit.lens else []),
        *([f"Factor   {kit.factor_source}"] if kit.factor_stops is not None else []),
        f"Light    EV {ev.likely:.1f} at ISO 100 ({ev.low:.1f} to {ev.high:.1f}), {in_words(answer.metered_by).long}",
        f"Filter   {f.likely:.1f} stops ({f.low:.1f} to {f.high:.1f}) for middle grey:",
    ]
    lines += [
        f"         {part.likely:+5.1f}  {PART_WORDS.get(name, name)}"
        for name, part in answer.factor_parts.items()
        if abs(part.likely) >= 0.05
    ]
    told = long_words if why else short_words
    lines.append(f"Tones    {told([answer.placement])[0]}")
    best = answer.recommended
    if asked is not None:
        lines += ["", f"Asked    {in_words(asked).long}"]
    if best is not None:
        lines += ["", f"Take     ISO {best.iso:g}   f/{best.f_number:g}   {best.shutter_text}"]
        low, high = shutter_text(best.shutter_s.low), shutter_text(best.shutter_s.high)
        if low != high:
            lines.append(f"         could be {low} to {high}; a test exposure tells")
    lines += [f"         - {reason}" for reason in told(answer.reasons)]
    if answer.test_exposures:
        lines += ["", "Test first", *(f"         {text}" for text in long_words(answer.test_exposures))]
        lines.append(
            f"         keep it: irpreview calibrate --ev {ev.likely:.1f} --filtered SETTING"
            + (f" --placed {answer.placement.stops:.1f}" if abs(answer.placement.stops) >= 0.05 else "")
            + " --save FILE, then --kit FILE"
        )
    for head, said in (("Cost", cost_lines(answer.frame_cost)), ("Focus", focus_lines(answer.focus))):
        lines += ["", head, *(f"         {words.long if why else words.short}" for words in said)]
    lines += ["", *_by_time(answer)]
    if answer.cautions:
        lines += ["", *(f"! {text}" for text in told(answer.cautions))]
    return "\n".join(lines)


WANTED_S = (1 / 60, 1 / 15, 1 / 4, 1.0, 4.0, 15.0, 30.0, 60.0, 120.0, 240.0, 480.0, 960.0)


def _by_time(answer: Exposure) -> list[str]:
    """For every useful time the setting that asks one to put up with least (all of them are in --json)."""
    lines = ["Other exposures"]
    for wanted in WANTED_S:
        near = [s for s in answer.settings if abs(math.log2(s.shutter_s.likely / wanted)) < 0.3]
        if not near:
            continue
        s = min(near, key=lambda s: (len(s.limits), -min(s.snr or 0.0, 40.0), abs(math.log2(s.f_number / 9.0))))
        limits = "; ".join(in_words(limit).short for limit in s.limits) if s.limits else "fine"
        lines.append(f"         {s.shutter_text:<11} ISO {s.iso:<6g} f/{s.f_number:<5g} {limits}")
    return lines
