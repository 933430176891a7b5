"""`irpreview log`: the frames brought home, what they teach, and a frame checked against its prediction."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from irpreview.cli.common import (
    AtOption,
    EvOption,
    FocalOption,
    JsonOption,
    KitOption,
    LensOption,
    LogOption,
    MeterOption,
    WhenOption,
    ZoneOption,
    emit_json,
    fail_usage,
    say,
    within,
)
from irpreview.cli.log_home import register_home
from irpreview.cli.log_lessons import register_lessons
from irpreview.cli.log_lines import entry_facts, line_of
from irpreview.core.exposure.metering import from_ev, from_meter, parse_exposure
from irpreview.core.field_log.entries import SearchWish, kit_key
from irpreview.core.light.light_plan import parse_moment, parse_place
from irpreview.core.units import how_many
from irpreview.io.field_log import FieldLog
from irpreview.io.field_notes import bring as bring_notes
from irpreview.io.kits import load_kit
from irpreview.io.log_entry_files import entry_from_files
from irpreview.io.log_exchange import export_log, import_log
from irpreview.records import Place

if TYPE_CHECKING:
    from irpreview.core.field_log.entries import LogEntry
    from irpreview.records import Kit

NumberArgument = Annotated[
    int,
    typer.Argument(
        metavar="NUMBER", **within(1, 10**12, whole=True), help="Number of the frame, as `log list` shows it."
    ),
]
FrameOption = Annotated[
    Path | None,
    typer.Option("--frame", metavar="FILE", help="The infrared frame: its exposure data and brightness are read."),
]
SnapOption = Annotated[
    Path | None,
    typer.Option("--snap", metavar="FILE", help="The daylight snap: metered light, time and place are read."),
]
TakenOption = Annotated[
    str | None, typer.Option("--taken", metavar="EXPOSURE", help='What was taken, such as "30s f/8 ISO 200".')
]
PlannedOption = Annotated[
    str | None, typer.Option("--planned", metavar="EXPOSURE", help="What was planned, written the same way.")
]
CameOutOption = Annotated[
    float | None,
    typer.Option(
        "--came-out",
        metavar="STOPS",
        **within(-20.0, 20.0, "stops"),
        help="How much brighter (+) or darker (-) than middle grey it came out.",
    ),
]
OutcomeOption = Annotated[
    str | None,
    typer.Option(
        "--outcome",
        metavar="WORD",
        help="good, thin (too dark), dense (too bright), clipped (blown out), blocked (black), failed (teaches "
        "nothing) or unknown; all but the last two teach without a number too.",
    ),
]
SubjectOption = Annotated[
    str | None, typer.Option("--subject", metavar="CLASS", help="What was judged, such as tree; left out = grey.")
]
ShadeOption = Annotated[
    bool | None, typer.Option("--shade/--sun", help="Whether the subject lay in open shade.", show_default=False)
]
SunHeightOption = Annotated[
    float | None,
    typer.Option("--sun-height", metavar="DEG", **within(-90, 90), help="Height of the sun; else from place and time."),
]
PlaceOption = Annotated[str | None, typer.Option("--place", metavar="NAME", help="Name of the place.")]
NotesOption = Annotated[str | None, typer.Option("--notes", metavar="TEXT", help="Anything else.")]
SinceOption = Annotated[str | None, typer.Option("--since", metavar="DATE", help="From this day on, 2026-05-01.")]
UntilOption = Annotated[str | None, typer.Option("--until", metavar="DATE", help="Up to this day.")]
KitNameOption = Annotated[str | None, typer.Option("--kit", metavar="NAME", help="Only frames of this kit.")]
FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="A JSON or CSV file; the ending tells which.")]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    group = typer.Typer(
        no_args_is_help=True,
        rich_markup_mode=None,
        help="The field log: frames brought home, and what they teach about filter, camera and lens.",
    )
    app.add_typer(group, name="log")
    _register_writing(group)
    _register_reading(group)
    _register_files(group)
    register_home(group)
    register_lessons(group)


def _register_writing(group: typer.Typer) -> None:
    @group.command("add")
    def add(
        kit: KitOption = None,
        frame: FrameOption = None,
        snap: SnapOption = None,
        taken: TakenOption = None,
        planned: PlannedOption = None,
        meter: MeterOption = None,
        ev: EvOption = None,
        came_out: CameOutOption = None,
        outcome: OutcomeOption = None,
        subject: SubjectOption = None,
        shade: ShadeOption = None,
        sun_height: SunHeightOption = None,
        place: PlaceOption = None,
        at: AtOption = None,
        when: WhenOption = None,
        zone: ZoneOption = None,
        focal: FocalOption = None,
        lens: LensOption = None,
        notes: NotesOption = None,
        log: LogOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Put a frame in, from its file or as typed."""
        given = locals()

        chosen = _kit(kit)
        typed = _typed(given)
        if frame is None and not {"iso", "f_number", "shutter_s", "planned_shutter_s"} & typed.keys():
            raise fail_usage(
                'say what was taken: --frame FILE, or --taken "30s f/8 ISO 200"; or --planned before it is'
            )
        if chosen.lens is not None:
            typed.setdefault("lens", chosen.lens)
        entry = entry_from_files(chosen.name, kit_key(chosen), frame, snap, typed, zone)
        with FieldLog(log) as book:
            number = book.add(entry)
            entry = book.entry(number)
        _show(entry, as_json)
        _say_what_lacks(entry)

    @group.command("edit")
    def edit(
        number: NumberArgument,
        taken: TakenOption = None,
        planned: PlannedOption = None,
        meter: MeterOption = None,
        ev: EvOption = None,
        came_out: CameOutOption = None,
        outcome: OutcomeOption = None,
        subject: SubjectOption = None,
        shade: ShadeOption = None,
        sun_height: SunHeightOption = None,
        place: PlaceOption = None,
        at: AtOption = None,
        when: WhenOption = None,
        zone: ZoneOption = None,
        focal: FocalOption = None,
        lens: LensOption = None,
        notes: NotesOption = None,
        log: LogOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Change a frame; what is not named stays."""
        given = locals()

        typed = _typed(given)
        if not typed:
            raise fail_usage("say what to change, such as --came-out -0.7")
        with FieldLog(log) as book:
            entry = book.edit(number, **typed)
        _show(entry, as_json)
        _say_what_lacks(entry)

    @group.command("remove")
    def remove(
        numbers: Annotated[
            list[int],
            typer.Argument(metavar="NUMBER...", **within(1, 10**12, whole=True), help="Numbers of the frames."),
        ],
        log: LogOption = None,
    ) -> None:
        """Take frames out; `log undo` brings them back."""
        with FieldLog(log) as book:
            book.remove(*numbers)
        say(f"removed {', '.join(map(str, numbers))}; `irpreview log undo` brings it back")

    @group.command("undo")
    def undo(log: LogOption = None) -> None:
        """Take back the last change."""
        with FieldLog(log) as book:
            say(f"taken back: {book.undo()}")


def _register_reading(group: typer.Typer) -> None:
    @group.command("list")
    def list_(
        most: Annotated[
            int, typer.Option("--most", metavar="N", **within(1, 10**6, whole=True), help="At most so many.")
        ] = 50,
        log: LogOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """The newest frames."""
        _print_found(log, SearchWish(most=most), as_json)

    @group.command("show")
    def show(number: NumberArgument, log: LogOption = None, as_json: JsonOption = False) -> None:
        """One frame with everything that is known of it."""
        with FieldLog(log, read_only=True) as book:
            entry = book.entry(number)
        _show(entry, as_json, whole=True)

    @group.command("search")
    def search(
        place: PlaceOption = None,
        near: Annotated[str | None, typer.Option("--near", metavar="LAT,LON", help="Near this point.")] = None,
        within: Annotated[
            float, typer.Option("--within", metavar="KM", **within(0.01, 20100), help="So near, km.")
        ] = 5.0,
        since: SinceOption = None,
        until: UntilOption = None,
        kit: KitNameOption = None,
        text: Annotated[str | None, typer.Option("--text", metavar="TEXT", help="Part of the notes.")] = None,
        log: LogOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Frames by place, date, kit or notes."""
        wish = SearchWish(
            place=place,
            near=parse_place(near) if near else None,
            within_km=within,
            since=_day(since),
            until=_day(until),
            kit_name=kit,
            text=text,
        )
        _print_found(log, wish, as_json)


def _register_files(group: typer.Typer) -> None:
    @group.command("export")
    def export(
        path: FileArgument,
        locations: Annotated[
            bool, typer.Option("--locations", help="With places, folders and times of day, which are left out else.")
        ] = False,
        since: SinceOption = None,
        until: UntilOption = None,
        kit: KitNameOption = None,
        log: LogOption = None,
    ) -> None:
        """Write frames as JSON or CSV, without where they were taken unless asked."""
        wish = SearchWish(since=_day(since), until=_day(until), kit_name=kit, newest_first=False)
        with FieldLog(log, read_only=True) as book:
            count = export_log(book, path, wish, locations=locations)
        left = "with places" if locations else "places and times of day left out; notes are as you wrote them"
        say(f"{how_many(count, 'frame')} in {path} ({left})")

    @group.command("import")
    def import_(path: FileArgument, log: LogOption = None) -> None:
        """Add the frames of an exported file, all or none."""
        with FieldLog(log) as book:
            added, known = import_log(book, path)
        say(f"{how_many(added, 'frame')} added, {known} were there already")

    @group.command("bring")
    def bring(
        path: Annotated[Path, typer.Argument(metavar="FILE", help="The JSON file that a field page handed back.")],
        log: LogOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Take in what was tapped and written on a field page, each note once; `log undo` takes all of it back."""
        with FieldLog(log) as book:
            new, known = bring_notes(book, path)
            brought = {one.uid for one in new}
            entries = [one for one in book.search() if one.uid in brought]
        for entry in sorted(entries, key=lambda one: one.id):
            _show(entry, as_json)
        say(f"{how_many(len(new), 'note')} added, {known} were there already")

    @group.command("backup")
    def backup(
        path: Annotated[Path, typer.Argument(metavar="FILE|FOLDER", help="Where the copy goes.")],
        log: LogOption = None,
    ) -> None:
        """Copy the whole log, places and all, into one file."""
        with FieldLog(log, read_only=True) as book:
            target = book.backup(path)
            say(f"{how_many(len(book), 'frame')} in {target}")


# --- what was typed -------------------------------------------------------------------------------------------------


_AS_TYPED = {
    "came_out": "came_out_stops",
    "outcome": "outcome",
    "shade": "in_shade",
    "sun_height": "sun_height_deg",
    "place": "place_name",
    "focal": "focal_mm",
    "lens": "lens",
    "notes": "notes",
}
"""Options of `add` and `edit` that go into the log as they were typed, and the field of LogEntry they go to."""


def _typed(given: Mapping[str, Any]) -> dict[str, Any]:
    """The fields of a log entry that were typed. given: the options of `add` or `edit` by their names here."""
    if given["meter"] is not None and given["ev"] is not None:
        raise fail_usage("give --meter or --ev, not both")
    out: dict[str, Any] = {field: given[name] for name, field in _AS_TYPED.items() if given[name] is not None}
    for name, prefix in (("taken", ""), ("planned", "planned_")):
        if given[name] is not None:
            typed = parse_exposure(given[name])
            parts = {field: getattr(typed, field) for field in ("iso", "f_number", "shutter_s")}
            out |= {prefix + field: value for field, value in parts.items() if value is not None}
    if given["meter"] is not None:
        out["metered_ev100"] = from_meter(parse_exposure(given["meter"])).ev100.likely
    if given["ev"] is not None:
        out["metered_ev100"] = from_ev(given["ev"]).ev100.likely
    if given["at"] is not None:
        out["place"] = parse_place(given["at"])
    if given["when"] is not None:
        out |= _moment(given["when"], given["zone"], out.get("place"))
    if given["subject"] is not None:
        out["subject"] = None if given["subject"] == "grey" else given["subject"]
    return out


def _moment(when: str, zone: str | None, place: Place | None) -> dict[str, datetime | date | None]:
    """A day alone, or a moment; without zone and place the moment's day alone is kept."""
    if len(when.strip()) == 10:
        return {"taken_on": _day(when), "taken_at": None}
    if zone is None and place is None:
        try:
            moment = datetime.fromisoformat(when.strip())
        except ValueError:
            raise fail_usage(f"time {when!r} was not understood; write it like 2026-06-21T10:30") from None
        if moment.tzinfo is None:
            say("the time has no zone (--zone) and no place (--at): only its day is kept")
            return {"taken_on": moment.date(), "taken_at": None}
        return {"taken_at": moment}
    return {"taken_at": parse_moment(when, zone, place or Place(0.0, 0.0))}


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise fail_usage(f"date {text!r} was not understood; write it like 2026-06-21") from None


def _kit(name: str | None) -> Kit:
    return load_kit(name if name is not None else "unmodified-720")


# --- what is shown --------------------------------------------------------------------------------------------------


def _print_found(log: Path | None, wish: SearchWish, as_json: bool) -> None:
    with FieldLog(log, read_only=True) as book:
        found = book.search(wish)
    for entry in found:
        _show(entry, as_json)
    if not found and not as_json:
        say("no frame in the log answers this")


def _show(entry: LogEntry, as_json: bool, whole: bool = False) -> None:
    if as_json:
        emit_json(entry_facts(entry))
        return
    print(line_of(entry))
    if whole:
        for name, value in entry_facts(entry).items():
            if value not in (None, "") and name not in ("schema", "kind", "uid", "kit_key"):
                print(f"  {name:<20} {value}")


def _say_what_lacks(entry: LogEntry) -> None:
    """So that nobody fills a log for a season and learns nothing from it."""
    if entry.lacks:
        say(f"frame {entry.id} teaches nothing yet, it lacks: {', '.join(entry.lacks)} (`log edit {entry.id}` adds it)")
