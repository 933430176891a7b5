"""Every figure that README, the guide pages and the model card state, measured again and printed with where it stands.

    python tests/benchmarks/figures.py [scenes] [research] [held-back FOLDER] [speed] [size]

Without a word: all but held-back. `scenes` needs nothing but the checkout. `research` needs the research photographs
(`$IRPREVIEW_RESEARCH`, else `shared` beside the checkout) and says so where they are absent. `held-back` needs FOLDER
with the answers of the four fold networks besides (models/README.md, Recipe): only training them again gives those.
`speed` wants a quiet machine.
"""

from __future__ import annotations

import importlib.metadata
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from irpreview.records import Conditions
from irpreview.single_answers import judge
from tests.reference import test_demo_scenes as told

CHECKOUT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(CHECKOUT))


def heading(what: str, stands_in: str) -> None:
    print(f"\n== {what}\n   stands in {stands_in}", flush=True)


def program(*words: str) -> None:
    """Run one of the project's scripts, its output passed on."""
    subprocess.run([sys.executable, *words], cwd=CHECKOUT, check=True)


def research_folder() -> Path | None:
    folder = Path(os.environ.get("IRPREVIEW_RESEARCH", CHECKOUT.parent / "shared"))
    return folder if (folder / "rgb_nir_pairs").is_dir() else None


def scenes() -> None:
    heading("prediction on the demo scenes", "README (How sure is it?), demo_scenes/README.md, docs/how-it-works.md")
    for folder in told.FOLDERS:
        row, truth = told.answers()[folder.name], told.truth_of(folder)
        true, found = told.picture_of(folder, "classes.png"), np.asarray(row["scene"].label)
        print(f"{folder.name}: {row['right'] / row['counted']:.3f} of the sure pixels right")
        for class_id, name in enumerate(told.CLASS_NAMES, 1):
            where = true == class_id
            if where.sum() > 0.005 * row["counted"]:
                error = row["zone_errors"].get(name)
                zone = "" if error is None else f", zone {error:+.2f}"
                print(f"   {name:10s} {(found[where] == class_id).mean():.2f} found{zone}")
        leads = [
            judge(row["photo"], scene=row["scene"], conditions=Conditions(wind_m_s=wind), shutter_s=shutter).lead
            for wind, shutter in ((0.5, 0.25), (12.0, 30.0))
        ]
        intended = truth["intended"]
        print(f"   lead calm {leads[0]}, windy {leads[1]}; built for {intended['lead']}, {intended.get('also_right')}")
    print(f"classes right over all: {told.class_accuracy():.3f} (target 0.93)")
    print(f"with clear sky and cloud merged: {told.class_accuracy('right_sky_merged'):.3f}")
    print(f"mean zone error: {told.mean_zone_error():.2f} (target 0.7)")


def research(held_back: str | None = None) -> None:
    heading("real pairs and labelled photos", "README (How sure is it?), models/README.md (Figures)")
    folder = research_folder()
    if folder is None:
        print("skipped: the research photographs are not beside this checkout (set IRPREVIEW_RESEARCH to their folder)")
        return
    more = ["--held-back", held_back] if held_back else []
    if not held_back:
        print("pairs of folds 0, 1 and 3 were seen in training: the honest figures are those of held-back")
    program("models/evaluate.py", "--research", str(folder), *more)
    program("models/evaluate_gaps.py", "--research", str(folder), *(more or ["--unseen"]))


def speed() -> None:
    heading("speed and memory", "README (How sure is it?)")
    program("tests/benchmarks/render.py")


def size() -> None:
    heading("install size and start-up", "README (Two commands)")
    total, wanted, seen = 0, ["irpreview"], set()
    while wanted:
        name = re.sub(r"[-_.]+", "-", wanted.pop().lower())
        if name in seen:
            continue
        seen.add(name)
        try:
            distribution = importlib.metadata.distribution(name)
        except importlib.metadata.PackageNotFoundError:
            continue
        paths = [Path(str(distribution.locate_file(file))) for file in distribution.files or ()]
        total += sum(path.stat().st_size for path in paths if path.is_file())
        for line in distribution.requires or ():
            if "extra ==" not in line:
                wanted.append(re.split(r"[ ;<>=!~\[(]", line, maxsplit=1)[0])
    print(f"irpreview and all that it needs: {total / 1e6:.0f} MB in {len(seen)} packages, without Python itself")
    for words in (("--version",), ("--help",), ("light", "--at", "57.5,-20.1", "--date", "2026-06-20")):
        times = []
        for _ in range(5):
            times.append(_timed([sys.executable, "-m", "irpreview", *words]))
        print(f"irpreview {' '.join(words)}: {sorted(times)[2]:.2f} s")


def _timed(command: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start


def main() -> None:
    words = sys.argv[1:] or ["scenes", "research", "size", "speed"]
    parts = {"scenes": scenes, "research": research, "speed": speed, "size": size}
    while words:
        word = words.pop(0)
        if word == "held-back" and words:
            research(words.pop(0))
        elif word in parts:
            parts[word]()
        else:
            raise SystemExit(__doc__)


if __name__ == "__main__":
    main()
