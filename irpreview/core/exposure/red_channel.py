"""The red channel of an infrared frame as an exposure check: where sunlit leaves should end on its scale."""

from __future__ import annotations

import math

from irpreview.core.imaging.srgb import to_linear

FINE_RED_SHARE = 0.87
"""Where sunlit leaves should end on the red channel's scale: Zone VII (0.72 linear) through the sRGB curve."""


def red_channel_rows() -> tuple[tuple[float, float], ...]:
    """Where the leaves' red hump ends (share of the scale) and the stops that bring it to `FINE_RED_SHARE`.

    From the sRGB curve of IEC 61966-2-1; a camera's own curve may differ by half a stop.
    """
    aim = float(to_linear(FINE_RED_SHARE))
    return tuple((share, math.log2(aim / float(to_linear(share)))) for share in (0.25, 0.5, 0.75))
