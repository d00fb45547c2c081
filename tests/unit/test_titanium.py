"""Ti-6Al-4V: classes by rate, refused gases, own properties, and why bars do not harden through."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

import heatq as hq
from heatq.errors import InputError
from heatq.steels import titanium_6al4v
from heatq.titanium import check_titanium_gas, classify_titanium, structure_of_rate


def cooled(*rates, start=1020.0):
    time = np.unique(np.concatenate([[0.0], np.geomspace(0.01, 1000.0, 3000)]))
    values = np.maximum(start - np.outer(time, rates), 20.0)
    return xr.Dataset(
        {"temperature": (("time", "probe"), values)},
        coords={"time": time, "probe": [f"p{n}" for n in range(len(rates))]},
    )


def test_classes_and_their_uncertain_borders():
    found = classify_titanium(cooled(1.0, 17.0, 25.0, 100.0, 350.0, 500.0, 900.0))
    kind = [str(name).split(" ")[0] for name in found["structure"].values]
    assert kind == ["lamellar", "lamellar", "massive", "massive", "massive", "martensite", "martensite"]
    assert found["is_uncertain"].values.tolist() == [False, True, True, False, True, True, False]
    assert str(found["other_structure"].values[1]).startswith("massive")
    assert str(found["other_structure"].values[5]).startswith("massive")
    assert found["other_structure"].values[0] == ""


def test_the_published_borders_are_20_and_410():
    near = structure_of_rate([19.9, 20.1, 409.0, 411.0])
    assert near[0] != near[1] == near[2] != near[3]
    assert structure_of_rate(np.nan) == ""


@pytest.mark.parametrize("gas", ["argon", "helium"])
def test_inert_gases_are_allowed(gas):
    assert check_titanium_gas(gas) == gas


@pytest.mark.parametrize(
    ("gas", "reason"),
    [("nitrogen", "nitride"), ("hydrogen", "hydrides"), ("air", "alpha case"), ("steam", "unknown gas for titanium")],
)
def test_other_gases_are_refused_with_the_reason(gas, reason):
    with pytest.raises(InputError, match=reason):
        check_titanium_gas(gas)


def test_a_mixture_is_refused_for_its_worst_part():
    assert check_titanium_gas({"argon": 0.5, "helium": 0.5}) == "argon + helium"
    with pytest.raises(InputError, match="nitride"):
        check_titanium_gas({"helium": 0.9, "nitrogen": 0.1})


def test_a_start_below_the_transus_is_refused():
    with pytest.raises(InputError, match="beta transus"):
        classify_titanium(cooled(10.0, start=950.0))
    with pytest.raises(InputError, match="upper, lower"):
        classify_titanium(cooled(10.0), window=(700.0, 900.0))


def test_only_the_skin_of_a_water_quenched_bar_becomes_martensite():
    """The centre of a 50 mm bar stays far below 410 K/s in the strongest quench there is; helium gives lamellar alpha."""
    bar, metal = hq.RoundBar(0.050), titanium_6al4v()
    ran = {
        name: hq.simulate(
            bar,
            metal,
            {"side": hq.Convection(coefficient, 25.0)},
            initial_temperature=1020.0,
            end_time=600.0,
            stop_below=400.0,
            probes={"skin": (0.0248, 0.0), "3 mm": (0.022, 0.0), "centre": (0.0, 0.0)},
            accuracy=1.0,
            progress=False,
        )
        for name, coefficient in (("water", 15000.0), ("helium", 800.0))
    }
    water = classify_titanium(ran["water"])
    assert str(water["structure"].sel(probe="skin").values).startswith("martensite")
    assert not str(water["structure"].sel(probe="3 mm").values).startswith("martensite")
    assert float(water["cooling_rate"].sel(probe="centre")) < 40.0
    assert str(classify_titanium(ran["helium"])["structure"].sel(probe="centre").values).startswith("lamellar")
