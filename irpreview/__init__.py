"""irpreview: from an ordinary phone snap to its black-and-white near-infrared picture.

>>> from irpreview import load_photo, render
>>> render(load_photo("snap.jpg")).picture
"""

from __future__ import annotations

from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from irpreview.io.kits import load_kit as load_kit
    from irpreview.io.photos import load_photo as load_photo
    from irpreview.session import judge as judge
    from irpreview.session import map_scene as map_scene
    from irpreview.session import render as render

_HOME = {
    "load_photo": "irpreview.io.photos",
    "load_kit": "irpreview.io.kits",
    "judge": "irpreview.session",
    "map_scene": "irpreview.session",
    "render": "irpreview.session",
}
__all__ = ["__version__", "judge", "load_kit", "load_photo", "map_scene", "render"]


def __getattr__(name: str) -> object:
    # loaded on first use, so that `irpreview --version` does not wait for numpy and OpenCV
    if name in _HOME:
        from importlib import import_module

        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'irpreview' has no attribute '{name}'")
