"""Plain laws, measured tables, sums, stages, zones, immersion, ramps, the gas balance and the table of media."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.constants import bar

from heatq.boundaries import (
    Blend,
    CoefficientTable,
    Convection,
    FixedTemperature,
    FluxTable,
    GasCrossflow,
    GasJet,
    HeatFlux,
    Immersion,
    Insulated,
    Radiation,
    Ramp,
    Stages,
    StillAir,
    Sum,
    WaterJet,
    Zones,
    at,
    for_piece,
    gas_temperature_of_load,
    media_table,
    over_time,
)
from heatq.boundaries.gas import gas_properties
from heatq.boundaries.timeline import value_at
from heatq.errors import DataError, InputError, ValidityWarning
from heatq.specimens import EndQuenchBar, RoundBar

HOT = np.array([20.0, 300.0, 850.0])
AIR = Convection(coefficient=30.0, fluid_temperature=20.0)
OIL = Convection(coefficient=1500.0, fluid_temperature=60.0)


class Own:
    """A user's class: nothing but heat_flux."""

    def heat_flux(self, surface_temperature):
        return 7.0 * np.asarray(surface_temperature)


def flux_at(boundary, time, surface=HOT, end_time=100.0, side="right"):
    """What the solver sees at one time."""
    return value_at(over_time(boundary, end_time), time, side).heat_flux(surface)


def test_radiation():
    sigma = 5.670374e-8
    flux = Radiation(0.8, 24.0).heat_flux(np.array([24.0, 704.0]))
    assert flux == pytest.approx([0.0, 0.8 * sigma * (977.15**4 - 297.15**4)], rel=1e-6)
    # coefficients over the air at 24 degC: 60.3 (eps 0.8), 22.6 (0.3) W/m2K
    assert flux[1] / 680 == pytest.approx(60.3, abs=0.05)
    assert Radiation(0.3, 24.0).heat_flux(np.array([704.0]))[0] / 680 == pytest.approx(22.6, abs=0.05)


def test_walls_hotter_than_the_piece_heat_it():
    assert Radiation(0.8, surroundings_temperature=900.0).heat_flux(np.array([500.0]))[0] < 0


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Radiation(1.3), "emissivity = 1.3.*between 0 and 1"),
        (lambda: Radiation(0.5, 2000.0), "surroundings_temperature = 2000"),
        (lambda: Convection(-5.0, 20.0), "coefficient = -5"),
        (lambda: Convection(500.0, 1600.0), "fluid_temperature = 1600"),
        (lambda: Convection("500", 20.0), "is not a number"),
        (lambda: HeatFlux(1e12), "MW/m2"),
        (lambda: FixedTemperature(1700.0), "temperature = 1700"),
        (lambda: FixedTemperature(20.0, coefficient=10.0), "coefficient = 10"),
        (lambda: CoefficientTable([100, 300, 200], [1, 2, 3], 20.0), "not rising at entry 3: 200 degC follows 300"),
        (lambda: CoefficientTable([100, 100], [1, 2], 20.0), "each temperature once"),
        (lambda: CoefficientTable([100, 200], [1, -2], 20.0), "coefficient = -2"),
        (lambda: CoefficientTable([100, 200], [1, 2, 3], 20.0), "equal length"),
        (lambda: CoefficientTable([100, "x"], [1, 2], 20.0), "sequences of numbers"),
        (lambda: FluxTable([100, 200], [1, float("nan")]), "finite"),
        (lambda: FluxTable([200, 100], [1, 2]), "not rising at entry 2"),
        (lambda: FluxTable([100], [1]), "at least two"),
    ],
)
def test_bad_plain(make, message):
    with pytest.raises(InputError, match=message):
        make()


def test_tables():
    h = CoefficientTable([100.0, 500.0, 900.0], [200.0, 1000.0, 400.0], 50.0)
    assert h.heat_flux(np.array([50.0, 100.0, 700.0, 1000.0])) == pytest.approx([0, 200 * 50, 700 * 650, 400 * 950])
    q = FluxTable([20.0, 500.0], [0.0, 1e6])
    assert q.heat_flux(np.array([20.0, 260.0, 500.0])) == pytest.approx([0.0, 5e5, 1e6])
    with pytest.warns(ValidityWarning, match="FluxTable: surface temperature"):
        assert q.heat_flux(np.array([900.0])) == pytest.approx([1e6])


def test_tables_from_files(tmp_path):
    file = tmp_path / "oil.csv"
    file.write_text("# probe run 7\ntemperature,coefficient\n100,250\n\n500,2000\n850,600\n", encoding="utf-8")
    table = CoefficientTable.read(file, fluid_temperature=60.0)
    assert table.temperature == (100.0, 500.0, 850.0)
    assert table.coefficient == (250.0, 2000.0, 600.0)
    file.write_text("Ts;q\n100;1e6\n500;2e6\n", encoding="utf-8")
    assert FluxTable.read(file, columns=("Ts", "q")).flux == (1e6, 2e6)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty"),
        ("# only a comment\n", "is empty"),
        ("temperature,h\n1,2\n3,4\n", "line 1: no column 'coefficient'; the header reads temperature, h"),
        ("temperature,coefficient\n100,250\n500,fast\n", "line 3, column 'coefficient': 'fast' is not a number"),
        ("temperature,coefficient\n100,250\n500\n", "line 3, column 'coefficient': ''"),
        ("temperature,coefficient\n100,250\n", "at least two"),
    ],
)
def test_bad_table_files(tmp_path, text, message):
    file = tmp_path / "oil.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(DataError, match=message):
        CoefficientTable.read(file, fluid_temperature=60.0)


def test_missing_table_file(tmp_path):
    with pytest.raises(DataError, match="cannot read"):
        FluxTable.read(tmp_path / "none.csv")


def test_sums():
    both = AIR + Radiation(0.5)
    assert isinstance(both, Sum)
    assert np.allclose(both.heat_flux(HOT), AIR.heat_flux(HOT) + Radiation(0.5).heat_flux(HOT))
    assert (both + HeatFlux(5.0)).parts == (*both.parts, HeatFlux(5.0))
    assert sum([AIR, OIL]).parts == (AIR, OIL)
    assert np.allclose((AIR + Own()).heat_flux(HOT), AIR.heat_flux(HOT) + 7 * HOT)
    assert np.allclose((Own() + AIR).heat_flux(HOT), AIR.heat_flux(HOT) + 7 * HOT)
    assert both.over_time(10.0) == [(0.0, both)]
    assert both.at(0.01) is both
    with pytest.raises(TypeError):
        AIR + 3.0
    with pytest.raises(TypeError):
        3.0 + AIR
    with pytest.raises(InputError, match="at least one boundary"):
        Sum(())
    with pytest.raises(InputError, match="part 2 of a Sum"):
        Sum((AIR, 5.0))
    with pytest.raises(InputError, match=r"is the class Insulated; write Insulated\(\.\.\.\)"):
        Sum((AIR, Insulated))


def test_defaults_for_a_users_own_class():
    own = Own()
    assert over_time(own, 10.0) == [(0.0, own)]
    assert at(own, 0.1) is own
    assert for_piece(own, EndQuenchBar(), "side") is own


def test_bad_knots_are_named():
    class Bad(Own):
        def over_time(self, end_time):
            return [(0.0, self), (5.0, self), (3.0, self)]

    with pytest.raises(InputError, match="sorted in time"):
        over_time(Bad(), 10.0)


def test_stages():
    quench = Stages((5.0, AIR), (10.0, OIL), (None, AIR))
    assert [time for time, _ in quench.over_time(100.0)] == [0.0, 5.0, 5.0, 15.0, 15.0]
    assert np.allclose(quench.heat_flux(HOT), AIR.heat_flux(HOT))
    for time, expected in ((0.0, AIR), (4.9, AIR), (5.0, OIL), (14.9, OIL), (15.0, AIR), (80.0, AIR)):
        assert np.allclose(flux_at(quench, time), expected.heat_flux(HOT))
    assert Stages([(5.0, AIR), (None, OIL)]) == Stages((5.0, AIR), (None, OIL))
    assert Stages((None, OIL)).over_time(9.0) == [(0.0, OIL)]
    assert [t for t, _ in Stages((5.0, AIR), (None, OIL)).over_time(3.0)] == [0.0, 5.0]
    assert np.allclose(flux_at(Stages((5.0, AIR), (3.0, OIL)), 50.0), OIL.heat_flux(HOT))
    assert quench.at(0.01) is quench


def test_stages_of_stages_and_of_sums():
    inner = Stages((2.0, AIR), (None, OIL))
    outer = Stages((5.0, inner), (None, AIR)) + HeatFlux(100.0)
    for time, expected in ((1.0, AIR), (2.0, OIL), (4.99, OIL), (5.0, AIR), (60.0, AIR)):
        assert np.allclose(flux_at(outer, time), expected.heat_flux(HOT) + 100.0)
    times = [time for time, _ in outer.over_time(100.0)]
    assert times == sorted(times)
    # inner stages cut short by the outer ones never show
    short = Stages((1.0, inner), (None, AIR))
    assert all(boundary is AIR for _, boundary in short.over_time(100.0))


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Stages((None, AIR), (5.0, OIL)), "stage 1 of 2 has no duration"),
        (lambda: Stages((5.0, AIR), (None, OIL), (None, AIR)), "stage 2 of 3 has no duration"),
        (lambda: Stages((-5.0, AIR), (None, OIL)), "duration of stage 1 = -5"),
        (lambda: Stages((0.0, AIR), (None, OIL)), "duration of stage 1 = 0"),
        (lambda: Stages((5.0, 300.0), (None, OIL)), "the boundary of stage 1 = 300.0"),
        (lambda: Stages(AIR), r"is not a \(duration, boundary\) pair"),
        (lambda: Stages(), "at least one"),
        (lambda: Stages([]), "at least one"),
    ],
)
def test_bad_stages(make, message):
    with pytest.raises(InputError, match=message):
        make()


def test_a_sum_interpolates_its_parts_between_their_knots():
    class Rising(Own):
        def over_time(self, end_time):
            return [(0.0, HeatFlux(0.0)), (10.0, HeatFlux(1000.0))]

    both = Sum((Rising(), Stages((4.0, AIR), (None, OIL))))
    assert [time for time, _ in both.over_time(50.0)] == [0.0, 4.0, 4.0, 10.0]
    for time in (0.0, 2.0, 4.0, 7.0, 10.0, 30.0):
        stage = AIR if time < 4.0 else OIL
        assert np.allclose(flux_at(both, time), 100.0 * min(time, 10.0) + stage.heat_flux(HOT))
    assert np.allclose(flux_at(both, 4.0, side="left"), 400.0 + AIR.heat_flux(HOT))


def test_blend():
    half = Blend(AIR, OIL, 0.25)
    assert np.allclose(half.heat_flux(HOT), 0.75 * AIR.heat_flux(HOT) + 0.25 * OIL.heat_flux(HOT))
    assert half.at(0.1) is half
    zoned = Blend(Zones([(0.05, AIR), (None, OIL)]), OIL, 0.5)
    assert np.allclose(zoned.at(0.1).heat_flux(HOT), OIL.heat_flux(HOT))


def test_for_piece_reaches_into_everything():
    piece = EndQuenchBar()
    air, jet = StillAir(), GasJet("nitrogen", 60.0, bar, 25.0)
    quench = Stages((5.0, air + Radiation(0.4)), (None, jet))
    known = for_piece(quench, piece, "jet")
    assert known.stages[0][1].parts[0].surface == "facing down"
    assert known.stages[1][1].face_diameter == piece.diameter
    zones = for_piece(Zones([(0.05, air), (None, AIR)]), piece, "side")
    assert zones.zones[0][1].surface == "vertical cylinder"
    assert for_piece(Blend(air, AIR, 0.5), piece, "side").first.surface == "vertical cylinder"


def test_zones():
    side = Zones([(0.04, OIL), (0.08, AIR), (None, Insulated())])
    assert [type(side.at(z)).__name__ for z in (0.01, 0.04, 0.06, 0.5)] == [
        "Convection",
        "Convection",
        "Convection",
        "Insulated",
    ]
    assert side.at(0.01) is OIL
    assert side.at(0.06) is AIR
    assert np.allclose(side.heat_flux(HOT), OIL.heat_flux(HOT))
    both = side + Radiation(0.5)
    assert both.at(0.01) is both.at(0.02)  # the same object, so a solver samples it once
    assert np.allclose(both.at(0.06).heat_flux(HOT), AIR.heat_flux(HOT) + Radiation(0.5).heat_flux(HOT))
    assert Zones([(0.04, OIL)]).at(0.1) is OIL
    timed = Stages((5.0, AIR), (None, side))
    assert timed.at(0.5).stages[1][1] == Insulated()


@pytest.mark.parametrize(
    ("zones", "message"),
    [
        ([(None, AIR), (0.1, OIL)], "zone 1 of 2 has no upper position"),
        ([(0.1, AIR), (0.05, OIL)], "does not lie above"),
        ([(0.0, AIR)], "upper position of zone 1 = 0"),
        ([(0.1, 5)], "the boundary of zone 1"),
        ([AIR], "is not an"),
        ([], "at least one"),
        (5, "needs a list"),
    ],
)
def test_bad_zones(zones, message):
    with pytest.raises(InputError, match=message):
        Zones(zones)


def test_immersion():
    dip = Immersion(0.1, below=OIL, above=AIR, delay=1.0)
    assert np.allclose(dip.heat_flux(HOT), AIR.heat_flux(HOT))
    local = dip.at(0.05)
    assert np.allclose(flux_at(local, 1.49), AIR.heat_flux(HOT))
    assert np.allclose(flux_at(local, 1.51), OIL.heat_flux(HOT))
    piece = EndQuenchBar()
    bottom, top = dip.for_piece(piece, "jet"), dip.for_piece(piece, "top")
    assert bottom.stages[0][0] == 1.0
    assert top.stages[0][0] == pytest.approx(1.0 + 0.1016 / 0.1)
    assert Immersion(0.1, below=OIL, above=AIR).for_piece(piece, "jet") is OIL
    assert isinstance(dip.for_piece(piece, "side"), Immersion)
    with pytest.raises(InputError, match="speed = 0"):
        Immersion(0.0, below=OIL, above=AIR)
    with pytest.raises(InputError, match="below = 5"):
        Immersion(0.1, below=5, above=AIR)


def test_ramp_is_close_to_the_exact_course():
    flow = GasCrossflow("nitrogen", 40.0, 10 * bar, 40.0, diameter=0.05)
    filling = Ramp(flow, [0.0, 6.0], pressure=[1 * bar, 10 * bar])
    for time in (0.0, 0.3, 1.0, 3.3, 6.0, 50.0):
        exact = dataclasses.replace(flow, pressure=(1 + 1.5 * min(time, 6.0)) * bar).heat_flux(HOT)
        assert np.allclose(flux_at(filling, time), exact, atol=0.004 * np.abs(exact).max())
    assert np.allclose(filling.heat_flux(HOT), dataclasses.replace(flow, pressure=1 * bar).heat_flux(HOT))
    assert len(filling.over_time(100.0)) < 30
    # Newton's law is linear in both numbers alone, so no knots are added
    assert len(Ramp(AIR, [0.0, 10.0], coefficient=[10.0, 100.0]).over_time(100.0)) == 2


def test_gas_that_warms_up():
    flow = GasCrossflow("nitrogen", 40.0, 10 * bar, 40.0)
    warming = for_piece(flow.with_temperature([0.0, 30.0, 120.0], [40.0, 150.0, 60.0]), RoundBar(diameter=0.05), "side")
    assert flux_at(warming, 30.0, np.array([150.0]), 200.0)[0] == pytest.approx(0.0, abs=1e-6)
    assert flux_at(warming, 30.0, np.array([100.0]), 200.0)[0] < 0
    assert flux_at(warming, 200.0, np.array([60.0]), 200.0)[0] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Ramp(AIR, [0.0, 1.0], presure=[1, 2]), "unknown argument of Convection 'presure'"),
        (lambda: Ramp(AIR, [0.0, 1.0], coefficient=[1]), "coefficient has 1 values for 2 times"),
        (lambda: Ramp(AIR, [1.0, 2.0], coefficient=[1, 2]), "start at 0 s"),
        (lambda: Ramp(AIR, [0.0, 0.0], coefficient=[1, 2]), "must rise"),
        (lambda: Ramp(AIR, [0.0, 1.0], coefficient=[1, -2]), "coefficient = -2"),
        (lambda: Ramp(AIR, [0.0, 1.0]), "at least one setting"),
        (lambda: Ramp(Own(), [0.0, 1.0], x=[1, 2]), "has none"),
    ],
)
def test_bad_ramps(make, message):
    with pytest.raises(InputError, match=message):
        make()


def test_gas_balance():
    settings = {
        "load_mass": 500.0, "load_area": 5.0, "load_temperature": 1000.0, "coefficient": 400.0,
        "circulation": 4.0, "chamber_volume": 3.0, "cooler_effectiveness": 0.7, "cooler_temperature": 25.0,
    }  # fmt: skip
    history = gas_temperature_of_load("nitrogen", 10 * bar, end_time=3600.0, **settings)
    gas = gas_properties("nitrogen", 25.0, 10 * bar)
    stored, carried = float(gas.density * 3.0 * gas.specific_heat), float(0.7 * gas.density * 4.0 * gas.specific_heat)
    # against a general integrator
    from scipy.integrate import solve_ivp

    def balance(_, y):
        given = 400.0 * 5.0 * (y[0] - y[1])
        return [-given / (500.0 * 650.0), (given - carried * (y[1] - 25.0)) / stored]

    reference = solve_ivp(
        balance, (0.0, 3600.0), [1000.0, 25.0], method="LSODA", t_eval=history.times, rtol=1e-9, atol=1e-8
    )
    assert np.allclose(history.load_temperature, reference.y[0], atol=1e-3)
    assert np.allclose(history.gas_temperature, reference.y[1], atol=1e-3)
    # everything ends at the cooling water, and the gas is warmest within the first half minute
    assert history.load_temperature[-1] == pytest.approx(25.0, abs=1.0)
    assert history.times[np.argmax(history.gas_temperature)] < 30.0
    # heat taken by the cooler = heat lost by load and gas
    t = np.linspace(0.0, 3600.0, 200001)
    taken = np.trapezoid(carried * (np.interp(t, history.times, history.gas_temperature) - 25.0), t)
    lost = 500.0 * 650.0 * (1000.0 - history.load_temperature[-1]) - stored * (history.gas_temperature[-1] - 25.0)
    assert taken == pytest.approx(lost, rel=0.01)  # 60 knots, straight lines between
    with pytest.raises(InputError, match="cooler_effectiveness = 7"):
        gas_temperature_of_load("nitrogen", 10 * bar, **{**settings, "cooler_effectiveness": 7.0})
    with pytest.raises(InputError, match="load_mass = 0"):
        gas_temperature_of_load("nitrogen", 10 * bar, **{**settings, "load_mass": 0.0})


def test_media_table():
    rows = media_table(0.025, 600.0)
    names = [row.medium for row in rows]
    assert len(set(names)) == len(names)
    for row in rows:
        assert np.isfinite(row.flux)
        assert row.coefficient * (600.0 - row.fluid_temperature) == pytest.approx(row.flux)
    by_name = {row.medium: row.coefficient for row in rows}
    for gas in ("nitrogen", "argon", "helium", "hydrogen"):
        assert by_name[f"{gas} across, 6 bar, 20 m/s"] < by_name[f"{gas} across, 20 bar, 20 m/s"]
    order = [f"{gas} across, 10 bar, 20 m/s" for gas in ("argon", "nitrogen", "helium", "hydrogen")]
    assert [by_name[name] for name in order] == sorted(by_name[name] for name in order)
    assert by_name["still air and radiation, emissivity 0.8"] < by_name["nitrogen across, 1 bar, 20 m/s"]
    assert (
        by_name["water jet on the end"]
        > by_name["fast oil, agitation moderate"]
        > by_name["conventional oil, agitation none"]
    )
    assert media_table(0.025, 20.0)[0].coefficient != 0.0  # no surface minus fluid to divide by: NaN, not a crash
    # quoted averages (order of magnitude): nitrogen 10 bar 400 to 500, 20 bar 600 to 750; helium 20 bar 900 to 1000
    assert by_name["nitrogen across, 10 bar, 20 m/s"] == pytest.approx(450, rel=0.35)
    assert by_name["helium across, 20 bar, 20 m/s"] == pytest.approx(950, rel=0.35)
    with pytest.raises(InputError, match="25 mm write 0.025"):
        media_table(25.0, 600.0)


def test_water_jet_after_transfer_is_cut_at_the_right_time():
    quench = Stages((4.0, StillAir() + Radiation(0.4)), (None, WaterJet(24.0)))
    known = for_piece(quench, EndQuenchBar(), "jet")
    assert flux_at(known, 3.999)[-1] < 1e5
    assert flux_at(known, 4.0)[-1] > 5e6
