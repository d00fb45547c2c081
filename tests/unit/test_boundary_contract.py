"""One suite over every shipped boundary: shape kept, pure, finite, right sign, monotone, consistent in sums and stages.

A new boundary gets these tests by a line in `SHIPPED`.
"""

from __future__ import annotations

import copy
import dataclasses

import numpy as np
import pytest
from scipy.constants import bar, inch

import heatq.boundaries as package
from heatq.boundaries import (
    Blend,
    CoefficientTable,
    Convection,
    FixedTemperature,
    FluxTable,
    GasAlong,
    GasBank,
    GasBasket,
    GasCrossflow,
    GasJet,
    GrossmannQuench,
    HeatFlux,
    Immersion,
    Insulated,
    OilBath,
    Radiation,
    Ramp,
    Stages,
    StillAir,
    Sum,
    WaterBath,
    WaterJet,
    Zones,
    at,
    over_time,
)
from heatq.boundaries.gas_flow import Scaled
from heatq.boundaries.timeline import Boundary, value_at
from heatq.errors import hold_validity

STREAM = {"velocity": 30.0, "pressure": 5 * bar, "temperature": 40.0}
JET = {"velocity": 60.0, "pressure": 1 * bar, "temperature": 25.0, "face_diameter": inch}
AIR = {"temperature": 20.0, "length": 0.1016, "diameter": inch}
PLAIN = Convection(30.0, 20.0)


@dataclasses.dataclass
class Case:
    boundary: object
    fluid: float | None  # temperature of zero flux; None: no such temperature
    monotone: bool = True  # flux never falls with the surface temperature, 0 to 1300 degC


SHIPPED = {
    "Convection": Case(Convection(500.0, 20.0), 20.0),
    "Insulated": Case(Insulated(), 20.0),
    "HeatFlux": Case(HeatFlux(1e6), None),
    "Radiation": Case(Radiation(0.5, 25.0), 25.0),
    "Radiation, hot walls": Case(Radiation(0.8, 900.0), 900.0),
    "FixedTemperature": Case(FixedTemperature(100.0), 100.0),
    "CoefficientTable": Case(CoefficientTable([100.0, 500.0, 800.0], [300.0, 2000.0, 500.0], 60.0), 60.0, False),
    "FluxTable": Case(FluxTable([20.0, 300.0, 900.0], [0.0, 4e6, 2e6]), 20.0, False),
    "GasJet": Case(GasJet("nitrogen", **JET), 25.0),
    "GasJet, huang": Case(GasJet("helium", **JET, correlation="huang"), 25.0),
    "GasJet, lytle-webb": Case(GasJet("argon", **JET, correlation="lytle-webb"), 25.0),
    "GasJet, goldstein": Case(GasJet("argon", **JET, correlation="goldstein"), 25.0),
    "GasJet, stagnation": Case(GasJet("hydrogen", **JET, correlation="stagnation"), 25.0),
    "GasJet, martin": Case(
        GasJet("nitrogen", 60.0, bar, 25.0, nozzle_diameter=0.004, face_diameter=0.03, correlation="martin"), 25.0
    ),
    "GasJet, mixture": Case(GasJet({"helium": 0.6, "argon": 0.4}, **JET), 25.0),
    "GasJet, profile": Case(GasJet("nitrogen", **JET, profile=True), 25.0),
    "GasCrossflow": Case(GasCrossflow("nitrogen", **STREAM, diameter=0.05), 40.0),
    "GasCrossflow, zukauskas": Case(GasCrossflow("helium", **STREAM, diameter=0.05, correlation="zukauskas"), 40.0),
    # Hilpert's ranges do not join: h steps with the film temperature
    "GasCrossflow, hilpert": Case(
        GasCrossflow("air", 30.0, bar, 40.0, diameter=0.05, correlation="hilpert"), 40.0, False
    ),
    "GasAlong": Case(GasAlong("argon", **STREAM, length=0.2), 40.0),
    "GasAlong, laminar": Case(GasAlong("argon", **STREAM, length=0.02, correlation="laminar"), 40.0),
    "GasAlong, turbulent": Case(GasAlong("argon", **STREAM, length=0.2, correlation="turbulent"), 40.0),
    # the mixed formula steps at Re 5e5
    "GasAlong, mixed": Case(GasAlong("argon", **STREAM, length=0.2, correlation="mixed"), 40.0, False),
    "GasBank": Case(GasBank("nitrogen", **STREAM, transverse_pitch=0.1, longitudinal_pitch=0.1, diameter=0.05), 40.0),
    "GasBasket": Case(GasBasket("nitrogen", 2.0, 5 * bar, 40.0, diameter=0.05), 40.0),
    "StillAir, side": Case(StillAir(**AIR, surface="vertical cylinder"), 20.0),
    "StillAir, lying": Case(StillAir(**AIR, surface="horizontal cylinder"), 20.0),
    "StillAir, plate": Case(StillAir(**AIR, surface="vertical plate"), 20.0),
    "StillAir, up": Case(StillAir(**AIR, surface="facing up"), 20.0),
    "StillAir, down": Case(StillAir(**AIR, surface="facing down"), 20.0),
    "WaterJet": Case(WaterJet(24.0), 24.0),
    "WaterBath": Case(WaterBath(25.0, diameter=0.05, length=0.2), 25.0, False),
    "WaterBath, moving": Case(WaterBath(40.0, velocity=1.0, diameter=0.05), 40.0, False),
    "WaterBath, henry": Case(WaterBath(60.0, rewetting="henry", diameter=0.05), 60.0, False),
    "OilBath, conventional": Case(OilBath(), 60.0, False),
    "OilBath, fast": Case(OilBath("fast", agitation="strong"), 60.0, False),
    "OilBath, marquenching": Case(OilBath("marquenching"), 150.0, False),
    "GrossmannQuench": Case(GrossmannQuench(0.3, 60.0, 25.0), 60.0),
    "Sum": Case(Sum((PLAIN, Radiation(0.4, 20.0))), 20.0),
    "Stages": Case(Stages((5.0, PLAIN), (None, WaterJet(24.0))), 20.0),
    "Blend": Case(Blend(PLAIN, Convection(900.0, 20.0), 0.3), 20.0),
    "Scaled": Case(Scaled(PLAIN, 1.4), 20.0),
    "Zones": Case(Zones([(0.04, PLAIN), (None, Insulated())]), 20.0),
    "Immersion": Case(Immersion(0.1, below=OilBath(), above=PLAIN), 20.0),
    "Ramp": Case(Ramp(PLAIN, [0.0, 5.0], coefficient=[30.0, 300.0]), 20.0),
}

SURFACE = np.linspace(0.0, 1300.0, 1501)

every = pytest.mark.parametrize("name", SHIPPED)


@pytest.fixture(autouse=True)
def _hold_notes():
    """The suite asks 0 to 1300 degC of everything; ranges left on the way are not its business."""
    with hold_validity():
        yield


def test_every_public_boundary_is_here():
    classes = {
        name
        for name in package.__all__
        if isinstance(getattr(package, name), type) and issubclass(getattr(package, name), Boundary)
    } - {"Boundary"}
    assert classes <= {type(case.boundary).__name__ for case in SHIPPED.values()}


@every
@pytest.mark.parametrize("shape", [(), (1,), (7,), (3, 4), (2, 3, 4)])
def test_shape_is_kept(name, shape):
    surface = np.full(shape, 400.0)
    flux = SHIPPED[name].boundary.heat_flux(surface)
    assert np.shape(flux) == shape
    assert np.asarray(flux).dtype == np.float64


@every
def test_pure(name):
    boundary = SHIPPED[name].boundary
    before, given = copy.deepcopy(boundary), SURFACE.copy()
    first = boundary.heat_flux(given)
    assert np.array_equal(given, SURFACE)
    assert np.array_equal(first, boundary.heat_flux(given))
    assert repr(boundary) == repr(before)
    # elementwise: each value depends on its own temperature alone
    assert np.allclose(boundary.heat_flux(SURFACE[::-1].copy())[::-1], first, rtol=1e-12, atol=1e-9)


@every
def test_finite_from_0_to_1300_and_a_little_beyond(name):
    flux = SHIPPED[name].boundary.heat_flux(np.linspace(-50.0, 1450.0, 3001))
    assert np.isfinite(flux).all()


@every
def test_sign(name):
    case = SHIPPED[name]
    if case.fluid is None:
        return
    scale = np.abs(case.boundary.heat_flux(SURFACE)).max()
    assert case.boundary.heat_flux(np.array([case.fluid]))[0] == pytest.approx(0.0, abs=1e-9 * max(scale, 1.0))
    if scale > 0.0:
        assert (case.boundary.heat_flux(SURFACE[case.fluid + 1.0 < SURFACE]) > 0.0).all()
        colder = SURFACE[(case.fluid - 1.0 > SURFACE)]
        assert name == "FluxTable" or (case.boundary.heat_flux(colder) < 0.0).all()


@every
def test_monotone(name):
    case = SHIPPED[name]
    rises = np.diff(case.boundary.heat_flux(SURFACE))
    if case.monotone:
        assert (rises >= -1e-9 * np.abs(case.boundary.heat_flux(SURFACE)).max()).all()
    else:
        assert (rises < 0.0).any(), "mark it monotone"


@every
def test_in_a_sum_and_in_stages(name):
    boundary = SHIPPED[name].boundary
    extra = HeatFlux(1234.0)
    flux = boundary.heat_flux(SURFACE)
    scale = max(np.abs(flux).max(), 1.0)
    both = boundary + extra
    assert np.allclose(both.heat_flux(SURFACE), flux + 1234.0, atol=1e-9 * scale)
    for t, part in over_time(both, 50.0):
        alone = value_at(over_time(boundary, 50.0), t)
        if [s for s, _ in over_time(both, 50.0)].count(t) == 1:
            assert np.allclose(part.heat_flux(SURFACE), alone.heat_flux(SURFACE) + 1234.0, atol=1e-9 * scale)
    later = Stages((3.0, extra), (None, boundary))
    for t in (0.0, 2.0, 7.0):
        ours = value_at(over_time(later, 60.0), 3.0 + t).heat_flux(SURFACE)
        assert np.allclose(ours, value_at(over_time(boundary, 57.0), t).heat_flux(SURFACE), atol=1e-9 * scale)
    assert np.allclose(later.heat_flux(SURFACE), 1234.0)


@every
def test_knots_and_places(name):
    boundary = SHIPPED[name].boundary
    knots = over_time(boundary, 50.0)
    times = [t for t, _ in knots]
    assert times[0] == 0.0
    assert times == sorted(times)
    local = at(boundary, 0.005)
    for _, part in over_time(local, 50.0):
        assert np.isfinite(part.heat_flux(SURFACE)).all()
    if not hasattr(boundary, "at"):
        assert local is boundary


@every
def test_uncertainty_is_a_fraction_or_none(name):
    spread = SHIPPED[name].boundary.relative_uncertainty
    assert spread is None or 0.0 < spread < 1.0


@every
def test_repr_names_the_class(name):
    boundary = SHIPPED[name].boundary
    assert repr(boundary).startswith(type(boundary).__name__)
