"""`irpreview log learn`, `compare`, `hot-spot` and `use`: what the frames teach."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from irpreview.analysis import analyse
from irpreview.answers.field_log import comparison_answer, hot_spot_answer, learned_answer
from irpreview.cli.common import (
    JsonOption,
    KitOption,
    LensOption,
    LogOption,
    OutOption,
    ZoneOption,
    emit_json,
    fail_usage,
    say,
    within,
)
from irpreview.core.field_log.comparison import check_correction, personal_correction
from irpreview.core.field_log.difference_picture import with_scale
from irpreview.core.field_log.entries import SpotRecord
from irpreview.core.field_log.hot_spot import measure_hot_spot
from irpreview.core.units import how_many
from irpreview.core.words.field_log_words import check_words, comparison_words, hot_spot_words, learned_words
from irpreview.io.field_log import FieldLog
from irpreview.io.kits import load_kit
from irpreview.io.log_entry_files import focal_and_aperture, spot_frame
from irpreview.io.log_exchange import learned_from
from irpreview.io.photos import load_photo
from irpreview.io.pictures import make_folder, write_jpeg
from irpreview.log_frames import compare_frame
from irpreview.records import CLASS_WORDS
from irpreview.request import Request


def register_lessons(group: typer.Typer) -> None:
    """Add the commands that learn to `irpreview log`."""
    _register_learn(group)
    _register_compare(group)
    _register_hot_spot(group)


def _register_learn(group: typer.Typer) -> None:
    @group.command("learn")
    def learn(kit: KitOption = None, log: LogOption = None, as_json: JsonOption = False) -> None:
        """The filter factor of a kit by its frames, and what they say of shade, low sun and subjects."""
        chosen = load_kit(kit or "unmodified-720")
        with FieldLog(log, read_only=True) as book:
            learned = learned_from(chosen, book)
            differences = book.differences(chosen.name)
            own, check = personal_correction(differences), check_correction(differences)
            uses = book.uses(chosen.name)
        if as_json:
            emit_json(learned_answer(learned, chosen.name, own, check, uses).as_json())
            return
        for sentence in learned_words(chosen.name, learned):
            print(sentence)
        if own:
            print("how the classes came out against the prediction, as the personal correction:")
        for name, c in own.items():
            s, frames = c.stops, how_many(c.pairs, "frame")
            print(f"{CLASS_WORDS[name]}: {s.likely:+.2f} stops ({s.low:+.2f} to {s.high:+.2f}) by {frames}")
        if check is not None:
            print(check_words(check))
        if learned.frames and not uses[0]:
            print("the learned factor is switched off (`irpreview log use --learned` switches it on)")
        if own:
            state, option = ("on", "--no-correction") if uses[1] else ("off", "--correction")
            print(f"the personal correction is {state} (`irpreview log use {option}` changes that)")

    @group.command("use")
    def use(
        kit: KitOption = None,
        learned: Annotated[
            bool | None, typer.Option("--learned/--no-learned", help="Use the learned factor.", show_default=False)
        ] = None,
        correction: Annotated[
            bool | None,
            typer.Option("--correction/--no-correction", help="Use the personal correction.", show_default=False),
        ] = None,
        log: LogOption = None,
    ) -> None:
        """Switch on or off what the log has taught about a kit."""
        if learned is None and correction is None:
            raise fail_usage("say what: --learned, --no-learned, --correction or --no-correction")
        name = load_kit(kit or "unmodified-720").name
        with FieldLog(log) as book:
            book.use(name, learned=learned, correction=correction)
            now = book.uses(name)
        say(f"{name}: learned factor {'on' if now[0] else 'off'}, personal correction {'on' if now[1] else 'off'}")


def _register_compare(group: typer.Typer) -> None:
    @group.command("compare")
    def compare(
        snap: Annotated[Path, typer.Argument(metavar="SNAP", help="The daylight snap.")],
        frame: Annotated[Path, typer.Argument(metavar="FRAME", help="The infrared frame of the same scene.")],
        kit: KitOption = None,
        zone: ZoneOption = None,
        out: OutOption = Path("."),
        keep: Annotated[bool, typer.Option("--keep", help="Keep it in the log, for the personal correction.")] = False,
        log: LogOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Check the prediction against the frame that was taken."""
        chosen = load_kit(kit or "unmodified-720")
        result, differences = compare_frame(analyse(load_photo(snap, zone=zone), Request(kit=chosen)), frame)
        picture = write_jpeg(make_folder(out) / f"{frame.stem}-difference.jpg", with_scale(result.picture))
        if keep:
            with FieldLog(log) as book:
                book.keep_differences(differences)
        if as_json:
            emit_json(comparison_answer(result, snap, frame, picture, chosen.name).as_json())
            return
        for sentence in comparison_words(result):
            print(sentence)
        say(f"difference picture: {picture}" + ("; kept in the log" if keep else ""))


def _register_hot_spot(group: typer.Typer) -> None:
    @group.command("hot-spot")
    def hot_spot(
        frames: Annotated[
            list[Path] | None,
            typer.Argument(metavar="FRAME...", help="Frames of one even subject, one lens, focal length and aperture."),
        ] = None,
        lens: LensOption = None,
        focal: Annotated[
            float | None, typer.Option("--focal", metavar="MM", **within(8.0, 2000.0, "mm"), help="Focal length, mm.")
        ] = None,
        aperture: Annotated[
            float | None, typer.Option("--aperture", metavar="N", **within(0.5, 256.0), help="f-number.")
        ] = None,
        kit: KitOption = None,
        keep: Annotated[bool, typer.Option("--keep", help="Put it in the lens table of the log.")] = False,
        log: LogOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Measure a bright spot in the middle of even frames; without frames, show the lens table."""
        chosen = load_kit(kit or "unmodified-720")
        kit_name = chosen.name
        lens = lens or chosen.lens or "my lens"
        if not frames:
            with FieldLog(log, read_only=True) as book:
                for spot in book.hot_spots(kit_name):
                    _show_spot(spot, as_json)
            return
        focal_mm, f_number = focal_and_aperture(frames[0], focal, aperture)
        found = measure_hot_spot([spot_frame(path) for path in frames])
        spot = SpotRecord(kit_name, lens, focal_mm, f_number, found.strength_stops, found.radius_share, found.frames)
        if keep:
            with FieldLog(log) as book:
                book.keep_hot_spot(spot)
        if as_json:
            emit_json(hot_spot_answer(spot, found).as_json())
            return
        for sentence in hot_spot_words(found):
            print(sentence)
        if keep:
            avoided = "exposures with this lens avoid it" if found.shows else "exposures need not avoid it"
            say(f"kept: {lens}, {focal_mm:g} mm, f/{f_number:g}; {avoided}")


def _show_spot(spot: SpotRecord, as_json: bool) -> None:
    if as_json:
        emit_json(hot_spot_answer(spot).as_json())
        return
    strength = spot.strength_stops
    if strength.low <= 0.0:
        least = max(strength.high, 0.02)
        print(f"{spot.lens:<20} {spot.focal_mm:>5g} mm  f/{spot.f_number:<5g} none above {least:.2f} stop")
        return
    print(
        f"{spot.lens:<20} {spot.focal_mm:>5g} mm  f/{spot.f_number:<5g} {strength.likely:.2f} stop "
        f"({strength.low:.2f} to {strength.high:.2f}), radius {spot.radius_share:.0%} of half the diagonal"
    )
