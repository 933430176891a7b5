"""A file that a person named, opened only if it is an ordinary one of a bearable size; else one line says why not.

What is none is refused before a byte of it is read: a pipe would be waited for without end, a device may never end.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path

from irpreview.core.units import size_text
from irpreview.errors import IrpreviewError

HEAD_BYTES = 64
_AT_ONCE = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
"""A pipe that took the file's place since it was looked at is opened without waiting for who writes into it."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be read: for the messages, and the most that is read of it."""

    error: type[IrpreviewError]
    what: str
    """What the file is to be, before its path: "kit"; empty = the path alone."""
    do: str
    """What to do where it is not: "name a TOML or CSV file"."""
    most_bytes: int | None = None
    """None = any size."""
    if_too_large: str = ""
    """What to do with one that is too large; empty = `do`."""
    if_folder: str = ""
    """What to do with a folder; empty = `do`."""

    def refused(self, path: Path | str, why: str, do: str = "") -> IrpreviewError:
        """The error for a file: what it is, why it is refused, what to do."""
        return self.error(f"{self.what} {str(path)[:200]} {why}; {do or self.do}".lstrip())


def check_ordinary(path: Path, wanted: Wanted) -> os.stat_result:
    """The facts of an ordinary file that is there. Raises `wanted.error` for a folder, pipe or device, and for none."""
    with _told(path, wanted):
        return _ordinary(path, path.stat(), wanted)


@contextmanager
def opened(path: Path, wanted: Wanted) -> Iterator[tuple[BufferedReader, os.stat_result]]:
    """An ordinary file open for reading, and its facts; its size is not looked at. Raises `wanted.error`."""
    with _told(path, wanted):
        _ordinary(path, path.stat(), wanted)
        with os.fdopen(os.open(path, os.O_RDONLY | _AT_ONCE), "rb") as file:
            yield file, _ordinary(path, os.fstat(file.fileno()), wanted)


def read_bytes(path: Path, wanted: Wanted, look: Callable[[bytes], object] | None = None) -> bytes:
    """All of an ordinary file. Raises `wanted.error`.

    look: is shown the first `HEAD_BYTES` before the size is judged, to refuse by what the file is.
    """
    with opened(path, wanted) as (file, facts):
        head = file.read(HEAD_BYTES)
        if look is not None:
            look(head)
        most = wanted.most_bytes
        if most is None:
            return head + file.read()
        if facts.st_size > most:
            raise _too_large(path, facts.st_size, wanted)
        data = head + file.read(max(most + 1 - len(head), 0))  # some say that they are empty, and some grow meanwhile
        if len(data) > most:
            raise _too_large(path, None, wanted)
        return data


def read_text(path: Path, wanted: Wanted) -> str:
    """An ordinary file as text in UTF-8, with or without its mark, ends of lines alike. Raises `wanted.error`."""
    try:
        text = read_bytes(path, wanted).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise wanted.refused(path, "is not text in UTF-8") from None
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _too_large(path: Path, size_bytes: int | None, wanted: Wanted) -> IrpreviewError:
    most = size_text(wanted.most_bytes or 0)
    has = most if size_bytes is None else size_text(size_bytes)
    why = f"has {has}, at most {most} can be read" if has != most else f"has more than the {most} that can be read"
    return wanted.refused(path, why, wanted.if_too_large)


def _ordinary(path: Path, facts: os.stat_result, wanted: Wanted) -> os.stat_result:
    if stat.S_ISDIR(facts.st_mode):
        raise wanted.refused(path, "is a folder", wanted.if_folder)
    if not stat.S_ISREG(facts.st_mode):
        raise wanted.refused(path, "is no ordinary file (a device or a pipe)")
    return facts


@contextmanager
def _told(path: Path, wanted: Wanted) -> Iterator[None]:
    if "\0" in str(path):
        raise wanted.refused(repr(str(path))[:80], "is no name of a file")
    try:
        yield
    except FileNotFoundError:
        raise wanted.refused(path, "does not exist", "check the path and the spelling") from None
    except NotADirectoryError:
        raise wanted.refused(path, "does not exist: a part of its path is no folder", "check the path") from None
    except PermissionError:
        raise wanted.refused(path, "may not be read (no permission)", "change its permissions or copy it") from None
    except OSError as error:
        raise wanted.refused(
            path, f"could not be read ({error.strerror or error})", "copy it to another place"
        ) from None
