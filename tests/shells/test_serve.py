"""`irpreview serve` as a process of its own: port, browser, stopping, and the local network behind a password."""

import base64
import os
import signal
import socket
import stat
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from irpreview.cli import main, serve
from irpreview.core.field_log.entries import LogEntry
from irpreview.io.field_log import FieldLog
from irpreview.web import app
from irpreview.web.app import lan_addresses
from tests.shells.test_access_control import call, opened_session

PASSWORD = "a long enough one"


@contextmanager
def serving(tmp_path, *arguments, **environment):
    """A running `irpreview serve`; gives the process and what it has said when the page is open."""
    spoken = tmp_path / "said.txt"
    folder = tmp_path / "temporary"
    folder.mkdir(exist_ok=True)
    values = {
        **os.environ,
        "TMPDIR": str(folder),
        "BROWSER": "true",
        "NO_PROXY": "*",
        "IRPREVIEW_PAGE": str(tmp_path / "kept"),
        **environment,
    }
    with spoken.open("w") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "irpreview", "serve", *arguments], stdout=out, stderr=out, env=values
        )
    try:
        for _ in range(900):
            if "is open at" in spoken.read_text() or process.poll() is not None:
                break
            time.sleep(0.1)
        time.sleep(0.2)
        yield process, spoken
    finally:
        if process.poll() is None:
            process.kill()
        process.wait(30)


def address(spoken):
    return next(word for word in spoken.read_text().split() if word.startswith("http://127.0.0.1:"))


def test_it_opens_on_a_free_port_and_stops_cleanly_with_ctrl_c(tmp_path):
    with serving(tmp_path, "--no-open") as (process, spoken):
        url = address(spoken)
        assert httpx.get(url, timeout=30, trust_env=False).status_code == 200
        folders = list((tmp_path / "temporary").glob("irpreview-page-*"))
        assert [stat.S_IMODE(folder.stat().st_mode) for folder in folders] == [0o700]
        process.send_signal(signal.SIGINT)
        assert process.wait(60) == 0
        said = spoken.read_text()
        assert "The page is closed." in said
        assert "Traceback" not in said
        assert not list((tmp_path / "temporary").glob("irpreview-page-*"))
        with pytest.raises(httpx.ConnectError):
            httpx.get(url, timeout=5, trust_env=False)


def test_the_wished_port_is_used_and_the_browser_opened(tmp_path):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    browser = tmp_path / "browser.sh"
    browser.write_text(f'#!/bin/sh\necho "$1" > {tmp_path}/opened.txt\n')
    browser.chmod(0o755)
    with serving(tmp_path, "--port", str(port), BROWSER=f"{browser} %s") as (process, spoken):
        assert address(spoken) == f"http://127.0.0.1:{port}/"
        for _ in range(100):
            if (tmp_path / "opened.txt").exists():
                break
            time.sleep(0.1)
        assert (tmp_path / "opened.txt").read_text().strip() == f"http://127.0.0.1:{port}/"
        # Only this machine is listened to.
        for other in lan_addresses():
            with socket.socket() as probe:
                assert probe.connect_ex((other, port)) != 0
        process.send_signal(signal.SIGTERM)
        assert process.wait(60) == 0


def run(*arguments):
    with pytest.raises(SystemExit) as left:
        main(["serve", *arguments])
    return int(left.value.code or 0)


def test_a_taken_port_is_one_line(capsys):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        assert run("--no-open", "--port", str(taken.getsockname()[1])) == 2
    said = capsys.readouterr().err
    assert "is taken" in said
    assert said.count("\n") == 1


def test_a_port_out_of_range_is_one_line(capsys):
    assert run("--no-open", "--port", "80") == 2
    assert "1024 to 65535" in capsys.readouterr().err


def test_a_short_password_is_refused_before_anything_opens(capsys, monkeypatch):
    monkeypatch.setenv("IRPREVIEW_LAN_PASSWORD", "short")
    assert run("--lan", "--no-open") == 2
    assert "at least 8" in capsys.readouterr().err


def test_without_a_password_in_the_environment_it_is_asked_for_twice(capsys, monkeypatch):
    given = []

    @contextmanager
    def opened_page(port, password):
        given.append((port, password))
        os.kill(os.getpid(), signal.SIGINT)
        yield app.OpenPage("http://127.0.0.1:1/", ("http://192.168.1.5:1/",), None, Path("x"))

    def prompt(_text, *, hide_input, confirmation_prompt, err):
        assert hide_input
        assert confirmation_prompt
        assert err
        return PASSWORD

    monkeypatch.setattr(serve, "opened_page", opened_page)  # where the command looks it up, whenever it was loaded
    monkeypatch.setattr("typer.prompt", prompt)
    monkeypatch.delenv("IRPREVIEW_LAN_PASSWORD", raising=False)
    before = signal.getsignal(signal.SIGINT)
    assert run("--lan", "--no-open") == 0
    assert given == [(None, PASSWORD)]
    said = capsys.readouterr().err
    assert PASSWORD not in said
    assert "http://192.168.1.5:1/" in said
    assert "not encrypted" in said
    assert signal.getsignal(signal.SIGINT) is before


def basic(password):
    return {"authorization": "Basic " + base64.b64encode(f"me:{password}".encode()).decode()}


@pytest.fixture(scope="module")
def on_the_network(tmp_path_factory):
    """`irpreview serve --lan` with a log of its owner: (what it said, address for guests); ended by Ctrl-C."""
    addresses = lan_addresses()
    if not addresses:
        pytest.skip("this machine has no address on a local network")
    folder = tmp_path_factory.mktemp("lan")
    log = folder / "log.sqlite"
    with FieldLog(log) as book:
        book.add(LogEntry("unmodified-720", place_name="Secret mill"))
    words = {"IRPREVIEW_LAN_PASSWORD": PASSWORD, "IRPREVIEW_LOG": str(log)}
    with serving(folder, "--lan", "--no-open", **words) as (process, spoken):
        yield spoken, next(word for word in spoken.read_text().split() if word.startswith(f"http://{addresses[0]}:"))
        process.send_signal(signal.SIGINT)
        assert process.wait(60) == 0


def test_on_the_local_network_with_a_password(on_the_network):
    spoken, url = on_the_network
    said = spoken.read_text()
    assert "not encrypted" in said
    assert PASSWORD not in said
    with httpx.Client(base_url=url, timeout=30, trust_env=False) as guest:
        refused = guest.get("/")
        assert refused.status_code == 401
        assert refused.headers["www-authenticate"].startswith("Basic")
        assert guest.get("/", headers=basic("a wrong one")).status_code == 401
        assert guest.post("/snaps", content=b"x", headers={"origin": url.rstrip("/")}).status_code == 401
        own = basic(PASSWORD)
        page = guest.get("/", headers=own)
        assert page.status_code == 200
        assert "frame-ancestors 'none'" in page.headers["content-security-policy"]
        # Host and origin hold here too.
        assert guest.get("/", headers={**own, "host": "evil.example"}).status_code == 400
        for origin in ("http://evil.example", f"http://127.0.0.1:{httpx.URL(url).port}"):
            answer = guest.post("/snaps", content=b"x", headers={**own, "origin": origin})
            assert answer.status_code == 403
        given = guest.post("/snaps", content=b"x", headers={**own, "origin": url.rstrip("/")})
        assert given.status_code == 200
    # The machine itself needs none.
    assert httpx.get(address(spoken), timeout=30, trust_env=False).status_code == 200


def test_a_guest_on_the_local_network_sees_no_log(on_the_network):
    spoken, guests = on_the_network
    for url, headers, sees in ((guests, basic(PASSWORD), False), (address(spoken), {}, True)):
        headers = {**headers, "origin": url.rstrip("/")}
        with httpx.Client(base_url=url, timeout=60, headers=headers, trust_env=False) as client:
            text = str(call(client, "open", {"token": None}))
            text += str(call(client, "log_search", {"words": "mill", "token": opened_session(client)}))
        assert ("Secret mill" in text) is sees
        assert ("only there" in text) is not sees
