"""Sun heights and times of a day's plan against skyfield (JPL DE421): within 0.1 degree and one minute."""

import math
import warnings
from datetime import UTC, date, timedelta
from zoneinfo import ZoneInfo

import pytest
from skyfield import almanac

from irpreview.core.light.sun_times import sun_up_spans
from irpreview.core.planning.day_plan import plan_day
from irpreview.core.planning.day_request import span_of
from irpreview.io.tables import load_tables
from irpreview.records import CautionKind, Kit, Place
from irpreview.records.day_plan import Viewpoint

CASES = [
    (Place(57.5, -20.1), "Atlantic/Reykjavik", "2026-06-20"),
    (Place(40.0, -8.0), "Europe/Lisbon", "2026-03-29"),
    (Place(40.0, -8.0), "Europe/Lisbon", "2026-10-25"),
    (Place(-41.3, 174.8), "Pacific/Auckland", "2026-12-21"),
    (Place(-33.9, 18.4), "Africa/Johannesburg", "2026-08-09"),
    (Place(64.1, -21.9), "Atlantic/Reykjavik", "2026-11-05"),
    (Place(0.5, -179.5), "Pacific/Auckland", "2026-03-20"),
]


@pytest.fixture(scope="module")
def sky():
    """Ephemeris, clock and the earth's surface by skyfield."""
    data = pytest.importorskip("skyfield_data")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns that its Earth-rotation file has expired
        from skyfield.api import Loader, wgs84  # noqa: PLC0415 - warns when it is loaded

        load = Loader(data.get_skyfield_data_path(), verbose=False)
        ephemeris = load("de421.bsp")
        yield ephemeris, load.timescale(builtin=True), wgs84
        ephemeris.close()


@pytest.mark.parametrize(("place", "zone", "day"), CASES, ids=[f"{c[1]} {c[2]}" for c in CASES])
def test_heights_and_bearings_of_stays(sky, place: Place, zone: str, day: str) -> None:
    ephemeris, clock, wgs84 = sky
    (first, last), _ = span_of(date.fromisoformat(day), 0, 24 * 60, ZoneInfo(zone))
    views = [
        Viewpoint(f"{heading:.0f}", Place(place.latitude_deg + 0.01 * i, place.longitude_deg), heading, stay_min=35)
        for i, heading in enumerate((0.0, 90.0, 180.0, 270.0))
    ]
    plan = plan_day(views, first, last, zone, Kit(), load_tables(), start=place)
    assert plan.stays
    for stay in plan.stays:
        here = ephemeris["earth"] + wgs84.latlon(stay.view.place.latitude_deg, stay.view.place.longitude_deg)
        for when, height, bearing in zip(
            (stay.begin, stay.end), stay.sun_height_deg, stay.sun_bearing_deg, strict=True
        ):
            apparent = here.at(clock.from_datetime(when.astimezone(UTC))).observe(ephemeris["sun"]).apparent()
            other, azimuth, _ = apparent.altaz(temperature_C=12.0, pressure_mbar=1013.25)
            assert height == pytest.approx(other.degrees, abs=0.1)
            apart = (bearing - azimuth.degrees + 180.0) % 360.0 - 180.0
            assert abs(apart) * math.cos(math.radians(height)) < 0.1


@pytest.mark.parametrize(("place", "zone", "day"), CASES, ids=[f"{c[1]} {c[2]}" for c in CASES])
def test_sunrise_and_sunset_of_the_day(sky, place: Place, zone: str, day: str) -> None:
    """skyfield's almanac: true height of the middle -0.8333 degrees."""

    ephemeris, clock, wgs84 = sky
    (first, last), _ = span_of(date.fromisoformat(day), 0, 24 * 60, ZoneInfo(zone))
    rises_and_sets = almanac.sunrise_sunset(ephemeris, wgs84.latlon(place.latitude_deg, place.longitude_deg))
    times, up = almanac.find_discrete(
        clock.from_datetime(first.astimezone(UTC)), clock.from_datetime(last.astimezone(UTC)), rises_and_sets
    )
    told = {bool(is_up): when.utc_datetime() for when, is_up in zip(times, up, strict=True)}
    spans = sun_up_spans(place, first, last)
    rises = [a for a, _ in spans if a.astimezone(UTC) != first.astimezone(UTC)]
    sets = [b for _, b in spans if b.astimezone(UTC) != last.astimezone(UTC)]
    assert len(rises) == len(sets) == 1
    assert abs(rises[0].astimezone(UTC) - told[True]) <= timedelta(minutes=1)
    assert abs(sets[0].astimezone(UTC) - told[False]) <= timedelta(minutes=1)


def test_the_sunset_in_the_caution_is_skyfields(sky) -> None:
    ephemeris, clock, wgs84 = sky
    place = Place(40.0, -8.0)
    (first, last), _ = span_of(date(2026, 6, 20), 17 * 60 + 30, 23 * 60, ZoneInfo("Europe/Lisbon"))
    plan = plan_day([Viewpoint("v", place, 80.0, stay_min=240)], first, last, "Europe/Lisbon", Kit(), load_tables())
    dusk = next(c for c in plan.cautions if c.kind is CautionKind.DUSK)
    where = wgs84.latlon(place.latitude_deg, place.longitude_deg)
    times, up = almanac.find_discrete(
        clock.from_datetime(first.astimezone(UTC)),
        clock.from_datetime(last.astimezone(UTC)),
        almanac.sunrise_sunset(ephemeris, where),
    )
    assert list(up) == [0]
    assert dusk.sun_line is not None
    assert abs(dusk.sun_line[0].astimezone(UTC) - times[0].utc_datetime()) <= timedelta(minutes=1)
