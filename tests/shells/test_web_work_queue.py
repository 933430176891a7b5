"""The line in which heavy work waits."""

import threading

from irpreview.web import work_queue


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
