"""How long light and matter take: python tests/benchmarks/light.py (medians, processor time)."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

from irpreview.core.light.filter_factor import filter_factor
from irpreview.core.light.surfaces import class_factors, class_visible_reflectance, hard_light
from irpreview.io.tables import load_tables
from irpreview.records import Kit, Light


def median_ms(work: Callable[[int], object], times: int = 40) -> float:
    """Median processor time of `work(i)`. [ms]"""
    taken = []
    for i in range(times):
        start = time.process_time()
        work(i)
        taken.append(1000.0 * (time.process_time() - start))
    return statistics.median(taken)


def main() -> None:
    start = time.process_time()
    tables = load_tables()
    print(f"load tables, once             {1000 * (time.process_time() - start):6.1f} ms")
    kit, light = Kit(), Light()
    class_factors(kit, light, tables)
    print(f"class factors, light known    {median_ms(lambda i: class_factors(kit, light, tables)):6.1f} ms")
    new = median_ms(lambda i: class_factors(kit, Light(sun_height_deg=10.0 + i), tables))
    print(f"class factors, new light      {new:6.1f} ms")
    print(f"visible reflectance           {median_ms(lambda i: class_visible_reflectance(tables)):6.1f} ms")
    print(f"filter factor with parts      {median_ms(lambda i: filter_factor(kit, light, tables)):6.1f} ms")
    print(f"hard light                    {median_ms(lambda i: hard_light(kit, light, tables)):6.1f} ms")


if __name__ == "__main__":
    main()
