"""Reading the research photographs."""

from pathlib import Path

import cv2
import numpy as np


def read_picture(path: Path | str, how: int = cv2.IMREAD_COLOR) -> np.ndarray:
    """The picture in a file as OpenCV reads it (BGR, or as `how` says); ends the script where there is none."""
    picture: np.ndarray | None = cv2.imread(str(path), how)
    if picture is None:
        raise SystemExit(f"{path} holds no picture")
    return picture


def read_grey(path: Path | str) -> np.ndarray:
    """The infrared picture or the label map in a file (h, w) uint8."""
    return read_picture(path, cv2.IMREAD_GRAYSCALE)
