"""Oil presets, Grossmann's H."""

from __future__ import annotations

import numpy as np
import pytest

from heatq.boundaries import GrossmannQuench, OilBath, coefficient_of_severity, severity_of_coefficient
from heatq.boundaries.oil import OILS
from heatq.boundaries.severity import AGITATIONS, SEVERITY, severity
from heatq.errors import InputError, ValidityWarning

#: Customary ranges (from memory, +-40 %): vapour h, peak h and where, convection h.
RANGES = {
    "conventional": ((300, 600), (1500, 2200), (500, 550), (250, 350)),
    "fast": ((400, 700), (2500, 4500), (550, 600), (300, 450)),
    "marquenching": ((300, 500), (1800, 2800), (530, 580), (250, 400)),
}


@pytest.mark.parametrize("kind", OILS)
def test_presets_lie_in_the_customary_ranges(kind):
    oil = OilBath(kind)
    vapour, peak, where, tail = RANGES[kind]
    surface = np.arange(100.0, 1000.0)
    h = oil.coefficient(surface)
    assert oil.agitation_factor == 1.0
    assert vapour[0] <= h[-1] <= vapour[1]
    assert peak[0] <= h.max() <= peak[1]
    assert where[0] <= surface[np.argmax(h)] <= where[1]
    assert tail[0] <= h[0] <= tail[1]


def test_editable_shape():
    oil = OilBath(
        "conventional", vapour_coefficient=600.0, collapse_temperature=750.0, peak_coefficient=2000.0,
        peak_temperature=575.0, convection_coefficient=250.0, tail_temperature=320.0,
    )  # fmt: skip
    assert oil.coefficient(np.array([800.0, 750.0, 575.0, 320.0, 100.0])) == pytest.approx([600, 600, 2000, 250, 250])
    assert oil.coefficient(np.array([662.5])) == pytest.approx([1300.0])


def test_agitation_scales_and_bath_temperature_shifts():
    factors = [OilBath(agitation=a).agitation_factor for a in AGITATIONS]
    assert factors[0] == 1.0
    assert (np.diff(factors) > 0).all()
    assert factors[3] == pytest.approx(0.45 / 0.275)
    assert OilBath("fast", agitation="none").agitation_factor == pytest.approx(0.275 / 0.375)
    hot = np.array([500.0])
    assert OilBath(temperature=40.0).heat_flux(hot) > OilBath(temperature=80.0).heat_flux(hot)
    assert OilBath(temperature=70.0).heat_flux(np.array([70.0])) == 0.0


def test_oil_above_its_flash_range_warns():
    with pytest.warns(ValidityWarning) as caught:
        OilBath(temperature=150.0).heat_flux(np.array([500.0]))
    text = " ".join(str(entry.message) for entry in caught)
    assert "flash point" in text
    assert "customary range" in text
    OilBath("marquenching", temperature=150.0).heat_flux(np.array([500.0]))  # no warning (it would be an error here)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"kind": "fats"}, "unknown kind of oil 'fats'.*'fast'"),
        ({"temperature": 500.0}, "temperature = 500"),
        ({"agitation": "wild"}, "unknown agitation"),
        ({"peak_temperature": 800.0}, "must rise in this order"),
        ({"peak_coefficient": -5.0}, "peak_coefficient = -5"),
    ],
)
def test_bad_oil(arguments, message):
    with pytest.raises(InputError, match=message):
        OilBath(**arguments)


@pytest.mark.parametrize("k", [25.0, 29.0, 35.0])
@pytest.mark.parametrize("h", [0.02, 0.3, 1.0, 5.0])
def test_severity_there_and_back(k, h):
    assert severity_of_coefficient(coefficient_of_severity(h, k), k) == pytest.approx(h, rel=1e-12)


@pytest.mark.parametrize(
    ("h", "k", "coefficient"),
    [
        (0.02, 25, 39),
        (0.25, 25, 492),
        (0.3, 29, 685),
        (0.5, 35, 1378),
        (0.8, 25, 1575),
        (1.0, 29, 2283),
        (5.0, 35, 13780),
    ],
)
def test_severity_table(h, k, coefficient):
    assert coefficient_of_severity(h, k) == pytest.approx(coefficient, abs=0.6)


def test_severity_of_media():
    assert severity("water") == pytest.approx(0.95)
    for row in SEVERITY.values():
        middle = [sum(row[a]) for a in AGITATIONS if a in row]
        assert middle == sorted(middle)
    with pytest.raises(InputError, match="no severity is listed for brine with good"):
        severity("brine", "good")
    with pytest.raises(InputError, match="unknown medium"):
        severity("watr")


def test_grossmann_quench():
    quench = GrossmannQuench(0.3, fluid_temperature=60.0, conductivity=25.0)
    assert quench.coefficient == pytest.approx(590.6, abs=0.1)
    with pytest.raises(TypeError):
        GrossmannQuench(0.3, fluid_temperature=60.0)  # the conductivity has no default
    with pytest.raises(InputError, match="H is per inch"):
        GrossmannQuench(600.0, fluid_temperature=60.0, conductivity=25.0)
