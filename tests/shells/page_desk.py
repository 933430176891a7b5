"""What the tests of the page's handlers share: a scene, snaps as a browser gives them, and reading the answer."""

import math
import re
import shutil
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
SCENE = CHECKOUT / "demo_scenes" / "moor_tower" / "photo.jpg"
STROKE = {"class_name": "water", "width": 0.05, "points": [[0.3, 0.9], [0.6, 0.9]]}
"""A stroke of the brush over the foreground of the scene."""


def words(html):
    """The text of a piece of the page."""
    return " ".join(re.sub(r"<[^>]+>", " ", html or "").split())


def changed(shown):
    """What of the page an answer changes."""
    return set(shown.as_dict())


def give(desk, token, *paths):
    """Upload copies, as a browser would; returns all that was shown."""
    copies = []
    for number, path in enumerate(paths):
        folder = desk.folder / f"upload{number}"
        folder.mkdir(exist_ok=True)
        copies.append(shutil.copy(path, folder / Path(path).name))
    return list(desk.add(token, copies))


def analysis(desk, token):
    with desk.sessions.at(token) as session:
        return desk.analysis_of(session)


def stops_gathered(setting):
    """What a setting of a JSON answer gathers, against f/1, 1 s and ISO 100."""
    return math.log2(setting["shutter_s"] * setting["iso"] / 100 / setting["f_number"] ** 2)
