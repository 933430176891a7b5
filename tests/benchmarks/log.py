"""How long a field log of 10,000 frames takes to list, to search and to learn from. Run by hand; it prints.

python tests/benchmarks/log.py
"""

import statistics
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from irpreview.core.field_log.entries import LogEntry, SearchWish, kit_key
from irpreview.io.field_log import FieldLog
from irpreview.io.log_exchange import export_log, learned_from, teach
from irpreview.records import CLASS_NAMES, Kit, Place

FRAMES = 10_000


def entry(i: int) -> LogEntry:
    return LogEntry(
        kit_name=Kit().name,
        kit_key=kit_key(Kit()),
        taken_at=datetime(2020, 1, 1, tzinfo=UTC) + timedelta(hours=5 * i),
        place_name=f"place {i % 200}",
        place=Place(47.0 + 0.01 * (i % 200), 11.0),
        iso=200.0,
        f_number=8.0,
        shutter_s=30.0,
        metered_ev100=15.0 + 0.01 * (i % 17),
        came_out_stops=0.02 * (i % 23) - 0.2,
        sun_height_deg=5.0 + i % 50,
        in_shade=i % 5 == 0,
        subject=(None, *CLASS_NAMES)[i % 6],
        notes=f"frame {i}",
    )


def median_s(action, rounds: int = 5) -> float:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.sqlite"
        with FieldLog(path) as log:
            log.add_all([entry(i) for i in range(FRAMES)])
            teach(Kit(), log)  # tables are loaded once
            for words, action in (
                ("list the newest 50", lambda: log.search(SearchWish(most=50))),
                ("list all", log.search),
                ("search by place", lambda: log.search(SearchWish(place="place 17"))),
                ("search within 5 km", lambda: log.search(SearchWish(near=Place(47.5, 11.0)))),
                ("search by date", lambda: log.search(SearchWish(since=date(2022, 1, 1), until=date(2022, 12, 31)))),
                ("search by notes", lambda: log.search(SearchWish(text="frame 99"))),
                ("learn the factor", lambda: learned_from(Kit(), log)),
                ("teach the kit", lambda: teach(Kit(), log, sun_height_deg=20.0)),
                ("export as JSON", lambda: export_log(log, Path(folder) / "a.json")),
                ("add one frame", lambda: log.add(entry(0))),
            ):
                print(f"{words:<20} {median_s(action):.3f} s")
        print(f"{'open the log':<20} {median_s(lambda: FieldLog(path).close()):.3f} s")


if __name__ == "__main__":
    main()
