"""`irpreview kit` as a person types it: exit status, stdout for results only, one line for a refusal."""

import json

import pytest

from irpreview.cli import main
from irpreview.io.kits import list_kits, load_kit


def run(capsys, *arguments):
    with pytest.raises(SystemExit) as left:
        main(["kit", *map(str, arguments)])
    out, err = capsys.readouterr()
    return left.value.code, out, err


def test_list_names_the_built_in_kits_with_their_stops(capsys):
    code, out, err = run(capsys, "list")
    assert (code, err) == (0, "")
    assert [line.split()[0] for line in out.splitlines()] == [kit.name for kit in list_kits()]
    assert "15.3 stops" in out.splitlines()[0]


def test_list_as_json_is_one_object_per_line(capsys):
    code, out, _ = run(capsys, "list", "--json")
    answers = [json.loads(line) for line in out.splitlines()]
    assert code == 0
    assert {a["schema"] for a in answers} == {"irpreview/1"}
    for a in answers:
        for word in ("low", "likely", "high"):
            assert sum(part[word] for part in a["factor_parts"].values()) == pytest.approx(
                a["factor_stops"][word], abs=0.004
            )


def test_show_prints_a_kit_file_that_can_be_used(capsys, tmp_path):
    code, out, err = run(capsys, "show", "converted-850")
    path = tmp_path / "copy.toml"
    path.write_text(out, encoding="utf-8")
    assert code == 0
    assert load_kit(path) == load_kit("converted-850")
    assert "stops" in err


def test_make_writes_what_is_asked_and_never_over_a_file(capsys, tmp_path):
    path = tmp_path / "mine.toml"
    code, out, _ = run(capsys, "make", path, "--cut-on", "830", "--sensor", "converted", "--factor", "3.2")
    kit = load_kit(path)
    assert code == 0
    assert out.strip() == str(path)
    assert (kit.name, kit.filter_cut_on_nm, kit.sensor) == ("mine", 830.0, "converted")
    assert kit.factor_stops is not None
    assert kit.factor_stops.likely == 3.2
    code, out, err = run(capsys, "make", path)
    assert (code, out) == (1, "")
    assert "--overwrite" in err
    assert run(capsys, "make", path, "--overwrite", "--json")[0] == 0
    assert load_kit(path).filter_cut_on_nm == 720.0


def test_a_factor_found_with_other_glass_is_dropped(capsys, tmp_path):
    first, second = tmp_path / "first.toml", tmp_path / "second.toml"
    run(capsys, "make", first, "--factor", "14")
    run(capsys, "make", second, "--from", first, "--cut-on", "850")
    assert load_kit(first).factor_stops is not None
    assert load_kit(second).factor_stops is None


def test_an_own_curve_comes_along(capsys, tmp_path):
    (tmp_path / "curve.csv").write_text("680,0\n745,0.5\n900,0.9\n", encoding="utf-8")
    code, _, _ = run(capsys, "make", tmp_path / "sub" / "mine.toml", "--curve", tmp_path / "curve.csv")
    assert code == 0
    assert load_kit(tmp_path / "sub" / "mine.toml").filter_cut_on_nm == 745.0
    code, _, _ = run(capsys, "make", tmp_path / "b.toml", "--from", tmp_path / "sub" / "mine.toml", "--factor", "15")
    assert code == 0
    assert load_kit(tmp_path / "b.toml").filter_curve is not None


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("show", "nowhere.toml"), "built-in kits are"),
        (("make", "FILE", "--cut-on", "300"), "500 to 1100 nm"),
        (("make", "FILE", "--cut-on", "1300"), "500 to 1100 nm"),
        (("make", "FILE", "--sensor", "film"), "unmodified"),
        (("make", "FILE", "--factor", "99"), "-10 to 30"),
        (("make", "FILE", "--cut-on", "720", "--curve", "x.csv"), "give one of"),
        (("make", "FILE", "--curve", "nowhere.csv"), "does not exist"),
    ],
)
def test_refusals_are_one_line_and_status_2(capsys, tmp_path, arguments, word):
    typed = [str(tmp_path / "x.toml") if a == "FILE" else a for a in arguments]
    code, out, err = run(capsys, *typed)
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert word in err
    assert not (tmp_path / "x.toml").exists()


def test_a_mistyped_option_is_wrong_usage(capsys):
    assert run(capsys, "list", "--jsn")[0] == 2
    assert run(capsys, "make")[0] == 2
