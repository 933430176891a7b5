"""Time for all framings of an analysed snap: `python tests/benchmarks/framing.py`. Prints seconds; aim 0.6 on two
cores."""

from __future__ import annotations

import statistics
import time
from pathlib import Path

from irpreview.analysis import Analysis, analyse
from irpreview.io.photos import load_photo
from irpreview.records import Conditions
from irpreview.request import Request

SCENES = Path(__file__).resolve().parents[2] / "demo_scenes"


def main() -> None:
    for path in sorted(SCENES.glob("*/photo.jpg")):
        first = analyse(load_photo(path, max_side=1024), Request(conditions=Conditions(wind_m_s=6.7)))
        _ = first.verdict
        wall, cpu = [], []
        for _ in range(5):
            kept = {name: value for name, value in first._kept.items() if name != "framings"}
            again = Analysis(first.full_photo, first.request, kept)
            start, used = time.perf_counter(), time.process_time()
            _ = again.framings
            wall.append(time.perf_counter() - start)
            cpu.append(time.process_time() - used)
        print(f"{path.parent.name:20s} {statistics.median(wall):.2f} s, {statistics.median(cpu):.2f} s of processor")


if __name__ == "__main__":
    main()
