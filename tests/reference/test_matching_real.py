"""Real and drawn pairs as a day brought home: which frame belongs to which snap, and no stranger taken.

Sources: RGB-NIR Scene Dataset (Brown and Susstrunk 2011), research data beside the checkout: colour as the snap,
infrared as the frame; and the demo scenes, whose infrared is known. The network that predicts is the held-back one,
which has not seen the demo scenes nor 29 of the pairs. Frames are framed otherwise than their snaps: turned by up to 4
degrees, up to 15 % larger or smaller, moved by up to 5 %, cut by a tenth on each side.

The long run takes half an hour of a core and more. $IRPREVIEW_KEEP_LONG names a folder where each frame's way is kept,
so that a run that was broken off goes on where it was; what is kept counts only for the same program, to the byte.
"""

import hashlib
import os
import pickle
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeVar

import cv2
import numpy as np
import pytest

from irpreview import installation
from irpreview.core.field_log.matching import match_frames
from irpreview.home_laying import FrameTask, SnapTask, Unusable, keep_ready, place_frame, ready_snap
from irpreview.io.network import load_network

SAME_SUBJECT = {
    "country_0004": "country_0003",
    "mountain_0003": "mountain_0002",
    "mountain_0006": "mountain_0007",
    "oldbuilding_0008": "oldbuilding_0009",
}
"""By eye: one estuary from one spot, one peak, one range of snow peaks that overlaps, two pyramids of one group. Where
its own snap was left at home such a frame goes to its subject's (an open fault); no stranger, counted apart."""
ROOT = Path(__file__).resolve().parents[2]
NOON = datetime(2026, 6, 21, 12, 0)


def pairs_in(research):
    found = [(f.name[:-8], f, f.with_name(f.name.replace("_rgb", "_nir"))) for f in research_colours(research)]
    return found + [(d.parent.name, d, d.with_name("infrared.png")) for d in demo_snaps()]


def research_colours(research):
    return sorted((research / "rgb_nir_pairs").glob("*_rgb.jpg"))


def demo_snaps():
    return sorted((ROOT / "demo_scenes").glob("*/photo.jpg"))


def moved(picture, rng):
    """As another camera beside the phone frames it."""
    tall, wide = picture.shape
    turn, zoom = rng.uniform(-4.0, 4.0), rng.uniform(1 / 1.15, 1.15)
    matrix = cv2.getRotationMatrix2D((wide / 2, tall / 2), turn, zoom)
    matrix[:, 2] += rng.uniform(-0.05, 0.05, 2) * wide
    out = cv2.warpAffine(picture, matrix, (wide, tall), flags=cv2.INTER_LINEAR)
    return out[round(0.1 * tall) : round(0.9 * tall), round(0.1 * wide) : round(0.9 * wide)]


def of_this_program():
    """Changes with every module that has a say in how a frame lies; what chooses among sightings has none."""
    package = ROOT / "irpreview"
    after = {package / "core" / "field_log" / "matching.py", package / "home_frames.py"}
    doors = {"web", "cli", "words", "answers"}
    files = [f for f in package.rglob("*.py") if f not in after and not doors & {*f.parts}]
    return hashlib.sha256(b"".join(f.read_bytes() for f in sorted(files))).hexdigest()[:12]


class Kept:
    """What was worked out once, where a folder for it is named; otherwise everything is worked out."""

    def __init__(self, *words):
        root = os.environ.get("IRPREVIEW_KEEP_LONG")
        self.folder = Path(root, "-".join((of_this_program(), *words))) if root else None

    def __call__(self, name, make):
        if self.folder is None:
            return make()
        file = self.folder / f"{name}.pickle"
        if not file.exists():
            self.folder.mkdir(parents=True, exist_ok=True)
            half = file.with_suffix(".half")
            half.write_bytes(pickle.dumps(make()))
            half.replace(file)
        return pickle.loads(file.read_bytes())


Answer = TypeVar("Answer")


def usable(answer: Answer | Unusable) -> Answer:
    assert not isinstance(answer, Unusable), answer
    return answer


class Day:
    """Snaps laid ready, and how each frame lies on them."""

    def __init__(self, folder, pairs, move=True, strangers=3):
        self.names = [name for name, _, _ in pairs]
        self.folder = folder
        kit = installation.default_kit()
        views = Kept("snaps")
        self.kept = Kept(f"{len(pairs)}", "moved" if move else "as-is")
        self.views = [
            views(name, lambda snap=snap: usable(ready_snap(SnapTask(str(snap), kit, None, None))))
            for name, snap, _ in pairs
        ]
        self.files = []
        for i, (name, _, infrared) in enumerate(pairs):
            picture = cv2.imread(str(infrared), cv2.IMREAD_GRAYSCALE)
            self.files.append(folder / f"{name}_frame.jpg")
            frame = moved(picture, np.random.default_rng(i)) if move else picture
            cv2.imwrite(str(self.files[-1]), frame, [cv2.IMWRITE_JPEG_QUALITY, 92])
        keep_ready(folder, self.views)
        self.seen = [
            self.kept(name, lambda file=file: usable(place_frame(FrameTask(str(file), None, str(folder)))).sightings)
            for name, file in zip(self.names, self.files, strict=True)
        ]
        self.strangers = {i: self.alone(i) for i in range(1, len(pairs), strangers)}

    def alone(self, left_out):
        """A frame whose snap was left at home, by the numbers of the whole day."""
        return self.kept(f"{self.names[left_out]}-alone", lambda: self.laid_without(left_out))

    def laid_without(self, left_out):
        folder = self.folder / f"without-{left_out}"
        folder.mkdir()
        others = [i for i in range(len(self.views)) if i != left_out]
        keep_ready(folder, [self.views[i] for i in others])
        seen = usable(place_frame(FrameTask(str(self.files[left_out]), None, str(folder))))
        for file in folder.iterdir():
            file.unlink()
        return [(others[s.snap], s) for s in seen.sightings]

    def matched(self, clocks, seed=0):
        """(right, wrong, open, strangers taken). clocks: how the frames' clock stands to the snaps'."""
        rng = np.random.default_rng(seed)
        snaps = [NOON + timedelta(minutes=25 * i) for i in range(len(self.names))]
        late = {"an hour off": lambda: 58 + rng.uniform(2, 15), "each jittered": lambda: rng.uniform(-60, 60)}
        frames = [t + timedelta(minutes=float(late[clocks]())) if clocks in late else None for t in snaps]
        matches, _ = match_frames(self.seen, frames, snaps)
        right = sum(m.snap == i for i, m in enumerate(matches))
        wrong = [(self.names[i], self.names[m.snap]) for i, m in enumerate(matches) if m.snap not in (i, None)]
        taken = []
        for i, seen in self.strangers.items():
            # a stranger comes home among all others, which tell the clocks' difference
            rows = list(self.seen)
            rows[i] = tuple(type(s)(at, s.bite, s.rough) for at, s in seen)
            snap = match_frames(rows, frames, snaps)[0][i].snap
            if snap is not None and SAME_SUBJECT.get(self.names[i]) != self.names[snap]:
                taken.append((self.names[i], self.names[snap]))
        return right, wrong, [self.names[i] for i, m in enumerate(matches) if m.snap is None], taken


@pytest.fixture
def held_back(monkeypatch):
    network = load_network(ROOT / "models" / "held_back")
    monkeypatch.setattr(installation, "scene_network", lambda: network)


def test_a_few_demo_scenes_find_their_snaps(tmp_path, held_back):
    pairs = [(d.parent.name, d, d.with_name("infrared.png")) for d in demo_snaps()]
    pairs = [p for p in pairs if p[0] in ("chalk_head", "moor_tower", "ruin_by_the_tarn", "pellow_street")]
    day = Day(tmp_path, pairs, strangers=2)
    for clocks in ("an hour off", "each jittered", "unknown"):
        assert day.matched(clocks) == (4, [], [], []), clocks


@pytest.mark.research
@pytest.mark.long
@pytest.mark.parametrize("move", [False, True], ids=["as they are", "framed otherwise"])
def test_97_of_100_are_right_and_no_stranger_is_taken(research, tmp_path, held_back, move):
    day = Day(tmp_path, pairs_in(research), move)
    count = len(day.names)
    for clocks in ("an hour off", "each jittered", "unknown"):
        right, wrong, left, taken = day.matched(clocks)
        print(
            f"{'moved' if move else 'as is'}, clocks {clocks}: {right} of {count} right, wrong {wrong}, open {left}, "
            f"strangers taken {taken} of {len(day.strangers)}",
            flush=True,
        )
        assert right >= 0.97 * count, clocks
        assert not wrong
        assert not taken, clocks
