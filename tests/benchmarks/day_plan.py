"""How long the best order takes: python tests/benchmarks/day_plan.py. Prints, asserts nothing."""

from __future__ import annotations

import statistics
import time
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np

from irpreview.core.planning.day_plan import plan_day
from irpreview.core.planning.day_request import span_of
from irpreview.io.tables import load_tables
from irpreview.records import Kit, Place
from irpreview.records.day_plan import Viewpoint


def main() -> None:
    """Twelve hours and a whole day, three to twelve places, the median of five draws each."""
    tables = load_tables()
    for hours in (12, 24):
        for count in (3, 6, 9, 12):
            took, inside = [], []
            for seed in range(5):
                rng = np.random.default_rng(seed)
                views = [
                    Viewpoint(
                        f"v{i}",
                        Place(57.5 + rng.uniform(-0.03, 0.03), -20.1 + rng.uniform(-0.06, 0.06)),
                        rng.uniform(0, 360),
                        35.0,
                    )
                    for i in range(count)
                ]
                (first, last), _ = span_of(
                    date(2026, 6, 20), 8 * 60 if hours == 12 else 0, 20 * 60 if hours == 12 else 1440, ZoneInfo("UTC")
                )
                begin = time.process_time()
                plan = plan_day(views, first, last, "UTC", Kit(), tables, start=Place(57.5, -20.1))
                took.append(time.process_time() - begin)
                inside.append(sum(stay.right_light for stay in plan.stays))
            print(
                f"{hours} h, {count:2d} places: {statistics.median(took):.2f} s of the processor, "
                f"{statistics.median(inside):.0f} in their right light"
            )


if __name__ == "__main__":
    main()
