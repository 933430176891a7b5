"""What is remembered is what would be worked out: the same for the same inputs, anew for any other."""

from __future__ import annotations

from dataclasses import replace
from inspect import unwrap
from pathlib import Path

import numpy as np
import pytest

from irpreview import analyse, installation, steps
from irpreview.io.network import SceneNetwork
from irpreview.io.photos import load_photo
from irpreview.request import Request
from tests.remembering import Memory, remembered_steps

SCENE = Path(__file__).resolve().parents[1] / "demo_scenes" / "moor_tower" / "photo.jpg"


def test_a_step_gives_the_same_twice_and_what_is_remembered_is_it() -> None:
    photo = load_photo(SCENE, max_side=256)
    with remembered_steps():
        first = analyse(photo).bare_scene
    with remembered_steps():
        again = analyse(photo).bare_scene
        assert again is not first
        copied = replace(
            photo, pixels=photo.pixels.copy(), working=photo.working if photo.working is None else photo.working.copy()
        )
        assert analyse(copied).bare_scene is again
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(SceneNetwork, "run", unwrap(SceneNetwork.run))
        bare = steps.seen(analyse(photo).photo, installation.scene_network())
    for one in (first, again):
        for name in ("label", "confidence", "probability", "fine", "mix", "network_stops"):
            assert np.array_equal(getattr(one, name), getattr(bare, name)), name


def test_one_pixel_or_one_wish_more_is_worked_out_anew() -> None:
    photo = replace(load_photo(SCENE, max_side=256), working=None)
    pixels = photo.pixels.copy()
    pixels[-1, -1, 2] ^= 1
    with remembered_steps() as memory:
        one = analyse(photo)
        assert one.rendering is analyse(photo).rendering
        worked_out = memory.worked_out
        assert analyse(replace(photo, pixels=pixels)).rendering is not one.rendering
        assert memory.worked_out == worked_out + 3  # network, scene and tones
        assert analyse(photo, Request(grade=4.0)).rendering is not one.rendering
        assert analyse(replace(photo, heading_deg=10.0)).rendering is not one.rendering


def test_what_is_remembered_cannot_be_written_to() -> None:
    remembered = Memory().step("ones", lambda n: np.ones(n))
    with pytest.raises(ValueError, match="read-only"):
        remembered(3)[0] = 2.0
    assert remembered(3).tolist() == [1.0, 1.0, 1.0]


def test_what_holds_more_than_values_is_never_remembered() -> None:
    asked = []
    remembered = Memory().step("call", lambda work: asked.append(work))
    for _ in range(2):
        remembered(len)
    assert len(asked) == 2
