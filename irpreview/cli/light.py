"""`irpreview light`: when the light is right at a place, for a date and a view direction."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from irpreview.answers.light import light_answer
from irpreview.cli.common import HazeOption, HeadingOption, JsonOption, KitOption, ZoneOption, emit_json, say, within
from irpreview.core.light.light_plan import parse_date, parse_place, plan_light
from irpreview.core.words import in_words, long_words, short_words
from irpreview.core.words.light_words import SIDE_WORDS
from irpreview.io.kits import load_kit
from irpreview.io.plots import draw_light_plan
from irpreview.io.tables import load_tables

if TYPE_CHECKING:
    from irpreview.core.light.light_plan import LightPlan

AtOption = Annotated[str, typer.Option("--at", metavar="LAT,LON", help="Place in degrees; west and south negative.")]
DateOption = Annotated[str, typer.Option("--date", metavar="DATE", help="Day as YYYY-MM-DD.")]
DaysOption = Annotated[
    int, typer.Option("--days", metavar="N", **within(1, 366, whole=True), help="Look at N days from the date on.")
]
FocalOption = Annotated[
    float | None,
    typer.Option(
        "--focal", metavar="MM", **within(8.0, 2000.0, "mm"), help="35 mm equivalent, to warn of the sun in the frame."
    ),
]
PlotOption = Annotated[Path | None, typer.Option("--plot", metavar="FILE", help="Draw the hours to a PNG, PDF or SVG.")]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("light")
    def light(
        at: AtOption,
        date: DateOption,
        heading: HeadingOption = None,
        zone: ZoneOption = None,
        days: DaysOption = 1,
        kit: KitOption = None,
        haze: HazeOption = "normal",
        focal: FocalOption = None,
        plot: PlotOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """When the light is right: sun, hard or soft light and view direction, every quarter hour."""
        chosen = load_kit(kit) if kit is not None else load_kit("unmodified-720")
        plan = plan_light(
            parse_place(at),
            parse_date(date),
            zone,
            chosen,
            load_tables(),
            heading_deg=heading,
            days=days,
            haze=haze,
            focal_35mm_mm=focal,
        )
        if plot is not None:
            draw_light_plan(plan, plot)
        if as_json:
            emit_json(light_answer(plan, chosen.name, None if plot is None else str(plot)).as_json())
            return
        print(report(plan))
        for doubt in short_words(plan.doubts):
            say(f"doubt: {doubt}")
        if plot is not None:
            say(f"drawn to {plot}")


def report(plan: LightPlan) -> str:
    """The plan as a short text: the first day's hours, then the best times."""
    first = plan.days[0]
    place = f"{plan.place.latitude_deg:g}, {plan.place.longitude_deg:g}"
    lines = [f"{first.day:%Y-%m-%d} at {place}, times {plan.zone_words}: {in_words(first).long}", ""]
    lines.append("time   height  bearing  light   sun:shade  expose longer  sun")
    for q in first.quarters:
        if q.sun_height_deg > 0.0 and q.time.minute in (0, 30):
            frame = ", in the frame" if q.sun_in_frame else ""
            longer = "" if q.longer_stops is None else f"{q.longer_stops:+.1f}"
            lines.append(
                f"{q.time:%H:%M} {q.sun_height_deg:7.0f} {q.sun_bearing_deg:8.0f} {q.hardness:>6} "
                f"{f'{q.sunlit_to_shade:.0f}:1':>10} {longer:>14}  {SIDE_WORDS[q.sun_side]}{frame}"
            )
    if plan.best:
        several = len(plan.days) > 1
        lines += [
            "",
            "Best",
            *(f"  {w.start:%a %d %b}  {in_words(w).long}" if several else f"  {in_words(w).long}" for w in plan.best),
        ]
    if len(plan.days) > 1:
        lines += ["", "Days"]
        for d in sorted(plan.days, key=lambda d: (-d.score, d.day))[:7]:
            lines.append(f"  {d.day:%a %d %b}  {d.score:4.1f} h of good light; {in_words(d).long}")
    if plan.cautions:
        lines += ["", *(f"! {text}" for text in long_words(plan.cautions))]
    return "\n".join(lines)
