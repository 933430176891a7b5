"""A few seconds of film of the scene, measured for the snap that it goes with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from irpreview.core.imaging.picture_geometry import ASSUMED_FOCAL_35MM_MM, pixels_per_radian
from irpreview.core.motion.clip_motion import ClipMotion, measure_motion
from irpreview.io.clips import load_clip
from irpreview.records import ClipDoubt, ClipDoubtKind, Doubt, Photo
from irpreview.single_answers import map_scene


def measure_clip(
    paths: Sequence[Path], snap: Photo, fps: float | None = None, focal: float | None = None
) -> ClipMotion:
    """The movement in a clip or in stills, its own scene mapped from its first frame.

    fps: frames per second where the clip does not tell; focal: of the clip, 35 mm equivalent [mm], else the snap's.
    Raises BadClip, BadValue.
    """
    clip = load_clip(list(paths) if len(paths) > 1 else paths[0], fps=fps)
    scene = map_scene(Photo(pixels=clip.first, name=clip.name))
    height, width = clip.frames[0].shape
    lens = focal or clip.shot.focal_35mm_mm or snap.shot.focal_35mm_mm
    px_per_rad = pixels_per_radian(width, height, lens or ASSUMED_FOCAL_35MM_MM)
    measured = measure_motion(clip.frames, clip.fps, scene.label, px_per_rad=px_per_rad, timed=clip.timed)
    doubts: list[Doubt] = [*clip.doubts, *measured.doubts]
    if focal is None and clip.shot.focal_35mm_mm is None:
        doubts.append(ClipDoubt(ClipDoubtKind.FOCAL_AS_SNAP))
    return replace(measured, doubts=tuple(doubts))
