"""What the page does when something is pressed, without its framework or a browser."""

import dataclasses
import json
import re
import shutil
import threading
from pathlib import Path

import numpy as np
import pytest
from irpreview.study import SHUTTERS_S, WINDS_M_S
from PIL import Image

from irpreview import inputs, study
from irpreview.errors import BadValue
from irpreview.records import Conditions
from irpreview.request import Inputs
from irpreview.web import handlers, parts, sessions, work_queue
from irpreview.web.handlers import Desk
from irpreview.web.responses import PARTS, Shown

CHECKOUT = Path(__file__).resolve().parents[2]
SCENE = CHECKOUT / "demo_scenes" / "moor_tower" / "photo.jpg"


def words(html):
    """The text of a piece of the page."""
    return " ".join(re.sub(r"<[^>]+>", " ", html or "").split())


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The demo scene at 400 px, with its facts, so that every answer is quick."""
    path = tmp_path_factory.mktemp("small") / "tower.jpg"
    with Image.open(SCENE) as image:
        image.resize((400, 300)).save(path, exif=image.getexif())
    return path


@pytest.fixture
def desk(tmp_path):
    return Desk(tmp_path)


@pytest.fixture
def token(desk):
    return desk.sittings.open()


def give(desk, token, *paths):
    """Upload copies, as a browser would; returns all that was shown."""
    copies = []
    for number, path in enumerate(paths):
        folder = desk.folder / f"upload{number}"
        folder.mkdir(exist_ok=True)
        copies.append(shutil.copy(path, folder / Path(path).name))
    return list(desk.add(token, copies))


def test_a_snap_is_answered_in_two_steps_picture_first(desk, token, small):
    first, *_, last = give(desk, token, small)
    assert first.twin is not None
    assert first.opening is None
    whole = give(desk, desk.sittings.open(), small)[1]
    for name in ("snaps", "twin", "seen", "hold", "dials", "moving", "opening", "hours"):
        assert getattr(whole, name)
    assert "This is tower.jpg." in words(last.status)


def test_an_upload_is_deleted_once_read_and_other_files_are_left(desk, token, small):
    give(desk, token, small)
    assert not [path for path in desk.folder.rglob("*") if path.is_file()]
    list(desk.add(token, [small]))
    assert small.exists()


def test_a_bad_file_is_a_sentence_and_the_good_one_is_answered(desk, token, small, tmp_path):
    bad = tmp_path / "notes.jpg"
    bad.write_text("words")
    shown = give(desk, token, bad, small)
    assert "notes.jpg" in words(shown[-1].status)
    assert "sorry" in shown[-1].status
    assert words(shown[-1].status).count("This is tower.jpg.") == 1


def test_only_bad_files_leave_the_page_as_it_was(desk, token, tmp_path):
    bad = tmp_path / "notes.jpg"
    bad.write_text("words")
    (shown,) = give(desk, token, bad)
    assert {name for name in PARTS if getattr(shown, name) is not None} == {"status"}


def test_a_file_name_with_markup_stays_text(desk, token, small, tmp_path):
    odd = tmp_path / "<img src=x onerror=alert(1)>{{1}}${2}.jpg"
    shutil.copy(small, odd)
    for shown in give(desk, token, odd):
        for name in PARTS:
            html = getattr(shown, name)
            if isinstance(html, str) and name not in ("title", "place", "when", "heading_deg"):
                assert "<img src=x" not in html
                assert "{{" not in html
                assert "${" not in html


def test_no_coordinates_in_what_is_shown_but_in_their_field(desk, token, small):
    shown = give(desk, token, small)[1]
    latitude = shown.place.split(",")[0]
    assert float(latitude)
    for name in ("twin", "seen", "hold", "moving", "opening", "hours", "snaps"):
        assert latitude not in words(getattr(shown, name))


def test_wind_and_time_change_the_movement_only_until_they_settle(desk, token, small):
    give(desk, token, small)
    moved = desk.move(token, WINDS_M_S.index(8.0), SHUTTERS_S.index(4.0))
    assert {name for name in PARTS if getattr(moved, name) is not None} == {"moving"}
    assert "8.0 m/s" in words(moved.moving)
    assert "4 s" in words(moved.moving)
    settled = desk.settle(token, WINDS_M_S.index(8.0), SHUTTERS_S.index(4.0))
    assert settled.hold
    assert settled.opening
    assert "wind was not given" not in words(settled.opening)


def test_an_unknown_wind_is_unknown_and_never_zero(desk, token, small):
    give(desk, token, small)
    assert "the wind is not known" in words(desk.move(token, -1, 5).moving)
    with desk.sittings.at(token) as sitting:
        assert sitting.study.conditions.wind_m_s is None


def test_back_to_the_recommended_time(desk, token, small):
    give(desk, token, small)
    desk.move(token, 4, 0)
    shown = desk.settle(token, 4, -1)
    with desk.sittings.at(token) as sitting:
        best = sitting.study.exposure.recommended
        assert sitting.study.shutter_s == pytest.approx(best.shutter_s.likely, rel=0.4)
    assert shown.moving


def test_strokes_change_the_map_and_undo_brings_it_back(desk, token, small):
    give(desk, token, small)
    with desk.sittings.at(token) as sitting:
        before = sitting.study.scene.label.copy()
    stroke = {"class_name": "water", "width": 0.05, "points": [[0.3, 0.9], [0.6, 0.9]]}
    shown = desk.paint(token, [stroke], True)
    assert "Corrected" in words(shown.status)
    assert shown.opening
    with desk.sittings.at(token) as sitting:
        after = sitting.study.scene.label
        assert (after == 3).mean() > 0.01
        assert sitting.study.scene.repainted.any()
    desk.undo(token)
    with desk.sittings.at(token) as sitting:
        assert np.array_equal(sitting.study.scene.label, before)
    assert "no correction" in words(desk.undo(token).status)


def test_repainting_changes_the_tone_there(desk, token, small):
    give(desk, token, small)
    with desk.sittings.at(token) as sitting:
        before = float(np.median(sitting.study.rendering.tones[270:290, 40:120]))
    desk.paint(token, [{"class_name": "water", "width": 0.2, "points": [[0.1, 0.93], [0.3, 0.93]]}], False)
    with desk.sittings.at(token) as sitting:
        after = float(np.median(sitting.study.rendering.tones[270:290, 40:120]))
    # Water is far darker than grass in the near infrared (satellite reflectances: .02 against .27).
    assert after < before / 2


def test_an_area_is_corrected_by_its_number(desk, token, small):
    give(desk, token, small)
    shown = desk.correct_area(token, 0, "snow")
    assert "now snow" in words(shown.status)


@pytest.mark.parametrize(
    "act",
    [
        lambda desk, token: list(desk.pick(token, 7))[-1],
        lambda desk, token: desk.paint(token, [], True),
        lambda desk, token: desk.paint(token, [{"class_name": "x"}], True),
        lambda desk, token: desk.paint(token, [{"class_name": "tree", "width": 9, "points": [[0, 0]]}], True),
        lambda desk, token: desk.correct_area(token, 99, "tree"),
        lambda desk, token: desk.correct_area(token, 0, "castle"),
        lambda desk, token: desk.move(token, 999, 0),
        lambda desk, token: desk.move(token, 0, -2),
        lambda desk, token: desk.enter(token, {"focal_35mm_mm": "wide"}),
        lambda desk, token: desk.enter(token, {"kit": "../../etc/passwd"}),
        lambda desk, token: desk.enter(token, {"place": "99, 0"}),
        lambda desk, token: desk.enter(token, {"when": "yesterday"}),
        lambda desk, token: desk.enter(token, {"zone": "Mars/Base", "when": "2026-06-21 12:00"}),
        lambda desk, token: desk.enter(token, {"sky_state": "purple"}),
    ],
)
def test_what_makes_no_sense_is_one_sentence_and_changes_nothing(desk, token, small, act):
    give(desk, token, small)
    with desk.sittings.at(token) as sitting:
        before = sitting.study
    shown = act(desk, token)
    assert {name for name in PARTS if getattr(shown, name) is not None} == {"status"}
    assert "sorry" in shown.status
    assert "something went wrong" not in words(shown.status).lower()
    with desk.sittings.at(token) as sitting:
        assert sitting.study is before


def test_entries_are_followed_and_the_same_ones_cost_nothing(desk, token, small):
    give(desk, token, small)
    assert desk.enter(token, {}) == Shown()
    shown = desk.enter(token, {"kit": "converted-850", "focal_35mm_mm": "85", "trees_m": "12,5"})
    assert shown.opening
    with desk.sittings.at(token) as sitting:
        assert sitting.study.kit.name == "converted-850"
        assert sitting.study.conditions.focal_35mm_mm == 85
        assert sitting.study.conditions.distance_m["tree"] == 12.5
    assert desk.enter(token, {"focal_35mm_mm": 85.0}) == Shown()


def test_a_measured_factor_narrows_the_time(desk, token, small):
    give(desk, token, small)
    with desk.sittings.at(token) as sitting:
        wide = sitting.study.exposure.factor_stops.width
    desk.enter(token, {"factor_stops": "14"})
    with desk.sittings.at(token) as sitting:
        narrow = sitting.study.exposure.factor_stops
    assert narrow.width < wide
    assert narrow.likely == pytest.approx(14, abs=0.6)


def test_night_is_said_and_the_page_goes_on(desk, token, small):
    give(desk, token, small)
    shown = desk.enter(token, {"place": "51, 7", "when": "2026-01-01 00:30", "zone": "+01:00"})
    assert "sun" in words(shown.status).lower()
    assert shown.twin


def test_cards_are_written_inside_the_pages_folder_without_a_place(desk, token, small):
    shown = give(desk, token, small)[1]
    made = desk.make_card(token, "../../<b>Tower</b>", False)
    assert [path.suffix for path in made.cards] == [".pdf", ".png", ".json"]
    assert all(path.resolve().is_relative_to(desk.folder.resolve()) for path in made.cards)
    text = made.cards[2].read_text()
    assert json.loads(text)["place"] is None
    assert shown.place.split(",")[0] not in text


def test_every_handler_without_a_sitting_says_so(desk):
    for shown in (*desk.pick(None, 0), desk.move("made-up", 0, 0), desk.undo(None), desk.make_card("x", "", False)):
        assert "Give the snap again" in words(shown.status)


def test_two_sittings_are_kept_apart(desk, small, tmp_path, sample_photographs):
    flower = tmp_path / "flower.jpg"
    Image.fromarray(sample_photographs["flower.jpg"]).resize((300, 200)).save(flower)
    one, two = desk.sittings.open(), desk.sittings.open()
    give(desk, one, small)
    give(desk, two, flower)
    with desk.sittings.at(one) as first, desk.sittings.at(two) as second:
        assert first.study.photo.name == "tower.jpg"
        assert second.study.photo.name == "flower.jpg"
        assert second.study.photo.place is None
        assert len(first.snaps) == len(second.snaps) == 1


def test_snaps_keep_their_own_corrections_and_places(desk, token, small, tmp_path, sample_photographs):
    flower = tmp_path / "flower.jpg"
    Image.fromarray(sample_photographs["flower.jpg"]).resize((300, 200)).save(flower)
    give(desk, token, small, flower)
    desk.correct_area(token, 0, "snow")
    *_, second = desk.pick(token, 1)
    assert second.place == ""
    with desk.sittings.at(token) as sitting:
        assert sitting.study.scene.repainted is None
    list(desk.pick(token, 0))
    with desk.sittings.at(token) as sitting:
        assert sitting.study.scene.repainted.any()
        assert sitting.study.photo.place is not None


def test_more_snaps_than_fit_are_left_out_with_a_sentence(desk, token, small, monkeypatch):
    monkeypatch.setattr(handlers, "MOST_SNAPS", 2)
    shown = give(desk, token, small, small, small)
    assert "holds 2 snaps" in words(shown[-1].status)


# ---- sittings -------------------------------------------------------------------------------------------------------


def test_the_longest_unused_sitting_goes_first():
    kept = sessions.Sessions(most=2)
    first, second = kept.open(), kept.open()
    with kept.at(first):
        pass
    third = kept.open()
    assert len(kept) == 2
    with kept.at(first), kept.at(third):
        pass
    with pytest.raises(KeyError), kept.at(second):
        pass


def test_idle_sittings_are_forgotten():
    now = [0.0]
    kept = sessions.Sessions(idle_s=10, clock=lambda: now[0])
    token = kept.open()
    now[0] = 11
    kept.open()
    with pytest.raises(KeyError), kept.at(token):
        pass


def test_an_empty_set_of_sittings_is_the_one_that_was_given(tmp_path):
    given = sessions.Sessions(most=2)
    assert Desk(tmp_path, given).sittings is given


def test_answers_of_pages_unused_are_put_away_and_come_back(desk, small, monkeypatch):
    monkeypatch.setattr(sessions, "MOST_STUDIES", 1)
    one = desk.sittings.open()
    give(desk, one, small)
    desk.correct_area(one, 0, "snow")
    desk.enter(one, {"focal_35mm_mm": "85"})
    give(desk, desk.sittings.open(), small)
    kept = desk.sittings._all[one]
    assert kept.study is None
    assert kept.snaps[0].scene is None
    assert desk.move(one, 4, 4).moving
    assert kept.study.scene.repainted.any()
    assert kept.study.conditions.focal_35mm_mm == 85


def test_tokens_cannot_be_guessed():
    kept = sessions.Sessions()
    tokens = {kept.open() for _ in range(20)}
    assert len(tokens) == 20
    assert min(map(len, tokens)) >= 32


def test_one_sitting_works_on_one_thing_at_a_time():
    kept = sessions.Sessions()
    token = kept.open()
    order = []

    def work(name):
        with kept.at(token):
            order.append(name + " begins")
            threading.Event().wait(0.02)
            order.append(name + " ends")

    threads = [threading.Thread(target=work, args=(str(number),)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all(a.split()[0] == b.split()[0] for a, b in zip(order[::2], order[1::2], strict=True))


# ---- waiting --------------------------------------------------------------------------------------------------------


def test_turns_come_in_the_order_asked_for_even_when_patience_ends():
    line, order = work_queue.Turns(), []
    first = line.join()
    assert line.wait(first, 0)
    tickets = [line.join() for _ in range(5)]
    assert [line.ahead(one) for one in tickets] == [1, 2, 3, 4, 5]
    assert line.wait(tickets[0], 0.01) is False  # keeps its place

    def work(number):
        line.wait(tickets[number])
        order.append(number)
        line.leave(tickets[number])

    threads = [threading.Thread(target=work, args=(number,)) for number in (4, 2, 0, 3, 1)]
    for thread in threads:
        thread.start()
    line.leave(first)
    for thread in threads:
        thread.join()
    assert order == list(range(5))
    assert line.ahead() == 0


def test_who_gives_up_a_place_lets_the_others_by():
    line = work_queue.Turns()
    first, second, third = line.join(), line.join(), line.join()
    line.leave(second)
    line.leave(first)
    assert line.wait(third, 0)


def test_a_turn_that_nobody_takes_goes_on_and_can_still_be_had():
    now = [0.0]
    line = work_queue.Turns(clock=lambda: now[0])
    gone, next_one = line.join(), line.join()
    thread = threading.Thread(target=line.wait, args=(next_one,))
    thread.start()
    now[0] = work_queue.UNCLAIMED_S + 1
    thread.join(20)
    assert next_one.claimed
    line.leave(next_one)
    assert line.wait(gone, 5)


def test_a_page_closed_while_it_waits_leaves_the_line(desk, token, small, monkeypatch):
    monkeypatch.setattr(handlers, "PATIENCE_S", 0.01)
    busy = desk.turns.join()
    shown = desk.add(token, [small])
    next(shown)
    assert desk.turns.ahead() == 2
    shown.close()
    assert desk.turns.ahead() == 1
    desk.turns.leave(busy)


def test_who_waits_is_told_and_then_answered(desk, token, small, monkeypatch):
    monkeypatch.setattr(handlers, "PATIENCE_S", 0.01)
    busy = desk.turns.join()  # somebody else is at work
    assert desk.turns.wait(busy, 0)
    shown = desk.add(token, [small])
    assert "first on this computer" in words(next(shown).status)
    desk.turns.leave(busy)
    assert "This is tower.jpg." in words(list(shown)[-1].status)
    assert desk.turns.ahead() == 0


def test_sliders_do_not_wait_for_other_people(desk, token, small):
    give(desk, token, small)
    assert desk.turns.wait(desk.turns.join(), 0)
    assert [bool(shown.moving) for shown in desk.at_once(token, lambda: desk.move(token, 3, 3, 1))] == [True]


def test_a_slider_of_a_busy_page_says_so(desk, token, small, monkeypatch):
    monkeypatch.setattr(handlers, "PATIENCE_S", 0.01)
    give(desk, token, small)
    let_go, held = threading.Event(), threading.Event()

    def work():
        with desk.sittings.at(token):
            held.set()
            let_go.wait(20)

    thread = threading.Thread(target=work)
    thread.start()
    held.wait(20)
    shown = desk.at_once(token, lambda: desk.move(token, 3, 3, 1))
    assert "Still at work" in words(next(shown).status)
    let_go.set()
    thread.join()
    assert next(shown).moving


def test_a_move_that_waited_is_left_out_when_a_later_one_has_come(desk, token, small):
    give(desk, token, small)
    assert desk.move(token, 3, 3, 2).moving
    assert desk.move(token, 5, 3, 1) == Shown()
    assert desk.settle(token, 5, 3, 1) == Shown()
    assert desk.move(token, 5, 3, 3).moving


def test_what_is_shown_bit_by_bit_may_come_from_any_thread(desk, token, small):
    # The page's framework asks for each bit from whichever of its threads is free.
    from concurrent.futures import ThreadPoolExecutor

    shown, answers = desk.add(token, [small, small]), []
    with ThreadPoolExecutor(1) as one, ThreadPoolExecutor(1) as two:
        for number in range(20):
            part = (one if number % 2 else two).submit(next, shown, None).result()
            if part is None:
                break
            answers.append(part)
    assert "This is tower.jpg." in words(answers[-1].status)
    assert desk.settle(token, 3, 3).opening


def test_between_two_snaps_others_have_their_turn(desk, small):
    one, two = desk.sittings.open(), desk.sittings.open()
    shown = desk.add(one, [small, small, small])
    next(shown)
    assert "This is tower.jpg." in words(list(desk.add(two, [small]))[-1].status)
    assert "This is tower.jpg." in words(list(shown)[-1].status)


def test_entries_that_arrive_late_do_not_undo_newer_ones(desk, token):
    newer = {"place": "51.2, 7.4", "when": "2026-06-21 14:30", "zone": "+02:00"}
    first, second = 1, desk.arrived(token, 2)
    desk.enter(token, newer, second)
    desk.enter(token, {"place": "51.2, 7.4"}, desk.arrived(token, first))
    with desk.sittings.at(token) as sitting:
        assert sitting.inputs.when == "2026-06-21 14:30"
    desk.enter(token, {"place": "48, 3"}, desk.arrived(token, 3))
    with desk.sittings.at(token) as sitting:
        assert sitting.inputs.place == "48, 3"
    assert desk.arrived(token, "much") == 0


def test_what_is_entered_while_a_snap_is_worked_on_is_used(desk, token, small):
    shown = desk.add(token, [small])
    next(shown)
    assert desk.enter(token, {"focal_35mm_mm": "85"}) == Shown()
    assert "still being worked on" in words(desk.move(token, 3, 3).status)
    list(shown)
    with desk.sittings.at(token) as sitting:
        assert sitting.study.conditions.focal_35mm_mm == 85


# ---- reading what is typed ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "latitude", "longitude"),
    [
        ("51.2, -7.4", 51.2, -7.4),
        ("51.2 N, 7.4 W", 51.2, -7.4),
        ("33.5S 151.2E", -33.5, 151.2),
        ("51.2 7.4", 51.2, 7.4),
        ("51.2° n 7.4° w", 51.2, -7.4),
        ("51.2, 7.4, 640", 51.2, 7.4),
    ],
)
def test_places_are_read(text, latitude, longitude):
    place = inputs.parse_place(text)
    assert (place.latitude_deg, place.longitude_deg) == (latitude, longitude)


@pytest.mark.parametrize("text", ["", "  ", "unknown", "?"])
def test_an_unknown_place_is_none(text):
    assert inputs.parse_place(text) is None


@pytest.mark.parametrize("text", ["91, 0", "0, 181", "here", "1", "1, 2, 3, 4", "nan, 0", "inf, 1"])
def test_places_not_on_earth_are_refused(text):
    with pytest.raises(BadValue, match=r"place|latitude|longitude"):
        inputs.parse_place(text)


def test_a_time_without_a_zone_stays_unknown():
    assert inputs.parse_when("2026-06-21 14:30", "") is None
    assert inputs.parse_when("2026-06-21 14:30", "+02:00").utcoffset().total_seconds() == 7200
    assert inputs.parse_when("2026-06-21T14:30:00+02:00", "").tzinfo is not None


def test_limits_of_the_kit_are_followed():
    kit = inputs.kit_of(Inputs(widest_f_number=4.0, lowest_iso=100, highest_iso=3200))
    assert (kit.f_number_min, kit.iso_min, kit.iso_max) == (4.0, 100, 3200)
    with pytest.raises(BadValue, match="highest ISO"):
        inputs.kit_of(Inputs(lowest_iso=800, highest_iso=100))


def test_conditions_left_empty_are_unknown():
    assert inputs.conditions_of(Inputs()) == Conditions()


def test_slider_stops_cover_a_sixtieth_to_an_hour():
    assert SHUTTERS_S[0] < 1 / 60 < SHUTTERS_S[-1] == 3600
    assert study.shutter_stop(31.0) == SHUTTERS_S.index(30.0)
    assert len(study.shutter_labels()) == len(SHUTTERS_S)


@pytest.mark.parametrize(("colour", "ink"), [("#ffffff", "#000000"), ("#332288", "#ffffff"), ("#ddcc77", "#000000")])
def test_letters_stand_out_from_their_colour(colour, ink):
    # WCAG 2.1: contrast (L1 + 0.05) / (L2 + 0.05) of at least 4.5.
    assert parts.ink_on(colour) == ink


@pytest.mark.parametrize(
    "name", ["clear_sky", "cloud", "water", "tree", "grass", "structure", "ground", "other", "snow"]
)
def test_every_class_colour_carries_a_readable_letter(name):
    from irpreview.core.scene.class_picture import CLASS_COLOURS

    colour = "#{:02x}{:02x}{:02x}".format(*CLASS_COLOURS[name])

    def luminance(value):
        part = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in value]
        return 0.2126 * part[0] + 0.7152 * part[1] + 0.0722 * part[2]

    behind = luminance([channel / 255 for channel in CLASS_COLOURS[name]])
    ink = 0.0 if parts.ink_on(colour) == "#000000" else 1.0
    assert (max(behind, ink) + 0.05) / (min(behind, ink) + 0.05) >= 4.5


def test_frozen_things_stay_frozen(desk, token, small):
    give(desk, token, small)
    with desk.sittings.at(token) as sitting, pytest.raises(dataclasses.FrozenInstanceError):
        sitting.study.sorry = ()
