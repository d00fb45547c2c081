"""Placement: known answers, feasibility, the parts of an error, information of couples; figures; ``heatq place``."""

from __future__ import annotations

import csv
import json
import re

import numpy as np
import pytest
import xarray as xr

import heatq as hq
from heatq.__main__ import main
from heatq.errors import InputError
from heatq.plot_thermocouples import place_map, place_ranking
from heatq.thermocouples import Thermocouple, distinct_places, information, place_thermocouples
from heatq.thermocouples.information import ChangedNear, choose_couples
from heatq.thermocouples.reading import make_well
from heatq.thermocouples.section import cool_section, crossing, nice_lines, window_rate

STEEL = hq.demo_heat()
BATH = hq.Convection(coefficient=900.0, fluid_temperature=60.0)
AIR = hq.StillAir(temperature=25.0) + hq.Radiation(emissivity=0.3)
END_QUENCH = {"jet": hq.WaterJet(temperature=24.0), "side": AIR, "top": AIR}


def faces(piece, boundary=BATH):
    return dict.fromkeys(piece.faces, boundary)


@pytest.fixture(scope="module")
def bar():
    piece = hq.RoundBar(diameter=0.06, length=0.2)
    return place_thermocouples(piece, STEEL, faces(piece), purpose="slowest point")


@pytest.fixture(scope="module")
def calibration():
    return place_thermocouples(hq.RoundBar(0.05), STEEL, {"side": BATH}, purpose="calibrate h", couples=4)


@pytest.mark.parametrize(
    ("piece", "metal"),
    [
        (hq.RoundBar(0.06, 0.2), None),
        (hq.RoundBar(0.06, 0.05), STEEL),
        (hq.RoundBar(0.03, 0.2), hq.Material.constant(conductivity=25.0, density=7700.0, specific_heat=620.0)),
    ],
)
def test_axis_at_mid_length_is_the_slowest_point_of_a_plain_bar(piece, metal, bar):
    best = bar
    if metal is not None:
        best = place_thermocouples(
            piece, metal, faces(piece), purpose="slowest point", initial_temperature=850.0, accuracy=2.0
        )
    assert (best.attrs["point_r"], best.attrs["point_z"]) == pytest.approx((0.0, piece.length / 2))
    assert best.r[0] == 0.0
    assert best.z[0] == pytest.approx(piece.length / 2)
    assert float(best.error_temperature.sel(component="representation")[0]) == pytest.approx(0.0, abs=1e-6)
    assert (np.diff(best.combined_temperature) >= 0).all()


def test_bore_side_of_a_tube_cooled_outside_is_slowest():
    tube = hq.Tube(outer_diameter=0.08, inner_diameter=0.04)
    best = place_thermocouples(tube, STEEL, {"side": BATH, "bore": hq.Insulated()}, purpose="slowest point")
    assert best.attrs["point_r"] == pytest.approx(0.02, abs=3e-4)  # flat there: no heat passes the bore
    assert float(best.wall.min()) >= 1.5e-3 - 1e-9
    assert set(best.entry.values) == {"side"}


@pytest.mark.slow
def test_three_quarter_radius_is_found_at_mid_length():
    piece = hq.RoundBar(diameter=0.06, length=0.2)
    best = place_thermocouples(piece, STEEL, faces(piece), purpose="three-quarter radius")
    assert float(best.r[0]) == pytest.approx(0.0225)
    assert 0.05 < float(best.z[0]) < 0.15


@pytest.mark.parametrize("entries", ["side", "end"])
@pytest.mark.slow
def test_in_an_end_quench_bar_the_reading_error_falls_with_distance_from_the_end(entries):
    heights = [0.0015875 * n for n in (2, 3, 4, 6, 8, 12, 16, 24)]
    read = place_thermocouples(
        hq.EndQuenchBar(), STEEL, END_QUENCH, purpose="named point", point=(0.0, 0.02), entries=entries, window=(750.0, 500.0),
        places={f"{z:.4f}": (0.0, z) for z in heights}, largest_drill_ratio=100.0,
    ).sortby("z")  # fmt: skip
    assert (np.diff(read.reading_temperature) < 0).all()
    assert (np.diff(read.reading_rate) < 0).all()
    for part in ("lag", "position", "well"):
        assert (np.diff(read.error_temperature.sel(component=part)) < 0).all(), part
    near = read.isel(place=0)  # 1/8 in: lag is tau times rate on average; position is G times 0.5 mm
    lag, rate = float(near.error_temperature.sel(component="lag")), float(near.rate)
    assert lag == pytest.approx(Thermocouple().lag * rate, rel=0.15)


@pytest.mark.slow
def test_a_well_of_120_mm_from_the_end_is_judged():
    piece = hq.RoundBar(diameter=0.06, length=0.5)
    couple = Thermocouple(sheath_diameter=3e-3)
    asked = {"from the end": (0.0, 0.12), "middle": (0.0, 0.25)}
    own = place_thermocouples(
        piece, STEEL, faces(piece), purpose="slowest point", sensor=couple, places=asked, entries=("end",)
    )
    assert own.sizes["place"] == 2
    well = own.sel(place="from the end, end")
    assert float(well.depth) == pytest.approx(0.12)
    assert float(well.drill_ratio) == pytest.approx(40.0)
    assert float(well.wall) == pytest.approx(0.0285)
    assert float(well.immersion) == pytest.approx(40.0)
    assert bool(well.feasible)
    assert (
        float(well.error_temperature.sel(component="representation")) < 1.0
    )  # two diameters from the end: like the middle
    other = own.sel(place="middle, end")
    assert not bool(other.feasible)
    assert str(other.why_not.values) == "depth over diameter 83, more than 40"
    assert own.place.values[0] == "from the end, end"  # feasible first


def test_minimum_rate_is_ranked_by_rate_and_says_what_to_read():
    best = place_thermocouples(
        hq.RoundBar(0.06), STEEL, {"side": BATH}, purpose="minimum rate", required_rate=3.0, window=(750.0, 550.0)
    )
    assert (np.diff(best.combined_rate) >= 0).all()
    slow = best.attrs["point_rate"]
    assert (best.rate >= slow * 0.999).all()
    np.testing.assert_allclose(best.rate - best.rate_difference, slow, rtol=1e-9)
    np.testing.assert_allclose(best.rate_to_read, 3.0 * best.rate / slow + best.reading_rate)


def test_calibration_error_alone_and_position_by_hand(bar):
    """On the axis of the bar only the class is left; at 20 mm the position is the gradient times 0.5 mm."""
    on_axis = bar.isel(place=0).error_temperature
    levels = np.linspace(500.0, 800.0, 1001)
    assert float(on_axis.sel(component="calibration")) == pytest.approx(
        np.sqrt(np.mean((0.004 * levels) ** 2)), rel=1e-3
    )
    assert float(on_axis.sel(component="position")) < 0.1
    piece = hq.RoundBar(diameter=0.06, length=0.2)
    probes = {"in": (0.0195, 0.1), "out": (0.0205, 0.1), "at": (0.02, 0.1)}
    run = hq.simulate(
        piece, STEEL, faces(piece), initial_temperature=850.0, end_time=300.0, stop_below=450.0, probes=probes,
        accuracy=1.0, estimate_error=False, progress=False,
    )  # fmt: skip
    t = run.temperature
    when = np.interp(-np.linspace(800, 500, 50), -np.minimum.accumulate(t.sel(probe="at").values), run.time.values)
    half = np.interp(when, run.time.values, (t.sel(probe="in") - t.sel(probe="out")).values) / 2
    ours = bar.where((abs(bar.r - 0.02) < 1e-6) & (abs(bar.z - 0.1) < 1e-6) & (bar.entry == "side"), drop=True)
    assert float(ours.error_temperature.sel(component="position")[0]) == pytest.approx(
        np.sqrt(np.mean(half**2)), rel=0.05
    )


@pytest.mark.slow
def test_net_of_lines_and_splines_are_fine_enough():
    piece = hq.RoundBar(diameter=0.06, length=0.2)
    common = {
        "initial_temperature": 850.0,
        "stop_below": 450.0,
        "end_time": 900.0,
        "accuracy": 1.0,
        "estimate_error": False,
    }
    r, z = np.array([0.0, 0.011, 0.0285, 0.005]), np.array([0.1, 0.013, 0.09, 0.197])
    coarse, fine = (cool_section(piece, STEEL, faces(piece), lines=lines, **common) for lines in ((17, 49), (33, 97)))
    rates = [window_rate(s.time, s.at(r, z), (800.0, 500.0)) for s in (coarse, fine)]
    np.testing.assert_allclose(rates[0], rates[1], rtol=3e-3)
    radial, axial = coarse.gradients(r, z)
    assert abs(radial[:, 0]).max() < 1e-6 * abs(radial).max()  # symmetry at the axis
    assert abs(axial[:, 0]).max() < 1e-3 * abs(axial).max()


def test_wells():
    couple = Thermocouple(sheath_diameter=2e-3)
    bar, tube, jominy = hq.RoundBar(0.06, 0.2), hq.Tube(0.08, 0.04, 0.1), hq.EndQuenchBar()
    side, end = (make_well(bar, couple, 0.01, 0.03, entry) for entry in ("side", "end"))
    assert (side.depth, side.face, side.wall) == pytest.approx((0.02, "side", 0.029))
    assert (end.depth, end.face, end.wall) == pytest.approx((0.03, "bottom", 0.019))
    assert make_well(bar, couple, 0.0, 0.17, "end").face == "top"
    assert make_well(jominy, couple, 0.0, 0.01, "end").face == "top"  # never through the quenched end
    assert make_well(jominy, couple, 0.0, 0.01, "end").wall == pytest.approx(0.01)
    assert make_well(tube, couple, 0.022, 0.05, "side").wall == pytest.approx(0.002)
    assert make_well(tube, couple, 0.022, 0.05, "end").wall == pytest.approx(0.001)
    assert make_well(hq.RoundBar(0.06), couple, 0.01, 0.0, "side").name == "r 10 mm, side"


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"purpose": "calibration"}, "unknown purpose 'calibration'.*Did you mean"),
        ({"sensor": 0.3}, "sensor = 0.3: one Thermocouple"),
        ({"window": (500.0, 800.0)}, r"window\[1\] = 800 degC.*lower end comes second"),
        ({"window": 700.0}, "two temperatures in degC"),
        ({"window": (900.0, 500.0)}, "upper end 900 degC is not below the start temperature 850"),
        ({"entries": "end"}, "unknown entry"),
        ({"entries": ()}, "entries is empty"),
        ({"point": "centre"}, "a point belongs to 'named point'"),
        ({"purpose": "named point"}, "a point belongs to 'named point'"),
        ({"required_rate": 1.0}, "required_rate is for the purpose 'minimum rate'"),
        ({"largest_drill_ratio": 0.0}, "largest_drill_ratio"),
        ({"minimum_wall": 40.0}, "minimum_wall = 40 m"),
        ({"minimum_wall": 0.04}, "no place of RoundBar.* can be drilled for this couple"),
        ({"end_time": 20.0}, "does not pass 800 to 500 degC within 20 s"),
        ({"specimen": 0.06}, "specimen = 0.06 is not a piece"),
        ({"places": ["heart"]}, "unknown probe 'heart'"),
        ({"steel": hq.Material.constant(conductivity=25.0, density=7700.0, specific_heat=600.0)}, "initial_temperature is missing"),
    ],
)  # fmt: skip
def test_impossible_tasks(changes, message):
    given = {"specimen": hq.RoundBar(0.06), "steel": STEEL, "purpose": "slowest point"} | changes
    with pytest.raises(InputError, match=message):
        place_thermocouples(given.pop("specimen"), given.pop("steel"), {"side": BATH}, **given)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"couples": 0}, "couples = 0"),
        ({"knots": (500.0, 400.0)}, "knots = .*rising"),
        ({"prior": 0.0}, "prior"),
        ({"places": ["surface"]}, "none of them can be drilled"),
    ],
)
def test_impossible_calibrations(changes, message):
    with pytest.raises(InputError, match=message):
        place_thermocouples(hq.RoundBar(0.06), STEEL, {"side": BATH}, purpose="calibrate h", **changes)


def test_nothing_to_calibrate_without_heat_loss():
    with pytest.raises(InputError, match="loses no heat"):
        place_thermocouples(
            hq.RoundBar(0.06), STEEL, {"side": hq.Insulated()}, purpose="calibrate h", end_time=10.0, places=["centre"]
        )


def test_further_couples_add_less_and_narrow_h(calibration):
    gain = calibration.gain.values
    assert (gain > 0).all()
    assert (np.diff(gain) < 0).all()
    spread = calibration.h_uncertainty.values
    assert (np.diff(spread, axis=0) <= 1e-12).all()
    assert (spread < 0.3).all()  # the prior
    assert calibration.gain_alone[0] == pytest.approx(gain[0])
    worth = calibration.attrs["worth"]
    assert (gain[:worth] >= 1.0).all()
    assert worth == len(gain) or gain[worth] < 1.0


def test_greedy_choice_against_all_pairs(calibration):
    """Small case: log det of the first two against every pair, from the definition of D-optimality."""
    rng = np.random.default_rng(4)
    jacobians = rng.normal(size=(6, 12, 4))
    fisher = np.einsum("psi,psj->pij", jacobians, jacobians)
    wells = [make_well(hq.RoundBar(0.2), Thermocouple(), 0.01 * n, 0.0, "side") for n in range(1, 7)]
    chosen, gain, spread, alone = choose_couples(fisher, wells, 0.3, [0.05], 2, 1e-3)
    known = np.diag([0.3**-2] * 3 + [0.05**-2])

    def spread_of(*couples):
        """Covariance of the three sought parameters."""
        return np.linalg.inv(known + sum(fisher[n] for n in couples))[:3, :3]

    def bits(*couples):
        return 0.5 * np.log2(np.linalg.det(np.linalg.inv(known)[:3, :3]) / np.linalg.det(spread_of(*couples)))

    singles = [bits(n) for n in range(6)]
    np.testing.assert_allclose(alone, singles)
    assert chosen[0] == int(np.argmax(singles))
    pairs = {n: bits(chosen[0], n) for n in range(6) if n != chosen[0]}
    assert chosen[1] == max(pairs, key=pairs.get)
    assert gain.sum() == pytest.approx(max(pairs.values()))
    np.testing.assert_allclose(spread[1], np.sqrt(np.diag(spread_of(*chosen))))


def test_sensitivities_obey_the_scaling_of_the_heat_equation(monkeypatch):
    """h, k and rho c times one factor change nothing: their logarithmic derivatives add up to zero, but for differences of 10 %."""
    metal = hq.Material.constant(conductivity=25.0, density=7700.0, specific_heat=620.0)
    section = cool_section(
        hq.RoundBar(0.06), metal, {"side": BATH}, initial_temperature=850.0, stop_below=150.0, end_time=900.0, accuracy=0.1,
        estimate_error=False,
    )  # fmt: skip

    def left(change):
        monkeypatch.setattr(information, "CHANGE", change)
        found, of_steel = information.sensitivities(
            section, metal, {"side": BATH}, ["side"], (100.0, 400.0, 700.0), 0.1
        )
        assert len(found) == 3 + len(of_steel) == 5
        fields = [one.temperature[:, 0, :] for one in found]
        h, heat, conductivity = sum(fields[:3]), fields[3], fields[4]
        assert np.abs(h).max() > 150.0
        assert np.abs(conductivity).max() > 20.0
        assert (h[len(h) // 2 :] < 0.0).all()
        assert (heat[len(h) // 2 :] > 0.0).all()
        return np.abs(h + heat + conductivity).max() / np.abs(h).max()

    tenth, twentieth = left(0.1), left(0.05)
    assert tenth < 0.1
    assert twentieth == pytest.approx(tenth / 2, rel=0.25)  # a forward difference is of first order


def test_changed_boundary_keeps_the_contract():
    staged = hq.Stages((5.0, AIR), (None, BATH))
    changed = ChangedNear(staged, (100.0, 500.0, 900.0), 1, 0.1)
    surface = np.array([50.0, 300.0, 500.0, 700.0, 900.0])
    times = [time for time, _ in changed.over_time(60.0)]
    assert times == [time for time, _ in staged.over_time(60.0)]
    last = changed.over_time(60.0)[-1][1]
    np.testing.assert_allclose(
        last.heat_flux(surface) / BATH.heat_flux(surface), [1, 1.05, 1.1, 1.05, 1], equal_nan=True
    )


def test_result_can_be_saved_and_thinned(bar, tmp_path):
    from heatq.files import save_netcdf

    save_netcdf(bar, tmp_path / "a.nc")
    again = xr.load_dataset(tmp_path / "a.nc", engine="scipy")
    np.testing.assert_allclose(again.combined_temperature, bar.combined_temperature)
    assert json.loads(bar.attrs["settings"])["largest_drill_ratio"] == 40.0
    thin = distinct_places(bar, 5)
    assert thin.sizes["place"] == 5
    assert thin.place.values[0] == bar.place.values[0]
    for entry in ("side", "end"):
        kept = thin.where(thin.entry == entry, drop=True)
        apart = np.hypot(kept.r.values[:, None] - kept.r.values, kept.z.values[:, None] - kept.z.values)
        assert (apart[~np.eye(len(apart), dtype=bool)] >= 0.02 - 1e-9).all()
    with pytest.raises(InputError, match="result has no places"):
        distinct_places(xr.Dataset())


def test_small_tools():
    assert nice_lines(0.0, 0.06, 15) == pytest.approx(np.arange(0.005, 0.06, 0.005))
    time = np.array([0.0, 1.0, 2.0, 3.0])
    wavy = np.array([[900.0, 700.0], [600.0, 650.0], [650.0, 640.0], [500.0, 630.0]])
    np.testing.assert_allclose(crossing(time, wavy, 625.0), [275 / 300, np.nan])
    np.testing.assert_allclose(
        crossing(time, wavy, 550.0), [2 + 1 / 2, np.nan]
    )  # after recalescence, from the lowest so far


def test_map_and_ranking(bar, calibration):
    thin = distinct_places(bar, 4)
    ax = place_map(thin, 10.0)
    assert ax.get_xlabel() == "length z, mm"
    assert {"best places", "point of interest"} <= {text.get_text() for text in ax.get_legend().get_texts()}
    blue = ax.collections[1].get_paths()[0].vertices  # the 10 K line: there the section differs by 10 K
    from scipy.interpolate import RegularGridInterpolator

    of = RegularGridInterpolator((bar.section_z.values, bar.section_r.values), bar.section_difference.values)
    np.testing.assert_allclose(of(np.clip(blue * 1e-3, [0.0, 0.0], [0.2, 0.03])), 10.0, atol=0.5)
    bars = place_ranking(thin)
    ends = {}
    for patch in bars.patches:
        row = round(patch.get_y() + 0.33, 3)
        ends[row] = max(ends.get(row, 0.0), patch.get_x() + patch.get_width())
    np.testing.assert_allclose([ends[row] for row in sorted(ends)], thin.combined_temperature, rtol=1e-6)
    assert place_map(calibration).get_ylabel() == "mean cooling rate, K/s"
    assert place_ranking(calibration, of="rate", count=3).get_xlabel().endswith("K/s")
    for call, message in (
        (lambda: place_map(xr.Dataset()), "result has no error_temperature"),
        (lambda: place_map(bar, 0.0), "within"),
        (lambda: place_ranking(bar, of="time"), "of = 'time'"),
    ):
        with pytest.raises(InputError, match=message):
            call()


@pytest.fixture
def run(capsys, tmp_path, monkeypatch, quick_figures):
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        code = main(["place", *map(str, arguments)])
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return call


def test_command_shows_what_the_library_computes(run, tmp_path, drawn):
    code, out, err = run("--diameter", "60 mm", "--medium", "oil", "--sheath", "1 mm", "--count", 3)
    assert (code, err) == (0, "")
    assert "slowest point: r 0 mm" in out
    same = place_thermocouples(
        hq.RoundBar(0.06),
        STEEL,
        {"side": hq.OilBath("conventional")},
        purpose="slowest point",
        sensor=Thermocouple(1e-3),
    )
    line = next(text for text in out.splitlines() if text.startswith("r 0 mm, side"))
    numbers = [float(cell) for cell in line.removeprefix("r 0 mm, side").split()]
    assert numbers[0] == pytest.approx(30.0)
    assert numbers[9] == pytest.approx(float(same.combined_temperature[0]), abs=0.06)
    assert numbers[10] == pytest.approx(float(same.rate[0]), rel=6e-3)
    folder = tmp_path / "heatq-out"
    for name in ("places.png", "ranking.png"):
        assert (folder / name).read_bytes().startswith(b"\x89PNG")
    with (folder / "places.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == same.sizes["place"]
    assert float(rows[0]["calibration_K"]) == pytest.approx(
        float(same.error_temperature.sel(component="calibration")[0])
    )
    assert (folder / "places.nc").exists()


def test_command_for_a_named_place_and_a_calibration(run):
    code, out, _ = run("--diameter", "50 mm", "--medium", "oil", "--place", "centre", "--place", "surface")
    assert code == 0
    assert "cannot be had: only 0 mm below the face" in out
    code, out, _ = run("--diameter", "50 mm", "--medium", "oil", "--purpose", "calibrate")
    assert code == 0
    assert re.search(r"worth it: \d", out)


def test_command_with_a_count_that_is_none(run, capsys):
    with pytest.raises(SystemExit) as left:
        run("--count", "0")
    assert left.value.code == 2
    assert "--count: '0' is not a whole number of at least 1" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--purpose", "point"], "--point NAME belongs to --purpose point"),
        (["--gas", "nitrogen"], "--gas belongs to a bar or a tube"),
        (["--required-rate", "1 K/s"], "--required-rate belongs to --purpose minimum-rate"),
        (["--sheath", "1.5"], "--sheath: 1.5 m is outside.*A number without a unit is in metres"),
        (["--tolerance-class", "4"], "--tolerance-class: 4: type K has 1, 2, 3"),
        (["--diameter", "60 mm"], "no medium"),
        (["--out", ""], "--out is empty"),
    ],
)
def test_command_with_bad_input(run, arguments, message):
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert err.startswith("heatq place: ")
    assert re.search(message, err), err
