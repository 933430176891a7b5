"""Spectra on explicit grids: what is combined, what is refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.light.spectra import (
    infrared_cut,
    logistic_long_pass,
    make_spectrum,
    multiply,
    resample,
)
from irpreview.errors import BadValue
from irpreview.io.tables import load_tables


def line(slope: float = 0.0, offset: float = 1.0):
    w = np.array([400.0, 500.0, 650.0, 1000.0])
    return make_spectrum(w, offset + slope * (w - 400.0), "reflectance")


@pytest.mark.parametrize(
    ("wavelength", "value", "word"),
    [
        ([400, 500], [1.0], "2 wavelengths and 1 values"),
        ([400], [1.0], "at least two"),
        ([400, 400, 500], [1, 1, 1], "after 400 nm"),
        ([500, 400], [1, 1], "do not rise"),
        ([400, 500], [1.0, float("nan")], "not a number"),
        ([400, float("inf")], [1.0, 1.0], "not a number"),
    ],
)
def test_spectra_that_make_no_sense_are_refused_in_one_line(wavelength, value, word):
    with pytest.raises(BadValue, match=word) as caught:
        make_spectrum(wavelength, value, "reflectance")
    assert "\n" not in str(caught.value)


def test_a_spectrum_is_unknown_beyond_its_ends_unless_told():
    with pytest.raises(BadValue, match="known from 400 to 1000 nm"):
        resample(line(), np.array([390.0, 500.0]))
    assert resample(line(), np.array([390.0, 500.0]), outside=0.0).tolist() == [0.0, 1.0]


def test_multiplying_needs_cover_and_keeps_the_first_grid():
    short = make_spectrum([450.0, 700.0], [2.0, 2.0], "light", "W")
    product = multiply(short, line())
    assert product.wavelength_nm.tolist() == [450.0, 700.0]
    assert product.value.tolist() == [2.0, 2.0]
    with pytest.raises(BadValue):
        multiply(line(), short)


def test_an_array_of_a_spectrum_cannot_be_changed():
    with pytest.raises(ValueError, match="read-only"):
        line().value[0] = 3.0


@given(st.floats(520, 1000), st.floats(0, 0.05))
@settings(max_examples=40, deadline=None)
def test_a_long_pass_is_half_open_at_its_cut_on_rises_and_keeps_its_leak(cut_on, leak):
    fine = np.arange(360.0, 1100.1, 0.5)
    t = logistic_long_pass(fine, cut_on, leak=leak)
    assert (np.diff(t) >= -1e-12).all()
    assert np.interp(cut_on, fine, t) == pytest.approx((0.92 + leak) / 2.0, abs=2e-3)
    assert t.min() >= leak
    assert t.max() <= 0.92 + 1e-12
    ten, ninety = (float(np.interp(leak + s * (0.92 - leak), t, fine)) for s in (0.1, 0.9))
    if cut_on < 1000:
        assert ninety - ten == pytest.approx(20.0, abs=1.5)


def test_an_infrared_cut_falls_to_its_floor():
    w = load_tables().wavelength_nm
    cut = infrared_cut(w, 650.0, 8.0, 1e-4)
    assert cut[w == 550.0][0] == pytest.approx(0.95, abs=1e-4)
    assert cut[w == 650.0][0] == pytest.approx(0.475)
    assert cut[w == 850.0][0] == 1e-4
    assert (np.diff(cut) <= 0).all()
