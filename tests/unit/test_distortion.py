"""Figures that rank quenches: probes, stress, strain, evenness of h, Ms, and what is said when something is missing."""

from __future__ import annotations

import json

import numpy as np
import pytest
import xarray as xr

import heatq as hq
from heatq.distortion import (
    compare_distortion,
    distortion_figures,
    distortion_probes,
    distortion_table,
    free_strain,
    h_evenness,
    long_cylinder_stress,
)
from heatq.errors import InputError, ValidityWarning

BAR = hq.RoundBar(diameter=0.05)


def log(**rates):
    """Straight cooling curves from 850 degC, 60 s."""
    time = np.linspace(0.0, 60.0, 121)
    values = np.stack([850.0 - rate * time for rate in rates.values()], axis=1)
    return xr.Dataset({"temperature": (("time", "probe"), values)}, coords={"time": time, "probe": list(rates)})


@pytest.fixture(scope="module")
def oil():
    steel, bath = hq.grade("4340"), {"side": hq.OilBath("conventional")}
    run = hq.simulate(
        BAR, steel, bath, initial_temperature=845.0, end_time=900.0, accuracy=2.0, probes=distortion_probes(BAR, 12),
        estimate_error=False,
    )  # fmt: skip
    return run, steel, bath, distortion_figures(run, BAR, steel, bath)


def test_probes_reach_from_axis_or_bore_to_surface():
    radii = [p.r for p in distortion_probes(BAR, 9)]
    assert (radii[0], radii[-1]) == (0.0, 0.025)
    assert np.diff(radii)[-1] < 0.2 * np.diff(radii)[0]
    tube = hq.Tube(outer_diameter=0.06, inner_diameter=0.03, length=0.2)
    probes = distortion_probes(tube, 9)
    assert (probes[0].r, probes[-1].r, probes[0].z) == (0.015, 0.03, 0.1)
    assert tube.resolve_probes(probes) == probes


def test_uniform_strain_gives_no_stress_and_axial_resultant_vanishes():
    rng = np.random.default_rng(3)
    for inner in (0.0, 0.01):
        r = inner + np.sort(np.r_[0.0, rng.uniform(0.0, 0.02, 14), 0.02])
        assert np.abs(long_cylinder_stress(np.full(16, 0.01), r)).max() < 1e-3
        e = 1e-3 * rng.standard_normal((5, 16))
        radial, hoop, axial = long_cylinder_stress(e, r)
        assert radial.shape == hoop.shape == axial.shape == (5, 16)
        assert np.abs(np.trapezoid(axial, r**2, axis=-1)).max() < 1e-11 * np.abs(axial).max()
        assert np.abs(radial[:, -1]).max() < 1e-9 * np.abs(axial).max()
        assert np.isfinite(hoop).all()


def test_strain_parts():
    thermal, none = free_strain([20.0, 120.0], 0.4)
    assert thermal == pytest.approx([0.0, 2.24e-3])
    assert np.isnan(none).all()
    cold = free_strain(20.0, 0.4, {"martensite": 0.5, "austenite": 0.5})[1]
    assert cold == pytest.approx(0.5 * (4.64 - 0.53 * 0.4) / 300.0)
    with pytest.warns(ValidityWarning, match="carbon"):
        free_strain(20.0, 1.5, {"martensite": 1.0})


def test_difference_and_ms_of_a_log_are_the_known_ones():
    figures = distortion_figures(log(skin=20.0, middle=10.0), BAR, ms=350.0, surface="skin", core="middle")
    assert float(figures.largest_difference) == pytest.approx(600.0)
    assert float(figures.largest_difference_time) == 60.0
    assert float(figures.surface_ms_time) == pytest.approx(25.0)
    assert float(figures.core_ms_time) == pytest.approx(50.0)
    assert float(figures.ms_delay) == pytest.approx(25.0)
    assert float(figures.shell_time) == pytest.approx(25.0)
    assert float(figures.difference_at_surface_ms) == pytest.approx(250.0)
    assert float(figures.difference_at_core_ms) == pytest.approx(500.0)
    missing = json.loads(figures.attrs["missing"])
    assert set(missing) == {"shell_time", "h_ratio", "stress"}
    assert "stress" not in figures
    late = distortion_figures(log(skin=20.0, middle=2.0), BAR, ms=350.0, surface="skin", core="middle")
    assert np.isnan(late.ms_delay)
    assert "does not pass Ms = 350" in json.loads(late.attrs["missing"])["ms"]


def test_a_core_of_bainite_ends_the_shell_time():
    run = log(skin=20.0, middle=10.0)
    parts = np.zeros((2, 121, 2))
    parts[1] = 1.0
    parts[0, 80:, 1], parts[1, 80:, 1] = 0.9, 0.1  # the core turns at 40 s, before its Ms at 50 s
    run["fraction_history"] = (("phase", "time", "probe"), parts)
    run = run.assign_coords(phase=["bainite", "austenite"])
    figures = distortion_figures(run, BAR, ms=350.0, surface="skin", core="middle")
    assert float(figures.shell_time) == pytest.approx(15.0)
    assert float(figures.ms_delay) == pytest.approx(25.0)


def test_run_in_oil(oil):
    run, _, _, figures = oil
    assert json.loads(figures.attrs["missing"]) == {}
    gap = (run.temperature.sel(probe="centre") - run.temperature.sel(probe="surface")).max()
    assert float(figures.largest_difference) == pytest.approx(float(gap))
    thermal = figures.tension.sel(part="thermal", direction="axial")
    assert thermal[-1] > 5e8
    assert thermal[0] == pytest.approx(0.0, abs=1e6)
    assert figures.tension.sel(part="total", direction="axial")[0] > 1e8  # the transformation reverses the sign
    parts = figures.stress
    assert np.allclose(parts.sel(part="total"), parts.sel(part="thermal") + parts.sel(part="transformation"), atol=1.0)
    for variable in (*figures.data_vars.values(), *figures.coords.values()):
        assert variable.attrs["units"], variable.name
        assert variable.attrs["long_name"], variable.name


def test_too_few_probes_leave_stress_out_and_say_so(oil):
    run, steel, bath, full = oil
    figures = distortion_figures(run.isel(probe=[0, 5, 11]), BAR, steel, bath)
    assert "stress" not in figures
    assert "fewer than 8 radii" in json.loads(figures.attrs["missing"])["stress"]
    assert float(figures.largest_difference) == float(full.largest_difference)


def test_a_plain_material_has_no_transformation_part(oil):
    run, _, bath, full = oil
    figures = distortion_figures(run.drop_vars(["fraction_history"]), BAR, None, bath, ms=300.0)
    assert np.isnan(figures.tension.sel(part="transformation")).all()
    assert np.allclose(figures.stress.sel(part="thermal"), full.stress.sel(part="thermal"))


def test_evenness():
    cool = ([0.0, 100.0], [850.0, 100.0])
    table = hq.CoefficientTable([100.0, 400.0, 500.0, 900.0], [2000.0, 2000.0, 200.0, 200.0], fluid_temperature=20.0)
    blanket = h_evenness(BAR, {"side": table}, *cool, "side", until=300.0)
    assert blanket["h_ratio_regimes"] == pytest.approx(10.0, rel=1e-6)
    assert blanket["h_ratio_near"] > 2.0
    short = hq.RoundBar(diameter=0.05, length=0.1)
    sides = {name: hq.Convection(coefficient=h, fluid_temperature=20.0) for name, h in
             {"bottom": 600.0, "side": 200.0, "top": 300.0}.items()}  # fmt: skip
    found = h_evenness(short, sides, *cool, "side", until=300.0)
    assert found["h_ratio_faces"] == pytest.approx(3.0)
    assert found["h_ratio_regimes"] == pytest.approx(1.0)
    half = sides | {"bottom": hq.Insulated()}
    assert h_evenness(short, half, *cool, "side", until=300.0)["h_ratio_faces"] == pytest.approx(1.5)
    assert np.isnan(h_evenness(BAR, {"side": hq.HeatFlux(5e4)}, *cool, "side", until=300.0)["h_ratio_regimes"])


def test_evenness_of_stages_takes_each_at_its_time():
    weak, strong = (hq.Convection(coefficient=h, fluid_temperature=20.0) for h in (100.0, 400.0))
    staged = hq.Stages((50.0, weak), (None, strong))
    found = h_evenness(BAR, {"side": staged}, [0.0, 100.0], [850.0, 100.0], "side", until=300.0)
    assert found["h_ratio_regimes"] == pytest.approx(4.0)  # 68 % of the temperatures under the weak one
    assert found["h_ratio_near"] == pytest.approx(1.0)  # at any one time h is the same at all temperatures


def test_ranking_and_table(oil):
    figures = oil[3]
    mild = distortion_figures(log(skin=12.0, middle=11.0), BAR, ms=300.0, surface="skin", core="middle")
    ranked = compare_distortion({"oil": figures, "slow": mild})
    assert ranked.quench.values.tolist() == ["slow", "oil"]
    assert compare_distortion({"slow": mild, "oil": figures}, by="h_ratio_regimes").quench[0] == "oil"  # NaN last
    text = distortion_table(ranked)
    assert len(text.splitlines()) == 1 + len(ranked.data_vars)
    assert "MPa" in text


def test_messages(oil):
    run, steel, bath, figures = oil
    plain = log(skin=20.0, middle=10.0)
    with pytest.raises(InputError, match="count = 5: a whole number of at least 8"):
        distortion_probes(BAR, 5)
    with pytest.raises(InputError, match="radius: at least two radii in m, rising"):
        long_cylinder_stress([0.0, 0.0], [0.02, 0.01])
    with pytest.raises(InputError, match="surface = 'rim' is not among the probes of result"):
        distortion_figures(plain, BAR, surface="rim", core="middle")
    with pytest.raises(InputError, match="surface is not given, and result does not say where"):
        distortion_figures(plain, BAR)
    with pytest.raises(InputError, match="surface and core are the same probe, 'skin'"):
        distortion_figures(plain, BAR, surface="skin", core="skin")
    with pytest.raises(InputError, match="no boundary for the face 'side'"):
        distortion_figures(run, BAR, steel, {"top": bath["side"]})
    with pytest.raises(InputError, match="figures is empty"):
        compare_distortion({})
    with pytest.raises(InputError, match="has no largest_difference"):
        compare_distortion({"a": run})
    with pytest.raises(InputError, match="by = 'crack': one of largest_difference"):
        compare_distortion({"a": figures}, by="crack")


def test_figure(oil):
    from heatq.plot_distortion import distortion_history

    above, below = distortion_history(oil[3])
    assert len(above.get_lines()) >= 5
    assert "MPa" in below.get_ylabel()
    logged = distortion_figures(log(skin=20.0, middle=10.0), BAR, ms=350.0, surface="skin", core="middle")
    assert "no stress" in distortion_history(logged)[1].texts[0].get_text()
    with pytest.raises(InputError, match="figures has no difference"):
        distortion_history(oil[0])
