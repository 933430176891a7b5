"""What the page does when something is pressed, without its server or a browser."""

import base64
import json
import re
import shutil
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from irpreview import request as inputs
from irpreview.errors import BadValue
from irpreview.records import Conditions
from irpreview.request import Inputs
from irpreview.web import answer, handlers, sessions, work_queue
from irpreview.web.answer import SHUTTERS_S, WINDS_M_S
from irpreview.web.handlers import Desk
from irpreview.web.keeping import Keeping
from irpreview.web.responses import Shown
from irpreview.web.templating import filled

CHECKOUT = Path(__file__).resolve().parents[2]
SCENE = CHECKOUT / "demo_scenes" / "moor_tower" / "photo.jpg"


def words(html):
    """The text of a piece of the page."""
    return " ".join(re.sub(r"<[^>]+>", " ", html or "").split())


def changed(shown):
    """What of the page an answer changes."""
    return set(shown.as_dict())


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The demo scene at 400 px, with its facts, so that every answer is quick."""
    path = tmp_path_factory.mktemp("small") / "tower.jpg"
    with Image.open(SCENE) as image:
        image.resize((400, 300)).save(path, exif=image.getexif())
    return path


@pytest.fixture
def flower(tmp_path, sample_photographs):
    """A photograph without any facts."""
    path = tmp_path / "flower.jpg"
    Image.fromarray(sample_photographs["flower.jpg"]).resize((300, 200)).save(path)
    return path


@pytest.fixture
def desk(tmp_path):
    (tmp_path / "page").mkdir()
    return Desk(tmp_path / "page", keeping=Keeping(tmp_path / "kept"))


@pytest.fixture
def token(desk):
    return desk.sessions.open()


def give(desk, token, *paths):
    """Upload copies, as a browser would; returns all that was shown."""
    copies = []
    for number, path in enumerate(paths):
        folder = desk.folder / f"upload{number}"
        folder.mkdir(exist_ok=True)
        copies.append(shutil.copy(path, folder / Path(path).name))
    return list(desk.add(token, copies))


def analysis(desk, token):
    with desk.sessions.at(token) as session:
        return desk.analysis_of(session)


def test_a_snap_is_answered_in_two_steps_picture_first(desk, token, small):
    first, last = give(desk, token, small)
    assert set(first.pictures) == {"infrared", "colour"}
    assert "setting" not in first.parts["answer"]
    assert re.search(r"ISO \d+", words(last.parts["answer"]))
    assert words(last.parts["strip"]).endswith("tower.jpg")


def test_the_answer_has_at_most_seventy_words(desk, small):
    for scene in ("moor_tower", "ruin_by_the_tarn", "chalk_head", "plain_blue_lea"):
        one = desk.sessions.open()
        shown = list(desk.add(one, [CHECKOUT / "demo_scenes" / scene / "photo.jpg"]))[-1]
        print(scene, len(words(shown.parts["answer"]).split()), words(shown.parts["answer"]))
        assert len(words(shown.parts["answer"]).split()) <= 70


def test_an_upload_is_deleted_once_read_and_other_files_are_left(desk, token, small):
    give(desk, token, small)
    assert not [path for path in desk.folder.rglob("*") if path.is_file()]
    list(desk.add(token, [small]))
    assert small.exists()


def test_each_bad_file_has_a_line_and_the_good_one_is_answered(desk, token, small, tmp_path):
    for name in ("notes.jpg", "more.jpg"):
        (tmp_path / name).write_text("words")
    *_, last = give(desk, token, tmp_path / "notes.jpg", small, tmp_path / "more.jpg")
    assert ["notes.jpg" in last.faults[0], "more.jpg" in last.faults[1]] == [True, True]
    assert analysis(desk, token).photo.name == "tower.jpg"


def test_only_bad_files_leave_the_page_as_it_was(desk, token, tmp_path):
    bad = tmp_path / "notes.jpg"
    bad.write_text("words")
    answers = give(desk, token, bad)
    assert answers
    for shown in answers:
        assert changed(shown) <= {"status", "sorry", "faults"}


def test_a_file_name_with_markup_stays_text(desk, token, small, tmp_path):
    odd = tmp_path / "<img src=x onerror=alert(1)>{{1}}.jpg"
    shutil.copy(small, odd)
    for shown in give(desk, token, odd):
        for html in shown.parts.values():
            assert "<img src=x" not in html
    with desk.sessions.at(token) as session:
        session.snaps.append(session.snaps[0])
    assert "<img src=x" not in desk.section(token, "beside").parts["section-body"]


def test_no_coordinates_in_what_is_shown_but_in_their_field(desk, token, small):
    shown = give(desk, token, small)[-1]
    latitude = shown.values["entries"]["place"].split(",")[0]
    assert float(latitude)
    for name in ("tests", "separations", "light", "tables"):
        assert latitude[:5] not in words(desk.section(token, name).parts["section-body"])
    for html in shown.parts.values():
        assert latitude[:5] not in words(html)


def test_snaps_stand_best_first(desk, token, small, flower):
    *_, last = give(desk, token, flower, small)
    with desk.sessions.at(token) as session:
        worth = [snap.glance.worth for snap in session.snaps]
    shown = [int(number) for number in re.findall(r'data-index="(\d+)"', last.parts["strip"])]
    assert [worth[index] for index in shown] == sorted(worth, reverse=True)


def test_side_by_side_finds_the_framing_of_every_snap_once(desk, token, small, flower):
    def framed(shown):
        return len(re.findall(r"\d+ mm, \d:\d", words(shown.parts["section-body"])))

    give(desk, token, small, flower)
    first, *later = desk.beside(token)
    assert first.values["section"] == "beside"
    assert framed(first) == 1  # the snap given first was answered before a framing was looked for
    assert [framed(one) for one in later] == [2]
    # known now, also after another snap was looked at: nothing is looked for again
    list(desk.pick(token, 1))
    list(desk.pick(token, 0))
    assert len(list(desk.beside(token))) == 1
    # in another wind it may be another one
    desk.settle(token, 8, -1)
    assert [framed(one) for one in desk.beside(token)] == [1, 2]


# ---- wind and shutter -----------------------------------------------------------------------------------------------


def test_wind_and_shutter_change_the_movement_only_until_they_settle(desk, token, small):
    give(desk, token, small)
    moved = desk.move(token, 6, SHUTTERS_S.index(4.0))
    assert changed(moved) == {"pictures", "values"}
    assert set(moved.pictures) == {"movement"}
    settled = desk.settle(token, 6, SHUTTERS_S.index(4.0))
    assert settled.parts["answer"]
    assert analysis(desk, token).request.conditions.wind_m_s == WINDS_M_S[6]


def test_an_unknown_wind_is_unknown_and_never_zero(desk, token, small):
    give(desk, token, small)
    assert analysis(desk, token).request.conditions.wind_m_s is None
    desk.settle(token, 1, -1)
    assert analysis(desk, token).request.conditions.wind_m_s == 0.0
    desk.settle(token, 0, -1)
    assert analysis(desk, token).request.conditions.wind_m_s is None
    assert answer.wind_words(0) == "Unknown: gentle breeze assumed"


def test_every_wind_of_the_slider_is_its_own_beaufort_force():
    # WMO-No. 306, code table 1100: limits of the forces 0 to 7 [m/s]
    limits = [(0, 0.2), (0.3, 1.5), (1.6, 3.3), (3.4, 5.4), (5.5, 7.9), (8.0, 10.7), (10.8, 13.8), (13.9, 17.1)]
    for wind, (low, high) in zip(WINDS_M_S[1:], limits, strict=True):
        assert wind is not None
        assert low <= wind <= high
    assert [answer.wind_stop(wind) for wind in WINDS_M_S] == list(range(len(WINDS_M_S)))


@pytest.mark.parametrize("step", [SHUTTERS_S.index(2.0), SHUTTERS_S.index(30.0), SHUTTERS_S.index(120.0)])
def test_the_shutter_rewrites_iso_and_aperture_so_that_the_exposure_holds(desk, token, small, step):
    give(desk, token, small)
    best = analysis(desk, token).exposure.recommended
    desk.settle(token, 0, step)
    chosen = analysis(desk, token).setting
    # N^2 / (t S) is the exposure that a setting gives (ISO 2720)
    given = [one.f_number**2 / (one.shutter_s.likely * one.iso) for one in (best, chosen)]
    assert given[1] == pytest.approx(given[0], rel=0.01)
    assert abs(np.log2(chosen.shutter_s.likely / SHUTTERS_S[step])) < 0.3


def test_a_time_out_of_reach_is_said_with_what_is_possible(desk, token, small):
    give(desk, token, small)
    shown = desk.settle(token, 0, SHUTTERS_S.index(1 / 250))
    said = words(shown.parts["answer"])
    assert "1/250 is out of reach" in said
    assert "Shortest is ISO" in said
    assert analysis(desk, token).setting is None


def test_a_time_is_asked_for_as_one_writes_it(desk, token, small):
    give(desk, token, small)
    shown = desk.settle(token, 0, "1 min")
    assert analysis(desk, token).shutter_s == 60.0
    assert shown.values["shutter"]["text"] == "1 min"
    assert "soon" in desk.settle(token, 0, "soon").status


def test_back_to_the_recommended_time(desk, token, small):
    give(desk, token, small)
    desk.settle(token, 4, 0)
    shown = desk.settle(token, 4, -1)
    assert shown.values["shutter"]["recommended"]
    best = analysis(desk, token).exposure.recommended
    assert analysis(desk, token).shutter_s == pytest.approx(best.shutter_s.likely)


# ---- corrections ----------------------------------------------------------------------------------------------------

STROKE = {"class_name": "water", "width": 0.05, "points": [[0.3, 0.9], [0.6, 0.9]]}


def test_an_outline_changes_nothing_until_it_is_taken(desk, token, small):
    give(desk, token, small)
    before = analysis(desk, token).scene.label.copy()
    shown = desk.outline(token, [STROKE], 0)
    assert changed(shown) == {"status", "values"}
    (line,) = shown.values["outlines"]
    assert line["share"] > 0.001
    assert all(0 <= x <= 1 and 0 <= y <= 1 for one in line["lines"] for x, y in one)
    assert np.array_equal(analysis(desk, token).scene.label, before)
    desk.take(token, [STROKE], 0)
    assert (analysis(desk, token).scene.label == 3).mean() == pytest.approx(line["share"], abs=0.002)


def test_corrections_are_undone_and_done_again(desk, token, small):
    give(desk, token, small)
    before = analysis(desk, token).scene.label.copy()
    shown = desk.take(token, [STROKE], 0)
    assert "Corrected" in shown.status
    after = analysis(desk, token).scene.label.copy()
    assert shown.values["can_undo"]
    assert not shown.values["can_redo"]
    assert desk.undo(token).values["can_redo"]
    assert np.array_equal(analysis(desk, token).scene.label, before)
    desk.redo(token)
    assert np.array_equal(analysis(desk, token).scene.label, after)
    assert "no correction to redo" in desk.redo(token).status
    desk.undo(token)
    assert "no correction to undo" in desk.undo(token).status


def test_repainting_changes_the_tone_there(desk, token, small):
    give(desk, token, small)
    before = float(np.median(analysis(desk, token).rendering.tones[270:290, 40:120]))
    desk.take(token, [{"class_name": "water", "width": 0.2, "points": [[0.1, 0.93], [0.3, 0.93]]}], 0, False)
    after = float(np.median(analysis(desk, token).rendering.tones[270:290, 40:120]))
    # Water is far darker than grass in the near infrared (satellite reflectances: .02 against .27).
    assert after < before / 2


def test_an_area_is_corrected_by_its_number(desk, token, small):
    give(desk, token, small)
    assert "now snow" in desk.correct_area(token, 0, "snow").status


@pytest.mark.parametrize(
    "act",
    [
        lambda desk, token: list(desk.pick(token, 7))[-1],
        lambda desk, token: desk.take(token, [], 0),
        lambda desk, token: desk.take(token, [{"class_name": "x"}], 0),
        lambda desk, token: desk.take(token, [{"class_name": "tree", "width": 9, "points": [[0, 0]]}], 0),
        lambda desk, token: desk.outline(token, [STROKE], 99),
        lambda desk, token: desk.correct_area(token, 99, "tree"),
        lambda desk, token: desk.correct_area(token, 0, "castle"),
        lambda desk, token: desk.move(token, 999, 0),
        lambda desk, token: desk.move(token, 0, -2),
        lambda desk, token: desk.move(token, 0, None),
        lambda desk, token: desk.view(token, "../secrets"),
        lambda desk, token: desk.section(token, "everything"),
        lambda desk, token: desk.drop(token, 0),
    ],
)
def test_what_makes_no_sense_is_one_sentence_and_changes_nothing(desk, token, small, act):
    give(desk, token, small)
    before = analysis(desk, token)
    shown = act(desk, token)
    assert changed(shown) == {"status", "sorry"}
    assert "something went wrong" not in shown.status.lower()
    assert analysis(desk, token) is before


# ---- kit, place and day ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("focal_35mm_mm", "wide"),
        ("kit", "../../etc/passwd"),
        ("place", "99, 0"),
        ("when", "yesterday"),
        ("zone", "Mars/Base"),
        ("sky_state", "purple"),
        ("heading_deg", "400"),
    ],
)
def test_a_bad_entry_is_told_at_its_own_field_and_blocks_no_other(desk, token, small, name, value):
    give(desk, token, small)
    desk.enter(token, {"when": "2026-06-21 12:00"})
    shown = desk.enter(token, {name: value, "trees_m": "12,5"})
    assert set(shown.refused) == {name}
    assert shown.refused[name].endswith(".")
    assert analysis(desk, token).request.conditions.distance_m["tree"] == 12.5


def test_entries_are_followed_and_the_same_ones_cost_nothing(desk, token, small):
    give(desk, token, small)
    before = analysis(desk, token)
    assert changed(desk.enter(token, {"kit": "unmodified-720"})) == {"values"}
    assert analysis(desk, token) is before
    shown = desk.enter(token, {"kit": "converted-850", "focal_35mm_mm": "85"})
    assert shown.parts["answer"]
    assert analysis(desk, token).kit.name == "converted-850"
    assert analysis(desk, token).request.conditions.focal_35mm_mm == 85


def test_a_measured_factor_narrows_the_time(desk, token, small):
    give(desk, token, small)
    wide = analysis(desk, token).exposure.factor_stops.width
    desk.enter(token, {"factor_stops": "14"})
    narrow = analysis(desk, token).exposure.factor_stops
    assert narrow.width < wide
    assert narrow.likely == pytest.approx(14, abs=0.6)


def test_night_is_no_reason_to_stop(desk, token, small):
    give(desk, token, small)
    shown = desk.enter(token, {"place": "51, 7", "when": "2026-01-01 00:30", "zone": "+01:00"})
    assert shown.parts["answer"]
    assert "sun is below the horizon" in words(desk.section(token, "tables").parts["section-body"])


# ---- sections, card, side by side -----------------------------------------------------------------------------------


def test_every_section_and_view_answers(desk, token, small):
    give(desk, token, small)
    for name in ("tests", "separations", "light", "tables", "beside"):
        assert len(words(desk.section(token, name).parts["section-body"])) > 40
    for name in ("infrared", "colour", "separation", "map", "movement"):
        assert desk.view(token, name).pictures[name].startswith("data:image/jpeg;base64,")


def test_cards_are_handed_over_without_a_place_and_nothing_is_left(desk, token, small):
    shown = give(desk, token, small)[-1]
    made = desk.make_card(token, "../../<b>Tower</b>", False)
    assert [one["kind"] for one in made.values["cards"]] == ["PDF", "PNG", "JSON"]
    assert all("/" not in one["name"] for one in made.values["cards"])
    text = base64.b64decode(made.values["cards"][2]["address"].partition(",")[2]).decode()
    assert json.loads(text)["place"] is None
    assert shown.values["entries"]["place"].split(",")[0][:5] not in text
    assert not [path for path in desk.folder.rglob("*") if path.is_file()]


def test_the_field_page_of_all_snaps_comes_without_places_and_nothing_is_left(desk, token, small):
    assert "no snap yet" in list(desk.make_field_page(token, False))[-1].status
    shown = give(desk, token, small)[-1]
    give(desk, token, small)
    *before, made = desk.make_field_page(token, False)
    assert [one.status for one in before if one.status.startswith("The field page: place")] == [
        "The field page: place 1 of 2.",
        "The field page: place 2 of 2.",
    ]
    assert "without locations" in made.status
    (only,) = made.values["cards"]
    text = base64.b64decode(only["address"].partition(",")[2]).decode()
    found = re.search(r'id="facts">(.*?)</script>', text, re.DOTALL)
    assert found is not None
    facts = json.loads(found[1])
    assert len(facts["places"]) == 2
    assert facts["with_place"] is False
    assert shown.values["entries"]["place"].split(",")[0][:5] not in re.sub(r"data:image[^\"]*", "", text)
    assert not [path for path in desk.folder.rglob("*") if path.is_file()]
    with_place = list(desk.make_field_page(token, True))[-1].values["cards"][0]["address"]
    assert shown.values["entries"]["place"].split(",")[0][:5] in base64.b64decode(with_place.partition(",")[2]).decode()


def test_every_handler_without_a_session_says_so(desk):
    running = (*desk.pick(None, 0), *desk.make_field_page(None, False))
    for shown in (*running, desk.move("made-up", 0, 0), desk.undo(None), desk.make_card("x", "", False)):
        assert "Add the snap again" in shown.status


def test_two_sessions_are_kept_apart(desk, small, flower):
    one, two = desk.sessions.open(), desk.sessions.open()
    give(desk, one, small)
    give(desk, two, flower)
    assert analysis(desk, one).photo.name == "tower.jpg"
    assert analysis(desk, two).photo.name == "flower.jpg"
    assert analysis(desk, two).photo.place is None


def test_snaps_keep_their_own_corrections_and_places(desk, token, small, flower):
    give(desk, token, small, flower)
    desk.correct_area(token, 0, "snow")
    list(desk.pick(token, 1))
    assert analysis(desk, token).photo.place is None
    assert analysis(desk, token).scene.repainted is None
    list(desk.pick(token, 0))
    assert analysis(desk, token).scene.repainted.any()
    assert analysis(desk, token).photo.place is not None


def test_more_snaps_than_fit_are_left_out_with_a_sentence(desk, token, small, monkeypatch):
    monkeypatch.setattr(handlers, "MOST_SNAPS", 2)
    shown = give(desk, token, small, small, small)
    assert "holds 2 snaps" in shown[-1].faults[0]


# ---- nothing lost ---------------------------------------------------------------------------------------------------


def opened(desk, token, owner=True):
    parts = list(desk.open(token, owner))
    return parts[0].values["token"], parts


def test_snaps_corrections_and_entries_outlive_a_restart(desk, small, flower, tmp_path):
    token, _ = opened(desk, None)
    give(desk, token, small, flower)
    desk.take(token, [STROKE], 0)
    desk.correct_area(token, 0, "snow")
    desk.undo(token)
    desk.enter(token, {"focal_35mm_mm": "85"})
    desk.settle(token, 5, "2 min")
    before = analysis(desk, token)
    told = answer.answer_of(before)
    again = Desk(tmp_path / "page", keeping=Keeping(tmp_path / "kept"))
    known, shown = opened(again, token)
    assert known == token
    assert shown[-1].parts["answer"]
    after = analysis(again, token)
    assert np.array_equal(after.scene.label, before.scene.label)
    assert after.request.conditions == before.request.conditions
    assert answer.answer_of(after) == told
    with again.sessions.at(token) as session:
        assert [snap.photo.name for snap in session.snaps] == ["tower.jpg", "flower.jpg"]
        assert len(session.snaps[0].undone) == 1


def test_a_guest_leaves_nothing_on_the_disk_and_gets_no_kept_session(desk, small, tmp_path):
    token, _ = opened(desk, None)
    give(desk, token, small)
    again = Desk(tmp_path / "page", keeping=Keeping(tmp_path / "kept"))
    assert opened(again, token, owner=False)[0] != token
    guest = Desk(tmp_path / "page", keeping=Keeping(tmp_path / "elsewhere"))
    other, _ = opened(guest, None, owner=False)
    give(guest, other, small)
    assert not (tmp_path / "elsewhere").exists()


def test_one_button_empties_the_folder(desk, small, tmp_path):
    token, shown = opened(desk, None)
    assert shown[0].values["kept"] == str(tmp_path / "kept")
    give(desk, token, small)
    assert list((tmp_path / "kept").rglob("*.jpg"))
    assert desk.empty(token).values["empty"]
    assert not (tmp_path / "kept").exists()
    assert "no snap" in desk.move(token, 0, 0).status


def test_a_damaged_folder_is_no_reason_to_stop(desk, small, tmp_path):
    token, _ = opened(desk, None)
    give(desk, token, small)
    (kept,) = (tmp_path / "kept").glob("*/session.json")
    for text in ("", "[]", '{"version": 1}', kept.read_text().replace("tower.jpg", "../../../etc/passwd")):
        kept.write_text(text)
        again = Desk(tmp_path / "page", keeping=Keeping(tmp_path / "kept"))
        assert not opened(again, token)[1][0].sorry
        assert len(again.sessions._all[token].snaps) == 0


# ---- sessions -------------------------------------------------------------------------------------------------------


def test_the_longest_unused_session_goes_first():
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


def test_idle_sessions_are_forgotten():
    now = [0.0]
    kept = sessions.Sessions(idle_s=10, clock=lambda: now[0])
    token = kept.open()
    now[0] = 11
    kept.open()
    with pytest.raises(KeyError), kept.at(token):
        pass


def test_an_empty_set_of_sessions_is_the_one_that_was_given(tmp_path):
    given = sessions.Sessions(most=2)
    assert Desk(tmp_path, given).sessions is given


def test_answers_of_pages_unused_are_put_away_and_come_back(desk, small, monkeypatch):
    monkeypatch.setattr(sessions, "MOST_ANALYSES", 1)
    one = desk.sessions.open()
    give(desk, one, small)
    desk.correct_area(one, 0, "snow")
    desk.enter(one, {"focal_35mm_mm": "85"})
    give(desk, desk.sessions.open(), small)
    kept = desk.sessions._all[one]
    assert kept.analysis is None
    assert kept.snaps[0].scene is None
    assert desk.move(one, 4, 4).pictures
    assert analysis(desk, one).scene.repainted.any()
    assert analysis(desk, one).request.conditions.focal_35mm_mm == 85


def test_tokens_cannot_be_guessed():
    kept = sessions.Sessions()
    tokens = {kept.open() for _ in range(20)}
    assert len(tokens) == 20
    assert min(map(len, tokens)) >= 32


def test_one_session_works_on_one_thing_at_a_time():
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
    assert len(order) == 8
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
    assert "first on this computer" in next(shown).status
    desk.turns.leave(busy)
    assert "setting" in [one for one in shown if "answer" in one.parts][-1].parts["answer"]
    assert desk.turns.ahead() == 0


def test_sliders_do_not_wait_for_other_people(desk, token, small):
    give(desk, token, small)
    assert desk.turns.wait(desk.turns.join(), 0)
    assert [bool(shown.pictures) for shown in desk.at_once(token, lambda: desk.move(token, 3, 3, 1))] == [True]


def test_a_slider_of_a_busy_page_says_so(desk, token, small, monkeypatch):
    monkeypatch.setattr(handlers, "PATIENCE_S", 0.01)
    give(desk, token, small)
    let_go, held = threading.Event(), threading.Event()

    def work():
        with desk.sessions.at(token):
            held.set()
            let_go.wait(20)

    thread = threading.Thread(target=work)
    thread.start()
    held.wait(20)
    shown = desk.at_once(token, lambda: desk.move(token, 3, 3, 1))
    assert "Still at work" in next(shown).status
    let_go.set()
    thread.join()
    assert next(shown).pictures


def test_a_move_that_waited_is_left_out_when_a_later_one_has_come(desk, token, small):
    give(desk, token, small)
    assert desk.move(token, 3, 3, 2).pictures
    assert desk.move(token, 5, 3, 1) == Shown()
    assert desk.settle(token, 5, 3, 1) == Shown()
    assert desk.move(token, 5, 3, 3).pictures


def test_what_is_shown_bit_by_bit_may_come_from_any_thread(desk, token, small):
    # The page's framework asks for each bit from whichever of its threads is free.

    shown, answers = desk.add(token, [small, small]), []
    with ThreadPoolExecutor(1) as one, ThreadPoolExecutor(1) as two:
        for number in range(20):
            part = (one if number % 2 else two).submit(next, shown, None).result()
            if part is None:
                break
            answers.append(part)
    assert answers[-1].parts["strip"].count("<img") == 2
    assert desk.settle(token, 3, 3).parts["answer"]


def test_between_two_snaps_others_have_their_turn(desk, small):
    one, two = desk.sessions.open(), desk.sessions.open()
    shown = desk.add(one, [small, small, small])
    next(shown)
    assert "setting" in list(desk.add(two, [small]))[-1].parts["answer"]
    assert "setting" in [one for one in shown if "answer" in one.parts][-1].parts["answer"]


def test_entries_that_arrive_late_do_not_undo_newer_ones(desk, token):
    newer = {"place": "51.2, 7.4", "when": "2026-06-21 14:30", "zone": "+02:00"}
    first, second = 1, desk.arrived(token, 2)
    desk.enter(token, newer, second)
    desk.enter(token, {"place": "51.2, 7.4"}, desk.arrived(token, first))
    with desk.sessions.at(token) as session:
        assert session.inputs.when == "2026-06-21 14:30"
    desk.enter(token, {"place": "48, 3"}, desk.arrived(token, 3))
    with desk.sessions.at(token) as session:
        assert session.inputs.place == "48, 3"
    assert desk.arrived(token, "much") == 0


def test_what_is_entered_while_a_snap_is_worked_on_is_used(desk, token, small):
    shown = desk.add(token, [small])
    next(shown)
    assert changed(desk.enter(token, {"focal_35mm_mm": "85"})) == {"values"}
    list(shown)
    assert analysis(desk, token).request.conditions.focal_35mm_mm == 85


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
    assert place is not None
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
    for text, zone in (("2026-06-21 14:30", "+02:00"), ("2026-06-21T14:30:00+02:00", "")):
        when = inputs.parse_when(text, zone)
        assert when is not None
        assert when.utcoffset() == timedelta(hours=2)


def test_limits_of_the_kit_are_followed():
    kit = inputs.kit_of(Inputs(widest_f_number=4.0, lowest_iso=100, highest_iso=3200))
    assert (kit.f_number_min, kit.iso_min, kit.iso_max) == (4.0, 100, 3200)
    with pytest.raises(BadValue, match="highest ISO"):
        inputs.kit_of(Inputs(lowest_iso=800, highest_iso=100))


def test_conditions_left_empty_are_unknown():
    assert inputs.conditions_of(Inputs()) == Conditions()


def test_slider_stops_cover_a_sixtieth_to_an_hour():
    assert SHUTTERS_S[0] < 1 / 60 < SHUTTERS_S[-1] == 3600
    assert answer.shutter_stop(31.0) == SHUTTERS_S.index(30.0)


def test_everything_in_a_template_is_escaped():
    odd = [{"index": 0, "name": "<b>", "thumb": '"><script>', "lead": "<i>", "separates": "&", "trouble": ""}]
    html = filled("strip.html", snaps=odd, current=0)
    assert "<b>" not in html
    assert "<script>" not in html
    assert "<i>" not in html
