"""Files on their way in: received one by one into the page's folder, taken once by the number they were given.

The page names a file only by that number, which cannot be guessed, so no path ever comes over the network, and two
people who give the same photograph have two files.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import tempfile
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import unquote

from starlette.responses import JSONResponse, PlainTextResponse
from starlette.routing import Route

from irpreview.web.access_control import UPLOAD_LIMIT_BYTES, UPLOAD_PATH

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

MOST_WAITING = 96
"""Files that may lie there unused, all people together."""
MOST_WAITING_BYTES = 20 * UPLOAD_LIMIT_BYTES
IDLE_S = 1800.0
LONGEST_NAME = 120


@dataclass(frozen=True, slots=True)
class _Waiting:
    path: Path
    size_bytes: int
    since: float


def safe_name(name: str) -> str:
    """The last part of a file's name as its owner's machine wrote it, printable, short, ending kept."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    kept = "".join(mark for mark in last if mark.isprintable() and mark != "\x00").strip().lstrip(".")
    stem, dot, ending = kept.rpartition(".")
    if dot and len(ending) <= 8:
        kept = f"{stem[: LONGEST_NAME - len(ending) - 1]}.{ending}"
    while len(kept.encode()) > 2 * LONGEST_NAME:
        kept = kept[1:]
    return kept[:LONGEST_NAME] or "snap"


class Uploads:
    """Files received and not yet taken; the oldest go when there are too many, all go after half an hour."""

    def __init__(self, folder: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self.folder, self.clock = folder, clock
        self.inbox = folder / "in"
        """Never given out again: its files are only read here."""
        self.inbox.mkdir(mode=0o700, exist_ok=True)
        self._lock = threading.Lock()
        self._waiting: OrderedDict[str, _Waiting] = OrderedDict()

    def __len__(self) -> int:
        return len(self._waiting)

    def take(self, number: object) -> Path | None:
        """The file of a number, handed out once; None for a number that is not known (any more)."""
        with self._lock:
            found = self._waiting.pop(number, None) if isinstance(number, str) else None
        return found.path if found is not None else None

    def discard(self, path: Path) -> None:
        """Delete a file that was taken; files outside the page's folder (a demo scene) are left alone."""
        with contextlib.suppress(OSError, ValueError):
            inside = path.resolve().relative_to(self.folder.resolve())
            path.unlink()
            if len(inside.parts) > 1:
                os.rmdir(path.parent)

    def _keep(self, path: Path, size_bytes: int) -> str:
        number = secrets.token_urlsafe(24)
        with self._lock:
            self._waiting[number] = _Waiting(path, size_bytes, self.clock())
            total = sum(one.size_bytes for one in self._waiting.values())
            while len(self._waiting) > 1:
                first, oldest = next(iter(self._waiting.items()))
                late = self.clock() - oldest.since > IDLE_S
                if not late and len(self._waiting) <= MOST_WAITING and total <= MOST_WAITING_BYTES:
                    break
                total -= oldest.size_bytes
                del self._waiting[first]
                shutil.rmtree(oldest.path.parent, ignore_errors=True)
        return number

    async def receive(self, request: Request) -> Response:
        """One file as the body of one request, its name in a header; answers with its number."""
        name = safe_name(unquote(request.headers.get("x-file-name", "")))
        folder = Path(tempfile.mkdtemp(prefix="snap-", dir=self.inbox))
        size = 0
        try:
            with (folder / name).open("wb") as file:
                async for part in request.stream():
                    size += len(part)
                    if size > UPLOAD_LIMIT_BYTES:
                        break
                    file.write(part)
            if size <= UPLOAD_LIMIT_BYTES:
                return JSONResponse({"given": self._keep(folder / name, size)})
        except OSError as error:
            shutil.rmtree(folder, ignore_errors=True)
            said = error.strerror or "disk error"
            return PlainTextResponse(f"The file could not be stored here ({said}); free some space.", 507)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        shutil.rmtree(folder, ignore_errors=True)
        return PlainTextResponse(f"It is too large; one file may have {UPLOAD_LIMIT_BYTES // 1024**2} MB.", 413)

    def route(self) -> Route:
        """Where the page's server takes files in."""
        return Route(UPLOAD_PATH, self.receive, methods=["POST"])
