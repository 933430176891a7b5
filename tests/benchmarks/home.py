"""Fifty frames brought home: how long until the sheet.

    python tests/benchmarks/home.py [pairs] [strangers]

Research pairs beside the checkout, enlarged to 12 megapixels: colour as snaps, infrared as frames, each framed a little
otherwise; of so many the snap is left out. Prints wall time, processor time of all processes, and what was found.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from irpreview.home_frames import bring_home
from irpreview.installation import default_kit
from irpreview.io.worker_pool import cores
from tests.conftest import read_picture, research_folder
from tests.reference.test_matching_real import moved, research_colours

LARGE_PX = 4000


def main(pairs: int = 50, strangers: int = 5) -> None:
    """Make the day, bring it home, print."""
    research = research_folder()
    if research is None:
        raise SystemExit("the research photographs are not beside this checkout")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in ("snaps", "frames"):
            (folder / part).mkdir()
        colours = research_colours(research)
        for i, path in enumerate(colours[:: max(1, len(colours) // pairs)][:pairs]):
            stem = path.name[:-8]
            snap = read_picture(path)
            frame = moved(read_picture(path.with_name(f"{stem}_nir.jpg"), 0), np.random.default_rng(i))
            for part, picture in (("snaps", snap), ("frames", frame)):
                if part == "frames" or i >= strangers:
                    k = LARGE_PX / max(picture.shape)
                    large = cv2.resize(picture, None, fx=k, fy=k, interpolation=cv2.INTER_CUBIC)
                    cv2.imwrite(str(folder / part / f"{stem}.jpg"), large, [cv2.IMWRITE_JPEG_QUALITY, 90])
        before = [sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
        start = time.perf_counter()
        home = bring_home(folder / "frames", [folder / "snaps"], default_kit(), None).homecoming
        wall_s = time.perf_counter() - start
        after = [sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
        cpu_s = sum(after) - sum(before)
        right = sum(one.snap == one.name for one in home.frames)
        wrong = sum(one.snap not in (one.name, None) for one in home.frames)
        print(
            f"{len(home.frames)} frames, {home.snaps} snaps: {wall_s:.0f} s, {cpu_s:.0f} s of processor time "
            f"({cpu_s / cores():.0f} s on {cores()} quiet cores); {right} right, {wrong} wrong"
        )


if __name__ == "__main__":
    main(*(int(n) for n in sys.argv[1:3]))
