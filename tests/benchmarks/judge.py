"""How long the verdict takes: python tests/benchmarks/judge.py (medians, processor time)."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import cv2

from irpreview.core.verdict.judging import judge_scene
from irpreview.core.verdict.layers import find_layers, ground_of
from irpreview.core.verdict.separation import measure_separations
from irpreview.core.verdict.sky import read_sky
from irpreview.core.verdict.verdict_picture import draw_verdict
from irpreview.records import Conditions
from tests.core.drawn_scenes import drawn, layered_view


def median_ms(work: Callable[[], object], times: int = 15) -> float:
    """Median processor time of `work()`. [ms]"""
    taken = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(1000.0 * (time.process_time() - start))
    return statistics.median(taken)


def main() -> None:
    label = cv2.resize(layered_view(), (1600, 1200), interpolation=cv2.INTER_NEAREST)
    photo, scene, rendering = drawn(label)
    windy = Conditions(wind_m_s=3.0)
    ground = ground_of(photo, scene, rendering)
    layers, layer_map = find_layers(ground)
    verdict = judge_scene(photo, scene, rendering, windy, shutter_s=1.0)
    print("a drawn scene of 1600 x 1200 px with six layers")
    print(f"to the working size       {median_ms(lambda: ground_of(photo, scene, rendering)):6.0f} ms")
    print(f"layers                    {median_ms(lambda: find_layers(ground)):6.0f} ms")
    separations = median_ms(lambda: measure_separations(ground, layers, layer_map, rendering, 4.0))
    print(f"separations                      {separations:6.0f} ms")
    print(f"sky                       {median_ms(lambda: read_sky(ground)):6.0f} ms")
    whole = median_ms(lambda: judge_scene(photo, scene, rendering, windy, shutter_s=1.0))
    print(f"whole verdict, with wind  {whole:6.0f} ms")
    print(f"drawing                   {median_ms(lambda: draw_verdict(verdict, rendering)):6.0f} ms")


if __name__ == "__main__":
    main()
