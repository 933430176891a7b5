"""Requests that trickle, break off or ask for what is not there: an end in time, one line, no traceback."""

import asyncio
import types
from concurrent.futures import ThreadPoolExecutor

import h11
import pytest

from irpreview.web import access_control, connections
from irpreview.web.access_control import AccessControl


def asked(app, chunks, *, client="10.0.0.7", path="/snaps", length=None):
    """What a caller gets who sends these parts, each after so many seconds; the status, or None for no answer."""
    body = b"".join(part for _, part in chunks)
    headers = [(b"host", b"127.0.0.1"), (b"origin", b"http://127.0.0.1")]
    headers += [(b"content-length", str(len(body) if length is None else length).encode())]
    scope = {"type": "http", "method": "POST", "path": path, "headers": headers, "client": (client, 1)}
    left, told = list(chunks), []

    async def receive():
        if not left:
            return {"type": "http.disconnect"}
        wait, part = left.pop(0)
        await asyncio.sleep(wait)
        return {"type": "http.request", "body": part, "more_body": bool(left) or length is not None}

    async def send(message):
        told.append(message)

    # in a thread of its own: a browser driver's loop may be running in this one
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, AccessControl(app)(scope, receive, send)).result()
    return next((one["status"] for one in told if one["type"] == "http.response.start"), None), told


async def reads_all(scope, receive, send):
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise ConnectionError("broken off")
        if not message.get("more_body"):
            break
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"ok"})


def test_a_body_that_trickles_is_ended(monkeypatch):
    monkeypatch.setattr(access_control, "BODY_GRACE_S", 0.2)
    slow = [(0.1, b"x")] * 20
    assert asked(reads_all, slow)[0] == 408
    assert asked(reads_all, slow, client="127.0.0.1")[0] == 200, "this machine itself may take its time"
    assert asked(reads_all, [(0.0, b"x" * 1000)] * 20)[0] == 200
    monkeypatch.setattr(access_control, "SLOWEST_BYTES_S", 0.1)
    assert asked(reads_all, slow)[0] == 200, "a long body has its time by its length"


def test_an_upload_that_breaks_off_is_no_accident(capsys):
    status, _ = asked(reads_all, [(0.0, b"x")], length=1000)
    assert status == 400
    assert capsys.readouterr().err == ""


def test_what_goes_wrong_inside_is_one_line(capsys, monkeypatch):
    async def fails(scope, receive, send):
        raise RuntimeError("secret words")

    async def fails_late(scope, receive, send):
        await send({"type": "http.response.start", "status": 200, "headers": []})
        raise RuntimeError("secret words")

    for app, expected in ((fails, 500), (fails_late, 200)):
        status, told = asked(app, [(0.0, b"x")])
        assert status == expected
        assert told[-1]["type"] == "http.response.body"
        said = capsys.readouterr().err.splitlines()
        assert said == ["irpreview: a request for /snaps came to nothing (RuntimeError)"]
    monkeypatch.setenv("IRPREVIEW_DEBUG", "1")
    with pytest.raises(RuntimeError):
        asked(fails, [(0.0, b"x")])


class Protocol:
    """As much of the server's protocol as the limits stand on: its parser and its clock."""

    def __init__(self, loop):
        self.loop, self.conn, self.cycle = loop, h11.Connection(h11.SERVER), None

    def connection_made(self, transport):
        self.transport = transport

    def data_received(self, data):
        self.conn.receive_data(data)
        while self.conn.next_event() not in (h11.NEED_DATA, h11.PAUSED):
            pass

    def connection_lost(self, exc):
        pass


def test_the_head_of_a_second_request_has_its_time_as_well():
    timers = []

    def call_later(seconds, then):
        timer = types.SimpleNamespace(seconds=seconds, then=then, off=False)
        timer.cancel = lambda: setattr(timer, "off", True)
        timers.append(timer)
        return timer

    closed = []
    transport = types.SimpleNamespace(
        get_extra_info=lambda _: ("10.0.0.7", 1), close=lambda: closed.append(1), abort=lambda: closed.append(2)
    )
    limited = connections.limited(Protocol, connections.Places())(types.SimpleNamespace(call_later=call_later))
    limited.connection_made(transport)
    limited.data_received(b"GET / HTTP/1.1\r\nhost: a\r\n\r\n")
    assert [timer.off for timer in timers] == [True]
    limited.conn.send(h11.Response(status_code=200, headers=[("content-length", "0")]))
    limited.conn.send(h11.EndOfMessage())
    limited.conn.start_next_cycle()
    limited.data_received(b"GET / HT")
    assert [timer.off for timer in timers] == [True, False]
    limited.data_received(b"TP/1.1\r\n")
    assert len(timers) == 2, "a trickle does not start the time anew"
    timers[-1].then()
    assert closed == [1]
