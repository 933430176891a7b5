"""The field log: nothing acknowledged is lost, every change can be taken back, every refusal is one clear line."""

import csv
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from irpreview.answers.log_export import LogExport
from irpreview.answers.schemas import schema_of
from irpreview.core.field_log.entries import LogEntry, SearchWish, SpotRecord, ToneDifference, kit_key
from irpreview.core.words import in_words
from irpreview.errors import BadLog, BadValue
from irpreview.io import log_tables
from irpreview.io.field_log import FieldLog, default_path, distance_km
from irpreview.io.kits import with_lens
from irpreview.io.log_exchange import export_log, import_log, learned_kit, teach
from irpreview.records import Kit, LessonDoubt, LessonDoubtKind, Place, Range

CHECKOUT = Path(__file__).resolve().parents[2]
MILL = Place(47.1, 11.4, 800.0)


def frame(**changes):
    usual: dict[str, Any] = {
        "kit_name": "unmodified-720",
        "taken_at": datetime(2026, 6, 21, 10, 30, tzinfo=UTC),
        "place_name": "Old mill",
        "place": MILL,
        "iso": 200.0,
        "f_number": 8.0,
        "shutter_s": 30.0,
        "metered_ev100": 15.0,
        "came_out_stops": -0.5,
        "notes": "wind still",
    }
    return LogEntry(**(usual | changes))


@pytest.fixture
def path(tmp_path):
    return tmp_path / "log.sqlite"


def test_what_goes_in_comes_out(path):
    entry = frame(
        subject="tree", in_shade=True, sun_height_deg=31.5, snap_path="a/snap.jpg", snap_sha256="ab", lens="old fifty"
    )
    with FieldLog(path) as log:
        number = log.add(entry)
    with FieldLog(path, read_only=True) as log:
        back = log.entry(number)
    assert back.uid
    for name in LogEntry.__dataclass_fields__:
        if name not in ("id", "uid", "taken_on"):
            assert getattr(back, name) == getattr(entry, name), name
    # log2(8^2 / 30) - 1 = 0.093 by hand
    assert back.raw_factor_stops == pytest.approx(15.0 - 0.0931 + 0.5, abs=1e-3)


def test_edit_remove_and_undo_in_reverse_order(path):
    with FieldLog(path) as log:
        first = log.add(frame())
        log.edit(first, notes="gusts", place_name="Upper mill", place=Place(47.2, 11.4))
        second = log.add(frame(notes="second"))
        log.remove(first, second)
        assert len(log) == 0
        assert log.undo() == "removed frames 1, 2"
        assert log.entry(first).notes == "gusts"
        log.undo()
        assert len(log) == 1
        log.undo()
        assert (log.entry(first).notes, log.entry(first).place_name) == ("wind still", "Old mill")
        log.undo()
        with pytest.raises(BadLog, match="no change left"):
            log.undo()
        with pytest.raises(BadValue, match="not in the log"):
            log.entry(first)


def test_a_wrong_value_changes_nothing(path):
    with FieldLog(path) as log:
        number = log.add(frame())
        for wrong in ({"iso": -1.0}, {"outcome": "nice"}, {"subject": "dog"}, {"came_out_stops": 40.0}, {"colour": 1}):
            with pytest.raises(BadValue):
                log.edit(number, **wrong)
        with pytest.raises(BadValue):
            log.add_all([frame(), frame(f_number=0.0)])
        assert len(log) == 1
        assert log.entry(number).notes == "wind still"


def test_search_by_place_distance_date_and_text(path):
    with FieldLog(path) as log:
        log.add(frame())
        log.add(
            frame(place_name="Far 100%_pass", place=Place(47.1, 11.5), taken_at=datetime(2026, 7, 1, 9, tzinfo=UTC))
        )
        log.add(frame(place_name=None, place=None, taken_at=None, taken_on=date(2025, 1, 2), notes="snow"))

        def names(**wish):
            return [e.place_name for e in log.search(SearchWish(**wish))]

        assert names() == ["Far 100%_pass", "Old mill", None]
        assert names(place="MILL") == ["Old mill"]
        assert names(place="%_") == ["Far 100%_pass"]
        assert names(since=date(2026, 6, 22)) == ["Far 100%_pass"]
        assert names(until=date(2025, 12, 31)) == [None]
        assert names(text="sno") == [None]
        # 0.1 degree of longitude at 47.1 north is 7.57 km (2 pi 6371 / 360 * 0.1 * cos 47.1)
        assert names(near=MILL, within_km=7.4) == ["Old mill"]
        assert names(near=MILL, within_km=7.7) == ["Far 100%_pass", "Old mill"]
        assert names(most=1, newest_first=False) == [None]
    assert distance_km(Place(0, 0), Place(0, 90)) == pytest.approx(6371 * 3.14159265 / 2, rel=1e-6)


@pytest.mark.parametrize("ending", ["json", "csv"])
def test_export_leaves_places_out_unless_asked_and_comes_back(path, tmp_path, ending):
    out = tmp_path / f"out.{ending}"
    with FieldLog(path) as log:
        log.add(frame(snap_path="/home/me/Old mill/snap.jpg", sun_height_deg=33.2))
        log.add(frame(notes='a "quoted", line\nand another', place=None, place_name=None))
        export_log(log, out)
        text = out.read_text()
        for secret in ("47.1", "11.4", "Old mill", "/home", "10:30", "33.2"):
            assert secret not in text
        assert "2026-06-21" in text
        assert export_log(log, out, locations=True) == 2
        whole = log.search()
        assert import_log(log, out) == (0, 2)
    with FieldLog(tmp_path / "other.sqlite") as other:
        assert import_log(other, out) == (2, 0)
        assert other.undo().startswith("imported 2")
        assert import_log(other, out) == (2, 0)
        again = other.search()
    strip = lambda e: [getattr(e, n) for n in LogEntry.__dataclass_fields__ if n != "id"]  # noqa: E731
    assert sorted(map(str, map(strip, whole))) == sorted(map(str, map(strip, again)))


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("a.json", "{", "no JSON"),
        ("a.json", '{"schema": "x"}', "no exported log"),
        ("a.json", '{"schema": "irpreview-log/2", "frames": [{"kit_name": "k", "notes": "\\ud800"}]}', "plain text"),
        (
            "a.json",
            '{"schema": "irpreview-log/2", "frames": [{"kit_name": "k", "in_shade": "maybe"}]}',
            "true or false",
        ),
        (
            "a.json",
            '{"schema": "irpreview-log/2", "frames": [{"kit_name": "k", "taken_on": "0001-01-01"}]}',
            "the year",
        ),
        ("a.json", '{"schema": "irpreview-log/2", "frames": [{"kit_name": "k", "iso": NaN}]}', "ISO nan"),
        ("a.json", '{"schema": "irpreview-log/9", "frames": []}', "newer irpreview"),
        ("a.json", '{"schema": "irpreview-log/2", "frames": [], "hot_spots": [{"lens": "x"}]}', "hot_spots 1"),
        ("a.json", '{"schema": "irpreview-log/2", "frames": [], "differences": [4]}', "must be an object"),
        (
            "a.json",
            '{"schema": "irpreview-log/1", "frames": [{"kit_name": "k"}, {"kit_name": "k", "iso": "fast"}]}',
            "frame 2",
        ),
        ("a.json", '{"schema": "irpreview-log/1", "frames": [3]}', "must be an object"),
        ("a.csv", "iso,shutter\n1,2\n", "kit_name"),
        ("a.csv", "kit_name,latitude_deg\nk,47\n", "line 2"),
    ],
)
def test_a_bad_import_adds_nothing(path, tmp_path, name, text, says):
    (tmp_path / name).write_text(text)
    with FieldLog(path) as log:
        with pytest.raises(BadLog, match=says) as refused:
            import_log(log, tmp_path / name)
        assert len(log) == 0
    assert "\n" not in str(refused.value)


def test_csv_is_plain_csv(path, tmp_path):
    with FieldLog(path) as log:
        log.add(frame())
        export_log(log, tmp_path / "a.csv")
    row = next(csv.DictReader((tmp_path / "a.csv").read_text().splitlines()))
    assert (row["kit_name"], row["iso"], row["latitude_deg"]) == ("unmodified-720", "200.0", "")


def test_backup_is_a_whole_log(path, tmp_path):
    with FieldLog(path) as log:
        log.add(frame())
        copy = log.backup(tmp_path)
        with pytest.raises(BadLog, match="log itself"):
            log.backup(path)
        with pytest.raises(BadLog, match="could not be written"):
            log.backup(tmp_path / "nowhere" / "b.sqlite")
    with FieldLog(copy, read_only=True) as log:
        assert log.search()[0].place == MILL
    assert not list(tmp_path.glob(".*part*"))


def test_hot_spots_and_differences_are_kept_once(path):
    spot = SpotRecord("k", "old fifty", 50.0, 8.0, Range(0.1, 0.2, 0.3), 0.2)
    with FieldLog(path) as log:
        log.keep_hot_spot(spot)
        log.keep_hot_spot(SpotRecord("k", "old fifty", 50.0, 8.0, Range(0.2, 0.3, 0.4), 0.25, 2))
        log.keep_differences([ToneDifference("k", "tree", 0.4, 0.3, "pair")])
        log.keep_differences([ToneDifference("k", "tree", 0.5, 0.3, "pair")])
        assert [s.strength_stops.likely for s in log.hot_spots("k")] == [0.3]
        assert [d.difference_stops for d in log.differences("k")] == [0.5]
        log.undo()
        assert [d.difference_stops for d in log.differences("k")] == [0.4]


def test_the_kit_that_the_log_taught(path):
    kit = Kit()
    with FieldLog(path) as log:
        assert learned_kit(kit, log) == kit
        log.add_all([frame(came_out_stops=-0.5 + 0.01 * i, kit_key=kit_key(kit)) for i in range(12)])
        log.keep_hot_spot(SpotRecord(kit.name, "old fifty", 50.0, 11.0, Range(0.2, 0.3, 0.4), 0.2))
        log.keep_hot_spot(SpotRecord(kit.name, "old fifty", 50.0, 5.6, Range(-0.02, 0.02, 0.06), 0.2))
        taught = learned_kit(kit, log)
        assert taught.factor_stops is not None
        assert taught.factor_stops.likely == pytest.approx(15.35, abs=0.1)
        assert "12 frames" in taught.factor_source
        assert taught.hot_spot_from_f_number == 11.0
        log.use(kit.name, learned=False)
        assert learned_kit(kit, log).factor_stops is None
        assert log.uses(kit.name) == (False, False)  # the personal correction is off until it is asked for
        log.use(kit.name, correction=True)
        log.keep_differences(
            [
                ToneDifference(kit.name, c, d, 0.4, str(i))
                for i in range(6)
                for c, d in (("tree", 0.5), ("ground", -0.5))
            ]
        )
        own = learned_kit(kit, log).class_correction_stops
        assert 0.1 < own["tree"] < 0.5
        log.use(kit.name, correction=False)
        assert dict(learned_kit(kit, log).class_correction_stops) == {}


def test_where_it_lies(monkeypatch, tmp_path):
    monkeypatch.setenv("IRPREVIEW_LOG", str(tmp_path / "mine.sqlite"))
    assert default_path() == tmp_path / "mine.sqlite"
    assert learned_kit(Kit()) == Kit()
    monkeypatch.delenv("IRPREVIEW_LOG")
    assert default_path().name == "field-log.sqlite"


# --- durability -----------------------------------------------------------------------------------------------------


def refused(path, **options):
    with pytest.raises(BadLog) as error:
        FieldLog(path, **options)
    assert "\n" not in str(error.value)
    return str(error.value)


def test_damage_that_sqlite_quotes_in_no_text_is_told_in_one_line(path, monkeypatch):
    """The check quotes a name out of the damaged page; the long fuzz of ten thousand files came upon it."""
    FieldLog(path).close()

    def quoted(*_):
        b"non-unique entry in index \xee".decode()

    monkeypatch.setattr("irpreview.io.log_tables._bring_up_to_date", quoted)
    with pytest.raises(BadLog, match="damaged"):
        FieldLog(path)


def test_a_damaged_or_foreign_file_is_refused_and_kept(path, tmp_path):
    with FieldLog(path) as log:
        log.add_all([frame(notes="x" * 500) for _ in range(200)])
    whole = path.read_bytes()
    torn = bytearray(whole)
    for at in range(4096, len(torn) - 4096, 4096):
        torn[at : at + 64] = b"\xff" * 64
    for content in (b"no database at all", whole[:50], bytes(torn), b"\x00" * 100 + whole[100:]):
        bad = tmp_path / "bad.sqlite"
        bad.write_bytes(content)
        said = refused(bad)
        assert "damaged" in said or "no field log" in said
        assert bad.read_bytes() == content
    foreign = tmp_path / "foreign.sqlite"
    other = sqlite3.connect(foreign)
    other.execute("CREATE TABLE birds (name TEXT)")
    other.commit()
    other.close()
    assert "something else" in refused(foreign)
    assert "is a folder" in refused(tmp_path)
    assert "no log at" in refused(tmp_path / "none.sqlite", read_only=True)


def test_a_newer_log_is_left_alone(path):
    with FieldLog(path) as log:
        log.add(frame())
    raw = sqlite3.connect(path)
    raw.execute(f"PRAGMA user_version = {log_tables.VERSION + 3}")
    raw.close()
    before = path.read_bytes()
    assert "newer irpreview" in refused(path)
    assert path.read_bytes() == before


def test_an_older_log_is_copied_then_brought_up_to_date(path, monkeypatch):
    with monkeypatch.context() as past:
        past.setattr(log_tables, "VERSION", 1)
        with FieldLog(path) as log:  # as version 1 wrote it
            log._connection.execute("INSERT INTO kits (name) VALUES ('unmodified-720')")
            log._connection.execute("INSERT INTO frames (uid, kit_id, notes) VALUES ('a', 1, 'old')")
    with FieldLog(path, read_only=True) as log:  # whoever reads first brings it up to date
        assert log.hot_spots() == ()
        assert log.batches() == ()
    with FieldLog(path) as log:
        assert [(e.notes, e.frame_sha256, e.batch) for e in log.search()] == [("old", None, None)]
        log.add(frame())
        log.remove(1)
        log.undo()
        assert len(log) == 2
    copy = sqlite3.connect(path.with_name("log.sqlite.version-1"))
    assert copy.execute("PRAGMA user_version").fetchone()[0] == 1
    assert copy.execute("SELECT count(*) FROM frames").fetchone()[0] == 1
    copy.close()


def test_full_disk_loses_only_what_was_not_acknowledged(path):
    with FieldLog(path) as log:
        log.add(frame())
        pages = log._connection.execute("PRAGMA page_count").fetchone()[0]
        log._connection.execute(f"PRAGMA max_page_count = {pages + 1}")  # sqlite then answers as on a full disk
        with pytest.raises(BadLog, match="disk is full"):
            log.add_all([frame(notes="y" * 1900) for _ in range(50)])
        kept = len(log)
        assert kept >= 1
    with FieldLog(path) as log:
        assert len(log) == kept
        log.add(frame())


FULL = """
import resource, signal, sys
from irpreview.errors import BadLog
from irpreview.io.field_log import FieldLog
from irpreview.core.field_log.entries import LogEntry
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
log = FieldLog(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000))
done = 0
try:
    for _ in range(2000):
        log.add(LogEntry(kit_name="k", notes="z" * 1500))
        done += 1
except BadLog as error:
    print(done, error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on file size")
def test_a_file_that_may_not_grow_keeps_what_was_acknowledged(path):
    ran = subprocess.run(
        [sys.executable, "-c", FULL, str(path)], cwd=CHECKOUT, capture_output=True, text=True, timeout=120
    )
    done, said = ran.stdout.split(" ", 1)
    assert "space" in said
    assert said.count("\n") == 1
    with FieldLog(path) as log:
        assert len(log) >= int(done) >= 3


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="needs Unix permissions")
def test_read_only_folder():
    folder = Path(tempfile.mkdtemp())  # pytest's own folders are closed to other users
    path = folder / "log.sqlite"
    with FieldLog(path) as log:
        log.add(frame())
    script = (
        "import os, sys, urllib.parse\n"  # of a Python in root's own folder nothing can be loaded later
        "from irpreview.errors import BadLog\n"
        "from irpreview.io.field_log import FieldLog, LogEntry\n"
        "if os.geteuid() == 0: os.setgid(65534); os.setuid(65534)\n"  # root may write anywhere
        "with FieldLog(sys.argv[1], read_only=True) as log: print(len(log))\n"
        "try:\n"
        "    with FieldLog(sys.argv[1]) as log: log.add(LogEntry(kit_name='k'))\n"
        "except BadLog as error: print(error)\n"
    )
    path.chmod(0o444)
    path.parent.chmod(0o555)
    try:
        ran = subprocess.run(
            [sys.executable, "-c", script, str(path)], cwd=CHECKOUT, capture_output=True, text=True, timeout=120
        )
    finally:
        path.parent.chmod(0o755)
    lines = ran.stdout.splitlines()
    assert lines[:1] == ["1"], ran.stderr
    assert "may not be written" in lines[1]
    with FieldLog(path, read_only=True) as log:
        assert len(log) == 1
    shutil.rmtree(folder)


WRITER = """
import sys
from irpreview.io.field_log import FieldLog
from irpreview.core.field_log.entries import LogEntry
with FieldLog(sys.argv[1]) as log:
    for i in range(int(sys.argv[3])):
        log.add(LogEntry(kit_name="k", place_name="shared place", notes=f"{sys.argv[2]}-{i}"))
        print(f"{sys.argv[2]}-{i}", flush=True)
"""


def test_two_processes_write_at_once(path):
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(path), name, "25"], cwd=CHECKOUT, stdout=subprocess.DEVNULL)
        for name in "ab"
    ]
    assert [w.wait(timeout=120) for w in writers] == [0, 0]
    with FieldLog(path) as log:
        assert {e.notes for e in log.search()} == {f"{name}-{i}" for name in "ab" for i in range(25)}


def _killed(path, name, writes, delay_s):
    """What the writer acknowledged before it was killed."""
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), name, str(writes)], cwd=CHECKOUT, stdout=subprocess.PIPE, text=True
    )
    assert writer.stdout is not None
    first = writer.stdout.readline()
    time.sleep(delay_s)
    writer.send_signal(signal.SIGKILL)
    rest = writer.stdout.read()
    writer.stdout.close()
    writer.wait()
    return [line for line in (first + rest).split("\n")[:-1] if line]


def test_a_kill_loses_nothing_acknowledged(path):
    said = _killed(path, "k", 500, 0.2)
    with FieldLog(path) as log:
        assert set(said) <= {e.notes for e in log.search()}


@pytest.mark.long
def test_kill_loop(path):
    """Killed at random moments during 500 writes, again and again."""
    rng = random.Random(5)
    said: set[str] = set()
    rounds = 0
    while len(said) < 500 or rounds < 25:
        said |= set(_killed(path, f"r{rounds}", 500, rng.uniform(0.0, 0.6)))
        rounds += 1
        with FieldLog(path) as log:
            assert said <= {e.notes for e in log.search()}


SPOT = SpotRecord("unmodified-720", "old fifty", 50.0, 8.0, Range(0.1, 0.2, 0.3), 0.2)


@pytest.mark.parametrize("locations", [False, True])
def test_json_export_keeps_its_schema(path, tmp_path, locations):
    with FieldLog(path) as log:
        log.add(frame(subject="tree", snap_path="a/snap.jpg", sun_height_deg=31.0))
        log.add(LogEntry(kit_name="bare"))
        log.keep_hot_spot(SPOT)
        log.keep_differences([ToneDifference("unmodified-720", "tree", 0.4, 0.3, "pair")])
        export_log(log, tmp_path / "a.json", locations=locations)
    whole = json.loads((tmp_path / "a.json").read_text())
    schema = schema_of(LogExport)
    jsonschema.Draft202012Validator.check_schema(schema)
    check = jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker())
    check.validate(whole)
    assert (whole["schema"], whole["version"]) == ("irpreview-log/2", 2)
    for spoilt in ({**whole, "extra": 1}, {**whole, "frames": [{**whole["frames"][0], "iso": -1}]}):
        assert not check.is_valid(spoilt)


def test_lens_table_and_comparisons_travel_and_what_is_there_stays(path, tmp_path):
    with FieldLog(path) as log:
        log.keep_hot_spot(SPOT)
        log.keep_differences([ToneDifference("unmodified-720", "tree", 0.4, 0.3, "pair")])
        export_log(log, tmp_path / "a.json")
    with FieldLog(tmp_path / "other.sqlite") as other:
        import_log(other, tmp_path / "a.json")
        assert [s.strength_stops for s in other.hot_spots()] == [SPOT.strength_stops]
        assert [d.difference_stops for d in other.differences("unmodified-720")] == [0.4]
        other.undo()
        assert other.hot_spots() == ()
        own = replace(SPOT, frames=9)
        other.keep_hot_spot(own)
        import_log(other, tmp_path / "a.json")
        assert [s.frames for s in other.hot_spots()] == [9]
        import_log(other, tmp_path / "a.json")
        assert other.undo().startswith("imported")  # the second time there was nothing to take in, nor to take back
        assert other.undo().startswith("hot spot")


def test_an_export_of_version_1_is_read(path, tmp_path):
    """As version 1 wrote it: frames alone, no version."""
    row = {"kit_name": "unmodified-720", "uid": "a1", "taken_on": "2026-06-21", "iso": 200.0, "in_shade": True}
    old = {"schema": "irpreview-log/1", "locations": False, "frames": [row]}
    (tmp_path / "old.json").write_text(json.dumps(old))
    with FieldLog(path) as log:
        assert import_log(log, tmp_path / "old.json") == (1, 0)
        assert log.search()[0].in_shade


def test_apertures_of_the_lens_in_use_are_avoided(path):
    kit = Kit()
    with FieldLog(path) as log:
        log.keep_hot_spot(SPOT)
        log.keep_hot_spot(replace(SPOT, lens="new zoom", focal_mm=24.0, f_number=11.0))
        log.keep_hot_spot(replace(SPOT, lens="new zoom", focal_mm=70.0, f_number=5.6))
        unsaid = teach(kit, log)
        assert unsaid.kit.hot_spot_from_f_number == 5.6
        assert [d.kind for d in unsaid.doubts] == [LessonDoubtKind.LENS_NOT_SAID]
        assert "apertures from f/5.6 on" in in_words(unsaid.doubts[0]).long
        for name, focal_mm, wanted in (
            ("Old Fifty", None, 8.0),
            ("newzoom", 28.0, 11.0),
            ("new zoom", 60.0, 5.6),
            ("new zoom", None, 5.6),
            ("third", 50.0, None),
        ):
            taught = teach(with_lens(kit, name), log, focal_mm=focal_mm)
            assert taught.kit.hot_spot_from_f_number == wanted, name
            assert taught.doubts == ()


def test_circumstances_join_where_they_are_known(path):
    kit = Kit()
    shared = {"kit_key": kit_key(kit), "came_out_stops": 0.0, "place": None, "place_name": None}
    with FieldLog(path) as log:
        # a low sun needs a stop more than the model says
        for low in (False, True):
            log.add_all(
                [
                    frame(sun_height_deg=5.0 if low else 45.0, metered_ev100=15.0 + low + 0.02 * i, **shared)
                    for i in range(10)
                ]
            )
        high, shallow, unknown = (teach(kit, log, sun_height_deg=h) for h in (45.0, 5.0, None))
    assert high.kit.factor_stops is not None
    assert shallow.kit.factor_stops is not None
    assert unknown.kit.factor_stops is not None
    assert shallow.kit.factor_stops.likely > high.kit.factor_stops.likely + 0.3
    assert "a sun 5 degrees high" in shallow.kit.factor_source
    assert unknown.kit.factor_stops.likely == pytest.approx(high.kit.factor_stops.likely, abs=0.02)
    assert LessonDoubt(LessonDoubtKind.SUN_HEIGHT_UNKNOWN) in unknown.doubts
