"""The costly steps of an analysis, each worked out once a run for the same inputs.

Hundreds of tests look at the same few demo scenes. A step is asked by its whole inputs, to the last pixel; whoever
shows it others gets another answer, worked out anew. What is remembered is made read-only, so nobody can spoil it for
the next. That a step gives the same twice is itself looked after: see `test_remembering.py`.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields, is_dataclass
from datetime import date, datetime, tzinfo
from enum import Enum
from functools import wraps
from inspect import unwrap
from typing import Any

import numpy as np
import pytest

from irpreview import analysis, home_laying, single_answers
from irpreview.io.network import SceneNetwork

STEPS = {
    analysis: ("seen", "rendering_of", "part_scene", "prepare_stage", "patch_for_white_balance", "find_framings"),
    single_answers: ("seen", "rendering_of"),
    home_laying: ("best_placement", "placement_from", "placement_near", "likely_places"),
}
"""Functions of values alone, as these modules call them."""
KEPT = {"network": 24, "seen": 12, "rendering_of": 18, "part_scene": 18} | dict.fromkeys(
    ("best_placement", "placement_from", "placement_near", "likely_places"), 24
)
"""Answers kept of a step, else `KEPT_ELSE`: there are nine demo scenes, a card asks for eight winds, with its place and
without, and a scene's layers are large."""
KEPT_ELSE = 8


class _Unknown(TypeError):
    """An input that cannot be told from another by what it holds."""


class Memory:
    """Answers by step and inputs."""

    def __init__(self) -> None:
        self._answers: dict[str, OrderedDict[bytes, object]] = {}
        self._lock = threading.Lock()
        self._own: dict[int, tuple[object, bytes]] = {}
        self.asked = 0
        self.worked_out = 0

    def step(self, name: str, work: Callable[..., Any]) -> Callable[..., Any]:
        """The step, asked again only for other inputs."""

        @wraps(work)
        def remembered(*given: Any, **named: Any) -> Any:
            print_ = hashlib.sha256(name.encode())
            try:
                self._add(print_, (given, sorted(named.items())))
            except _Unknown:
                return work(*given, **named)
            key = print_.digest()
            with self._lock:
                self.asked += 1
                known = self._answers.setdefault(name, OrderedDict())
                if key in known:
                    known.move_to_end(key)
                    return known[key]
            answer = work(*given, **named)
            with self._lock:
                self.worked_out += 1
                freeze(answer)
                known[key] = answer
                if is_dataclass(answer):
                    self._own[id(answer)] = (answer, key)
                while len(known) > KEPT.get(name, KEPT_ELSE):
                    self._own.pop(id(known.popitem(last=False)[1]), None)
            return answer

        return remembered

    def _add(self, print_: Any, value: object) -> None:
        """Add what a value holds. Raises _Unknown for what holds more than values."""
        own = self._own.get(id(value))
        if own is not None and own[0] is value:  # an answer of a step is told by what it was made of
            print_.update(b"answer" + own[1])
            return
        print_.update(type(value).__qualname__.encode() + b":")
        if isinstance(value, np.ndarray):
            print_.update(repr((value.shape, value.dtype.str)).encode())
            print_.update(np.ascontiguousarray(value).data.cast("B") if value.size else b"")
        elif isinstance(value, SceneNetwork):
            print_.update(f"{value.model_id} {value.name}".encode())
        elif value is None or isinstance(value, bool | int | float | str | bytes | Enum | datetime | date | tzinfo):
            print_.update(repr(value).encode() + b";")
        elif is_dataclass(value):
            for field in fields(value):
                print_.update(field.name.encode())
                self._add(print_, getattr(value, field.name))
        elif isinstance(value, Mapping):
            self._add(print_, tuple(value.items()))
        elif isinstance(value, tuple | list):
            print_.update(str(len(value)).encode())
            for one in value:
                self._add(print_, one)
        else:
            raise _Unknown(type(value))


def freeze(value: object) -> None:
    """Mark every array in a value read-only: whoever writes into a remembered answer is found out."""
    if isinstance(value, np.ndarray):
        value.setflags(write=False)
    elif is_dataclass(value):
        for field in fields(value):
            freeze(getattr(value, field.name))
    elif isinstance(value, Mapping):
        freeze(tuple(value.values()))
    elif isinstance(value, tuple | list):
        for one in value:
            freeze(one)


@contextmanager
def remembered_steps() -> Iterator[Memory]:
    """For a with-block, the steps of every analysis are worked out once for the same inputs."""
    memory = Memory()
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(SceneNetwork, "run", memory.step("network", unwrap(SceneNetwork.run)))
        for module, names in STEPS.items():
            for name in names:
                patched.setattr(module, name, memory.step(name, unwrap(getattr(module, name))))
        yield memory
