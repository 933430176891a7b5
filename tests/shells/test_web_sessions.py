"""Sessions: tokens, how many are kept and for how long, one thing at a time in each."""

import threading

import pytest

from irpreview.web import sessions


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
