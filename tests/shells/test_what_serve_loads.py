"""What `irpreview serve` loads and calls while it starts and answers: nothing that could reach out, and no outside name
or address (Python's audit events: PEP 578)."""

import json
import os
import subprocess
import sys

import pytest

PROGRAM = """
import json, sys, urllib.request
called = []
def heard(event, what):
    if event in ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr",
                 "socket.sendto", "socket.bind", "subprocess.Popen", "os.system", "urllib.Request"):
        called.append((event, repr(what[1] if event in ("socket.connect", "socket.bind") else what[0])))
sys.addaudithook(heard)
from irpreview.web.app import opened_page
with opened_page() as page:
    page.server.warming.join()
    assert urllib.request.urlopen(page.url).status == 200
print(json.dumps({"loaded": sorted({name.partition(".")[0] for name in sys.modules}), "called": called}))
"""
CANNOT_BE = {"huggingface_hub", "hf_xet", "requests", "pydub", "ffmpy", "aiohttp", "boto3", "sentry_sdk", "posthog"}
"""Clients of other machines, and what reports home."""


@pytest.fixture(scope="module")
def start(tmp_path_factory):
    kept = {"IRPREVIEW_PAGE": tmp_path_factory.mktemp("kept"), "IRPREVIEW_LOG": tmp_path_factory.mktemp("log") / "l"}
    # the framework's own switches, all turned the wrong way
    family = {"GRADIO_ANALYTICS_ENABLED": "True", "GRADIO_SHARE": "True", "HF_HUB_OFFLINE": "0"}
    ran = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", PROGRAM],
        env={**os.environ, **family, **{name: str(path) for name, path in kept.items()}},
        capture_output=True,
        text=True,
        timeout=550,
    )
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout.splitlines()[-1])


def test_nothing_that_could_reach_out_is_loaded(start):
    assert "gradio" in start["loaded"]
    assert CANNOT_BE.isdisjoint(start["loaded"]), CANNOT_BE & set(start["loaded"])


def test_no_outside_name_or_address_is_asked_for(start):
    nets = [what for event, what in start["called"] if event.startswith("socket.")]
    assert nets
    assert all("127.0.0.1" in what or "localhost" in what or "0.0.0.0" in what for what in nets), nets
    processes = [what for event, what in start["called"] if event in ("subprocess.Popen", "os.system")]
    assert all(repr(sys.executable) == what for what in processes), processes
