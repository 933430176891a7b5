"""Read the tables that come with the package: CSV files and `sources.toml` in `irpreview/data`."""

from __future__ import annotations

import csv
import tomllib
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from types import MappingProxyType

import numpy as np

from irpreview.core.light.spectra import Array, Material, SourceRecord, Tables
from irpreview.errors import BadModel
from irpreview.records import Range


@lru_cache(maxsize=1)
def load_tables() -> Tables:
    """The tables of this installation, read once.

    Raises BadModel if a table is missing, damaged, or has a column without a source record.
    """
    return tables_from(files("irpreview") / "data")


def tables_from(folder: Traversable) -> Tables:
    """The tables of a folder laid out like `irpreview/data`. Raises BadModel."""
    try:
        columns = {name: _columns(folder / name) for name in ("response.csv", "daylight.csv", "reflectance.csv")}
        with (folder / "materials.csv").open(encoding="utf-8") as file:
            facts = {row["name"]: row for row in csv.DictReader(file)}
        record = tomllib.loads((folder / "sources.toml").read_text(encoding="utf-8"))
        sources = {key: SourceRecord(**value) for key, value in record["source"].items()}
        column_source = _column_sources(columns, record["columns"], sources)
        grid = columns["response.csv"]["wavelength_nm"]
        for name, table in columns.items():
            if not np.array_equal(table["wavelength_nm"], grid):
                raise BadModel(f"table {name} has other wavelengths than response.csv; install irpreview again")
        heights, aods, direct, sky = _daylight(columns["daylight.csv"])
        known = {name.rsplit("_", 1)[0] for name in columns["reflectance.csv"] if name != "wavelength_nm"}
        if known != set(facts):
            raise ValueError(f"materials.csv and reflectance.csv differ in {sorted(known ^ set(facts))[:3]}")
        materials = {name: _material(name, row, columns["reflectance.csv"]) for name, row in facts.items()}
    except (OSError, KeyError, TypeError, ValueError, tomllib.TOMLDecodeError) as error:
        raise BadModel(
            f"the tables of light and matter are damaged ({type(error).__name__}: {error}); install irpreview again"
        ) from error
    return Tables(
        wavelength_nm=grid,
        response=MappingProxyType({k: v for k, v in columns["response.csv"].items() if k != "wavelength_nm"}),
        materials=MappingProxyType(materials),
        extraterrestrial=columns["daylight.csv"]["extraterrestrial"],
        daylight_height_deg=heights,
        daylight_aod=aods,
        direct=direct,
        sky=sky,
        sources=MappingProxyType(sources),
        column_source=MappingProxyType(column_source),
    )


def _columns(path: Traversable) -> dict[str, Array]:
    with path.open(encoding="utf-8") as file:
        names = file.readline().strip().split(",")
        values = np.loadtxt(file, delimiter=",", ndmin=2)
    if values.shape[1] != len(names) or not np.isfinite(values).all():
        raise ValueError(f"{path.name} does not hold one number per column and line")
    out = {name: np.ascontiguousarray(values[:, i]) for i, name in enumerate(names)}
    for column in out.values():
        column.setflags(write=False)
    return out


def _column_sources(
    columns: dict[str, dict[str, Array]], prefixes: dict[str, dict[str, str]], sources: dict[str, SourceRecord]
) -> dict[str, str]:
    """Every column to its record: the longest start that matches."""
    out = {}
    for table, content in columns.items():
        for column in content:
            if column == "wavelength_nm":
                continue
            fits = [p for p in prefixes[table] if column.startswith(p)]
            if not fits or prefixes[table][max(fits, key=len)] not in sources:
                raise ValueError(f"column {column} of {table} has no source record")
            out[column] = prefixes[table][max(fits, key=len)]
    return out


def _daylight(table: dict[str, Array]) -> tuple[Array, Array, Array, Array]:
    keys = sorted({tuple(int(part) for part in name.split("_")[1:]) for name in table if name.startswith("direct_")})
    heights = sorted({k[0] for k in keys})
    aods = sorted({k[1] for k in keys})

    def stack(kind: str) -> Array:
        return np.array([[table[f"{kind}_{h:02d}_{a:03d}"] for a in aods] for h in heights])

    out = (np.array(heights, np.float64), np.array(aods, np.float64) / 1000.0, stack("direct"), stack("sky"))
    for array in out:
        array.setflags(write=False)
    return out


def _material(name: str, row: dict[str, str], table: dict[str, Array]) -> Material:
    return Material(
        name=name,
        evidence=row["evidence"],
        members=int(row["members"]),
        low=table[f"{name}_low"],
        likely=table[f"{name}_likely"],
        high=table[f"{name}_high"],
        visible=Range(float(row["visible_low"]), float(row["visible_likely"]), float(row["visible_high"])),
        source_id=name,
    )
