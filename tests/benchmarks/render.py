"""Speed and memory of the main job, printed; run by hand on a quiet machine.

    python tests/benchmarks/render.py [PHOTO]

Screen answer: from decoded 1024 px pixels to the finished picture. Full picture: from a 12-megapixel JPEG file to the
bytes of the infrared JPEG. The latter is also given as a ratio to the cheapest thing one could do instead (decode, one
fixed channel mix, encode at the same quality). What is compared is run in turn, so that a busy machine slows both
alike; medians of several rounds, by the clock and by the processor's time over all threads, which a busy machine
changes less. Memory is measured first, each photo in a process of its own.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import cv2
import numpy as np
from sklearn.datasets import load_sample_image

import irpreview
from irpreview import installation
from irpreview.io.pictures import jpeg_bytes
from irpreview.records import Photo

ROUNDS = 9
SIZES = {"12 MP": (4000, 3000), "48 MP": (8000, 6000)}
# The high-water mark of the address space that the new program got: getrusage would count what the parent had mapped
# at the moment it started the child.
PEAK = """
import sys, irpreview
irpreview.render(irpreview.load_photo(sys.argv[1]))
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""


def in_turn(jobs: Mapping[str, Callable[[], object]], rounds: int = ROUNDS) -> dict[str, tuple[float, float]]:
    """Median (clock, processor) seconds of each job, run one after the other in every round."""
    for job in jobs.values():
        job()
    seconds: dict[str, list[tuple[float, float]]] = {name: [] for name in jobs}
    for _ in range(rounds):
        for name, job in jobs.items():
            clock, processor = time.perf_counter(), time.process_time()
            job()
            seconds[name].append((time.perf_counter() - clock, time.process_time() - processor))
    return {
        name: (statistics.median(s[0] for s in rows), statistics.median(s[1] for s in rows))
        for name, rows in seconds.items()
    }


def fixed_mix(source: Path) -> bytes:
    """Decode, 2G + 0.5R - 1.5B, encode."""
    mixed = cv2.transform(cv2.imread(str(source)), np.array([[-1.5, 2.0, 0.5]], np.float32))
    return cv2.imencode(".jpg", mixed, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()


def peak_memory_mb(photo: Path) -> float:
    """Peak resident memory of a fresh process that renders one photo. [MB]"""
    done = subprocess.run([sys.executable, "-c", PEAK, str(photo)], capture_output=True, text=True, check=True)
    return float(done.stdout) / 1024


def write_snaps(picture: np.ndarray, folder: Path) -> dict[str, Path]:
    """The picture as JPEG files of the sizes above, with grain as a phone has."""
    files = {}
    for name, size in SIZES.items():
        files[name] = folder / f"{name.replace(' ', '')}.jpg"
        noisy = cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC).astype(np.int16)
        noisy += np.random.default_rng(0).normal(0, 3, noisy.shape).astype(np.int16)
        cv2.imwrite(str(files[name]), np.clip(noisy, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 92])
    return files


def main() -> None:
    if len(sys.argv) > 1:
        given = cv2.imread(sys.argv[1])
        if given is None:
            sys.exit(f"{sys.argv[1]} holds no picture")
        picture = given
    else:
        picture = np.ascontiguousarray(load_sample_image("china.jpg")[..., ::-1])
    print(f"load of the machine before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as folder:
        files = write_snaps(picture, Path(folder))
        for name, path in files.items():
            print(f"peak memory of one process, {name}: {peak_memory_mb(path):.0f} MB")

        screen = Photo(pixels=cv2.resize(picture, (1024, 683), interpolation=cv2.INTER_AREA)[..., ::-1].copy())
        scene = irpreview.map_scene(screen)
        twelve = files["12 MP"]
        version = [sys.executable, "-m", "irpreview", "--version"]
        jobs: dict[str, Callable[[], object]] = {
            "screen answer, 1024 px": lambda: irpreview.render(screen),
            "  of it the network": lambda: installation.scene_network().run(screen.pixels),
            "  of it, or for another kit or light, the rendering": lambda: irpreview.render(screen, scene),
            "full picture, 12 MP, decode and JPEG included": lambda: jpeg_bytes(
                irpreview.render(irpreview.load_photo(twelve)).picture
            ),
            "cheapest alternative, 12 MP": lambda: fixed_mix(twelve),
            "irpreview --version": lambda: subprocess.run(version, check=True, capture_output=True),
        }
        found = in_turn(jobs)
        for name, (clock, processor) in found.items():
            print(f"{name}: {clock:.3f} s, processor {processor:.3f} s")
        ours, cheapest = (found[name] for name in list(jobs)[3:5])
        print(f"ratio: {ours[0] / cheapest[0]:.1f} by the clock, {ours[1] / cheapest[1]:.1f} by processor time")
    print(f"load of the machine after: {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
