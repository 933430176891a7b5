"""Kit files: what is read, what is refused and in which words."""

from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from irpreview.core.light.spectra import make_spectrum
from irpreview.errors import BadKit, CannotWrite
from irpreview.io.kits import kit_text, list_kits, load_kit, read_filter_curve, save_kit, with_lens
from irpreview.records import Kit, Range


def kit_file(tmp_path, text):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def refused(tmp_path, text):
    with pytest.raises(BadKit) as caught:
        load_kit(kit_file(tmp_path, text))
    message = str(caught.value)
    assert "\n" not in message
    assert len(message) < 400
    return message


def test_the_built_in_kits_have_the_agreed_names_default_first():
    assert [kit.name for kit in list_kits()] == [
        "unmodified-720",
        "converted-590",
        "converted-665",
        "converted-720",
        "converted-850",
        "reference-pairs",
    ]
    assert load_kit("unmodified-720").sensor == "unmodified"
    assert 750 <= load_kit("reference-pairs").filter_cut_on_nm <= 830


@pytest.mark.parametrize("kit", list_kits(), ids=lambda kit: kit.name)
def test_a_built_in_kit_written_and_read_is_the_same(tmp_path, kit):
    assert load_kit(save_kit(kit, tmp_path / "new folder" / "kit.toml")) == kit


@given(
    name=st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=40),
    cut_on=st.floats(500, 1100),
    leak=st.floats(0, 0.1),
    iso=st.floats(1, 1000),
    bulb=st.booleans(),
    low=st.floats(0, 10),
    correction=st.floats(-5, 5),
)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_kit_written_and_read_is_the_same(tmp_path, name, cut_on, leak, iso, bulb, low, correction):
    kit = Kit(
        name=name,
        words='quoted "words" and \\ and\ttab',
        filter_cut_on_nm=cut_on,
        filter_leak=leak,
        iso_min=iso,
        has_bulb=bulb,
        hot_spot_from_f_number=8.0,
        lens="old fifty",
        factor_stops=Range(low, low + 1.0, low + 2.0),
        factor_source="two frames",
        class_correction_stops=MappingProxyType({"tree": correction}),
    )
    assert load_kit(save_kit(kit, tmp_path / "kit.toml")) == kit


def test_a_small_file_is_enough(tmp_path):
    kit = load_kit(kit_file(tmp_path, "[filter]\ncut_on_nm = 830\n"))
    assert kit == replace(Kit(), name="mine", words="own kit", filter_cut_on_nm=830.0)
    assert load_kit(kit_file(tmp_path, "")) == replace(Kit(), name="mine", words="own kit")
    assert load_kit(kit_file(tmp_path, "\ufeff[body]\niso_min = 100\n")).iso_min == 100


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[filter]\ncut_on_nm = 420", ["filter.cut_on_nm = 420", "500 to 1100 nm"]),
        ("[filter]\ncut_on_nm = 1200", ["1200", "500 to 1100 nm"]),
        ("[filter]\ncut_on_nm = nan", ["filter.cut_on_nm", "nan"]),
        ("[filter]\ncut_on_nm = '720'x", ["TOML"]),
        ("[filter]\ncut_on_nm = true_", ["TOML"]),
        ("[filter]\ncut_on_nm = 'red'", ["must be a number"]),
        ("[filter]\ncuton_nm = 720", ["'filter.cuton_nm' is no kit key", "did you mean 'cut_on_nm'"]),
        ("[filtr]\ncut_on_nm = 720", ["did you mean 'filter'"]),
        ("iso_min = 64", ["belongs into section [body]"]),
        ("[filter]\niso_min = 64", ["belongs into section [body]"]),
        ("[lens]\nf_number_mini = 4", ["did you mean 'f_number_min'"]),
        ("[lens]\nf_number_min = 0", ["0.7 to 64"]),
        ("[lens]\nfocal_mm = []", ["at least one number"]),
        ("[lens]\nfocal_mm = [24, -1]", ["-1", "2 to 2000 mm"]),
        ("[lens]\nf_number_min = 16\nf_number_max = 4", ["above f_number_max"]),
        ("[body]\niso_min = -5", ["-5", "ISO"]),
        ("[body]\niso_max = 32", ["iso_min 64 is above iso_max 32"]),
        ("[body]\nhas_bulb = 'maybe'", ["true or false"]),
        ("[body]\nfocus = 'mirror'", ["'on_sensor' or 'separate'"]),
        ("[sensor]\nkind = 'modified'", ["'unmodified', 'full_spectrum' or 'converted'"]),
        ("[sensor]\npixels_wide = 12.5", ["whole number"]),
        ("sensor = 3", ["section of keys"]),
        ("name = 3", ["text in quotes"]),
        ("[calibration]\nfactor_stops = { low = 16, likely = 15, high = 17 }", ["must rise"]),
        ("[calibration]\nfactor_stops = { low = 14, likley = 15, high = 16 }", ["did you mean 'likely'"]),
        ("[calibration]\nfactor_stops = { low = 14, high = 16 }", ["likely is missing"]),
        ("[calibration]\nclass_correction_stops = { tre = 0.2 }", ["did you mean 'tree'"]),
        ("[calibration]\nclass_correction_stops = { tree = 9 }", ["-5 to 5 stops"]),
        ("[filter]\ncurve = 'nowhere.csv'", ["nowhere.csv", "does not exist"]),
    ],
)
def test_faults_are_named_with_key_value_range_and_remedy(tmp_path, text, words):
    message = refused(tmp_path, text)
    for word in words:
        assert word in message, message


def test_unknown_names_and_things_that_are_no_kit_files_are_refused(tmp_path):
    with pytest.raises(BadKit, match="did you mean unmodified-720"):
        load_kit("unmodifed-720")
    with pytest.raises(BadKit, match="is a folder"):
        load_kit(tmp_path)
    (tmp_path / "picture.toml").write_bytes(b"\xff\xd8\xff\xe0" + bytes(2000))
    with pytest.raises(BadKit, match="not text in UTF-8"):
        load_kit(tmp_path / "picture.toml")
    (tmp_path / "huge.toml").write_bytes(b"#" * 1_500_000)
    with pytest.raises(BadKit, match="at most"):
        load_kit(tmp_path / "huge.toml")


def told(path) -> str:
    """The refusal of a kit file, empty when it is accepted."""
    try:
        load_kit(path)
    except BadKit as error:
        return str(error)
    return ""


@given(st.binary(max_size=300))
@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_are_a_kit_or_one_line(tmp_path, content):
    path = tmp_path / "any.toml"
    path.write_bytes(content)
    assert "\n" not in told(path)


@given(st.data())
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_damaged_kit_file_is_a_kit_or_one_line(tmp_path, data):
    text = kit_text(load_kit("unmodified-720"))
    at = data.draw(st.integers(0, len(text) - 1))
    path = tmp_path / "any.toml"
    path.write_text(
        text[:at] + data.draw(st.text("0-9.e\"'=[]{}\nax_ ", max_size=3)) + text[at + 1 :], encoding="utf-8"
    )
    message = told(path)
    assert "\n" not in message
    if not message:
        assert 500 <= load_kit(path).filter_cut_on_nm <= 1100


# --- own filter curve -------------------------------------------------------------------------------------------------


def curve_file(tmp_path, text):
    path = tmp_path / "curve.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_an_own_curve_is_read_with_heading_percent_and_semicolons(tmp_path):
    a = read_filter_curve(curve_file(tmp_path, "# mine\nnm,T\n680,0.01\n740,0.5\n900,0.9\n"))
    b = read_filter_curve(curve_file(tmp_path, "nm;percent\n900;90\n740;50\n680;1\n"))
    np.testing.assert_allclose(a.value, b.value)
    np.testing.assert_allclose(a.wavelength_nm, b.wavelength_nm)


def test_a_kit_with_an_own_curve_takes_its_cut_on_from_it_and_survives_saving(tmp_path):
    curve_file(tmp_path, "680,0.0\n700,0.1\n740,0.6\n900,0.9\n")
    kit = load_kit(kit_file(tmp_path, "[filter]\ncurve = 'curve.csv'\n"))
    assert kit.filter_curve is not None
    assert kit.filter_cut_on_nm == 740.0
    again = load_kit(save_kit(kit, tmp_path / "copy" / "kit.toml"))
    assert again.filter_curve is not None
    np.testing.assert_array_equal(again.filter_curve.value, kit.filter_curve.value)
    assert again.filter_cut_on_nm == 740.0


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("700,0.1\n800,0.9\n", "at least 3"),
        ("700,0.1\n800,x\n900,0.9\n", "line 2"),
        ("700,0.1\n800,0.5\n800,0.6\n", "rise"),
        ("700,-0.2\n800,0.5\n900,0.9\n", "0 to 1"),
        ("700,0.2\n800,0.5\n900,700\n", "0 to 1"),
        ("700,0\n800,0.001\n900,0.002\n", "never passes"),
        ("400,0.9\n500,0.9\n600,0.9\n", "reach into"),
        ("380,0.9\n500,0.9\n900,0.9\n", "cuts on at 380 nm"),
        ("700,nan\n800,0.5\n900,0.9\n", "not a number"),
        ("", "0 points"),
    ],
)
def test_curves_that_make_no_sense_are_refused(tmp_path, text, word):
    with pytest.raises(BadKit, match=word) as caught:
        read_filter_curve(curve_file(tmp_path, text))
    assert "\n" not in str(caught.value)


def test_where_nothing_can_be_written_it_is_said(tmp_path):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(CannotWrite, match="cannot be written"):
        save_kit(Kit(), tmp_path / "file" / "kit.toml")


def test_a_curve_in_memory_needs_no_file():
    curve = make_spectrum([700.0, 760.0, 900.0], [0.0, 0.5, 0.9], "filter transmission")
    assert 'curve = "filter.csv"' in kit_text(replace(Kit(), filter_curve=curve))


def test_the_lens_on_a_kit(tmp_path):
    kit = replace(load_kit("unmodified-720"), lens="old fifty", hot_spot_from_f_number=8.0)
    assert with_lens(kit, "Old Fifty ").hot_spot_from_f_number == 8.0
    assert with_lens(kit, "another").hot_spot_from_f_number is None
    unnamed = replace(kit, lens=None)
    assert with_lens(unnamed, "old fifty").hot_spot_from_f_number == 8.0
    for wrong in ("", " ", "x" * 81):
        with pytest.raises(BadKit, match="name of 1 to 80 letters"):
            with_lens(kit, wrong)
    old = tmp_path / "old.toml"  # as kit files were before lenses had names
    old.write_text("[lens]\nfocal_mm = [50]\nhot_spot_from_f_number = 11\n")
    assert (load_kit(old).lens, load_kit(old).hot_spot_from_f_number) == (None, 11.0)
