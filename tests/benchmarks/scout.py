"""Speed and memory of `irpreview scout`, and how well like snaps are told from different ones.

    python tests/benchmarks/scout.py [--snaps 500] [--jobs 2] [--long-side 4000]
    python tests/benchmarks/scout.py --views          # needs the research photographs

The snaps are the demo scenes at phone size with changed content: the first 24 moved, cropped, exposed and grained each
in its own way, the others copies of these with a comment of their own in the file. Prints; asserts nothing.
"""

from __future__ import annotations

import argparse
import itertools
import os
import sys
import tempfile
import threading
import time
from pathlib import Path

import cv2
import numpy as np
import psutil

from irpreview.core.scouting.near_duplicates import SAME_VIEW_FROM, fingerprint, likeness
from irpreview.io.scout_files import write_scouting
from irpreview.io.scout_store import ScoutStore
from irpreview.request import Inputs
from irpreview.scouting import Progress, Settings, scout
from tests.conftest import read_picture, research_folder
from tests.core.scouting.test_near_duplicates import WAYS, changed

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
DRAWN = 24


def make_snaps(folder: Path, count: int, long_side: int = 4000, broken: int = 10) -> None:
    """`count` JPEGs of changed content at phone size, and `broken` files that cannot be read."""
    rng = np.random.default_rng(8)
    scenes = []
    for path in sorted((ROOT / "demo_scenes").glob("*/photo.jpg")):
        pixels = read_picture(path)
        scale = long_side / max(pixels.shape)
        scenes.append(cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC))
    grain = rng.normal(0, 4, (256, 256, 3)).astype(np.float32)
    for number in range(min(count, DRAWN)):
        pixels = scenes[number % len(scenes)]
        height, width = pixels.shape[:2]
        top, left = int(rng.integers(0, height // 8)), int(rng.integers(0, width // 8))
        part = pixels[top : height - height // 9, left : width - width // 10]
        if rng.random() < 0.5:
            part = part[:, ::-1]
        tile = np.tile(
            np.roll(grain, int(rng.integers(256)), 0), (part.shape[0] // 256 + 1, part.shape[1] // 256 + 1, 1)
        )
        gain = np.float32(2.0 ** rng.uniform(-0.4, 0.3))
        snap = cv2.add(part.astype(np.float32) * gain, tile[: part.shape[0], : part.shape[1]])
        target = folder / f"walk {number % 5}" / f"snap_{number:04}.jpg"
        target.parent.mkdir(parents=True, exist_ok=True)
        cv2.imwrite(str(target), np.clip(snap, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 90])
    drawn = sorted(folder.rglob("snap_*.jpg"))
    for number in range(len(drawn), count):
        data = drawn[number % len(drawn)].read_bytes()
        comment = f"copy {number}".encode()
        segment = b"\xff\xfe" + (len(comment) + 2).to_bytes(2, "big") + comment  # COM, ITU-T T.81 B.2.4.5
        target = folder / f"walk {number % 5}" / f"snap_{number:04}.jpg"
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data[:2] + segment + data[2:])
    whole = target.read_bytes()
    for number in range(broken):
        (folder / f"broken_{number:02}.jpg").write_bytes(whole[: 2000 + 5000 * number])


class Memory(threading.Thread):
    """Memory of this process and all below it, every second. [MB]"""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.seen: list[float] = []
        self.stop = threading.Event()

    def run(self) -> None:
        own = psutil.Process()
        while not self.stop.wait(1.0):
            total = 0.0
            for process in (own, *own.children(recursive=True)):
                try:
                    total += process.memory_info().rss / 1e6
                except psutil.Error:
                    continue
            self.seen.append(total)


def measure(count: int, jobs: int, long_side: int, keep: Path | None) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        day = keep or Path(scratch) / "day"
        if not day.exists():
            make_snaps(day, count, long_side)
        sizes = [p.stat().st_size / 1e6 for p in day.rglob("snap_*.jpg")]
        print(f"{len(sizes)} snaps of {np.mean(sizes):.1f} MB, long side about {long_side} px; {jobs} processes")
        marks: list[tuple[float, int]] = []
        out = Path(scratch) / "out"
        memory = Memory()
        memory.start()
        begin, cpu = time.perf_counter(), os.times()

        def watch(progress: Progress) -> None:
            marks.append((time.perf_counter() - begin, progress.done))

        with ScoutStore(out) as store:
            run = scout(day, out, Settings(inputs=Inputs(wind_m_s=3.0)), jobs=jobs, store=store, watch=watch)
            judged = time.perf_counter() - begin
            assert run.scouting is not None
            write_scouting(run.scouting, out, store.pictures)
        memory.stop.set()
        whole = time.perf_counter() - begin
        used = sum(os.times()[:4]) - sum(cpu[:4])
        warm = next(i for i, (_, done) in enumerate(marks) if done > 2 * jobs)
        rate = (marks[-1][1] - marks[warm][1]) / (marks[-1][0] - marks[warm][0])
        thirds = np.array_split(np.array(memory.seen), 3)
        print(f"first photos after {marks[warm][0]:.1f} s, then {rate:.2f} photos/s; load {os.getloadavg()[0]:.1f}")
        print(f"processor time {used / count:.3f} s per photo: {jobs * count / used:.1f} photos/s on {jobs} free cores")
        print(f"judging {judged:.1f} s, sheets and tables {whole - judged:.1f} s more (grouping is in the first)")
        print(f"memory, all processes, medians of thirds: {', '.join(f'{np.median(t):.0f}' for t in thirds)} MB")
        print(f"{len(run.scouting.views)} views, {len(run.scouting.refused)} refused")
        for path in sorted(out.iterdir()):
            print(f"  {path.name:22} {path.stat().st_size / 1e6:8.2f} MB")


def views() -> None:
    folder = research_folder()
    paths = sorted((ROOT / "demo_scenes").glob("*/photo.jpg"))
    paths += sorted((folder / "rgb_nir_pairs").glob("*_rgb.jpg")) if folder else []
    pictures = [np.ascontiguousarray(read_picture(p)[..., ::-1]) for p in paths]
    prints = [fingerprint(p) for p in pictures]
    print(f"{len(prints)} photographs; one view from {SAME_VIEW_FROM}")
    for how in WAYS:
        same = [
            likeness(a, fingerprint(np.ascontiguousarray(changed(p, how))))
            for a, p in zip(prints, pictures, strict=True)
        ]
        print(f"  {how:32} least {min(same):.2f}, found {np.mean(np.array(same) >= SAME_VIEW_FROM):.3f}")
    begin = time.perf_counter()
    pairs = [likeness(a, b) for a, b in itertools.combinations(prints, 2)]
    each = 1000 * (time.perf_counter() - begin) / len(pairs)
    print(
        f"  {len(pairs)} pairs of different views: most {max(pairs):.2f}, 99.9 % below {np.percentile(pairs, 99.9):.2f}"
    )
    print(f"  {each:.1f} ms per pair")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--snaps", type=int, default=500)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--long-side", type=int, default=4000)
    parser.add_argument("--keep", type=Path, help="folder for the snaps, made once and used again")
    parser.add_argument("--views", action="store_true")
    given = parser.parse_args()
    if given.views:
        views()
    else:
        measure(given.snaps, given.jobs, given.long_side, given.keep)


if __name__ == "__main__":
    main()
