"""Furnace, load, resources: balances, limits and exact solutions."""

from __future__ import annotations

import json

import numpy as np
import pytest
import xarray as xr
from scipy import integrate, special
from scipy.constants import bar

import heatq as hq
from heatq import plot_load
from heatq.boundaries.gas import gas_properties
from heatq.decide.passage import Course

METAL = hq.Material.constant(conductivity=500.0, density=7800.0, specific_heat=600.0)
FAN = hq.Fan(flow_rate=(0.0, 4.0, 8.0, 12.0), pressure_rise=(3000.0, 2900.0, 2400.0, 1200.0), motor_power=160e3)
FURNACE = hq.Furnace(volume=3.0, flow_area=0.6, velocity=12.0, fan=FAN, cooler=hq.Cooler(conductance=12e3))
BARS = hq.Load(hq.RoundBar(diameter=0.05), hq.grade("4140"), rows=3, per_row=8, piece_length=0.5, fixture_mass=60.0)
coarse = {"accuracy": 4.0, "knots": 20, "end_time": 600.0}


@pytest.fixture(scope="module")
def done():
    return hq.quench_load(FURNACE, BARS, "nitrogen", 6 * bar, **coarse)


def schumann(length, time):
    """Share of the start difference left in solid at dimensionless length and time (Schumann 1929), gas at 0 coming in."""
    gas = integrate.quad(
        lambda x: np.exp(-x - time) * special.iv(0, 2.0 * np.sqrt(x * time)), 0.0, length, epsabs=1e-12
    )[0]
    return gas + np.exp(-length - time) * special.iv(0, 2.0 * np.sqrt(length * time))


def bed(rows, h=50.0, diameter=0.02, velocity=0.12, knots=60):
    """Largest deviation of lumped bars from Schumann's bed, as a share of the start difference."""
    load = hq.Load(hq.RoundBar(diameter=diameter), METAL, rows=rows, per_row=256 // rows, piece_length=0.5)
    furnace = hq.Furnace(
        volume=1e-3, flow_area=0.5, velocity=velocity, pressure_rise_time=0.0,
        cooler=hq.Cooler(effectiveness=1.0, water_temperature=20.0),
    )  # fmt: skip
    done = hq.quench_load(
        furnace, load, "argon", 2e5, end_time=600.0, initial_temperature=100.0, accuracy=0.1, knots=knots, emissivity=0.0,
        flow=lambda gas, velocity, pressure, temperature: hq.Convection(h, temperature), probes=["centre"],
    )  # fmt: skip
    gas = gas_properties("argon", 20.0, 2e5)
    flow = velocity * 0.5 * float(gas.density) * float(gas.specific_heat)
    units = h * np.pi * diameter * 0.5 * load.pieces / flow
    worst = 0.0
    for wanted in (100.0, 300.0, 600.0):
        k = int(np.argmin(np.abs(done.time.values - wanted)))
        time = 4.0 * h * float(done.time[k]) / (7800.0 * 600.0 * diameter)
        exact = np.array([schumann(units * (n + 0.5) / rows, time) for n in range(rows)])
        worst = max(worst, float(np.abs((done.temperature.values[0, :, k, 0] - 20.0) / 80.0 - exact).max()))
    return worst, units


def test_rows_converge_to_schumanns_bed():
    four, units = bed(4)
    eight, _ = bed(8)
    assert 3.8 < units < 4.0
    assert four < 0.006
    assert eight < 0.6 * four


@pytest.mark.slow
def test_many_rows_are_schumanns_bed():
    assert bed(32, knots=200)[0] < 6e-4


def test_energy_of_pieces_fixtures_fan_cooler_and_vessel_closes(done):
    assert done.attrs["energy_residual"] < 1e-6
    last = done.isel(time=-1)
    given = float(last.load_heat + last.fan_heat - last.cooler_heat - last.stored_heat)
    assert abs(given) < 1e-6 * float(last.load_heat)
    # the same from temperature and structure at the end alone, area mean of the places in the bar
    steel, ends = BARS.steel.material, last.sel(column="mean")
    # rings around centre, mid-radius, 3/4 radius and surface, with edges half way between
    share = np.diff([0.0, 0.25**2, 0.625**2, 0.875**2, 1.0])
    heats = np.asarray(steel.enthalpy(ends.temperature.values))  # phase, row, probe
    held = (heats * ends.fraction.transpose("phase", "row", "probe").values).sum(axis=0) @ share
    hot = float(np.asarray(steel.enthalpy(np.array([845.0])))[4, 0])
    mass = np.pi * 0.025**2 * 0.5 * steel.density * BARS.per_row
    lost = mass * (hot - held).sum()
    fixtures = 20.0 * BARS.fixture_specific_heat * (845.0 - ends.fixture_temperature.values).sum()
    assert float(last.load_heat) == pytest.approx(lost + fixtures, rel=0.01)


def test_later_gas_is_warmer_and_fixtures_cool_faster(done):
    # while everything is hot; later rows give back what little they took up
    hot = done.sel(column="mean").isel(time=slice(2, 14))
    assert (hot.gas_after - hot.gas_before > 0.0).all()
    assert (hot.gas_before.diff("row") > 0.0).all()
    assert (hot.fixture_temperature < hot.temperature.sel(probe="centre")).all()


def test_with_a_very_large_flow_all_rows_cool_alike():
    furnace = hq.Furnace(volume=3.0, flow_area=6e4, velocity=12.0, cooler=hq.Cooler(effectiveness=1.0))
    done = hq.quench_load(furnace, BARS, "nitrogen", 6 * bar, **coarse)
    assert float(np.ptp(done.temperature.values, axis=1).max()) < 0.05
    quench = furnace.quench("nitrogen", 6 * bar, temperature=25.0)
    assert float(np.abs(done.gas_after - 25.0).max()) < 0.05
    assert quench.velocity == 12.0


def test_gas_never_leaves_hotter_than_the_steel():
    """Far more surface than the gas can serve: it comes out as hot as the surface was, and cannot be hotter."""
    furnace = hq.Furnace(
        volume=1e-3, flow_area=0.5, velocity=0.1, pressure_rise_time=0.0, cooler=hq.Cooler(effectiveness=1.0)
    )
    load = hq.Load(hq.RoundBar(diameter=0.03), METAL, rows=2, per_row=120, piece_length=0.5)
    done = hq.quench_load(
        furnace, load, "argon", 1 * bar, end_time=600.0, initial_temperature=800.0, accuracy=2.0, knots=40,
        flow=lambda gas, velocity, pressure, temperature: hq.Convection(60.0, temperature), probes=["surface"],
    )  # fmt: skip
    # surface at the start of each interval, gas as the mean of the interval after it
    surface = done.temperature.sel(column="mean", probe="surface").isel(time=slice(None, -1)).values
    gas = done.gas_after.sel(column="mean").isel(time=slice(1, None)).transpose("row", "time").values
    assert (gas <= surface.reshape(gas.shape) + 0.5).all()
    assert (surface.reshape(gas.shape) - gas).min() < 60.0  # and it comes near


def weakly_cooled(effectiveness, **settings):
    """Few bars in a large vessel."""
    furnace = hq.Furnace(
        volume=40.0, flow_area=0.6, velocity=6.0, pressure_rise_time=0.0, cooler=hq.Cooler(effectiveness=effectiveness)
    )
    load = hq.Load(hq.RoundBar(diameter=0.02), METAL, rows=2, per_row=4, piece_length=0.5)
    return hq.quench_load(
        furnace, load, "argon", 5 * bar, initial_temperature=300.0, emissivity=0.0,
        **{"end_time": 2000.0, "accuracy": 0.5, "knots": 25} | settings,
    )  # fmt: skip


def test_a_weak_cooler_lets_the_gas_warm_up():
    weak, strong = (weakly_cooled(one, accuracy=4.0, end_time=1000.0, knots=12) for one in (0.1, 0.9))
    assert weak.attrs["energy_residual"] < 1e-6
    hot = slice(2, 8)
    assert float((weak.gas_before - strong.gas_before).isel(time=hot).min()) > 0.0
    assert float((weak.temperature - strong.temperature).isel(time=hot).min()) > 0.0


@pytest.mark.slow
def test_without_cooling_pieces_and_gas_end_at_one_temperature():
    done = weakly_cooled(0.0)
    gas = gas_properties("argon", 25.0, 5 * bar)
    stored = 40.0 * float(gas.density) * float(gas.specific_heat)
    pieces = 8 * np.pi * 0.01**2 * 0.5 * 7800.0 * 600.0
    level = (pieces * 300.0 + stored * 25.0) / (pieces + stored)
    np.testing.assert_allclose(done.temperature.isel(time=-1), level, atol=0.5)
    assert float(done.cooler_heat[-1]) == 0.0
    assert done.attrs["energy_residual"] < 1e-6


def test_a_survey_gives_a_slow_and_a_fast_column():
    furnace = hq.Furnace(volume=3.0, flow_area=0.6, velocity=hq.velocity_survey([8.0, 10.0, 14.0]))
    load = hq.Load(hq.RoundBar(diameter=0.05), hq.grade("4140"), rows=2, per_row=8, piece_length=0.5)
    done = hq.quench_load(furnace, load, "nitrogen", 6 * bar, **coarse)
    times = done.cooling_time_800_500.sel(probe="centre", row=1)
    assert float(times.sel(column="fastest")) < float(times.sel(column="mean")) < float(times.sel(column="slowest"))
    assert done.attrs["slowest_place"].startswith("column slowest")
    assert float(done.hardness_spread.sel(probe="centre")) > 5.0
    for draw in (plot_load.load_courses, plot_load.load_rows):
        assert draw(done).get_xlabel()


def test_the_motor_is_overloaded_at_pressure():
    load = hq.motor_load(FURNACE, "nitrogen", [1 * bar, 6 * bar, 12 * bar])
    assert load.is_overloaded.values.tolist() == [False, True, True]
    np.testing.assert_allclose(load.motor_load / load.motor_load[0], [1.0, 6.0, 12.0], rtol=1e-9)
    np.testing.assert_allclose(load.allowed_speed[2] ** 3 * load.motor_load[2], 1.0, rtol=1e-9)
    helium = hq.motor_load(FURNACE, "helium", [6 * bar])
    assert float(helium.motor_load[0]) == pytest.approx(float(load.motor_load[1]) * 4.0026 / 28.0134, rel=1e-3)
    axes = plot_load.motor_load_chart(load, helium)
    assert len(axes.get_lines()) == 3


def test_cooler_limits():
    assert float(hq.Cooler(conductance=1e7).heat(125.0, 1000.0)) == pytest.approx(
        100e3, rel=1e-9
    )  # all the way to the water
    counter = hq.Cooler(conductance=5000.0, water_flow=5000.0 / (997.0 * 4182.0))
    assert float(counter.heat(125.0, 5000.0)) == pytest.approx(
        5000.0 * 100.0 * 0.5, rel=1e-6
    )  # equal flows, NTU 1: one half
    assert float(hq.Cooler(effectiveness=0.5, capacity=1e4).heat(125.0, 1000.0)) == 1e4
    assert float(hq.Cooler(effectiveness=0.5).heat(10.0, 1000.0)) == 0.0


def test_resources_follow_pressure_volume_and_prices():
    quench = FURNACE.quench("nitrogen", 6 * bar, temperature=0.0)
    needs = hq.quench_resources(FURNACE, quench, 100.0, load_heat=1e8)
    assert needs["gas_volume"] == pytest.approx(3.0 * 6e5 / 101325.0, rel=1e-9)
    assert needs["fan_energy"] == pytest.approx(needs["motor_load"] * 160e3 * 100.0 / FAN.motor_efficiency, rel=1e-9)
    assert needs["water_heat"] == pytest.approx(1e8 + needs["fan_energy"] * FAN.motor_efficiency, rel=1e-12)
    kept = hq.quench_resources(FURNACE, quench, 100.0, recovery=0.9, prices={"gas": 2.0, "load": 7.0})
    assert kept["cost"] == pytest.approx(0.1 * 2.0 * needs["gas_volume"] + 7.0)
    assert "cost" not in needs


def test_each_gas_may_have_its_own_price():
    per_gas = {"gas": {"nitrogen": 0.5, "helium": 20.0}}
    for gas, price in (("nitrogen", 0.5), ("helium", 20.0), ({"helium": 0.25, "nitrogen": 0.75}, 5.375)):
        quench = FURNACE.quench(gas, 6 * bar)
        volume = hq.quench_resources(FURNACE, quench, 100.0)["gas_volume"]
        for prices in (per_gas, {"gas": price}):
            needs = hq.quench_resources(FURNACE, quench, 100.0, prices=prices)
            assert needs["cost"] == pytest.approx(price * volume, rel=1e-12)
    extra = hq.resources_for(FURNACE, 100.0, prices=per_gas)
    dear, cheap = (float(extra(FURNACE.quench(gas, 6 * bar), None)["cost"]) for gas in ("helium", "nitrogen"))
    assert dear == pytest.approx(40.0 * cheap, rel=1e-12)
    pure = FURNACE.quench({"nitrogen": 1.0, "argon": 0.0}, 6 * bar)
    assert hq.quench_resources(FURNACE, pure, 100.0, prices=per_gas)["cost"] == pytest.approx(cheap, rel=1e-9)


def test_a_decision_table_takes_the_resources():
    quenches = [FURNACE.quench("nitrogen", 6 * bar), hq.BathQuench(hq.OilBath())]
    table = hq.decision_table(
        hq.RoundBar(diameter=0.03), hq.grade("4340"), quenches, hq.Requirement(hardness_hrc=40.0), distortion=False,
        accuracy=2.0, extra=hq.resources_for(FURNACE, prices={"gas": 0.3}),
    )  # fmt: skip
    cost = dict(zip(table.alternative.values.tolist(), table.cost.values.tolist(), strict=True))
    assert cost["nitrogen 6 bar 12 m/s"] > 0.0
    assert np.isnan(next(value for name, value in cost.items() if "oil" in name))
    assert table.gas_volume.attrs["units"] == "m3"


def test_a_course_goes_through_its_states():
    course = Course((0.0, 10.0), (hq.Convection(100.0, 20.0), hq.Convection(200.0, 20.0)))
    run = hq.simulate(
        hq.RoundBar(diameter=0.01), METAL, {"side": course}, initial_temperature=120.0, end_time=10.0, accuracy=0.05, probes=["centre"],
    )  # fmt: skip
    # lumped: d ln(T - 20)/dt = -4 h(t) / (rho c d), h rising linearly from 100 to 200
    exact = 20.0 + 100.0 * np.exp(-4.0 * 1500.0 / (7800.0 * 600.0 * 0.01))
    assert float(run.temperature[-1, 0]) == pytest.approx(exact, abs=0.1)


def test_survey_file(tmp_path):
    file = tmp_path / "survey.csv"
    file.write_text("x (mm),velocity (ft/min)\n-100,1800\n100,2200\n")
    survey = hq.read_survey(file)
    assert float(survey["mean"]) == pytest.approx(2000.0 * 0.3048 / 60.0)
    np.testing.assert_allclose(survey["x"], [-0.1, 0.1])
    for text, match in (
        ("x (mm),velocity\n1,2\n3,4\n", "must state the unit"),
        ("a,b\n1,2\n", "no velocity column"),
        ("velocity (m/s)\n1\n", "at least two"),
    ):
        file.write_text(text)
        with pytest.raises(hq.DataError, match=match):
            hq.read_survey(file)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: hq.Load(hq.RoundBar(diameter=0.05), METAL), "piece_length: a load needs"),
        (
            lambda: hq.Load(hq.RoundBar(diameter=0.05, length=0.3), METAL, piece_length=0.3),
            "without a length of its own",
        ),
        (lambda: hq.Load(hq.RoundBar(diameter=0.05), METAL, rows=0, piece_length=0.3), "rows = 0"),
        (lambda: hq.quench_load(3, BARS), "furnace = 3"),
        (lambda: hq.quench_load(FURNACE, 3), "load = 3"),
        (lambda: hq.quench_load(FURNACE, BARS, knots=2), "knots = 2"),
        (lambda: hq.quench_load(FURNACE, BARS, velocity=3.0), "follow from the furnace"),
        (
            lambda: hq.quench_load(FURNACE, hq.Load(hq.RoundBar(diameter=0.05), METAL, piece_length=0.3)),
            "state the start",
        ),
        (lambda: hq.quench_resources(3, None, 1.0), "furnace = 3"),
        (lambda: hq.resources_for(3), "furnace = 3"),
        (lambda: hq.motor_load(3, "nitrogen", [1e5]), "needs a furnace with fan"),
        (lambda: hq.Fan(3, 4), "two lists of numbers"),
        (lambda: hq.compare_distortion(3), "must be a mapping label"),
        (lambda: hq.distortion_table(3), "not what compare_distortion"),
        (
            lambda: hq.section_chart(
                hq.grade("4140"), hq.GasQuench(), hq.Requirement(martensite=0.5), pressures=[], velocities=[3.0]
            ),
            "hold at least one",
        ),
        (
            lambda: hq.sections_against_pressure(3, hq.GasQuench(), hq.Requirement(martensite=0.5), pressures=[1e5]),
            "steels = 3",
        ),
        (lambda: hq.quench_resources(FURNACE, hq.BathQuench(hq.OilBath()), 1.0), "takes no gas"),
        (lambda: hq.quench_resources(FURNACE, FURNACE.quench("nitrogen", 6e5), 1.0, prices={"gold": 1.0}), "gold"),
        (
            lambda: hq.quench_resources(FURNACE, FURNACE.quench("nitrogen", 6e5), 1.0, prices=3.0),
            "prices = 3.0 must be",
        ),
        (
            lambda: hq.quench_resources(FURNACE, FURNACE.quench("argon", 6e5), 1.0, prices={"gas": {"nitrogen": 1.0}}),
            "gas has no price for argon; it has nitrogen",
        ),
        (lambda: hq.resources_for(FURNACE, prices={"gas": {"neon": 1.0}}), "unknown gas among the prices 'neon'"),
        (lambda: hq.resources_for(FURNACE, prices={"gas": {"argon": -1.0}}), "price of argon = -1"),
        (
            lambda: hq.quench_resources(
                hq.Furnace(volume=1.0, flow_area=1.0, velocity=5.0), hq.GasQuench(), 1.0, prices={"electricity": 1.0}
            ),
            "no fan",
        ),
        (lambda: hq.Fan(flow_rate=(0.0,), pressure_rise=(1.0,)), "at least two"),
        (lambda: hq.Fan(flow_rate=(1.0, 0.5), pressure_rise=(1.0, 2.0)), "must rise"),
        (lambda: FAN.operating_point(0.1), "meets the fan curve above"),
        (lambda: hq.Cooler(), "one of conductance"),
        (lambda: hq.Furnace(volume=1.0, flow_area=1.0), "needs velocity"),
        (lambda: hq.Furnace(volume=1.0, flow_area=1.0, velocity=5.0, fan=FAN, resistance=3.0), "one too many"),
        (lambda: hq.Furnace(volume=1.0, flow_area=1.0, velocity=5.0, cooler=3), "cooler = 3"),
        (lambda: hq.Furnace(volume=1.0, flow_area=1.0, velocity=5.0, fan=3), "fan = 3"),
        (
            lambda: hq.motor_load(hq.Furnace(volume=1.0, flow_area=1.0, velocity=5.0), "nitrogen", [1e5]),
            "needs a furnace with fan",
        ),
        (lambda: hq.motor_load(FURNACE, "nitrogen", "high"), "pressures = 'high'"),
        (lambda: hq.velocity_survey([3.0]), "at least two velocities"),
        (lambda: hq.velocity_survey("ab"), "must be numbers"),
        (lambda: hq.velocity_survey([3.0, 4.0], [[1.0]]), "positions must hold"),
        (lambda: plot_load.load_rows(xr.Dataset()), "needs what quench_load"),
        (lambda: plot_load.motor_load_chart(), "at least one result"),
    ],
)
def test_impossible_input(call, match):
    with pytest.raises(hq.InputError, match=match):
        call()


def test_gas_that_cannot_settle_is_said(monkeypatch):
    import heatq.decide.load as module

    monkeypatch.setattr(module, "SWEEPS", 1)
    with pytest.raises(hq.InputError, match="the gas does not settle"):
        hq.quench_load(FURNACE, BARS, "nitrogen", 6 * bar, **coarse)


def test_warnings_are_listed(done):
    assert isinstance(json.loads(done.attrs["warnings"]), list)
