"""CSV that opens as text: the signs are those of the published advice on CSV injection (OWASP); format RFC 4180."""

import csv
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from irpreview.core.field_log.entries import LogEntry
from irpreview.errors import BadLog, BadValue
from irpreview.io.field_log import FieldLog
from irpreview.io.log_exchange import export_log, import_log
from irpreview.io.spreadsheet import read_rows, write_rows

TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=30)
LIVE = st.sampled_from(["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "'=1", "''=1", " =1", "'", "'a", "\uff1d1"])


@given(st.lists(st.one_of(TEXT, LIVE), min_size=1, max_size=4))
def test_every_text_comes_back_and_none_is_live(cells):
    names = [f"c{i}" for i in range(len(cells))]
    written = write_rows(names, [dict(zip(names, cells, strict=True))])
    for cell in list(csv.reader(io.StringIO(written, newline="")))[1]:
        assert not cell.lstrip().startswith(("=", "+", "-", "@"))
        assert not cell.startswith(("\t", "\r"))
    read, rows = read_rows(written)
    assert list(read) == names
    assert rows == [{name: cell for name, cell in zip(names, cells, strict=True) if cell}]


def test_numbers_stay_numbers():
    assert write_rows(("a", "b"), [{"a": -0.3, "b": True}]) == "a,b\n-0.3,1\n"


def test_a_log_with_formulas_goes_out_tame_and_comes_back_whole(tmp_path):
    said = '=HYPERLINK("x")'
    with FieldLog(tmp_path / "a.sqlite") as log:
        log.add(LogEntry(kit_name="unmodified-720", notes=said, lens="@lens", came_out_stops=-0.3))
        export_log(log, tmp_path / "out.csv")
    assert "'=HYPERLINK" in (tmp_path / "out.csv").read_text(encoding="utf-8")
    with FieldLog(tmp_path / "b.sqlite") as log:
        assert import_log(log, tmp_path / "out.csv") == (1, 0)
        entry = log.search()[0]
    assert (entry.notes, entry.lens, entry.came_out_stops) == (said, "@lens", -0.3)


@pytest.mark.parametrize(
    "frames",
    [[{"kit_name": "k", "iso": 10**400}], [{"kit_name": "k", "iso": float("inf")}], [{"kit_name": "k", "taken_at": 1}]],
)
def test_imports_of_numbers_without_end_are_one_line(tmp_path, frames):
    path = tmp_path / "in.json"
    path.write_text(json.dumps({"schema": "irpreview-log/2", "frames": frames}), encoding="utf-8")
    with FieldLog(tmp_path / "log.sqlite") as log, pytest.raises(BadLog, match="nothing was imported"):
        import_log(log, path)


def test_endless_frame_counts_cells_and_devices_are_one_line(tmp_path):
    spot = {"kit_name": "k", "lens": "l", "focal_mm": 50, "f_number": 8, "radius_share": 0.2, "frames": float("inf")}
    spot["strength_stops"] = {"low": 0, "likely": 1, "high": 2}
    whole = {"schema": "irpreview-log/2", "frames": [], "hot_spots": [spot]}
    (tmp_path / "a.json").write_text(json.dumps(whole), encoding="utf-8")
    (tmp_path / "b.csv").write_text("kit_name,notes\nk," + "x" * 140_000, encoding="utf-8")
    with FieldLog(tmp_path / "log.sqlite") as log:
        for name in (tmp_path / "a.json", tmp_path / "b.csv", "/dev/zero"):
            with pytest.raises(BadLog):
                import_log(log, name)


def test_a_log_whose_date_makes_no_sense_is_one_line(tmp_path):
    with FieldLog(tmp_path / "log.sqlite") as log:
        number = log.add(LogEntry(kit_name="unmodified-720"))
        log._connection.execute("UPDATE frames SET taken_at = 'garbage'")
        with pytest.raises(BadLog, match="makes no sense"):
            log.entry(number)
        with pytest.raises(BadLog, match="makes no sense"):
            log.search()
        log.remove(number)
        assert len(log) == 0


@pytest.mark.parametrize(("table", "line"), [("a,b\n1,{big}\n", 2), ("a,b\n1,2\n3,{big}", 3), ("a,{big}\n1,2", 1)])
def test_a_cell_without_end_is_told_at_its_own_line(table, line):
    with pytest.raises(BadValue, match=f"line {line} is no row of a table"):
        read_rows(table.format(big="y" * 140_000))
