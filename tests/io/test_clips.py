"""Film clips and bursts: whatever is handed in is read within bounds, or refused in one line."""

from __future__ import annotations

import struct
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from irpreview.core.motion.clip_motion import measure_motion
from irpreview.core.words import long_words
from irpreview.errors import BadClip
from irpreview.io import clips
from irpreview.io.clips import load_clip
from irpreview.records import ClipDoubtKind
from tests.core.clip_drawing import draw_clip, labels


def write_film(path: Path, frames: list[np.ndarray], fps: float = 30.0, coding: str = "mp4v") -> Path:
    height, width = frames[0].shape[:2]
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*coding), fps, (width, height))
    assert writer.isOpened()
    for frame in frames:
        writer.write(frame if frame.ndim == 3 else cv2.cvtColor(frame, cv2.COLOR_GRAY2BGR))
    writer.release()
    return path


@pytest.fixture(scope="module")
def film(tmp_path_factory) -> Path:
    drawn = draw_clip(size=(180, 320), seconds=2.0, fps=15.0, sway_px=2.0, sway_hz=1.2, shake_px=3.0)
    return write_film(tmp_path_factory.mktemp("clips") / "trees.mp4", drawn.frames, 15.0)


def turned(path: Path, out: Path) -> Path:
    """The same film with a quarter turn written into its track header, as phones do."""
    data = bytearray(path.read_bytes())
    at = data.index(b"tkhd")
    version = data[at + 4]
    matrix = at + 4 + (40 if version == 0 else 52)
    data[matrix : matrix + 36] = struct.pack(">9i", 0, 0x10000, 0, -0x10000, 0, 0, 0, 0, 0x40000000)
    out.write_bytes(data)
    return out


def test_a_film_is_read_whole(film: Path) -> None:
    clip = load_clip(film)
    assert len(clip.frames) == 31
    assert clip.fps == pytest.approx(15.0)
    assert clip.size == (180, 320)
    assert clip.frames[0].shape == (180, 320)
    assert clip.frames[0].dtype == np.uint8
    assert clip.first.shape == (180, 320, 3)
    assert clip.doubts == ()


def test_sway_survives_real_compression(film: Path) -> None:
    clip = load_clip(film)
    tree = measure_motion(clip.frames, clip.fps, labels(180, 320), px_per_rad=230.0).classes["tree"]
    assert abs(tree.amplitude_px.likely - 2.0) < 0.3
    assert tree.frequency_hz.likely == pytest.approx(1.2, rel=0.1)


def test_a_rotated_film_stands_upright(film: Path, tmp_path: Path) -> None:
    clip = load_clip(turned(film, tmp_path / "turned.mp4"))
    assert clip.size == (320, 180)
    assert clip.frames[0].shape == (320, 180)


def test_colours_keep_their_order(tmp_path: Path) -> None:
    red = np.zeros((64, 96, 3), np.uint8)
    red[..., 2] = 220  # BGR
    clip = load_clip(write_film(tmp_path / "red.mp4", [red] * 4))
    assert clip.first[..., 0].mean() > 150 > 80 > clip.first[..., 2].mean()


def test_4k_is_reduced_and_bounded(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    big = cv2.resize(rng.integers(0, 255, (54, 96, 3), dtype=np.uint8), (3840, 2160), interpolation=cv2.INTER_LINEAR)
    clip = load_clip(write_film(tmp_path / "4k.avi", [big] * 3, coding="MJPG"))
    assert clip.size == (2160, 3840)
    assert max(clip.frames[0].shape) == clips.WORKING_SIDE
    assert max(clip.first.shape) == clips.COLOUR_SIDE


def test_slow_motion_is_thinned_and_long_films_cut(tmp_path: Path) -> None:
    frames = draw_clip(size=(64, 96), seconds=4.0, fps=60.0).frames
    fast = load_clip(write_film(tmp_path / "fast.mp4", frames, fps=120.0))
    assert fast.fps == pytest.approx(60.0)
    assert len(fast.frames) == len(frames) // 2 + 1
    long = load_clip(write_film(tmp_path / "long.mp4", frames, fps=10.0))
    assert (len(long.frames) - 1) / long.fps <= clips.LONGEST_S
    assert [d.kind for d in long.doubts] == [ClipDoubtKind.FIRST_SECONDS_ONLY]


def test_the_rate_can_be_given(film: Path) -> None:
    assert load_clip(film, fps=30.0).fps == 30.0
    with pytest.raises(BadClip, match="frames per second"):
        load_clip(film, fps=0.0)


def test_a_clip_that_ends_early(tmp_path: Path) -> None:
    frames = draw_clip(size=(180, 320), seconds=2.0, fps=30.0).frames
    whole = write_film(tmp_path / "whole.avi", frames, coding="MJPG").read_bytes()
    (tmp_path / "cut.avi").write_bytes(whole[: len(whole) * 6 // 10])
    clip = load_clip(tmp_path / "cut.avi")
    assert 2 <= len(clip.frames) < len(frames)
    assert ClipDoubtKind.ENDS_EARLY in {d.kind for d in clip.doubts}


@pytest.mark.parametrize("kept", [0, 20, 1000])
def test_a_clip_cut_before_its_index_is_refused(film: Path, tmp_path: Path, kept: int) -> None:
    (tmp_path / "cut.mp4").write_bytes(film.read_bytes()[:kept])
    with pytest.raises(BadClip, match=r"cut\.mp4") as refused:
        load_clip(tmp_path / "cut.mp4")
    assert "\n" not in str(refused.value)


def test_what_is_no_film_is_refused(tmp_path: Path, film: Path) -> None:
    (tmp_path / "notes.mp4").write_text("no film at all " * 50)
    for path, words in (
        (tmp_path / "notes.mp4", "cannot be opened as a film"),
        (tmp_path / "absent.mp4", "does not exist"),
    ):
        with pytest.raises(BadClip, match=words):
            load_clip(path)
    with pytest.raises(BadClip, match="no clip"):
        load_clip([])
    with pytest.raises(BadClip, match="not all stills"):
        load_clip([film, film])
    (tmp_path / "empty").mkdir()
    with pytest.raises(BadClip, match="holds no stills"):
        load_clip(tmp_path / "empty")


def test_one_frame_black_and_flat(tmp_path: Path) -> None:
    one = write_film(tmp_path / "one.mp4", [np.full((64, 64), 90, np.uint8)])
    with pytest.raises(BadClip, match="one frame only"):
        load_clip(one)
    for value, words in ((0, "black"), (120, "flat")):
        clip = load_clip(write_film(tmp_path / f"{words}.mp4", [np.full((64, 64), value, np.uint8)] * 10))
        with pytest.raises(BadClip, match=words):
            measure_motion(clip.frames, clip.fps, np.full((64, 64), 4, np.uint8), px_per_rad=50.0)


def write_burst(folder: Path, frames: list[np.ndarray], seconds: float | None) -> list[Path]:
    folder.mkdir()
    paths = []
    for i, frame in enumerate(frames):
        exif = Image.Exif()
        if seconds is not None:
            when = i * seconds
            exif.get_ifd(0x8769).update(
                {0x9003: f"2026:06:21 13:05:{int(when):02d}", 0x9291: f"{round(1000 * (when % 1)):03d}"}
            )
        path = folder / f"still{i:02d}.jpg"
        Image.fromarray(np.repeat(frame[..., None], 3, axis=2)).save(path, quality=95, exif=exif.tobytes())
        paths.append(path)
    return paths


def test_a_burst_of_stills(tmp_path: Path) -> None:
    drawn = draw_clip(size=(180, 320), seconds=9.0, fps=1.0, sway_px=3.0, sway_hz=0.27)
    paths = write_burst(tmp_path / "burst", drawn.frames, 1.0)
    for source in (paths, tmp_path / "burst"):
        clip = load_clip(source)
        assert len(clip.frames) == 10
        assert clip.timed
        assert clip.fps == pytest.approx(1.0, rel=0.02)
    assert load_clip(paths, fps=4.0).fps == 4.0


def test_a_burst_without_times_is_told(tmp_path: Path) -> None:
    drawn = draw_clip(size=(180, 320), seconds=1.0, fps=5.0)
    clip = load_clip(write_burst(tmp_path / "burst", drawn.frames, None))
    assert not clip.timed
    assert any("--clip-fps" in d for d in long_words(clip.doubts))


def test_bad_bursts_are_refused(tmp_path: Path) -> None:
    drawn = draw_clip(size=(180, 320), seconds=0.4, fps=5.0)
    paths = write_burst(tmp_path / "burst", drawn.frames, None)
    with pytest.raises(BadClip, match="one still"):
        load_clip(paths[0])
    other = tmp_path / "other.png"
    Image.fromarray(np.zeros((100, 100, 3), np.uint8)).save(other)
    with pytest.raises(BadClip, match="must be alike"):
        load_clip([*paths, other])
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"\xff\xd8\xff nothing")
    with pytest.raises(BadClip, match="cannot be used"):
        load_clip([*paths, broken])
