"""The page's doors: what is refused, and that the page still answers afterwards.

Header rules: Host and Origin per RFC 9110 and the Fetch standard; Basic authentication per RFC 7617.
"""

import asyncio
import base64
import io
import json
import os
import socket
import stat
import subprocess
import sys
import types
import warnings
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import quote

import httpx
import numpy as np
import psutil
import pytest
from gradio import http_server
from PIL import Image
from starlette.requests import Request

from irpreview.errors import BadValue
from irpreview.web import access_control, connections, uploads
from irpreview.web import app as app_module
from irpreview.web import server as server_module
from irpreview.web.access_control import AccessControl
from irpreview.web.uploads import Uploads

# The framework's own warnings, raised in its threads, are not ours to mend.
pytestmark = [
    pytest.mark.filterwarnings("ignore::DeprecationWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    with warnings.catch_warnings(), pytest.MonkeyPatch.context() as patched:
        patched.setenv("IRPREVIEW_PAGE", str(tmp_path_factory.mktemp("kept")))
        patched.setenv("IRPREVIEW_LOG", str(tmp_path_factory.mktemp("log") / "log.sqlite"))
        warnings.simplefilter("ignore")  # the framework's own
        with app_module.opened_page() as one:
            yield one


@pytest.fixture
def client(opened):
    with httpx.Client(base_url=opened.url, timeout=60, headers={"origin": opened.url.rstrip("/")}) as one:
        yield one
        # After whatever was tried, the page still answers.
        assert one.get("/").status_code == 200


def jpeg(width=160, height=120, colour=(90, 140, 80)):
    packed = io.BytesIO()
    rng = np.random.default_rng(1)
    pixels = np.clip(np.array(colour) + rng.normal(0, 12, (height, width, 3)), 0, 255).astype(np.uint8)
    Image.fromarray(pixels).save(packed, "JPEG")
    return packed.getvalue()


def call(client, name, data=None):
    """Call one of the page's handlers as a browser would; returns all parts of the answer."""
    joined = client.post(f"/gradio_api/call/{name}", json={"data": [data or {}]})
    if joined.status_code != 200:
        return [{"status": joined.text, "sorry": True, "code": joined.status_code}]
    heard: list[dict[str, Any]] = []
    kind = ""
    with client.stream("GET", f"/gradio_api/call/{name}/{joined.json()['event_id']}") as stream:
        for line in stream.iter_lines():
            if line.startswith("event: "):
                kind = line[7:]
            elif line.startswith("data: ") and kind in ("generating", "error"):
                heard += json.loads(line[6:]) or [{"status": "refused", "sorry": True}]
    return heard


def opened_session(client):
    """A fresh session, as the page gets one when it is opened."""
    return next(part["values"]["token"] for part in call(client, "open", {"token": None}) if "values" in part)


def upload(client, name, data):
    return client.post("/snaps", content=data, headers={"x-file-name": quote(name)})


def give(client, *numbers):
    """What the page does once files are here: names them by their numbers."""
    return call(client, "give", {"given": list(numbers), "token": opened_session(client)})


# ---- one test per hostile request ----------------------------------------------------------------------------------


def test_a_foreign_host_is_refused(client):
    for host in ("evil.example", "evil.example:80", "127.0.0.1.evil.example", "[::2]", ""):
        assert client.get("/", headers={"host": host}).status_code == 400


def test_the_own_host_may_have_any_port_and_case(opened):
    assert httpx.get(opened.url, headers={"host": "LOCALHOST:1234"}).status_code == 200


def test_a_foreign_origin_is_refused(client):
    for origin in ("https://evil.example", "null", "http://localhost:3000", "file://"):
        answer = client.post("/gradio_api/call/give", json={}, headers={"origin": origin})
        assert answer.status_code == 403
        assert "access-control-allow-origin" not in answer.headers


def test_a_foreign_page_cannot_fill_the_disk_by_upload(client, opened):
    before = sorted(opened.folder.rglob("*"))
    answer = client.post("/snaps", content=jpeg(), headers={"x-file-name": "a.jpg", "origin": "https://evil.example"})
    assert answer.status_code == 403
    assert sorted(opened.folder.rglob("*")) == before


def test_a_writing_request_without_an_origin_is_refused(opened):
    with httpx.Client(base_url=opened.url) as bare:
        assert bare.post("/gradio_api/call/give", json={}).status_code == 403
        assert bare.post("/snaps", content=jpeg()).status_code == 403


def test_a_request_from_another_site_is_refused(client):
    headers = {"sec-fetch-site": "cross-site"}
    assert client.get("/page/page.js", headers=headers).status_code == 403


def test_following_a_link_to_the_page_is_fine(client):
    headers = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}
    assert client.get("/", headers=headers).status_code == 200


@pytest.mark.parametrize(
    "path",
    [
        "/gradio_api/file=/etc/passwd",
        "/gradio_api/file=../../../../etc/passwd",
        "/gradio_api/file=%2e%2e/%2e%2e/etc/passwd",
        "/page/../../../../etc/passwd",
        "/page/%2e%2e/%2e%2e/etc/passwd",
        "/page/..%2fapp.py",
        "/gradio_api/file=" + str(Path(app_module.__file__)),
        "/gradio_api/file=http://127.0.0.1/",
    ],
)
def test_no_file_of_the_machine_is_given_out(client, path):
    answer = client.get(path)
    assert answer.status_code in (400, 403, 404, 405)
    assert "root:" not in answer.text
    assert "def open_page" not in answer.text


CLOSED = (
    *("/monitoring", "/gradio_api/info", "/gradio_api/openapi.json", "/docs", "/redoc", "/openapi.json", "/login"),
    *("/gradio_api/proxy=http://127.0.0.1", "/gradio_api/component_server", "/gradio_api/run/predict", "/.env"),
    *("/gradio_api/upload", "/gradio_api/upload_progress", "/upload"),
    *("/config", "/theme.css", "/static/x", "/assets/x", "/svelte/x", "/manifest.json", "/gradio_api/queue/join"),
    *(
        "/gradio_api/queue/data",
        "/gradio_api/call/../upload",
        "/gradio_api/call/Give",
        "/gradio_api/api/predict",
        "/gradio_api/mcp/",
        "/gradio_api/dev/reload",
    ),
)


@pytest.mark.parametrize("path", CLOSED)
def test_doors_that_the_page_does_not_need_are_closed(client, path):
    assert client.get(path).status_code in (403, 404)
    assert client.post(path, json={}).status_code in (403, 404)


def test_an_oversize_upload_is_refused_before_it_is_read(client, opened):
    size = access_control.UPLOAD_LIMIT_BYTES + 1
    with socket.create_connection(("127.0.0.1", httpx.URL(opened.url).port), timeout=20) as raw:
        head = (
            "POST /snaps HTTP/1.1\r\n"
            f"Host: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\nContent-Length: {size}\r\n"
            "Content-Type: application/octet-stream\r\n\r\n"
        )
        raw.sendall(head.encode())
        assert b" 413 " in raw.recv(4096)


def test_one_photo_over_the_limit_is_refused(client, opened):
    answer = upload(client, "big.jpg", b"\xff\xd8" + bytes(access_control.UPLOAD_LIMIT_BYTES + 10))
    assert answer.status_code == 413
    assert not [path for path in opened.folder.rglob("*") if path.is_file() and path.stat().st_size > 1_000_000]


def test_an_ordinary_request_may_not_be_large(client):
    answer = client.post("/gradio_api/call/give", content=b"x" * (access_control.ORDINARY_LIMIT_BYTES + 1))
    assert answer.status_code == 413


def test_a_pixel_bomb_is_a_sentence(client):
    bomb = io.BytesIO()
    Image.new("1", (16000, 16000)).save(bomb, "PNG")
    answer = give(client, upload(client, "bomb.png", bomb.getvalue()).json()["given"])
    text = json.dumps(answer)
    assert "16000 x 16000" in text
    assert "sorry" in text
    assert "Traceback" not in text


def test_an_address_instead_of_a_file_is_never_looked_up(client, monkeypatch):
    asked = []
    real = socket.getaddrinfo

    def listening(host, *args, **named):
        asked.append(host)
        return real(host, *args, **named)

    monkeypatch.setattr(socket, "getaddrinfo", listening)
    for address in ("http://photos.example/a.jpg", "http://169.254.169.254/latest", "ftp://photos.example/a.jpg"):
        answer = give(client, address)
        assert "not here any more" in json.dumps(answer)
    assert not [host for host in asked if host not in ("127.0.0.1", "localhost", None)]


@pytest.mark.parametrize("given", [{"url": "http://a.example/y.jpg"}, {"path": "/etc/passwd"}, {"path": 7}])
def test_the_frameworks_own_kind_of_file_is_refused_in_one_line(client, capsys, given):
    """What it would fetch or read before our handler is asked at all; it told the terminal all of its insides."""
    file = {"path": "http://a.example/y.jpg", **given, "meta": {"_type": "gradio.FileData"}}
    call(client, "open", {"token": None, "x": file})
    said = capsys.readouterr().err.splitlines()
    assert len(said) <= 1
    assert all(line.startswith("irpreview: a call of the page came to nothing (") for line in said)


def test_a_file_of_the_machine_cannot_be_named_as_an_upload(client):
    for path in ("/etc/passwd", str(Path(app_module.__file__)), "../../etc/passwd", {"name": "/etc/passwd"}, ["x"], 7):
        text = json.dumps(give(client, path))
        assert "root:" not in text
        assert "not here any more" in text


def test_a_file_is_handed_out_once_and_only_by_its_number(client):
    number = upload(client, "snap.jpg", jpeg()).json()["given"]
    assert len(number) >= 32
    assert "snap.jpg" in json.dumps(give(client, number))
    assert "not here any more" in json.dumps(give(client, number))


def test_two_people_may_give_the_same_file(client):
    first, second = (upload(client, "snap.jpg", jpeg()).json()["given"] for _ in range(2))
    assert first != second
    assert "infrared" in json.dumps(give(client, first))
    assert "infrared" in json.dumps(give(client, second))


def test_a_script_in_a_file_name_stays_text(client):
    name = "<img src=x onerror=alert(1)>{{7*7}}${alert(2)}.jpg"
    answer = give(client, upload(client, name, jpeg()).json()["given"])
    html = " ".join(text for part in answer for text in part.get("parts", {}).values())
    assert "onerror" in html
    assert "<img src=x" not in html


def test_upload_names_cannot_climb_out_of_the_folder(client, opened):
    for name in (
        "../../evil.jpg",
        "..\\..\\evil.jpg",
        "/etc/evil.jpg",
        "a" * 400 + ".jpg",
        "..",
        "",
        "\0.jpg",
        "é" * 300,
    ):
        number = upload(client, name, jpeg()).json()["given"]
        path = opened.server.uploads.take(number)
        assert path.is_file()
        assert path.resolve().is_relative_to(opened.folder.resolve())
        opened.server.uploads.discard(path)
    assert not [path for path in opened.folder.parent.iterdir() if "evil" in path.name]


def test_a_page_among_the_uploads_is_never_given_out(client, opened):
    number = upload(client, "evil.html", b"<script>alert(1)</script>").json()["given"]
    path = opened.server.uploads.take(number)
    answer = client.get(f"/gradio_api/file={path}")
    assert answer.status_code == 404
    assert "<script>alert" not in answer.text
    assert client.get(f"/snaps/{number}").status_code == 404


def test_waiting_uploads_are_bounded_and_forgotten(tmp_path):
    now = [0.0]
    waiting = uploads.Uploads(tmp_path, clock=lambda: now[0])

    def receive(data):
        async def body():
            return {"type": "http.request", "body": data, "more_body": False}

        scope = {"type": "http", "method": "POST", "headers": [(b"x-file-name", b"a.jpg")]}
        with ThreadPoolExecutor(1) as apart:  # the browser driver keeps a loop running in this thread
            answer = apart.submit(asyncio.run, waiting.receive(Request(scope, body))).result()
        return json.loads(bytes(answer.body))["given"]

    first = receive(b"x")
    for _ in range(uploads.MOST_WAITING):
        receive(b"x")
    assert len(waiting) == uploads.MOST_WAITING
    assert waiting.take(first) is None
    now[0] = uploads.IDLE_S + 1
    receive(b"x")
    assert len(waiting) == 1
    assert len([path for path in tmp_path.rglob("*") if path.is_file()]) == 1


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("pick", {"index": 3}),
        ("pick", {"index": "0; drop"}),
        ("take", {"strokes": [{"class_name": "../x", "points": [[9, 9]], "width": 5}], "reach": 0}),
        ("outline", {"strokes": "x" * 1000, "reach": 10**9}),
        ("area", {"area": 10**9, "class_name": "__import__"}),
        ("undo", {}),
        ("redo", {}),
        ("drop", {"index": -1}),
        ("move", {"wind": 10**6, "shutter": -5}),
        ("settle", {}),
        ("view", {"name": "../../etc/passwd"}),
        ("section", {"name": ["log"]}),
        ("card", {}),
        ("log_plan", {}),
        ("log_note", {"number": -1, "fields": {"taken": "../../etc/passwd"}, "given": "/etc/passwd"}),
        ("log_compare", {"given": "/etc/passwd"}),
        ("log_search", {"since": "'; DROP TABLE frames; --"}),
        ("log_remove", {"number": "1 OR 1=1"}),
        ("log_use", {"what": "__class__", "on": True}),
        ("log_keep", {}),
    ],
)
@pytest.mark.parametrize("known", [True, False])
def test_calls_that_make_no_sense_answer_with_a_sentence(client, name, data, known):
    token = opened_session(client) if known else "made-up-token"
    text = json.dumps(call(client, name, {**data, "token": token}))
    assert "sorry" in text
    assert "Traceback" not in text
    assert "something went wrong" not in text.lower()
    assert "root:" not in text


@pytest.mark.parametrize("body", [b"", b"[]", b"{}", b'{"data": 5}', b'{"data": [5]}', b'{"data": [[]]}', b"\xff"])
def test_bodies_that_are_no_call_are_refused(client, body):
    answer = client.post("/gradio_api/call/pick", content=body, headers={"content-type": "application/json"})
    assert "Traceback" not in answer.text


def test_entries_that_make_no_sense_are_told_each_at_its_own(client):
    values = {"kit": "../../kit", "place": {"a": 1}, "when": [], "lowest_iso": 1e308, "made_up": 1, "zone": "UTC"}
    parts = call(client, "enter", {"values": values, "number": 1, "token": opened_session(client)})
    assert set(parts[0]["refused"]) == {"kit", "place", "lowest_iso"}


def test_nothing_is_written_outside_the_pages_folder(client, opened, tmp_path, monkeypatch):
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.chdir(home)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setattr(opened.server.desk.keeping, "folder", tmp_path / "kept")
    give(client, upload(client, "snap.jpg", jpeg()).json()["given"])
    assert not list(home.rglob("*"))
    assert [path.name for path in (tmp_path / "kept").glob("*/*.jpg") if path.name.startswith("0001")]
    assert all(stat.S_IMODE(path.stat().st_mode) == 0o700 for path in (tmp_path / "kept").iterdir())
    assert stat.S_IMODE(opened.folder.stat().st_mode) == 0o700


# ---- answers carry their rules --------------------------------------------------------------------------------------


def test_every_answer_carries_the_policy(client):
    for path in ("/", "/page/page.css", "/nothing", "/favicon.ico"):
        headers = client.get(path).headers
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-frame-options"] == "DENY"
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"


def test_the_page_names_no_other_host(client):
    text = client.get("/").text
    for outside in ("googleapis", "gstatic", "cdnjs", "huggingface.co/front", "analytics"):
        assert f"//{outside}" not in text
        assert f'src="https://{outside}' not in text


# ---- the checks by themselves ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("host", "own"),
    [("127.0.0.1:8471", True), ("localhost", True), ("127.0.0.1", True), ("evil", False), ("[::1]:80", False)],
)
def test_own_hosts(host, own):
    assert access_control.host_is_own(host, ("127.0.0.1", "localhost")) is own


@pytest.mark.parametrize(
    ("header", "password"),
    # RFC 7617, section 2: user "Aladdin", password "open sesame".
    [
        ("Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==", "open sesame"),
        ("basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==", "open sesame"),
        ("Bearer QWxhZGRpbjpvcGVuIHNlc2FtZQ==", None),
        ("Basic %%%", None),
        ("", None),
        (None, None),
    ],
)
def test_passwords_are_read_as_the_standard_says(header, password):
    assert access_control.password_of(header) == password


def ask(guard, client="192.168.1.20", password=None, path="/"):
    headers = {"host": "192.168.1.5:8471"}
    if password is not None:
        headers["authorization"] = "Basic " + base64.b64encode(f"me:{password}".encode()).decode()
    return guard.judge({"method": "GET", "path": path, "client": (client, 5000), "type": "http"}, headers)[0]


def lan_guard(clock=lambda: 0.0):
    async def nothing(scope, receive, send):
        raise AssertionError

    return AccessControl(nothing, own_hosts=("127.0.0.1", "192.168.1.5"), password="long enough", clock=clock)


def test_on_the_local_network_everything_needs_the_password():
    guard = lan_guard()
    for path in ("/", "/page/page.js", "/gradio_api/call/open", "/snaps"):
        assert ask(guard, path=path) == 401
        assert ask(guard, password="long enough", path=path) == 200


def test_the_machine_itself_needs_no_password():
    assert ask(lan_guard(), client="127.0.0.1") == 200


def test_guessing_is_slowed_down_per_client_and_forgiven_after_a_minute():
    now = [0.0]
    guard = lan_guard(lambda: now[0])
    for _ in range(access_control.WRONG_PASSWORDS_ALLOWED):
        assert ask(guard, password="wrong") == 401
    assert ask(guard, password="long enough") == 429
    assert ask(guard, client="192.168.1.21", password="long enough") == 200
    now[0] += access_control.WRONG_PASSWORD_PAUSE_S + 1
    assert ask(guard, password="long enough") == 200


def test_a_short_password_is_refused():
    with pytest.raises(BadValue, match="at least 8"):
        app_module.check_password("short")


def test_a_taken_port_is_said(opened):
    with pytest.raises(BadValue, match="taken"):
        app_module.free_port(httpx.URL(opened.url).port)


def test_a_port_out_of_range_is_said():
    with pytest.raises(BadValue, match="1024 to 65535"):
        app_module.free_port(80)


def test_without_a_wish_a_free_port_is_found(opened):
    assert 1024 <= app_module.free_port() <= 65535


def test_a_port_taken_while_the_page_is_built_is_left_for_another(monkeypatch, tmp_path):
    tried = []

    class Server:
        uploads = Uploads(tmp_path)

        def launch(self, **options):
            tried.append(options["server_port"])
            if len(tried) == 1:
                raise OSError("address already in use")

    monkeypatch.setattr(server_module, "build_server", lambda folder, middleware: Server())
    found = iter([50001, 50002, 50003])
    monkeypatch.setattr(app_module, "free_port", lambda *wish: next(found))
    with app_module.opened_page() as one:
        assert tried == [50001, 50002]
        assert one.url == "http://127.0.0.1:50002/"
    tried.clear()
    with pytest.raises(BadValue, match="50003 is taken"), app_module.opened_page(50003):
        pass


def test_addresses_on_the_local_network_are_private_ones_and_nothing_is_looked_up(monkeypatch):
    # itself, a public one, two of RFC 1918, the one most used once more
    cards = ("127.0.0.1", "100.20.30.40", "192.168.7.20", "10.0.0.5", "172.16.0.9")

    class Probe:
        def __init__(self, *_):
            pass

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

        def connect(self, _):
            pass

        def getsockname(self):
            return "172.16.0.9", 40000

    def looked_up(*name):
        raise AssertionError(f"looked up {name}")

    with monkeypatch.context() as patched:
        for way in ("getaddrinfo", "gethostbyname", "gethostbyname_ex", "gethostbyaddr", "getfqdn"):
            patched.setattr(socket, way, looked_up)
        patched.setattr(
            psutil,
            "net_if_addrs",
            lambda: {
                f"card{number}": [
                    types.SimpleNamespace(family=socket.AF_INET6, address="fe80::1"),
                    types.SimpleNamespace(family=socket.AF_INET, address=one),
                ]
                for number, one in enumerate(cards)
            },
        )
        patched.setattr(socket, "socket", Probe)
        found = app_module.lan_addresses()
    assert found == ("172.16.0.9", "192.168.7.20", "10.0.0.5")


def test_the_folder_goes_with_the_page():
    folder = app_module.own_folder()
    (folder / "x.jpg").write_bytes(b"x")
    app_module.OpenPage("http://127.0.0.1:1/", (), None, folder).close()
    assert not folder.exists()


def test_only_this_machine_is_listened_on_unless_asked():
    alone = app_module.launch_options(8471, None)
    shared = app_module.launch_options(8471, "long enough")
    assert alone["server_name"] == "127.0.0.1"
    assert shared["server_name"] == "0.0.0.0"
    assert alone["share"] is shared["share"] is False
    assert os.environ["GRADIO_ANALYTICS_ENABLED"] == "False"


@pytest.mark.parametrize("address", ["http://a.example/x", "http%3A%2F%2Fa.example/x", "http:/a.example/x"])
def test_an_address_in_place_of_a_file_is_refused_before_anything_is_looked_up(address):
    assert not access_control.path_is_open(f"/gradio_api/file={address}")


def test_the_servers_libraries_believe_nobody_about_a_callers_address(monkeypatch, tmp_path):
    for name in ("FORWARDED_ALLOW_IPS", "GRADIO_ROOT_PATH", "GRADIO_ALLOWED_PATHS", "GRADIO_SERVER_NAME", "SPACE_ID",
                 "GRADIO_MCP_SERVER", "GRADIO_SHARE", "GRADIO_DEBUG", "WEB_CONCURRENCY", "OAUTH_CLIENT_ID", "HF_TOKEN",
                 "SYSTEM", "GRADIO_NODE_PATH", "UVICORN_HOST"):  # fmt: skip
        monkeypatch.setenv(name, "*")
    app_module.prepare_framework(tmp_path)
    assert "*" not in {os.environ.get(name) for name in os.environ if name.startswith(("GRADIO_", "SPACE", "HF_"))}
    made = http_server.uvicorn.Config(app=None)
    assert made.proxy_headers is False
    assert made.forwarded_allow_ips == ""
    assert made.workers == 1


def test_one_address_has_few_connections_and_this_machine_always_has_room():
    places = connections.Places()
    assert sum(places.enter("10.0.0.7") for _ in range(1100)) == connections.MOST_OF_ONE_ADDRESS
    assert all(places.enter("127.0.0.1") for _ in range(1000))
    assert places.enter("10.0.0.8")
    places.leave("10.0.0.7")
    assert places.enter("10.0.0.7")
    assert not places.enter("10.0.0.7")
    for number in range(1000):
        places.enter(f"10.1.{number // 250}.{number % 250}")
    assert places.taken.total() == connections.MOST_OF_OTHERS
    assert places.enter("::1")


def test_a_connection_without_a_request_is_closed(monkeypatch):
    monkeypatch.setattr(connections, "FIRST_REQUEST_S", 0.3)
    with (
        app_module.opened_page() as page,
        socket.create_connection(("127.0.0.1", int(page.url.split(":")[2][:-1]))) as c,
    ):
        c.settimeout(10)
        c.sendall(b"GET / HTTP/1.1\r\n")
        assert c.recv(100) == b""


def test_leftovers_of_a_killed_page_go_and_nothing_else(tmp_path):
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    names = {f"irpreview-page-{gone.pid}-abc": False, f"irpreview-page-{os.getpid()}-abc": True, "other-1-x": True,
             "irpreview-page-abc": True, "irpreview-page-x-abc": True}  # fmt: skip
    for name in names:
        (tmp_path / name / "in").mkdir(parents=True)
        (tmp_path / name / "in" / "snap.jpg").write_bytes(b"x")
    app_module.remove_leftovers(tmp_path)
    assert {name: (tmp_path / name).exists() for name in names} == names


def test_the_page_looks_nothing_up(monkeypatch):
    asked, look_up = [], socket.getaddrinfo

    def recording(host, *rest, **named):
        asked.append(host)
        return look_up(host, *rest, **named)

    with app_module.opened_page() as page:
        monkeypatch.setattr(socket, "getaddrinfo", recording)
        told = [
            httpx.get(page.url + path).status_code
            for path in ("", *(f"gradio_api/{way}=http://a.example/x" for way in ("file", "proxy")))
        ]
    assert told == [200, 404, 404]
    assert set(asked) <= {"127.0.0.1", "localhost", "::1", None}
