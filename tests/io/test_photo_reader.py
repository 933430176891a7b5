"""Photos read in a process of its own: the same picture, an end to every wait, and no process left behind."""

import io
import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from irpreview import scout_judging
from irpreview.errors import BadPhoto, BadValue, Stopped
from irpreview.io.photo_reader import PhotoReader
from irpreview.io.photos import load_photo

SCENE = Path(__file__).parents[2] / "demo_scenes" / "moor_tower" / "photo.jpg"


def large_photo(side=6000):
    """Takes long enough to be caught in the middle of it."""
    packed = io.BytesIO()
    small = np.random.default_rng(1).integers(0, 255, (side // 8, side // 8, 3), np.uint8)
    Image.fromarray(small).resize((side, side)).save(packed, "JPEG", progressive=True, quality=60)
    return packed.getvalue()


@pytest.fixture(scope="module")
def reader():
    with PhotoReader(120.0) as one:
        yield one


def test_it_reads_what_load_photo_reads(reader):
    here, there = load_photo(SCENE, max_side=512), reader.read(SCENE, max_side=512)
    assert np.array_equal(here.pixels, there.pixels)
    assert here.working is not None
    assert there.working is not None
    assert np.array_equal(here.working, there.working)
    assert (here.taken_at, here.place, here.shot, here.content_sha256, here.doubts) == (
        there.taken_at,
        there.place,
        there.shot,
        there.content_sha256,
        there.doubts,
    )
    assert not there.pixels.flags.writeable


def test_it_refuses_what_load_photo_refuses(reader, tmp_path):
    with pytest.raises(BadPhoto, match="does not exist"):
        reader.read(tmp_path / "none.jpg")
    with pytest.raises(BadValue):
        reader.read(SCENE, zone="nowhere")
    assert reader.read(SCENE, max_side=512).width == 512


def test_a_photo_that_takes_too_long_is_given_up_and_the_next_one_read():
    with PhotoReader(120.0) as reader:
        reader.start()
        reader.read(SCENE, max_side=512)
        reader.longest_s = 0.05
        begun = time.monotonic()
        with pytest.raises(BadPhoto, match=r"longer than 0\.05 s"):
            reader.read(large_photo(), name="slow.jpg")
        assert time.monotonic() - begun < 60.0
        reader.longest_s = 120.0
        assert reader.read(SCENE, max_side=512).width == 512


def test_only_who_wanted_it_stops_it():
    with PhotoReader(120.0) as reader:
        reader.read(SCENE, max_side=512)
        told = []

        def read():
            try:
                reader.read(large_photo(), wanted_by="one")
            except Stopped as error:
                told.append(str(error))

        work = threading.Thread(target=read)
        work.start()
        while reader._reads_for is None and work.is_alive():
            time.sleep(0.005)
        assert reader.stop("other") is False
        assert reader.stop("one") is True
        work.join(30)
        assert told
        assert "as asked" in told[0]
        assert reader.stop("one") is False
        assert reader.read(SCENE, max_side=512).width == 512


def test_a_reader_that_was_killed_between_two_photos_is_started_again():
    with PhotoReader(120.0) as reader:
        reader.read(SCENE, max_side=512)
        assert reader._process is not None
        reader._process.kill()
        reader._process.wait()
        assert reader.read(SCENE, max_side=512).width == 512


@pytest.mark.skipif(os.name == "nt", reason="signals")
def test_no_reader_outlives_its_owner(tmp_path):
    script = (
        "import os, sys\nfrom irpreview.io.photo_reader import PhotoReader\n"
        f"reader = PhotoReader(120.0); reader.read({str(SCENE)!r}, max_side=256)\n"
        "print(reader._process.pid, flush=True)\nos.kill(os.getpid(), 9)\n"
    )
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=120)
    number = int(ran.stdout)
    for _ in range(100):
        try:
            os.kill(number, 0)
        except ProcessLookupError:
            return
        if Path(f"/proc/{number}/stat").exists() and " Z " in Path(f"/proc/{number}/stat").read_text():
            return
        time.sleep(0.1)
    pytest.fail("the reader is still there")


def test_a_snap_that_takes_too_long_costs_a_scouting_that_snap_only(tmp_path, monkeypatch):
    with PhotoReader(120.0) as reader:
        reader.read(SCENE, max_side=256)
        reader.longest_s = 0.01
        monkeypatch.setattr(scout_judging, "reader", lambda: reader)
        data = large_photo()
        task = scout_judging.Task("a.jpg", "a.jpg", "", "", data)
        answer = scout_judging.judge_task(task, scout_judging.Settings())
    assert isinstance(answer, scout_judging.Refused)
    assert "longer than" in answer.why
