"""`irpreview scout`: from a folder of snaps to its ranking; stopped and gone on, spread over workers, and refused."""

from __future__ import annotations

import csv
import json
import logging
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from jsonschema import Draft202012Validator
from PIL import Image

from irpreview import judge, load_photo, scouting
from irpreview.cli import main
from irpreview.core.words.verdict_words import reasons
from irpreview.errors import BadCluster, BadPhoto, BadValue
from irpreview.io.kits import load_kit
from irpreview.io.log_exchange import LogLessons
from irpreview.io.scout_store import STORE_NAME, ScoutStore
from irpreview.io.scout_tables import scouting_csv
from irpreview.records import Conditions
from irpreview.request import Inputs
from irpreview.scout_judging import Settings, Task, judge_task, key_of
from tests.benchmarks.scout import make_snaps
from tests.conftest import read_picture

SCENES = Path(__file__).resolve().parents[2] / "demo_scenes"
HERE, THERE = (47.25, -16.5), (47.26, -16.48)


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as left:
        main(["scout", *[str(a) for a in arguments]])
    return int(left.value.code or 0)


def write_snap(path: Path, pixels: np.ndarray, place: tuple[float, float] | None = None, taken: str = "") -> None:
    """A small JPEG (sRGB) with a place and a time in it."""

    def dms(angle: float) -> tuple[int, int, float]:
        minutes = abs(angle) * 60
        return int(minutes // 60), int(minutes % 60), round(minutes * 60 % 60, 3)

    exif = Image.Exif()
    if place is not None:
        gps = exif.get_ifd(0x8825)
        gps[1], gps[2] = "N" if place[0] >= 0 else "S", dms(place[0])
        gps[3], gps[4] = "E" if place[1] >= 0 else "W", dms(place[1])
    if taken:
        exif.get_ifd(0x8769)[0x9003] = taken
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.ascontiguousarray(pixels)).save(path, quality=88, exif=exif)


@pytest.fixture(scope="module")
def views(sample_photographs: dict[str, np.ndarray]) -> list[np.ndarray]:
    """Four views at 320 px, sRGB."""
    scenes = [read_picture(SCENES / n / "photo.jpg")[..., ::-1] for n in ("moor_tower", "plain_blue_lea", "low_flats")]
    out = []
    for pixels in (*scenes, sample_photographs["china.jpg"]):
        k = 320 / max(pixels.shape)
        out.append(cv2.resize(pixels, None, fx=k, fy=k, interpolation=cv2.INTER_AREA))
    return out


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory, views: list[np.ndarray]) -> Path:
    """Six snaps of four views, one exact copy, two broken files, one that is no photo."""
    folder = tmp_path_factory.mktemp("day")
    write_snap(folder / "tower.jpg", views[0], HERE, "2026:06:21 10:00:00")
    write_snap(folder / "walk" / "tower again.jpg", views[0][4:-6, 3:-9], HERE, "2026:06:21 10:00:02")
    write_snap(folder / "walk" / "lea.jpg", views[1], THERE, "2026:06:21 11:00:00")
    write_snap(folder / "walk" / "flats.jpg", views[2])
    write_snap(folder / "temple.jpg", views[3])
    shutil.copy(folder / "temple.jpg", folder / "a copy of temple.jpg")
    whole = (folder / "tower.jpg").read_bytes()
    (folder / "cut.jpg").write_bytes(whole[: len(whole) // 2])
    (folder / "walk" / "empty.png").write_bytes(b"")
    (folder / "notes.txt").write_text("windy")
    return folder


@pytest.fixture(scope="module")
def done(day: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The results of one run over the day."""
    out = tmp_path_factory.mktemp("results") / "out"
    assert run(day, "--out", out, "--wind", "3", "--jobs", "1") == 1
    return out


def rows(out: Path) -> list[dict[str, str]]:
    with (out / "scout.csv").open(newline="") as file:
        return list(csv.DictReader(file))


def test_everything_is_judged_or_listed(done: Path) -> None:
    found = rows(done)
    judged = {r["photo"] for r in found if r["rank"]}
    assert judged == {
        "tower.jpg",
        "walk/tower again.jpg",
        "walk/lea.jpg",
        "walk/flats.jpg",
        "temple.jpg",
        "a copy of temple.jpg",
    }
    refused = {r["photo"]: r["refused"] for r in found if not r["rank"]}
    assert set(refused) == {"cut.jpg", "walk/empty.png"}
    assert "ends too early" in refused["cut.jpg"]
    assert all(refused.values())


def test_like_ones_are_together_and_the_best_leads(done: Path) -> None:
    ranks = {r["photo"]: (r["rank"], r["in_view"]) for r in rows(done) if r["rank"]}
    assert ranks["tower.jpg"][0] == ranks["walk/tower again.jpg"][0]
    assert {ranks["temple.jpg"][0], ranks["a copy of temple.jpg"][0]} == {ranks["temple.jpg"][0]}
    assert len({rank for rank, _ in ranks.values()}) == 4
    leads = ["structure", "foliage", "sky", "wait", "none"]
    order = [min(leads.index(r["lead"]), 2) for r in rows(done) if r["in_view"] == "1"]
    assert order == sorted(order)


def test_it_says_what_judge_says(done: Path, day: Path) -> None:
    """A snap of the folder is judged as it is judged alone."""
    verdict = judge(load_photo(day / "walk" / "lea.jpg"), conditions=Conditions(wind_m_s=3.0))
    row = next(r for r in rows(done) if r["photo"] == "walk/lea.jpg")
    assert float(row["layered_contrast"]) == verdict.layered_contrast
    assert row["lead"] == verdict.lead
    assert row["sentence"] == reasons(verdict)[0].text
    assert int(row["separates"]) == sum(g.says == "separates" for g in verdict.separations)


def test_no_place_in_anything_unless_asked(done: Path) -> None:
    for path in done.iterdir():
        data = path.read_bytes()
        for trace in (b"47.25", b"47.26", b"16.5", b"16.48", b"Exif\x00", b"latitude"):
            if path.suffix not in (".pdf",) or trace != b"16.5":  # a PDF has numbers of its own
                assert trace not in data, (path.name, trace)
    assert not (done / "places.geojson").exists()


def test_with_their_places_snaps_are_judged_in_their_own_light(
    done: Path, day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = shutil.copytree(done, tmp_path / "out")
    assert run(day, "--out", out, "--wind", "3", "--places", "--jobs", "2") == 1
    own = judge(load_photo(day / "tower.jpg"), conditions=Conditions(wind_m_s=3.0))
    assert {r["photo"]: r for r in rows(out)}["tower.jpg"]["layered_contrast"] == str(own.layered_contrast)

    # both judgements are kept: nothing is judged again, with places or without
    monkeypatch.setattr("irpreview.scout_judging._judge", lambda *_: pytest.fail("judged again"))
    assert run(day, "--out", out, "--wind", "3", "--jobs", "1") == 1
    assert (out / "scout.csv").read_bytes() == (done / "scout.csv").read_bytes()
    assert run(day, "--out", out, "--wind", "3", "--places", "--jobs", "1") == 1
    found = {r["photo"]: r for r in rows(out)}
    assert float(found["tower.jpg"]["latitude_deg"]) == pytest.approx(HERE[0], abs=1e-5)
    assert float(found["walk/lea.jpg"]["longitude_deg"]) == pytest.approx(THERE[1], abs=1e-5)
    assert found["temple.jpg"]["place"] == ""
    assert len(json.loads((out / "places.geojson").read_text())["features"]) == 3
    assert "<svg" in (out / "contact-sheet.html").read_text()


def test_the_second_time_nothing_is_judged_and_the_result_is_the_same(
    done: Path, day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = shutil.copytree(done, tmp_path / "out")
    monkeypatch.setattr("irpreview.scout_judging._judge", lambda *_: pytest.fail("judged again"))
    assert run(day, "--out", out, "--wind", "3", "--jobs", "1") == 1
    for name in ("scout.csv", "scout.json", "contact-sheet.html", "contact-sheet.pdf"):
        assert (out / name).read_bytes() == (done / name).read_bytes()


def test_a_changed_photo_is_judged_anew_and_a_moved_one_is_not(
    done: Path, day: Path, tmp_path: Path, views: list[np.ndarray], monkeypatch: pytest.MonkeyPatch
) -> None:
    here, out = shutil.copytree(day, tmp_path / "day"), shutil.copytree(done, tmp_path / "out")
    (here / "tower.jpg").rename(here / "moved.jpg")
    write_snap(here / "temple.jpg", views[3][:, ::-1])
    judged: list[str] = []
    own = judge_task

    def counting(task: Task, *args: object, **named: object) -> object:
        judged.append(task.path)
        return own(task, *args, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(scouting, "judge_task", counting)
    result = scouting.scout(here, out, Settings(inputs=Inputs(wind_m_s=3.0)), jobs=1)
    assert sorted(judged) == ["cut.jpg", "temple.jpg", "walk/empty.png"]  # refused ones are looked at again
    assert result.progress.known == 5
    assert result.scouting is not None
    assert {s.path for v in result.scouting.views for s in v.snaps} >= {"moved.jpg", "temple.jpg"}


def test_another_wind_is_another_answer_beside_the_first(day: Path, done: Path, tmp_path: Path) -> None:
    out = shutil.copytree(done, tmp_path / "out")
    calm = scouting.scout(day, out, Settings(inputs=Inputs(wind_m_s=1.0)), jobs=1)
    again = scouting.scout(day, out, Settings(inputs=Inputs(wind_m_s=3.0)), jobs=1)
    assert (calm.progress.known, calm.progress.copies) == (0, 1)
    assert (again.progress.known, again.progress.copies) == (6, 0)
    with sqlite3.connect(out / STORE_NAME) as store:  # the pictures are kept once
        counts = [store.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in ("judged", "pictures")]
    store.close()
    assert counts == [10, 5]


def test_two_processes_give_what_one_gives(day: Path, done: Path, tmp_path: Path) -> None:
    assert run(day, "--out", tmp_path / "out", "--wind", "3", "--jobs", "2") == 1
    for name in ("scout.csv", "scout.json", "contact-sheet.html", "contact-sheet.pdf"):
        assert (tmp_path / "out" / name).read_bytes() == (done / name).read_bytes()


def test_json_lines_keep_their_schema(
    day: Path, done: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = shutil.copytree(done, tmp_path / "out")
    schema = Draft202012Validator(json.loads((files("irpreview") / "data" / "schemas" / "scout.json").read_text()))
    for more in ((), ("--places",)):
        assert run(day, "--out", out, "--wind", "3", "--jobs", "1", "--json", *more) == 1
        text, said = capsys.readouterr()
        lines = [json.loads(line) for line in text.splitlines()]
        assert len(lines) == 6
        for line in lines:
            schema.validate(line)
        assert [line["rank"] for line in lines] == sorted(line["rank"] for line in lines)
        assert "cut.jpg is damaged" in said
    whole = json.loads((out / "scout.json").read_text())
    assert [snap["photo"] for snap in whole["snaps"]] == [line["photo"] for line in lines]


def test_the_report_is_short(day: Path, done: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = shutil.copytree(done, tmp_path / "out")
    run(day, "--out", out, "--wind", "3", "--jobs", "1", "--order", "contrast", "--title", "Midsummer")
    text, said = capsys.readouterr()
    lines = text.splitlines()
    assert lines[0] == "6 snaps, 4 views, 2 files could not be used (6 known from before)"
    assert len(lines) == 5
    assert sum("cut.jpg" in line for line in said.splitlines()) == 1
    assert "contact-sheet.html" in said
    assert "<title>Midsummer</title>" in (out / "contact-sheet.html").read_text()


# --- stopped --------------------------------------------------------------------------------------------------------


def test_stopped_it_keeps_what_was_done_and_goes_on(day: Path, done: Path, tmp_path: Path) -> None:
    out, asked = tmp_path / "out", 0

    def stop() -> bool:
        nonlocal asked
        asked += 1
        return asked > 4

    first = scouting.scout(day, out, Settings(inputs=Inputs(wind_m_s=3.0)), jobs=1, stop=stop)
    assert first.scouting is None
    assert 0 < first.progress.left < 8
    with ScoutStore(out) as store:
        kept = len(store.keys())
    assert 0 < kept < 5
    assert run(day, "--out", out, "--wind", "3", "--jobs", "1") == 1
    assert (out / "scout.csv").read_bytes() == (done / "scout.csv").read_bytes()


def start(day: Path, out: Path, *more: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "irpreview", "scout", str(day), "--out", str(out), "--wind", "3", *more]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True, cwd=out.parent
    )


def wait_for(condition: Callable[[], bool], seconds: float = 120) -> None:
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "took too long"
        time.sleep(0.05)


def kept_in(out: Path) -> int:
    """Entries in a store that another process may be writing; its lock lets nobody in, so a copy is read."""
    try:
        data = (out / STORE_NAME).read_bytes()
        if not data:
            return 0
        copy = sqlite3.connect(":memory:")
        copy.deserialize(data)
        return int(copy.execute("SELECT count(*) FROM judged").fetchone()[0])
    except (OSError, sqlite3.Error):
        return 0


@pytest.mark.skipif(sys.platform == "win32", reason="no process groups there")
@pytest.mark.parametrize("signals", [(signal.SIGKILL,), (signal.SIGINT,)], ids=["killed", "Ctrl-C"])
def test_killed_or_interrupted_in_the_middle_the_same_csv_comes_out(
    day: Path, done: Path, tmp_path: Path, signals: tuple[signal.Signals, ...]
) -> None:
    out = tmp_path / "out"
    process = start(day, out, "--jobs", "2")
    wait_for(lambda: kept_in(out) >= 1 or process.poll() is not None)
    os.killpg(process.pid, signals[0])
    _, said = process.communicate(timeout=120)
    if signals[0] is signal.SIGINT and process.returncode != 1:  # 1 = it was through already
        assert process.returncode == 130
        assert "the same command again goes on from there" in said
        assert "Traceback" not in said
    before = kept_in(out)
    assert before >= 1
    assert run(day, "--out", out, "--wind", "3", "--jobs", "1") == 1
    assert (out / "scout.csv").read_bytes() == (done / "scout.csv").read_bytes()


# --- refused --------------------------------------------------------------------------------------------------------


def test_bad_input_is_one_line(day: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").write_text("")
    cases = [
        (2, tmp_path / "not there", "--out", tmp_path / "o1"),
        (2, day / "tower.jpg", "--out", tmp_path / "o2"),
        (1, tmp_path / "empty", "--out", tmp_path / "o3"),
        (1, day, "--out", tmp_path / "file"),
        (1, day, "--out", tmp_path / "file" / "below"),
        (2, day, "--out", tmp_path / "o4", "--wind", "gale"),
        (2, day, "--out", tmp_path / "o5", "--jobs", "0"),
        (2, day, "--out", tmp_path / "o6", "--planned-sun", "95"),
        (2, day, "--out", tmp_path / "o7", "--planned-place", "47,8"),
        (2, day, "--out", tmp_path / "o8", "--planned-time", "2026-06-21T01:00+00:00", "--at", "47,8"),
        (2, day, "--out", tmp_path / "o9", "--planned-time", "yesterday"),
        (2, day),
    ]
    for code, *arguments in cases:
        assert run(*arguments) == code, arguments
        text, said = capsys.readouterr()
        assert text == ""
        assert "Traceback" not in said
        assert said.strip()
    assert not (tmp_path / "o1").exists()  # no folder for results that there will never be


def test_a_second_run_in_the_same_folder_is_refused(day: Path, done: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with ScoutStore(done):
        assert run(day, "--out", done, "--wind", "3") == 1
    assert "another scouting run is at work" in capsys.readouterr().err


def test_all_files_broken(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for number in range(3):
        (tmp_path / "day").mkdir(exist_ok=True)
        (tmp_path / "day" / f"{number}.jpg").write_bytes(b"\xff\xd8\xff no photo %d" % number)
    assert run(tmp_path / "day", "--out", tmp_path / "out", "--jobs", "1") == 1
    text, said = capsys.readouterr()
    assert text.startswith("0 snaps, 0 views, 3 files could not be used")
    assert said.count(".jpg") == 3
    assert len(rows(tmp_path / "out")) == 3


def test_a_folder_that_changes_meanwhile(
    day: Path, tmp_path: Path, views: list[np.ndarray], monkeypatch: pytest.MonkeyPatch
) -> None:
    here = shutil.copytree(day, tmp_path / "day")
    own = judge_task
    seen: list[str] = []

    def meddling(task: Task, *args: object, **named: object) -> object:
        if not seen:  # after everything was listed, while the first is in work
            (here / "walk" / "flats.jpg").unlink()
            (here / "new.jpg").write_bytes(b"no photo")
        if task.path == "walk/lea.jpg" and task.data is None:  # between being read and being judged
            write_snap(here / "walk" / "lea.jpg", views[1][:, ::-1])
        seen.append(task.path)
        return own(task, *args, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(scouting, "judge_task", meddling)
    result = scouting.scout(here, tmp_path / "out", Settings(inputs=Inputs(wind_m_s=3.0)), jobs=1)
    assert result.scouting is not None
    refused = dict(result.scouting.refused)
    assert "No such file" in refused["walk/flats.jpg"]
    assert "new.jpg" not in refused
    assert "walk/lea.jpg" in {s.path for v in result.scouting.views for s in v.snaps}
    again = scouting.scout(here, tmp_path / "out", Settings(inputs=Inputs(wind_m_s=3.0)), jobs=1)
    assert again.progress.done == 3  # the broken ones and the new one; the changed one is known by its new content


# --- settings -------------------------------------------------------------------------------------------------------


def _another(value: object) -> object:
    """Another value of the same kind."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, (float, int)):
        return value + 1.0
    if isinstance(value, str):
        return value + "?"
    return {"tree": 30.0} if isinstance(value, Mapping) else 3.0


def test_the_key_holds_all_that_the_answer_depends_on() -> None:
    plain = Settings()
    said: dict[str, Any] = {
        name: value
        for f in fields(Inputs)
        for name, value in [(f.name, _another(getattr(plain.inputs, f.name)))]
        if name not in ("kit", "lens")  # of the kit itself
    }
    changes = [
        {"kit": load_kit("converted-720")},
        {"with_places": True},
        {"lessons": LogLessons("unmodified-720", None, {"tree": 0.3}, None)},
        *({"inputs": replace(plain.inputs, **{name: value})} for name, value in said.items()),
    ]
    assert len(plain.facts()) == 4
    keys = {key_of("content", Settings(**change), "model") for change in changes}  # type: ignore[arg-type]
    keys |= {key_of("content", plain, "model"), key_of("other", plain, "model"), key_of("content", plain, "newer")}
    assert len(keys) == len(changes) + 3
    assert key_of("content", Settings(), "model") == key_of("content", plain, "model")


def test_a_planned_light_is_a_what_if(day: Path, tmp_path: Path) -> None:
    task = Task("tower.jpg", "tower.jpg", str(day / "tower.jpg"), "", (day / "tower.jpg").read_bytes())
    answers = [
        judge_task(task, settings)
        for settings in (
            Settings(),
            Settings(inputs=Inputs(planned_sun_deg=15.0)),
            Settings(inputs=Inputs(planned_time="2026-06-21T03:00+00:00")),
        )
    ]
    own, low, night = (answer.kept.finding for answer in answers)  # type: ignore[union-attr]
    assert own["shutter_s"] != low["shutter_s"]
    assert any("own light, not in the planned one" in doubt for doubt in night["doubts"])
    assert night["layered_contrast"] == own["layered_contrast"]


def test_settings_that_contradict() -> None:
    for settings in (
        Settings(inputs=Inputs(planned_sun_deg=10.0, planned_time="2026-06-21T10:00")),
        Settings(inputs=Inputs(planned_haze="hazy")),
        Settings(inputs=Inputs(planned_place="47, 8")),
    ):
        with pytest.raises(BadValue):
            scouting.scout(SCENES, Path("never"), settings)
    with pytest.raises(BadValue, match="1 to 512"):
        scouting.scout(SCENES, Path("never"), jobs=0)
    assert not Path("never").exists()


def test_an_empty_folder(tmp_path: Path) -> None:
    with pytest.raises(BadPhoto, match="no photo"):
        scouting.scout(tmp_path, tmp_path / "out")
    assert not (tmp_path / "out").exists()


# --- many ----------------------------------------------------------------------------------------------------------


@pytest.mark.long
def test_hundreds_of_phone_sized_snaps_killed_twice_give_what_one_go_gives(tmp_path: Path) -> None:
    """500 snaps and ten broken files; $IRPREVIEW_SCOUT_SNAPS sets another number."""

    count = int(os.environ.get("IRPREVIEW_SCOUT_SNAPS", "500"))
    make_snaps(tmp_path / "day", count)
    assert run(tmp_path / "day", "--out", tmp_path / "whole", "--wind", "3") == 1
    out = tmp_path / "out"
    for goal in (count // 3, 2 * count // 3):
        process = start(tmp_path / "day", out)

        def there(goal: int = goal, process: subprocess.Popen[str] = process) -> bool:
            return kept_in(out) >= goal or process.poll() is not None

        wait_for(there, 3600)
        os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        assert goal <= kept_in(out) < count
    assert run(tmp_path / "day", "--out", out, "--wind", "3") == 1
    whole = (tmp_path / "whole" / "scout.csv").read_bytes()
    assert (out / "scout.csv").read_bytes() == whole
    found = rows(out)
    assert sum(bool(r["rank"]) for r in found) == count
    assert sum("broken_" in r["photo"] and bool(r["refused"]) for r in found) == 10


# --- Dask -----------------------------------------------------------------------------------------------------------


@pytest.mark.long
def test_a_cluster_gives_the_same_and_a_lost_worker_costs_time_only(
    day: Path, done: Path, tmp_path: Path, views: list[np.ndarray]
) -> None:
    distributed = pytest.importorskip("distributed", reason="the cluster extra is not installed")

    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    here = shutil.copytree(day, tmp_path / "day")
    for number in range(8):  # enough work that a worker can be lost in the middle of it
        write_snap(here / f"more{number}.jpg", np.roll(views[number % 4], 17 * (number + 1), axis=1))
    assert run(here, "--out", tmp_path / "plain", "--wind", "3", "--jobs", "2") == 1
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=logging.CRITICAL
    ) as cluster:
        assert run(here, "--out", tmp_path / "whole", "--wind", "3", "--cluster", cluster.scheduler_address) == 1
        victim = next(iter(cluster.workers.values())).process.pid
        lost = False

        def lose_one(progress: scouting.Progress) -> None:
            nonlocal lost
            if progress.done >= 2 and not lost:
                lost = True
                os.kill(victim, signal.SIGKILL)

        settings = Settings(inputs=Inputs(wind_m_s=3.0))
        result = scouting.scout(here, tmp_path / "lost", settings, cluster=cluster.scheduler_address, watch=lose_one)
        assert lost
        assert result.scouting is not None

    plain = (tmp_path / "plain" / "scout.csv").read_text()
    assert (tmp_path / "whole" / "scout.csv").read_text() == plain
    assert scouting_csv(result.scouting) == plain


@pytest.mark.long
def test_a_cluster_that_cannot_see_the_files_is_sent_them(
    day: Path, done: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    distributed = pytest.importorskip("distributed", reason="the cluster extra is not installed")

    out = tmp_path / "out"
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=2, processes=True, dashboard_address=None, silence_logs=logging.CRITICAL
    ) as cluster:
        real = Task
        # the machines over there have no such folder
        monkeypatch.setattr(scouting, "Task", lambda path, name, file, *rest: real(path, name, f"/else{file}", *rest))
        assert run(day, "--out", out, "--wind", "3", "--cluster", cluster.scheduler_address) == 1
        address = cluster.scheduler_address
    assert (out / "scout.csv").read_bytes() == (done / "scout.csv").read_bytes()
    with pytest.raises(BadCluster):  # gone now
        scouting.scout(day, tmp_path / "later", cluster=address)
