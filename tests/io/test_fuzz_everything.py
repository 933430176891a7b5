"""Ten thousand damaged files of every kind that is read: a result or one line, in time, in bounded memory."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from sklearn.datasets import load_sample_image

from irpreview.answers.field_notes import FieldNote, FieldNotes
from irpreview.core.field_log.entries import LogEntry
from irpreview.errors import IrpreviewError
from irpreview.io.field_log import FieldLog
from irpreview.io.field_notes import read_field_notes
from irpreview.io.kits import load_kit, save_kit
from irpreview.io.log_exchange import export_log, import_log
from irpreview.io.photos import load_photo, read_facts
from irpreview.io.places_file import read_places
from irpreview.records import Place
from tests.io.test_fuzz import sound_files, spoil

MOST_SECONDS = 5.0
MOST_GB = 1.5
NOTES = FieldNotes(
    page="0" * 16,
    version="0.2.0",
    frames=[
        FieldNote(
            uid=f"{number:032x}", kind="frame", title="Ford", snap_name="a.jpg", snap_sha256="", kit_name="k",
            kit_key="",
            planned_iso=200, planned_f_number=8, planned_shutter_s=30, metered_ev100=14, latitude_deg=None,
            longitude_deg=None, iso=200, f_number=8, shutter_s=30, taken_at=None, taken_on=None, came_out_stops=None,
            outcome="good", notes="x",
        )
        for number in range(2)
    ],
)  # fmt: skip


def whole_files(folder: Path, photos: dict[str, bytes]) -> dict[str, tuple[bytes, Callable[[Path], object]]]:
    """Name of a file -> a sound one, and what reads it."""
    found: dict[str, tuple[bytes, Callable[[Path], object]]] = {
        f"{kind.replace(' ', '-')}.jpg": (data, load_photo) for kind, data in photos.items()
    }
    found["facts.jpg"] = (photos["JPEG"], read_facts)
    kit = save_kit(load_kit("unmodified-720"), folder / "kit.toml")
    found["kit.toml"] = (kit.read_bytes(), load_kit)
    with FieldLog(folder / "sound.sqlite") as log:
        for number in range(4):
            log.add(LogEntry(kit_name="k", iso=200.0, f_number=8.0, shutter_s=30.0 + number, place=Place(51.0, 7.0)))
        for name in ("log.json", "log.csv"):
            export_log(log, folder / name, locations=True)
            found[name] = ((folder / name).read_bytes(), imported)
        log.backup(folder / "copy.sqlite")
    found["copy.sqlite"] = ((folder / "copy.sqlite").read_bytes(), opened)
    toml = '[[place]]\nname = "ford"\nat = "57.5,-20.1"\nheading = 90\nstay = "1h"\n'
    found["places.toml"] = (toml.encode(), read_places)
    found["places.csv"] = (b'name,at,heading\nford,"57.5,-20.1",90\n', read_places)
    found["notes.json"] = (json.dumps(NOTES.as_json()).encode(), read_field_notes)
    return found


def test_the_unharmed_files_are_read(tmp_path, sample_photographs):
    for name, (data, read) in whole_files(tmp_path, sound_files(sample_photographs)).items():
        path = tmp_path / f"good-{name}"
        path.write_bytes(data)
        read(path)


def imported(path: Path) -> None:
    fresh = path.parent / "fresh.sqlite"
    fresh.unlink(missing_ok=True)
    with FieldLog(fresh) as log:
        import_log(log, path)


def opened(path: Path) -> None:
    with FieldLog(path) as log:
        log.search()


def refusal(read: Callable[[Path], object], path: Path) -> str | None:
    """The one line of a refusal, or None; anything else fails the test."""
    try:
        read(path)
    except IrpreviewError as error:
        return str(error)
    return None


def fuzz(folder: Path, photos: dict[str, bytes], rounds: int, seed: int) -> tuple[int, int, float]:
    """(files tried, refused, longest time [s])."""
    rng, tried, refused, longest = np.random.default_rng(seed), 0, 0, 0.0
    for name, (data, read) in whole_files(folder, photos).items():
        for _ in range(rounds):
            path = folder / f"bad-{name}"
            path.write_bytes(spoil(data, rng))
            begun = time.process_time()
            said = refusal(read, path)
            refused += said is not None
            assert said is None or ("\n" not in said and 15 < len(said) < 600), (name, said)
            longest = max(longest, time.process_time() - begun)
            assert longest < MOST_SECONDS, name
            tried += 1
            for helper in folder.glob(f"bad-{name}-*"):
                helper.unlink()
    return tried, refused, longest


def test_a_few_hundred_damaged_files_of_every_kind(tmp_path, sample_photographs):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        tried, refused, _ = fuzz(tmp_path, sound_files(sample_photographs), 15, seed=1)
    assert tried >= 200
    assert 0 < refused < tried


@pytest.mark.long
def test_ten_thousand_damaged_files_of_every_kind(tmp_path):
    """In a process of its own, whose memory is its own."""
    ran = subprocess.run(
        [sys.executable, "-W", "error", "-c", PROGRAM, str(tmp_path)],
        capture_output=True,
        text=True,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )
    assert ran.returncode == 0, ran.stderr[-3000:]
    print(ran.stdout)
    tried, refused, longest, memory_gb = map(float, ran.stdout.split())
    assert tried >= 10_000
    assert 0 < refused < tried
    assert longest < MOST_SECONDS
    assert memory_gb < MOST_GB


PROGRAM = f"""
import sys
sys.path.insert(0, {str(Path(__file__).parents[2])!r})
from tests.io.test_fuzz_everything import main
main(sys.argv[1])
"""


def main(folder: str) -> None:
    """The long run; prints files, refusals, seconds and gigabytes."""
    pixels = {"china.jpg": np.ascontiguousarray(load_sample_image("china.jpg"))}
    tried, refused, longest = fuzz(Path(folder), sound_files(pixels), 700, seed=11)
    peak_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(tried, refused, round(longest, 2), round(peak_gb, 2))
