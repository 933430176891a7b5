"""irpreview: from an ordinary phone snap to its black-and-white near-infrared picture.

>>> from irpreview import analyse, load_photo
>>> analyse(load_photo("snap.jpg")).rendering.picture
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from irpreview.analysis import Analysis as Analysis
    from irpreview.analysis import analyse as analyse
    from irpreview.io.kits import load_kit as load_kit
    from irpreview.io.photos import load_photo as load_photo
    from irpreview.request import Request as Request
    from irpreview.single_answers import judge as judge
    from irpreview.single_answers import map_scene as map_scene
    from irpreview.single_answers import render as render

_HOME = {
    "Analysis": "irpreview.analysis",
    "Request": "irpreview.request",
    "analyse": "irpreview.analysis",
    "judge": "irpreview.single_answers",
    "load_kit": "irpreview.io.kits",
    "load_photo": "irpreview.io.photos",
    "map_scene": "irpreview.single_answers",
    "render": "irpreview.single_answers",
}
__all__ = ["Analysis", "Request", "__version__", "analyse", "judge", "load_kit", "load_photo", "map_scene", "render"]


def __getattr__(name: str) -> object:
    # loaded on first use, so that `irpreview --version` does not wait for numpy and OpenCV
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'irpreview' has no attribute '{name}'")
