"""The tables of the package: complete, sourced, physical; damaged ones are refused in one line."""

import shutil
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from irpreview.errors import BadModel
from irpreview.io.tables import load_tables, tables_from

FOLDER = Path(str(files("irpreview") / "data"))
TABLES = load_tables()


def test_tables_are_read_once():
    assert load_tables() is TABLES


def test_the_grid_is_even_and_covers_eye_and_silicon():
    w = TABLES.wavelength_nm
    assert w[0] <= 360
    assert w[-1] >= 1100
    assert np.unique(np.diff(w)).tolist() == [5.0]


def test_every_column_has_a_whole_source_record():
    for column in TABLES.column_source:
        record = TABLES.sources[TABLES.column_source[column]]
        for value in (record.what, record.who, record.year, record.licence, record.how):
            assert len(value) >= 3, column
    used = {TABLES.column_source[c] for c in TABLES.column_source}
    assert used == set(TABLES.sources)  # no record without a column either


def test_what_is_not_measured_says_so():
    for name in ("granite", "limestone", "sandstone", "basalt", "slate", "brick"):
        material = TABLES.materials[name]
        assert material.evidence == "from memory"
        assert "from memory" in TABLES.sources[material.source_id].how
    assert TABLES.materials["soil"].evidence == "measured"
    assert TABLES.materials["broadleaf"].evidence == "model"


def test_the_brief_kinds_of_surface_are_there():
    wanted = {
        "broadleaf", "conifer_stand", "conifer_needles", "grass_fresh", "grass_half_dry", "grass_golden",
        "autumn_leaves", "soil", "sand", "limestone", "granite", "basalt", "slate", "brick", "red_tile", "concrete",
        "paint", "asphalt", "bark", "snow", "snow_wet", "cloud", "water_clear", "water_turbid",
    }  # fmt: skip
    assert wanted <= set(TABLES.materials)


def test_reflectances_stay_between_nothing_and_all():
    for material in TABLES.materials.values():
        for spectrum in (material.low, material.likely, material.high):
            assert spectrum.min() > 0.0
            assert spectrum.max() < 1.0
        assert material.visible.low < material.visible.likely < material.visible.high
        assert material.members >= 15


def test_arrays_cannot_be_changed():
    with pytest.raises(ValueError, match="read-only"):
        TABLES.wavelength_nm[0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        TABLES.direct[0, 0, 0] = 1.0
    with pytest.raises(TypeError):
        TABLES.materials["x"] = None  # type: ignore[index]


def damaged(tmp_path: Path, name: str, change) -> Path:
    folder = tmp_path / "data"
    folder.mkdir()
    for file in ("response.csv", "daylight.csv", "reflectance.csv", "materials.csv", "sources.toml"):
        shutil.copy(FOLDER / file, folder / file)
    path = folder / name
    if change is None:
        path.unlink()
    else:
        path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("response.csv", None),
        ("sources.toml", None),
        ("daylight.csv", lambda t: t[: len(t) // 2]),
        ("reflectance.csv", lambda t: t.replace("broadleaf_low", "broadleaf_lo")),
        ("reflectance.csv", lambda t: t.replace("wavelength_nm", "nm")),
        ("response.csv", lambda t: t.replace("\n360,", "\n361,")),
        ("response.csv", lambda t: t.replace("0.", "x.", 1)),
        ("response.csv", lambda t: t.replace("v_lambda", "mystery")),
        ("materials.csv", lambda t: t.replace("granite,", "marble,")),
        ("materials.csv", lambda t: t.replace("measured", "")[:40]),
        ("sources.toml", lambda t: t.replace("[source.granite]", "[source.granit]")),
        ("sources.toml", lambda t: t.replace("licence", "license")),
        ("sources.toml", lambda t: t + "\n["),
        ("response.csv", lambda t: t.replace("550,0.99495", "550,nan")),
    ],
)
def test_damaged_tables_are_refused_in_one_line(tmp_path, name, change):
    with pytest.raises(BadModel, match="install irpreview again") as caught:
        tables_from(damaged(tmp_path, name, change))
    assert "\n" not in str(caught.value)


def test_an_untouched_copy_reads_the_same(tmp_path):
    copy = tables_from(damaged(tmp_path, "response.csv", lambda t: t))
    np.testing.assert_array_equal(copy.direct, TABLES.direct)
    assert set(copy.materials) == set(TABLES.materials)
