"""Who waits is told and then answered; what makes no sense is one sentence and changes nothing."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from irpreview.web import sessions
from irpreview.web.handlers import Desk, waiting
from tests.shells.page_desk import STROKE, analysis, changed, give


def test_a_page_closed_while_it_waits_leaves_the_line(desk, token, small, monkeypatch):
    monkeypatch.setattr(waiting, "PATIENCE_S", 0.01)
    busy = desk.turns.join()
    shown = desk.add(token, [small])
    next(shown)
    assert desk.turns.ahead() == 2
    shown.close()
    assert desk.turns.ahead() == 1
    desk.turns.leave(busy)


def test_who_waits_is_told_and_then_answered(desk, token, small, monkeypatch):
    monkeypatch.setattr(waiting, "PATIENCE_S", 0.01)
    busy = desk.turns.join()  # somebody else is at work
    assert desk.turns.wait(busy, 0)
    shown = desk.add(token, [small])
    assert "first on this computer" in next(shown).status
    desk.turns.leave(busy)
    assert "setting" in [one for one in shown if "answer" in one.parts][-1].parts["answer"]
    assert desk.turns.ahead() == 0


def test_that_one_had_to_wait_is_said_no_longer_than_it_is_true(desk, token, small, monkeypatch):
    monkeypatch.setattr(waiting, "PATIENCE_S", 0.01)
    give(desk, token, small)
    busy = desk.turns.join()
    assert desk.turns.wait(busy, 0)
    shown = desk.told(lambda: desk.view(token, "separation"), token)
    assert "first on this computer" in next(shown).status
    desk.turns.leave(busy)
    (last,) = shown
    assert last.values["rested"]
    assert last.pictures
    # who did not wait is told nothing, nor is what nobody asked for by hand
    (at_once,) = desk.told(lambda: desk.view(token, "separation"), token)
    assert "rested" not in at_once.values
    with desk.sessions.at(token) as session:
        version = session.version
    (quiet,) = desk.told(lambda: desk.first_framing(token, version), token, quietly=True)
    assert quiet.status is None
    assert quiet.parts["first-framing"]


def test_the_last_of_many_snaps_clears_the_line(desk, token, small):
    assert give(desk, token, small, small)[-1].values == {"rested": True}


def test_sliders_do_not_wait_for_other_people(desk, token, small):
    give(desk, token, small)
    assert desk.turns.wait(desk.turns.join(), 0)
    assert [bool(shown.pictures) for shown in desk.at_once(token, lambda: desk.move(token, 3, 3, 1))] == [True]


def test_a_slider_of_a_busy_page_says_so(desk, token, small, monkeypatch):
    monkeypatch.setattr(waiting, "PATIENCE_S", 0.01)
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


def test_an_empty_set_of_sessions_is_the_one_that_was_given(tmp_path):
    given = sessions.Sessions(most=2)
    assert Desk(tmp_path, given).sessions is given


def test_every_handler_without_a_session_says_so(desk):
    running = (*desk.pick(None, 0), *desk.make_field_page(None, False))
    for shown in (*running, desk.move("made-up", 0, 0), desk.undo(None), desk.make_card("x", "", False)):
        assert "Add the snap again" in shown.status


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
