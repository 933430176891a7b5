"""Photos read in a process of its own, which is ended when one takes too long or is not wanted any more.

A decoder cannot be stopped from outside while it works, and some files of a few kilobytes keep one busy for minutes.
Only its process can be ended; so whoever shares a program with others, or leaves it alone over night, reads here.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Hashable, Iterator
from pathlib import Path
from typing import IO, Any

import cv2

from irpreview.errors import BadPhoto, IrpreviewError, Stopped
from irpreview.io.photos import load_photo
from irpreview.records import Photo, frozen_array

LONGEST_READ_S = 20.0
"""For one photo. A phone's snap takes 0.1 to 0.5 s, the largest that may be opened about 4 s."""
LONGEST_START_S = 180.0
"""For the process itself, which counts for no photo: on a busy machine its libraries take their time."""
_READY = "ready"
_LENGTH_BYTES = 8
_LOOK_SECONDS = 2.0
_CHILD = "import sys; sys.path[:] = sys.argv[1:]; from irpreview.io.photo_reader import serve; serve()"


class PhotoReader:
    """`load_photo` in another process, started when it is first needed; a context manager.

    longest_s: what one photo may take. [s] one_thread: for a reader that is one of many on this machine.
    Several threads may share it; it reads for one after the other.
    """

    def __init__(self, longest_s: float = LONGEST_READ_S, *, one_thread: bool = False) -> None:
        self.longest_s, self.one_thread = longest_s, one_thread
        self._in_use = threading.Lock()
        self._state = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._ready = False
        """Whether the process has said that it reads."""
        self._reads_for: Hashable = None
        self._end = ""
        """Why the process was ended in the middle of a photo: "late", "stopped"."""

    def __enter__(self) -> PhotoReader:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def read(
        self,
        source: str | Path | bytes,
        *,
        zone: str | None = None,
        max_side: int | None = None,
        name: str | None = None,
        wanted_by: Hashable = None,
    ) -> Photo:
        """The photo, as `load_photo` reads it. wanted_by: who may `stop` it.

        Raises what `load_photo` does; BadPhoto as well for one that takes too long or ends its reader; Stopped.
        """
        called = name or (Path(source).name if isinstance(source, (str, Path)) else "the photo")
        with self._in_use:
            answer = self._ask((source, zone, max_side, name), wanted_by)
            why, self._end = self._end, ""
            if why:  # ended too late to matter for this one
                self.close()
        if answer is None:
            if why == "stopped":
                raise Stopped(f"{called} was not read any further, as asked")
            if why == "late":
                raise BadPhoto(
                    f"{called} took longer than {self.longest_s:g} s to read (0.1 to 5 s is ordinary); "
                    "save it anew as an ordinary JPEG"
                )
            raise BadPhoto(
                f"{called} brings its reader down: too little memory, or a damaged file; copy it again, or save it anew"
            )
        if isinstance(answer, Exception):
            raise answer
        return _frozen(answer)

    def stop(self, wanted_by: Hashable) -> bool:
        """Give up the photo that is being read for this one now; whether there was one. From any thread."""
        with self._state:
            if self._process is None or self._reads_for is None or self._reads_for != wanted_by:
                return False
            self._end = "stopped"
            self._process.kill()
            return True

    def start(self) -> None:
        """Have the process ready before the first photo comes."""
        with self._in_use, self._state:
            if self._process is None:
                self._process, self._ready = _started(self.one_thread), False

    def close(self) -> None:
        """End the process. The next photo starts a fresh one."""
        with self._state:
            process, self._process = self._process, None
        if process is not None:
            _ended(process)

    def _ask(self, question: tuple[Any, ...], wanted_by: Hashable) -> Any:
        """The child's answer; None where its process came to an end over it."""
        for fresh in (False, True):  # one that ended between two photos is no fault of the second
            with self._state:
                if self._process is None or fresh:
                    self._process, self._ready = _started(self.one_thread), False
                process, self._reads_for = self._process, wanted_by
            sent = False
            try:
                assert process.stdin is not None
                assert process.stdout is not None
                if not self._ready:
                    with self._no_longer_than(LONGEST_START_S, process):
                        self._ready = _read(process.stdout) == _READY
                with self._no_longer_than(self.longest_s, process):
                    _write(process.stdin, question)
                    sent = True
                    return _read(process.stdout)
            except (OSError, EOFError, ValueError, pickle.UnpicklingError):
                self._forget(process)
                if sent or self._end:
                    return None
            finally:
                with self._state:
                    self._reads_for = None
        return None

    @contextlib.contextmanager
    def _no_longer_than(self, seconds: float, process: subprocess.Popen[bytes]) -> Iterator[None]:
        late = threading.Timer(seconds, self._too_late, [process])
        late.daemon = True
        late.start()
        try:
            yield
        finally:
            late.cancel()

    def _too_late(self, process: subprocess.Popen[bytes]) -> None:
        with self._state:
            if process is self._process:
                self._end = self._end or "late"
                process.kill()

    def _forget(self, process: subprocess.Popen[bytes]) -> None:
        with self._state:
            if self._process is process:
                self._process = None
        _ended(process)


def _started(one_thread: bool) -> subprocess.Popen[bytes]:
    limits = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"} if one_thread else {}
    return subprocess.Popen(
        [sys.executable, "-c", _CHILD, *sys.path],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, **limits, "IRPREVIEW_READER_THREADS": "1" if one_thread else ""},
    )


def _ended(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            with contextlib.suppress(OSError):
                pipe.close()


def _frozen(photo: Photo) -> Photo:
    """Arrays that came through a pipe can be written to again."""
    frozen_array(photo.pixels)
    if photo.working is not None:
        frozen_array(photo.working)
    return photo


def _write(pipe: IO[bytes], value: Any) -> None:
    data = pickle.dumps(value, protocol=pickle.HIGHEST_PROTOCOL)
    pipe.write(len(data).to_bytes(_LENGTH_BYTES, "big"))
    pipe.write(data)
    pipe.flush()


def _read(pipe: IO[bytes]) -> Any:
    head = pipe.read(_LENGTH_BYTES)
    length = int.from_bytes(head, "big")
    data = pipe.read(length) if len(head) == _LENGTH_BYTES else b""
    if not data or len(data) < length:
        raise EOFError
    return pickle.loads(data)


# ---- in the process itself -----------------------------------------------------------------------------------------


def serve() -> None:
    """Read photos as they are asked for on stdin, until it is closed or the parent is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the terminal sends it to all; the parent ends this one
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever a library prints must not get among the answers
    if os.environ.get("IRPREVIEW_READER_THREADS") == "1":
        cv2.setNumThreads(1)
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(_LOOK_SECONDS)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
    with contextlib.suppress(EOFError, OSError, KeyboardInterrupt):
        _write(answers, _READY)
        while True:
            source, zone, max_side, name = _read(sys.stdin.buffer)
            answer: Photo | IrpreviewError
            try:
                answer = load_photo(source, zone=zone, max_side=max_side, name=name)
            except IrpreviewError as error:
                answer = error.with_traceback(None)
            except MemoryError:
                answer = BadPhoto(f"{name or 'the photo'} needs more memory than there is; save it smaller")
            _write(answers, answer)
