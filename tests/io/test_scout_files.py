"""Folders looked through, the store that a run goes on from, the pool of workers, the sheet as files."""

from __future__ import annotations

import io
import multiprocessing
import os
import re
import signal
import sqlite3
import sys
import time
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pypdf
import pytest
from PIL import Image

from irpreview.core.scouting.ranking import arrange
from irpreview.core.scouting.sheet import sheet_of
from irpreview.errors import BadCluster, BadValue, CannotWrite
from irpreview.io.contact_page import contact_page
from irpreview.io.contact_sheet import contact_pdf
from irpreview.io.scout_folder import list_photos
from irpreview.io.scout_store import STORE_NAME, Kept, ScoutStore, place_of_text, place_text
from irpreview.io.worker_pool import Cluster, Died, over_cores
from irpreview.records import Place
from tests.core.scouting.test_ranking import SNAPS, fingerprint, placed, snap

# --- folders --------------------------------------------------------------------------------------------------------


def touch(*paths: Path) -> None:
    for path in paths:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")


def names(folder: Path, leave_out: Path | None = None) -> list[str]:
    return [p.path for p in list_photos(folder, leave_out).photos]


def test_all_kinds_of_photo_in_all_subfolders(tmp_path: Path) -> None:
    kinds = ["a.jpg", "B.JPEG", "c.heic", "d.HEIF", "e.png", "f.webp", "g.tif", "h.tiff", "deep/er/i.jpg", "deep/j.JPG"]
    touch(*(tmp_path / k for k in kinds))
    touch(tmp_path / "notes.txt", tmp_path / "clip.mp4", tmp_path / ".hidden.jpg", tmp_path / ".thumbs" / "k.jpg")
    listing = list_photos(tmp_path)
    assert sorted(p.path for p in listing.photos) == sorted(kinds)
    assert [p.path for p in listing.photos] == sorted(kinds)
    assert listing.other_files == 2


def test_the_results_are_not_looked_through(tmp_path: Path) -> None:
    touch(tmp_path / "a.jpg", tmp_path / "out" / "b.jpg")
    assert names(tmp_path, tmp_path / "out") == ["a.jpg"]
    assert names(tmp_path, tmp_path / "not there") == ["a.jpg", "out/b.jpg"]


def test_links_in_a_circle_end(tmp_path: Path) -> None:
    touch(tmp_path / "day" / "a.jpg", tmp_path / "day" / "sub" / "b.jpg", tmp_path / "other" / "c.jpg")
    day = tmp_path / "day"
    (day / "again").symlink_to(day)
    (day / "sub" / "up").symlink_to(tmp_path)  # leads to the folder above, and so to everything beside
    (day / "a sub by another name").symlink_to(day / "sub")
    (day / "elsewhere").symlink_to(tmp_path / "other")
    (day / "gone.jpg").symlink_to(tmp_path / "nowhere.jpg")
    (day / "round.jpg").symlink_to(day / "round.jpg")
    (day / "other name.jpg").symlink_to(day / "a.jpg")
    listing = list_photos(day)
    assert [p.path for p in listing.photos] == ["a.jpg", "elsewhere/c.jpg", "other name.jpg", "sub/b.jpg"]
    assert {path for path, _ in listing.unreadable} == {"gone.jpg", "round.jpg"}


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_a_subfolder_without_permission_is_listed(tmp_path: Path) -> None:
    touch(tmp_path / "a.jpg", tmp_path / "shut" / "b.jpg")
    (tmp_path / "shut").chmod(0)
    try:
        listing = list_photos(tmp_path)
    finally:
        (tmp_path / "shut").chmod(0o755)
    assert [p.path for p in listing.photos] == ["a.jpg"]
    assert listing.unreadable[0][0] == "shut"


def test_no_folder(tmp_path: Path) -> None:
    touch(tmp_path / "a.jpg")
    for wrong in (tmp_path / "not there", tmp_path / "a.jpg", Path("\x00"), tmp_path / "a.jpg" / "below", Path(" ")):
        with pytest.raises(BadValue) as refused:
            list_photos(wrong)
        assert "\n" not in str(refused.value)


# --- store ----------------------------------------------------------------------------------------------------------


def png(pixels: np.ndarray) -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG")
    return out.getvalue()


def kept(key: str, place: str | None = None) -> Kept:
    return Kept(
        key, f"pictures of {key[:2]}", {"lead": "sky", "figure": 0.5}, png(fingerprint(1)), b"snap", b"infrared", place
    )


def test_what_was_kept_comes_back(tmp_path: Path) -> None:
    odd = b"caf\xe9.jpg".decode("utf-8", "surrogateescape")
    with ScoutStore(tmp_path / "new" / "out") as store:
        assert store.keys() == set()
        store.keep(kept("k1"), [("a.jpg", "(1, 2)", "sha"), (odd, "(3, 4)", "other")])
        store.keep_hashes([("a.jpg", "(9, 9)", "newer")])
    with ScoutStore(tmp_path / "new" / "out") as store:
        assert store.keys() == {"k1"}
        assert store.hashes() == {"a.jpg": ("(9, 9)", "newer"), odd: ("(3, 4)", "other")}
        finding, print_, place = store.finding("k1")
        assert finding == {"lead": "sky", "figure": 0.5}
        assert np.array_equal(print_, fingerprint(1))
        assert place is None
        assert store.pictures("k1") == (b"snap", b"infrared")
        store.keep(kept("k2", place_text(Place(47.3, -16.4))))
        assert place_of_text(store.finding("k2")[2]) == Place(47.3, -16.4)
        with pytest.raises(KeyError):
            store.finding("k3")
    assert place_of_text(place_text(None)) is None


def test_what_fails_half_way_leaves_nothing_and_the_store_goes_on(tmp_path: Path) -> None:
    with ScoutStore(tmp_path) as store:
        with pytest.raises(CannotWrite):
            store.keep(kept("k1"), [("a.jpg", "(1, 2)", "sha"), ("b.jpg", "(3, 4)", None)])  # type: ignore[list-item]
        assert store.keys() == set()
        assert store.hashes() == {}
        store.keep(kept("k2"), [("a.jpg", "(1, 2)", "sha")])
    with ScoutStore(tmp_path) as store:
        assert store.keys() == {"k2"}


def test_one_run_at_a_time(tmp_path: Path) -> None:
    with ScoutStore(tmp_path) as first:
        with pytest.raises(CannotWrite, match="another scouting run") as refused, ScoutStore(tmp_path):
            pass
        assert "\n" not in str(refused.value)
        first.keep(kept("k1"))
    with ScoutStore(tmp_path) as later:
        assert later.keys() == {"k1"}


def _keep_until_killed(folder: Path) -> None:
    with ScoutStore(folder) as store:
        for number in range(100_000):
            store.keep(kept(f"k{number:06}"))
            print(number, flush=True, file=open(folder / "said", "a"))  # noqa: SIM115


def test_killed_at_any_moment_it_keeps_what_was_done(tmp_path: Path) -> None:
    process = multiprocessing.get_context("spawn").Process(target=_keep_until_killed, args=(tmp_path,))
    process.start()
    said = tmp_path / "said"
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and not (said.exists() and said.read_text().count("\n") > 20):
        time.sleep(0.02)
    process.kill()
    process.join()
    done = [int(line) for line in said.read_text().split("\n")[:-1]]
    assert len(done) > 20
    with ScoutStore(tmp_path) as store:  # the lock went with the process
        found = store.keys()
        assert found >= {f"k{n:06}" for n in done}
        assert len(found) <= len(done) + 1
        assert store.finding(f"k{done[-1]:06}")[0]["lead"] == "sky"


def test_stores_that_are_none(tmp_path: Path) -> None:
    def refused(folder: Path) -> str:
        with pytest.raises(CannotWrite) as error:
            ScoutStore(folder)
        assert "\n" not in str(error.value)
        return str(error.value)

    (tmp_path / "damaged").mkdir()
    (tmp_path / "damaged" / STORE_NAME).write_bytes(b"no database at all, but long enough to look like one" * 40)
    assert "damaged" in refused(tmp_path / "damaged")
    (tmp_path / "foreign").mkdir()
    with sqlite3.connect(tmp_path / "foreign" / STORE_NAME) as other:
        other.execute("CREATE TABLE recipes (name)")
    other.close()
    assert "not a store" in refused(tmp_path / "foreign")
    assert (tmp_path / "foreign" / STORE_NAME).stat().st_size > 0
    ScoutStore(tmp_path / "newer").close()
    newer = sqlite3.connect(tmp_path / "newer" / STORE_NAME)
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    assert "another version" in refused(tmp_path / "newer")
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / STORE_NAME).mkdir()
    refused(tmp_path / "taken")
    (tmp_path / "file").write_text("")
    refused(tmp_path / "file")


# --- workers --------------------------------------------------------------------------------------------------------


def double(number: int) -> int:
    return 2 * number


def double_or_die(number: int) -> int:
    if number == 13:
        os.kill(os.getpid(), signal.SIGKILL)
    return 2 * number


def test_every_item_is_answered_once() -> None:
    assert sorted(n for n in over_cores(double, range(40), 2) if not isinstance(n, Died)) == [2 * n for n in range(40)]
    assert list(over_cores(double, range(5), 1)) == [0, 2, 4, 6, 8]
    assert list(over_cores(double, [], 2)) == []


def test_items_are_taken_as_workers_become_free() -> None:
    taken = 0

    def items() -> Iterator[int]:
        nonlocal taken
        for number in range(60):
            taken += 1
            yield number

    answers = over_cores(double, items(), 2)
    next(answers)
    assert taken <= 12
    assert len(list(answers)) == 59


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL there")
def test_a_dead_worker_takes_only_its_item_with_it() -> None:
    answers = list(over_cores(double_or_die, range(30), 2))
    assert [a for a in answers if isinstance(a, Died)] == [Died(13)]
    assert sorted(a for a in answers if isinstance(a, int)) == [2 * n for n in range(30) if n != 13]


def test_no_cluster_there() -> None:
    pytest.importorskip("distributed", reason="the cluster extra is not installed")
    for address in ("tcp://127.0.0.1:9", "no address", "http://x", ""):
        with pytest.raises(BadCluster) as refused:
            Cluster(address, connect_seconds=1)
        assert "\n" not in str(refused.value)


def test_without_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(BadCluster, match=r"pip install 'irpreview\[cluster\]'"):
        Cluster("tcp://127.0.0.1:8786")


# --- the sheet ------------------------------------------------------------------------------------------------------


def jpeg(grey: int, size: tuple[int, int] = (120, 90)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (grey, grey, grey)).save(out, "JPEG")
    return out.getvalue()


def pictures(key: str) -> tuple[bytes, bytes]:
    size = (90, 120) if "b.jpg" in key else (120, 90)
    own = sum(key.encode()) % 90  # equal pictures would be kept once in a PDF
    return jpeg(150 + own, size), jpeg(20 + own, size)


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


def test_the_page_needs_nothing_from_outside() -> None:
    page = contact_page(sheet_of(arrange([*SNAPS, snap("<script>alert(1)</script>.jpg", 8)])), pictures)
    tags = _Tags()
    tags.feed(page)
    for tag, attributes in tags.found:
        for name in ("src", "href", "srcset", "action", "data"):
            value = attributes.get(name) or ""
            assert value.startswith(("data:image/jpeg;base64,", "#")) or not value, (tag, value[:60])
    assert "http" not in re.sub(r"data:image/jpeg;base64,[A-Za-z0-9+/=]+", "", page).replace("http-equiv", "")
    assert sum(tag == "img" for tag, _ in tags.found) == 2 * 6
    assert all(a.get("alt") for tag, a in tags.found if tag == "img")
    assert sum(tag == "script" for tag, _ in tags.found) == 1
    assert "default-src 'none'" in page


def test_the_page_by_place_has_a_map_that_leads_to_the_places() -> None:
    page = contact_page(sheet_of(placed(True)), pictures)
    tags = _Tags()
    tags.feed(page)
    ids = {a["id"] for _, a in tags.found if "id" in a}
    links = {(a["href"] or "")[1:] for tag, a in tags.found if tag == "a"}
    assert links == {"place-A", "place-B"} <= ids
    assert "47.3000" in page
    without = contact_page(sheet_of(placed(False)), pictures)
    assert "47.3" not in without
    assert "<svg" not in without


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages).split())


def test_the_pdf_has_every_view_and_refusal_and_is_the_same_each_time() -> None:
    many = [snap(f"walk/day {i}/IMG_{i:04}.jpg", i, contrast=float(i)) for i in range(23)]
    sheet = sheet_of(arrange(many, [("x.jpg", "x.jpg is damaged: the file ends too early")]), title="A walk")
    made = contact_pdf(sheet, pictures)
    assert made == contact_pdf(sheet, pictures)
    text = text_of(made)
    assert all(f"IMG_{i:04}.jpg" in text for i in range(23))
    assert "A walk" in text
    assert "x.jpg is damaged" in text
    assert "local rules" in text.lower()
    reader = pypdf.PdfReader(io.BytesIO(made))
    assert 4 <= len(reader.pages) <= 7
    assert sum(len(page.images) for page in reader.pages) == 2 * 23


def test_the_pdf_holds_odd_names_and_long_words() -> None:
    odd = [snap("x" * 180 + ".jpg", 1), snap("日本 & <b>.jpg", 2), snap("a" * 90 + "/" + "b" * 90 + ".jpg", 3)]
    assert len(pypdf.PdfReader(io.BytesIO(contact_pdf(sheet_of(arrange(odd)), pictures))).pages) >= 1


def test_the_pdf_has_places_only_when_asked() -> None:
    assert "47.3000" in text_of(contact_pdf(sheet_of(placed(True)), pictures))
    assert "47.3" not in text_of(contact_pdf(sheet_of(placed(False)), pictures))
