"""One reader for files that a person names: ordinary ones of a bearable size, and one line for all others."""

import os
import signal
import socket
from pathlib import Path

import pytest

from irpreview.core.units import size_text
from irpreview.errors import BadKit, BadPhoto
from irpreview.io.ordinary_file import Wanted, check_ordinary, opened, read_bytes, read_text

KIT = Wanted(BadKit, "kit", "name a kit file", 64_000)
posix = pytest.mark.skipif(os.name != "posix", reason="pipes and devices in the file system are POSIX's")


@pytest.fixture(autouse=True)
def not_for_ever():
    """What hangs is ended after 20 s, where there is an alarm."""
    if not hasattr(signal, "SIGALRM"):
        yield
        return

    def late(*_):
        raise AssertionError("hangs")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(20)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


def refusal(path, wanted=KIT, read=read_text):
    with pytest.raises(wanted.error) as caught:
        read(path, wanted)
    said = str(caught.value)
    assert "\n" not in said
    assert said.startswith(f"{wanted.what} ".lstrip())
    assert "; " in said
    return said


def open_it(path, wanted):
    with opened(path, wanted):
        pass


@pytest.mark.parametrize("read", [read_text, read_bytes, check_ordinary, open_it])
def test_every_way_in_refuses_what_is_no_ordinary_file(tmp_path, read):
    assert refusal(tmp_path, read=read) == f"kit {tmp_path} is a folder; name a kit file"
    said = refusal(tmp_path / "none.toml", read=read)
    assert said == f"kit {tmp_path / 'none.toml'} does not exist; check the path and the spelling"
    (tmp_path / "a").write_bytes(b"")
    assert "a part of its path is no folder" in refusal(tmp_path / "a" / "b.toml", read=read)
    assert "no name of a file" in refusal(tmp_path / "a\0b", read=read)
    assert len(refusal(tmp_path / ("x" * 4000), read=read)) < 500


@posix
@pytest.mark.parametrize("read", [read_text, read_bytes, check_ordinary, open_it])
def test_a_pipe_a_device_and_a_socket_are_refused_at_once(tmp_path, read, monkeypatch):
    os.mkfifo(tmp_path / "pipe")
    monkeypatch.chdir(tmp_path)  # the name of a socket may have a hundred letters only
    with socket.socket(socket.AF_UNIX) as plug:
        plug.bind("plug")
        for path in (tmp_path / "pipe", tmp_path / "plug", Path("/dev/zero")):
            assert "no ordinary file (a device or a pipe); name a kit file" in refusal(path, read=read)


@posix
def test_a_pipe_that_takes_the_file_s_place_meanwhile_hangs_nothing(tmp_path, monkeypatch):
    path, real = tmp_path / "kit.toml", os.open
    path.write_text("name = 'x'")

    def swapped(name, *rest):
        path.unlink()
        os.mkfifo(path)
        return real(name, *rest)

    monkeypatch.setattr(os, "open", swapped)
    assert "no ordinary file" in refusal(path)


def test_a_file_that_is_too_large_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "sparse.toml"
    with path.open("wb") as file:
        file.truncate(3 * 10**12)  # three terabytes of nothing: reading them would end in no memory
    assert refusal(path) == f"kit {path} has 3000 GB, at most 64 kB can be read; name a kit file"
    wanted = Wanted(BadPhoto, "", "give a photo", 600_000_000, "save it smaller")
    assert refusal(path, wanted) == f"{path} has 3000 GB, at most 600 MB can be read; save it smaller"
    path.write_bytes(b"#" * 64_000)
    assert len(read_text(path, KIT)) == 64_000
    path.write_bytes(b"#" * 64_001)
    assert "has more than the 64 kB that can be read; name" in refusal(path)


@posix
def test_a_file_that_says_it_is_empty_is_read_to_the_limit_and_no_further():
    path = "/proc/self/maps"
    if not os.path.exists(path):
        pytest.skip("there is no /proc here")
    assert "has more than the 50 bytes that can be read" in refusal(Path(path), Wanted(BadKit, "kit", "name one", 50))


def test_its_head_is_looked_at_before_its_size(tmp_path):
    path = tmp_path / "film.mp4"
    path.write_bytes(b"film" + b"." * 90_000)

    def look(head):
        raise BadPhoto(f"a film of {len(head)}")

    with pytest.raises(BadPhoto, match="a film of 64"):
        read_bytes(path, KIT, look)


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    path = tmp_path / "locked.toml"
    path.write_text("x")
    monkeypatch.setattr(os, "open", lambda *_: (_ for _ in ()).throw(OSError(5, "Input/output error")))
    assert refusal(path).endswith("could not be read (Input/output error); copy it to another place")
    monkeypatch.undo()
    if os.name != "posix" or os.geteuid() == 0:
        pytest.skip("the superuser may read everything")
    path.chmod(0)
    assert refusal(path).endswith("may not be read (no permission); change its permissions or copy it")


def test_text_with_and_without_mark_and_any_ends_of_lines(tmp_path):
    path = tmp_path / "kit.toml"
    for content in (b"a\nb\n", b"\xef\xbb\xbfa\r\nb\r\n", b"a\rb\r"):
        path.write_bytes(content)
        assert read_text(path, KIT) == "a\nb\n"
        assert read_bytes(path, KIT) == content
    path.write_bytes(b"\xff\xd8\xff\xe0")
    assert refusal(path) == f"kit {path} is not text in UTF-8; name a kit file"


def test_sizes_are_told_in_units_of_a_thousand():
    # ISO 80000-13: kilo and mega are powers of ten, also of bytes
    told = {0: "0 bytes", 999: "999 bytes", 64_000: "64 kB", 1_000_000: "1 MB", 1_250_000: "1.2 MB", 6e8: "600 MB"}
    assert {size: size_text(size) for size in told} == told
