"""Speed and memory of the main job, printed; run by hand on a quiet machine.

    python tests/benchmarks/render.py [PHOTO]

Screen answer: from decoded 1024 px pixels to the finished picture. Full picture: from a 12-megapixel JPEG file to the
infrared JPEG. Each is also given as a ratio to the cheapest thing one could do instead (decode, one fixed channel mix,
encode), measured in the same run. Medians of several runs.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

import irpreview
from irpreview.records import Photo

RUNS = 7


def median_s(job: Callable[[], object], runs: int = RUNS) -> float:
    job()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def fixed_mix(source: Path | np.ndarray) -> bytes:
    """Decode, 2G + 0.5R - 1.5B, encode."""
    pixels = cv2.imread(str(source)) if isinstance(source, Path) else source
    mixed = cv2.transform(pixels, np.array([[-1.5, 2.0, 0.5]], np.float32))
    return cv2.imencode(".jpg", mixed)[1].tobytes()


def peak_memory_mb(photo: Path) -> float:
    """Peak memory of a fresh process that renders one photo. [MB]"""
    code = (
        "import resource, sys, irpreview; r = irpreview.render(irpreview.load_photo(sys.argv[1]));"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(photo)], capture_output=True, text=True, check=True)
    return float(done.stdout)


def main() -> None:
    if len(sys.argv) > 1:
        picture = cv2.imread(sys.argv[1])
    else:
        from sklearn.datasets import load_sample_image

        picture = np.ascontiguousarray(load_sample_image("china.jpg")[..., ::-1])
    with tempfile.TemporaryDirectory() as folder:
        sizes = {"12 MP": (4000, 3000), "48 MP": (8000, 6000)}
        files = {}
        for name, size in sizes.items():
            files[name] = Path(folder) / f"{name.replace(' ', '')}.jpg"
            noisy = cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC).astype(np.int16)
            noisy += np.random.default_rng(0).normal(0, 3, noisy.shape).astype(np.int16)
            cv2.imwrite(str(files[name]), np.clip(noisy, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 92])
        screen = Photo(pixels=cv2.resize(picture, (1024, 683))[..., ::-1].copy())
        answer = median_s(lambda: irpreview.render(screen))
        print(
            f"screen answer, 1024 px: {answer:.3f} s, of it the network's scene map "
            f"{median_s(lambda: irpreview.map_scene(screen)):.3f} s"
        )

        def full() -> bytes:
            rendering = irpreview.render(irpreview.load_photo(files["12 MP"]))
            return cv2.imencode(".jpg", rendering.picture, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()

        ours, cheapest = median_s(full), median_s(lambda: fixed_mix(files["12 MP"]))
        print(
            f"full picture, 12 MP, decode and JPEG included: {ours:.3f} s; cheapest alternative {cheapest:.3f} s; "
            f"ratio {ours / cheapest:.1f}"
        )
        for name, path in files.items():
            print(f"peak memory of one process, {name}: {peak_memory_mb(path):.0f} MB")
        start = median_s(
            lambda: subprocess.run([sys.executable, "-m", "irpreview", "--version"], check=True, capture_output=True)
        )
        print(f"irpreview --version: {start:.3f} s")
        print(f"(this process peaked at {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB)")


if __name__ == "__main__":
    main()
