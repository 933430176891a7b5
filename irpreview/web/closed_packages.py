"""Packages that the page's framework imports and the page does not use: they are never loaded.

A model hub's client (which would report the use of the framework), its transfer library and a sound library come with
the framework. While it is imported an empty package of the same name stands in for each: its names can be imported and
stand in types, and nothing can be done with them.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from types import ModuleType
from typing import Any

from irpreview.errors import IrpreviewError

CLOSED = ("huggingface_hub", "hf_xet", "pydub")


class _Name(type):
    """A name of a closed package: it can stand in a type, be made and raised, but nothing that it has can be used."""

    def __getattr__(cls, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        return _named(cls.__module__, name)

    def __iter__(cls) -> Any:
        return iter(())


def _named(module: str, name: str) -> Any:
    if name.isupper():  # settings: all of them texts or numbers elsewhere
        return ""
    return _Name(name, (Exception,), {"__module__": module, "__init__": _takes_anything, "__getattr__": _has_nothing})


def _takes_anything(_self: Any, *_args: Any, **_given: Any) -> None:
    pass


def _has_nothing(self: Any, name: str) -> Any:
    if name.startswith("__"):
        raise AttributeError(name)
    raise IrpreviewError(f"{type(self).__module__}.{type(self).__name__}.{name} is switched off in the page")


class _Empty(Loader):
    def create_module(self, spec: ModuleSpec) -> ModuleType:
        module = ModuleType(spec.name)
        module.__path__ = []

        def get(name: str) -> Any:
            if name.startswith("__"):
                raise AttributeError(name)
            return _named(spec.name, name)

        module.__getattr__ = get  # type: ignore[method-assign]
        return module

    def exec_module(self, module: ModuleType) -> None:
        pass


class _Closed(MetaPathFinder):
    def find_spec(self, name: str, *_where: object) -> ModuleSpec | None:
        if name.partition(".")[0] not in CLOSED:
            return None
        return ModuleSpec(name, _Empty(), is_package=True)


@contextlib.contextmanager
def closed_packages() -> Iterator[None]:
    """Inside, an import of these packages gives an empty one; those that are loaded already stay.

    Whoever imports them afterwards gets the real ones.
    """
    finder = _Closed()
    sys.meta_path.insert(0, finder)
    try:
        yield
    finally:
        sys.meta_path.remove(finder)
        for name, module in list(sys.modules.items()):
            if isinstance(getattr(module, "__loader__", None), _Empty):
                del sys.modules[name]
