from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import inch, zero_Celsius

from heatq.units import degF, kelvin, sixteenths, to_degF, to_kelvin, to_sixteenths

EXACT = 1e-12
PAIRS = [(degF, to_degF), (kelvin, to_kelvin), (sixteenths, to_sixteenths)]


@pytest.mark.parametrize(("there", "back"), PAIRS)
@given(value=st.floats(-1e4, 1e4))
def test_round_trip(there, back, value):
    assert back(there(value)) == pytest.approx(value, rel=EXACT, abs=1e-9)
    assert there(back(value)) == pytest.approx(value, rel=EXACT, abs=1e-9)


@pytest.mark.parametrize(("there", "back"), PAIRS)
def test_arrays_keep_their_shape(there, back):
    values = np.linspace(-100, 2000, 12).reshape(3, 4)
    assert there(values).shape == (3, 4)
    np.testing.assert_allclose(back(there(values)), values, rtol=EXACT)


@given(low=st.floats(-400, 2000), step=st.floats(0.01, 1000))
def test_differences_keep_their_sign_and_scale(low, step):
    """1.8 degF are 1 K; kelvin and degC differ by a shift only."""
    assert degF(low + 1.8 * step) - degF(low) == pytest.approx(step, rel=1e-6)
    assert kelvin(low + step) - kelvin(low) == pytest.approx(step, rel=1e-6)


@pytest.mark.parametrize(
    ("got", "expected"),
    [
        (degF(32.0), 0.0),
        (degF(212.0), 100.0),
        (degF(-40.0), -40.0),
        (degF(1300.0), 704.444444),  # the temperature of the end-quench cooling-rate table
        (to_degF(845.0), 1553.0),
        (kelvin(0.0), -zero_Celsius),
        (to_kelvin(0.0), zero_Celsius),
        (sixteenths(16.0), inch),
        (sixteenths(32.0), 0.0508),
        (to_sixteenths(0.0127), 8.0),
    ],
)
def test_known_points(got, expected):
    assert got == pytest.approx(expected, rel=1e-9, abs=1e-9)
