"""Snaps come in, are answered picture first, chosen, removed, and are there again after a restart."""

import re
import shutil

import numpy as np

from irpreview.web import answer
from irpreview.web.handlers import Desk, snaps
from irpreview.web.keeping import Keeping
from tests.shells.page_desk import CHECKOUT, STROKE, analysis, changed, give, words


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
    monkeypatch.setattr(snaps, "MOST_SNAPS", 2)
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
