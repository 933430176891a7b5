"""The log's part of the page, without its framework or a browser."""

import json
import shutil
from datetime import date

import cv2
import numpy as np
import pytest
from PIL import Image

from irpreview.core.field_log.entries import LogEntry
from irpreview.io.field_log import FieldLog
from irpreview.io.photos import load_photo
from irpreview.records import Place
from irpreview.single_answers import map_scene, render
from irpreview.web import log_facts
from irpreview.web.handlers import Desk
from irpreview.web.keeping import Keeping
from irpreview.web.log_desk import LogDesk, typed_fields
from irpreview.web.responses import Shown
from tests.shells.page_desk import analysis, changed, give, words


def make_frame(snap, path):
    """An infrared frame of the snap's scene: the prediction turned by two degrees, larger by 6 %, trees darker."""
    photo = load_photo(snap, max_side=800)
    scene = map_scene(photo)
    tones = render(photo, scene).tones * np.where(scene.label == 4, 0.5, 1.0)
    tall, wide = tones.shape
    turned = cv2.warpAffine(
        tones.astype(np.float32),
        cv2.getRotationMatrix2D((wide / 2, tall / 2), 2.0, 1.06),
        (wide, tall),
        borderMode=cv2.BORDER_REFLECT,
    )
    encoded = np.where(turned <= 0.0031308, 12.92 * turned, 1.055 * np.maximum(turned, 1e-6) ** (1 / 2.4) - 0.055)
    Image.fromarray((255 * encoded.clip(0, 1)).astype(np.uint8)).save(path)
    return path


@pytest.fixture(scope="module")
def frame(tmp_path_factory, small):
    return make_frame(small, tmp_path_factory.mktemp("frames") / "frame.png")


@pytest.fixture
def desk(tmp_path):
    (tmp_path / "page").mkdir()
    return Desk(tmp_path / "page", keeping=Keeping(tmp_path / "kept"))


def news(shown):
    """The log's line of news."""
    return shown.values["log_news"]


@pytest.fixture
def log(desk, tmp_path):
    return LogDesk(desk, tmp_path / "log" / "log.sqlite")


@pytest.fixture
def token(desk):
    return desk.sessions.open(owner=True)


def brought(desk, path):
    """A file as if the browser had sent it; its number."""
    folder = desk.uploads.inbox / f"frame{len(list(desk.uploads.inbox.iterdir()))}"
    folder.mkdir()
    shutil.copy(path, folder / path.name)
    return desk.uploads._keep(folder / path.name, path.stat().st_size)


def test_a_plan_is_written_down_and_the_frame_noted_beside_it(desk, log, token, small):
    give(desk, token, small)
    shown = log.plan(token, {"place_name": "Old tower", "notes": "from the path"})
    assert "Written down as number 1" in news(shown)["text"]
    assert "Note what was taken" in words(shown.parts["log-entries"])
    best, photo = analysis(desk, token).exposure.recommended, analysis(desk, token).photo
    with FieldLog(log.file) as book:
        plan = book.entry(1)
    assert (plan.planned_iso, plan.planned_f_number) == (best.iso, best.f_number)
    assert plan.planned_shutter_s == pytest.approx(best.shutter_s.likely)
    assert plan.place == photo.place
    assert plan.day == photo.taken_at.date()
    assert plan.metered_ev100 is not None
    assert plan.frame_ev100 is None
    noted = log.note(token, {"number": 1, "fields": {"taken": "ISO 200 f/8 60s", "outcome": "good"}})
    assert "Changed: number 1" in news(noted)["text"]
    assert news(noted)["noted"]
    with FieldLog(log.file) as book:
        entry = book.entry(1)
    assert (entry.iso, entry.f_number, entry.shutter_s, entry.outcome) == (200, 8, 60, "good")
    assert entry.notes == "from the path"
    assert entry.planned_iso == best.iso
    assert entry.raw_factor_stops is not None
    assert "from 1 frame" in words(noted.parts["log-learned"]) or "1 frame of the field log" in words(
        noted.parts["log-learned"]
    )


def test_a_frames_file_says_its_exposure(desk, log, token, tmp_path):
    path = tmp_path / "frame.jpg"
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0x829A: 30.0, 0x829D: 8.0, 0x8827: 400, 0x9003: "2026:06:21 11:30:00"})
    Image.fromarray(np.full((200, 300, 3), 118, np.uint8)).save(path, exif=exif)
    shown = log.note(token, {"given": brought(desk, path), "fields": {"notes": "ferns"}})
    assert "Put in the log: number 1" in news(shown)["text"]
    with FieldLog(log.file) as book:
        entry = book.entry(1)
    assert (entry.iso, entry.f_number, entry.shutter_s) == (400, 8, 30)
    assert entry.frame_path == "frame.jpg"
    assert entry.day is not None
    assert entry.came_out_stops is not None
    assert entry.day.isoformat() == "2026-06-21"
    assert abs(entry.came_out_stops) < 0.2  # 118 of 255 is middle grey, 18 % (sRGB, IEC 61966-2-1)
    assert not [path for path in desk.uploads.inbox.rglob("*") if path.is_file()]


def test_typed_goes_before_what_the_file_says(desk, log, token, small):
    give(desk, token, small)
    log.note(token, {"given": brought(desk, small), "at_snap": True, "fields": {"taken": "2 min", "outcome": "thin"}})
    with FieldLog(log.file) as book:
        entry = book.entry(1)
    assert entry.shutter_s == 120
    assert entry.outcome == "thin"
    assert entry.snap_path == "tower.jpg"


def test_a_frame_without_any_exposure_is_a_sentence(log, token):
    shown = log.note(token, {"fields": {"notes": "?"}})
    assert "what was taken" in news(shown)["text"]
    assert news(shown)["sorry"]
    assert not log.file.exists() or len(FieldLog(log.file)) == 0


def test_entries_are_changed_taken_out_and_brought_back(log, token):
    log.note(token, {"fields": {"taken": "30s f/8 ISO 200", "place_name": "Mill", "in_shade": True}})
    log.note(token, {"number": 1, "fields": {"place_name": "Old mill", "in_shade": False, "came_out_stops": "-0,7"}})
    with FieldLog(log.file) as book:
        entry = book.entry(1)
    assert (entry.place_name, entry.in_shade, entry.came_out_stops, entry.shutter_s) == ("Old mill", False, -0.7, 30)
    assert "The log is empty" in words(log.remove(token, {"number": 1}).parts["log-entries"])
    assert "Old mill" in words(log.undo(token).parts["log-entries"])
    assert "0.7 stops darker" in words(log.open(token).parts["log-entries"])


def test_entries_are_looked_up_by_place_notes_and_day(log, token):
    with FieldLog(log.file) as book:
        for day, place, notes in ((1, "Mill", "ferns"), (2, "Quarry", "the mill wheel"), (3, "Quarry", "")):
            book.add(LogEntry("unmodified-720", taken_on=date(2026, 6, day), place_name=place, notes=notes))
    found = words(log.search(token, {"words": "mill"}).parts["log-entries"])
    assert "2 of 3 entries answer" in found
    assert "Quarry" in found
    assert "1 of 3" in words(log.search(token, {"since": "2026-06-03"}).parts["log-entries"])
    assert "None of the 3" in words(log.search(token, {"words": "sea"}).parts["log-entries"])
    assert "3 in the log" in words(log.search(token, {}).parts["log-entries"])
    assert "cannot be read" in news(log.search(token, {"since": "yesterday"}))["text"]


def test_of_a_long_log_the_newest_are_shown(log, token):
    with FieldLog(log.file) as book:
        book.add_all([LogEntry("unmodified-720", notes=f"frame {number}") for number in range(40)])
    said = words(log.open(token).parts["log-entries"])
    assert "40 in the log. The newest 30 are shown." in said
    assert "frame 39" in said
    assert "frame 0 " not in said + " "


def test_a_frame_is_compared_and_teaches_the_kit(desk, log, token, small, frame):
    give(desk, token, small)
    first, last = log.compare(token, {"given": brought(desk, frame)})
    assert "some seconds" in news(first)["text"]
    said = words(last.parts["log-compared"])
    assert "darker than predicted" in said
    assert "turned" in said
    assert "trees" in said.lower()
    kept = log.keep(token)
    assert "trees" in words(kept.parts["log-learned"]).lower()
    assert "Fewer than three pairs" in words(kept.parts["log-learned"])
    with FieldLog(log.file) as book:
        trees = [one for one in book.differences("unmodified-720") if one.class_name == "tree"]
    assert trees[0].difference_stops < -0.3  # drawn half as bright: one stop darker


def test_what_was_learned_is_used_and_switched_off(desk, log, token, small):
    give(desk, token, small)
    before = analysis(desk, token).exposure.factor_stops.likely
    metered = analysis(desk, token).exposure.metered_ev100.likely
    with FieldLog(log.file) as book:
        for _ in range(8):  # two stops more than the physics says
            ev100 = metered - before - 2.0
            seconds = 64.0 / 2.0**ev100
            book.add(LogEntry("unmodified-720", iso=100, f_number=8, shutter_s=seconds, metered_ev100=metered,
                              outcome="good", sun_height_deg=45.0))  # fmt: skip
    *_, last = log.use(token, {"what": "learned", "on": True})
    assert last.parts["answer"]
    after = analysis(desk, token).exposure.factor_stops.likely
    assert after - before == pytest.approx(2.0, abs=0.7)
    *_, last = log.use(token, {"what": "learned", "on": False})
    assert analysis(desk, token).exposure.factor_stops.likely == pytest.approx(before, abs=0.01)
    # A factor typed by hand goes before what was learned.
    list(log.use(token, {"what": "learned", "on": True}))
    desk.enter(token, {"factor_stops": "14"})
    assert analysis(desk, token).exposure.factor_stops.likely == pytest.approx(14, abs=0.6)


def test_a_guest_sees_and_changes_nothing_of_the_log(desk, log, small, frame):
    with FieldLog(log.file) as book:
        book.add(LogEntry("unmodified-720", place_name="Secret mill", place=Place(51.0, 7.0), notes="ferns"))
        uses = book.uses("unmodified-720")
    guest = desk.sessions.open()
    give(desk, guest, small)
    answers = [
        log.open(guest),
        log.plan(guest, {}),
        log.note(guest, {"fields": {"taken": "30s f/8 ISO 200"}}),
        log.note(guest, {"number": 1, "fields": {"notes": "x"}}),
        log.remove(guest, {"number": 1}),
        log.undo(guest),
        log.search(guest, {"words": "mill"}),
        log.keep(guest),
        log.follow_kit(guest),
        *log.use(guest, {"what": "learned", "on": False}),
        *log.use(guest, {"what": "correction", "on": True}),
        *log.compare(guest, {"given": brought(desk, frame)}),
    ]
    said = " ".join(json.dumps(one.as_dict()) for one in answers)
    assert "mill" not in said
    assert "ferns" not in said
    assert "only there" in said
    with FieldLog(log.file) as book:
        assert len(book) == 1
        assert book.entry(1).notes == "ferns"
        assert book.uses("unmodified-720") == uses


def test_a_guests_pictures_know_nothing_of_the_log(desk, log, small):
    asked = []

    def taught(kit, _height):
        asked.append(kit)
        return kit

    desk.taught = taught
    give(desk, desk.sessions.open(), small)
    assert asked == []
    give(desk, desk.sessions.open(owner=True), small)
    assert asked


@pytest.mark.parametrize(
    "act",
    [
        lambda log, token: log.plan(token, {}),
        lambda log, token: log.remove(token, {"number": 7}),
        lambda log, token: log.remove(token, {"number": "1; drop"}),
        lambda log, token: log.note(token, {"number": 7, "fields": {"notes": "x"}}),
        lambda log, token: log.note(token, {"number": True}),
        lambda log, token: log.note(token, {"fields": {"taken": "soon"}}),
        lambda log, token: log.note(token, {"fields": "x"}),
        lambda log, token: log.note(token, {"fields": {"taken": "30s f/8 ISO 200", "came_out_stops": "99"}}),
        lambda log, token: log.keep(token),
        lambda log, token: list(log.use(token, {"what": "everything", "on": True}))[-1],
        lambda log, token: list(log.use(token, {"what": "learned", "on": "yes"}))[-1],
        lambda log, token: list(log.compare(token, {"given": "made up"}))[-1],
        lambda log, token: log.undo(token),
        lambda log, token: log.open("made-up"),
    ],
)
def test_what_makes_no_sense_is_one_sentence_and_changes_nothing(log, token, act):
    shown = act(log, token)
    assert changed(shown) == {"values"}
    assert news(shown)["sorry"]
    assert "went wrong" not in news(shown)["text"]


def test_a_damaged_log_is_a_sentence_and_the_page_goes_on(desk, log, token, small):
    log.file.parent.mkdir()
    log.file.write_bytes(b"not a log" * 100)
    assert "no field log" in news(log.open(token))["text"]
    assert give(desk, token, small)[-1].parts["answer"]
    assert analysis(desk, token).why_no_exposure is None


def test_markup_in_notes_stays_text(log, token):
    log.note(token, {"fields": {"taken": "30s f/8 ISO 200", "notes": "<img src=x>{{1}}${2}", "place_name": "\"'><b>"}})
    shown = log.open(token).parts["log-entries"]
    for bad in ("<img src=x", "<b>"):
        assert bad not in shown


def test_the_form_holds_an_entry_as_the_log_does():
    entry = LogEntry("k", iso=200, f_number=8, shutter_s=150.0, outcome="thin", subject="tree", in_shade=True)
    again = typed_fields(json.loads(json.dumps(log_facts.form_values(entry))))
    for name in ("iso", "f_number", "shutter_s", "outcome", "subject", "in_shade"):
        assert again[name] == getattr(entry, name)


def test_another_kit_shows_what_was_learned_of_it(desk, log, token):
    log.note(token, {"fields": {"taken": "30s f/8 ISO 200"}})
    assert log.follow_kit(token) == Shown()
    desk.enter(token, {"kit": "converted-850"})
    assert "850 nm" in words(log.follow_kit(token).parts["log-learned"])
