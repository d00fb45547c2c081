"""`simulate`: what it says to wrong input, the schema of its result, interruption, and extreme cases."""

from __future__ import annotations

import json
import threading
import types

import numpy as np
import pytest
import xarray as xr

import heatq as hq
import heatq.conduction.run as module
from heatq.boundaries import FixedTemperature
from heatq.conduction import march as march_module
from heatq.errors import InputError, SolverError
from heatq.files import save_netcdf

METAL = hq.Material.constant(conductivity=30.0, density=7700.0, specific_heat=600.0)
BATH = hq.Convection(coefficient=2000.0, fluid_temperature=20.0)
BAR = hq.RoundBar(diameter=0.025)
SHORT = hq.RoundBar(diameter=0.025, length=0.05)


def cool(specimen=BAR, steel=METAL, boundaries=None, **options):
    options = {"initial_temperature": 850.0, "end_time": 60.0} | options
    return hq.simulate(specimen, steel, {"side": BATH} if boundaries is None else boundaries, **options)


class Flux:
    """A user's own boundary, given as a function."""

    def __init__(self, function):
        self.heat_flux = function


# ---------------------------------------------------------------------------------------------------------------------
# wrong input


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (
            {"initial_temperature": 1550.0},
            r"initial_temperature = 1550 degC is outside .* for Fahrenheit write heatq.units.degF\(1550\)",
        ),
        ({"initial_temperature": -100.0}, "initial_temperature = -100 degC is outside"),
        ({"initial_temperature": float("nan")}, "initial_temperature = nan degC is outside"),
        ({"initial_temperature": "850"}, "initial_temperature = '850' is not a number"),
        ({"end_time": -5.0}, r"end_time = -5 s is outside .* Times are in seconds"),
        ({"end_time": 0.0}, "end_time = 0 s is outside"),
        ({"end_time": None}, "end_time = None is not a number"),
        ({"accuracy": 0.0}, "accuracy = 0 K is outside"),
        ({"accuracy": 500.0}, "accuracy = 500 K is outside"),
        ({"output_times": [1.0, 1.0, 2.0]}, "output_times must increase strictly"),
        ({"output_times": [5.0, 1.0]}, "output_times must increase strictly"),
        ({"output_times": [1.0, 61.0]}, "output_times reaches from 1 to 61 s, outside 0 to end_time = 60 s"),
        ({"output_times": [-1.0, 10.0]}, "output_times reaches from -1 to 10 s"),
        ({"output_times": []}, "output_times must be a one-dimensional list"),
        ({"output_times": [[1.0, 2.0]]}, "output_times must be a one-dimensional list"),
        ({"output_times": [1.0, float("inf")]}, "output_times must be a one-dimensional list of finite times"),
        ({"fields_at": [70.0]}, "fields_at reaches from 70 to 70 s, outside 0 to end_time = 60 s"),
        ({"probes": ["center"]}, "unknown probe 'center'. Did you mean 'centre'"),
        ({"probes": {"off": (0.02, 0.0)}}, "probe 'off' lies at r = 20 mm"),
        ({"boundaries": {}}, r"no boundary for face 'side': every face of RoundBar \(side\) needs one.*Insulated\(\)"),
        ({"boundaries": {"sid": BATH}}, "unknown face of RoundBar 'sid'. Did you mean 'side'"),
        ({"boundaries": {"side": BATH, "bore": BATH}}, "unknown face of RoundBar 'bore'"),
        ({"boundaries": BATH}, "boundaries must be a dict from face to boundary; RoundBar has the faces side"),
        (
            {"boundaries": {"side": 500.0}},
            r"boundary of face 'side': 500.0 has no heat_flux\(surface_temperature\) method",
        ),
        (
            {"boundaries": {"side": Flux(lambda t: np.where(t > 400.0, np.nan, 1e5))}},
            "boundary of face 'side': heat_flux is not finite at a surface of 401 degC",
        ),
    ],
)
def test_wrong_input_is_answered_in_words(options, message):
    with pytest.raises(InputError, match=message):
        cool(**options)


def test_missing_face_of_an_end_quench_bar():
    with pytest.raises(InputError, match=r"no boundary for face 'top': every face of EndQuenchBar \(jet, side, top\)"):
        cool(hq.EndQuenchBar(), boundaries={"jet": BATH, "side": BATH})


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"steel": "4140"}, "steel"),
        ({"specimen": "round bar"}, "specimen"),
        ({"boundaries": {"side": hq.Convection}}, "boundary of face 'side'"),
        ({"boundaries": {"side": Flux(lambda t: np.zeros(3))}}, "boundary of face 'side'"),
        ({"output_times": "1, 2"}, "output_times"),
        ({"stop_below": "400"}, "stop_below"),
        ({"cells": 20}, "cells"),
        ({"cells": (0, 1)}, "cells"),
        ({"step_tolerance": -1.0}, "step_tolerance"),
        ({"progress": "yes"}, "progress"),
    ],
)
def test_further_wrong_input(options, message):
    with pytest.raises(InputError, match=message):
        cool(**options)


@pytest.mark.parametrize("tolerance", [0.0, float("nan")])
def test_a_step_tolerance_of_nothing_is_refused(tolerance):
    with pytest.raises(InputError, match="step_tolerance"):
        cool(step_tolerance=tolerance)


def test_properties_that_cannot_be_are_refused():
    class Falling:
        name, phases, density, sources = "falling", ("solid",), 7800.0, ()

        def enthalpy(self, t):
            return -600.0 * np.atleast_2d(t)

        def conductivity(self, t):
            return 30.0 + 0.0 * np.atleast_2d(t)

    with pytest.raises(InputError, match="the enthalpy of 'falling' must grow with temperature"):
        cool(steel=Falling())

    class Negative(Falling):
        def enthalpy(self, t):
            return 600.0 * np.atleast_2d(t)

        def conductivity(self, t):
            return 30.0 - 0.1 * np.atleast_2d(t)

    with pytest.raises(InputError, match="the conductivity of 'falling' must be positive from -100 to 1450 degC"):
        cool(steel=Negative())


# ---------------------------------------------------------------------------------------------------------------------
# the result


@pytest.fixture(scope="module")
def plain():
    return cool(SHORT, boundaries={"bottom": BATH, "side": BATH, "top": BATH}, fields_at=[0.0, 5.0, 60.0])


@pytest.fixture(scope="module")
def steel():
    faces = {
        "jet": hq.Convection(coefficient=1e4, fluid_temperature=24.0),
        "side": hq.Insulated(),
        "top": hq.Insulated(),
    }
    return cool(hq.EndQuenchBar(), hq.grade("4140"), faces, end_time=300.0, probes=["J2", "J8"], fields_at=[300.0])


def test_schema(plain, steel):
    assert dict(plain.temperature.sizes) == {"time": plain.sizes["time"], "probe": 4}
    assert list(plain.probe.values) == ["centre", "mid-radius", "3/4 radius", "surface"]
    assert list(plain.face.values) == ["bottom", "top", "side"]
    assert plain.temperature_field.dims == ("field_time", "cell_z", "cell_r")
    assert "fraction" not in plain
    assert steel.fraction.dims == ("phase", "probe")
    assert steel.fraction_history.dims == ("phase", "time", "probe")
    assert steel.fraction_field.dims == ("phase", "field_time", "cell_z", "cell_r")
    assert list(steel.phase.values) == ["ferrite", "pearlite", "bainite", "martensite", "austenite"]
    assert steel.distance.values == pytest.approx([2 * 0.0254 / 16, 8 * 0.0254 / 16])
    units = {
        "temperature": "degC",
        "time": "s",
        "r": "m",
        "z": "m",
        "heat_removed": "J",
        "cell_r": "m",
        "field_time": "s",
    }
    for name, unit in units.items():
        assert plain[name].attrs["units"] == unit
    for data in (plain, steel):
        for name in (*data.data_vars, *data.coords):
            assert data[name].attrs["units"], name
            assert data[name].attrs["long_name"], name
            assert data[name].dtype.kind in "fU", name


def test_a_long_bar_counts_heat_per_metre():
    assert cool().heat_removed.attrs["units"] == "J/m"


def test_attributes_repeat_the_run(plain, steel):
    settings = json.loads(steel.attrs["settings"])
    assert settings["end_time"] == 300.0
    assert settings["accuracy"] == 0.5
    assert settings["coupled"] is True
    assert "Convection(coefficient=10000.0" in settings["boundaries"]["jet"]
    assert settings["cells"] == [steel.sizes["cell_r"], steel.sizes["cell_z"]]
    assert json.loads(plain.attrs["settings"])["coupled"] is False
    assert json.loads(steel.attrs["sources"])
    assert json.loads(plain.attrs["warnings"]) == []
    assert plain.attrs["status"] == "finished"
    assert plain.attrs["energy_residual"] < 1e-12
    assert plain.attrs["n_steps"] == plain.sizes["time"] - 1
    assert plain.attrs["heatq_version"] == hq.__version__
    assert plain.attrs["total_seconds"] >= plain.attrs["solve_seconds"] > 0.0


@pytest.mark.parametrize("which", ["plain", "steel"])
def test_results_survive_saving(which, request, tmp_path):
    data = request.getfixturevalue(which)
    save_netcdf(data, tmp_path / "a.nc")
    back = xr.load_dataset(tmp_path / "a.nc", engine="scipy")
    xr.testing.assert_equal(back, data)
    assert json.loads(back.attrs["settings"]) == json.loads(data.attrs["settings"])
    assert back.temperature.attrs == data.temperature.attrs
    save_netcdf(back, tmp_path / "b.nc")
    xr.testing.assert_identical(xr.load_dataset(tmp_path / "b.nc", engine="scipy"), back)


def test_histories_begin_with_the_start_and_end_at_the_end(plain):
    assert plain.time.values[0] == 0.0
    assert plain.time.values[-1] == 60.0
    assert (np.diff(plain.time) > 0.0).all()
    np.testing.assert_array_equal(plain.temperature[0], 850.0)
    np.testing.assert_array_equal(plain.heat_removed[:, 0], 0.0)


def test_fields_are_the_state_at_their_times(plain):
    np.testing.assert_array_equal(plain.field_time, [0.0, 5.0, 60.0])
    np.testing.assert_array_equal(plain.temperature_field[0], 850.0)
    assert float(plain.temperature_field[1].max()) > float(plain.temperature_field[2].max())
    # every field time is an accepted step; the centre probe lies between the four cells around it
    assert set(plain.field_time.values) <= set(plain.time.values)
    middle = plain.temperature_field[2, plain.sizes["cell_z"] // 2, 0]
    assert float(plain.temperature.sel(probe="centre")[-1]) == pytest.approx(float(middle), abs=0.05)


def test_heat_removed_is_the_heat_the_field_lost(plain):
    """Energy from the kept field, with volumes made here, against what went through the faces."""
    spacing = {}
    for axis, length in (("cell_r", 0.0125), ("cell_z", 0.05)):
        centres = plain[axis].values
        faces = [0.0 if axis == "cell_z" else None, *([None] * len(centres))]
        if axis == "cell_z":
            for n, c in enumerate(centres):
                faces[n + 1] = 2.0 * c - faces[n]
        else:
            faces[-1] = length
            for n in range(len(centres) - 1, -1, -1):
                faces[n] = 2.0 * centres[n] - faces[n + 1]
        spacing[axis] = np.array(faces)
    volume = np.outer(np.diff(spacing["cell_z"]), np.pi * np.diff(spacing["cell_r"] ** 2))
    assert volume.sum() == pytest.approx(np.pi * 0.0125**2 * 0.05, rel=1e-9)
    for field, time in ((1, 5.0), (2, 60.0)):
        lost = float((7700.0 * 600.0 * volume * (850.0 - plain.temperature_field[field].values)).sum())
        assert float(plain.heat_removed.sel(time=time).sum()) == pytest.approx(lost, rel=1e-9)


def test_output_times_are_read_off_the_accepted_steps():
    every = cool(accuracy=0.1)
    times = [0.0, 0.5, 3.0, 10.0, 60.0]
    some = cool(accuracy=0.1, output_times=times)
    np.testing.assert_array_equal(some.time, times)
    for probe in every.probe.values:
        expected = np.interp(times, every.time, every.temperature.sel(probe=probe))
        np.testing.assert_allclose(some.temperature.sel(probe=probe), expected, atol=1.0)
    assert some.attrs["n_steps"] == every.attrs["n_steps"]
    # a time that is an accepted step is met exactly
    exact = cool(accuracy=0.1, output_times=every.time.values[[3, 20, -1]])
    np.testing.assert_allclose(exact.temperature, every.temperature[[3, 20, -1]], rtol=1e-12)


def test_output_times_do_not_disturb_the_steps_at_a_jump():
    quench = hq.Stages((5.0, hq.Convection(coefficient=50.0, fluid_temperature=20.0)), (None, BATH))
    every = cool(boundaries={"side": quench})
    some = cool(boundaries={"side": quench}, output_times=[5.0, 20.0])
    assert 5.0 in every.time.values
    np.testing.assert_allclose(some.temperature[0], every.temperature.sel(time=5.0), rtol=1e-12)


def test_probes_are_labelled_with_their_places():
    data = cool(
        SHORT, boundaries={"bottom": BATH, "side": BATH, "top": BATH}, probes=["centre @ 10 mm", hq.Probe(0.01, 0.04)]
    )
    assert list(data.probe.values) == ["centre @ 10 mm", "r10 z40"]
    np.testing.assert_allclose(data.r, [0.0, 0.01])
    np.testing.assert_allclose(data.z, [0.01, 0.04])


def test_coupled_switch():
    """Uncoupled the bar cools as austenite: no fractions, and no heat of transformation in the history."""
    slow = hq.Convection(coefficient=100.0, fluid_temperature=20.0)
    options = {
        "specimen": hq.RoundBar(diameter=0.05),
        "steel": hq.grade("1045"),
        "boundaries": {"side": slow},
        "end_time": 1500.0,
    }
    coupled, plain = cool(**options), cool(**options, coupled=False)
    assert "fraction" in coupled
    assert "fraction" not in plain
    assert json.loads(plain.attrs["settings"])["coupled"] is False
    np.testing.assert_allclose(coupled.fraction.sum("phase"), 1.0, atol=1e-9)
    np.testing.assert_allclose(coupled.fraction_history.sum("phase"), 1.0, atol=1e-6)
    later = hq.transform(plain, hq.grade("1045"))
    assert set(later.phase.values) == set(coupled.phase.values)
    delay = hq.crossing_time(coupled, 550.0) - hq.crossing_time(plain, 550.0)
    assert float(delay.min()) > 10.0  # the heat of pearlite holds the temperature up
    assert coupled.attrs["energy_residual"] < 1e-8


def test_formation_temperatures_lie_where_the_phase_formed(steel):
    bainite = float(steel.formation_temperature.sel(phase="bainite", probe="J8"))
    assert 300.0 < bainite < 620.0
    assert np.isnan(steel.formation_temperature.sel(phase="martensite", probe="J8"))


def test_validity_notes_of_a_run_are_said_once_and_kept():
    metal = hq.Material.from_tables([200.0, 900.0], [30.0, 25.0], [600.0, 650.0], 7700.0, name="warm metal")
    with pytest.warns(hq.ValidityWarning, match="warm metal: temperature = .* is outside 200 to 900 degC") as caught:
        data = cool(steel=metal, boundaries={"side": BATH})
    assert len(caught) == 1
    assert caught[0].filename == __file__
    assert "warm metal" in json.loads(data.attrs["warnings"])[0]


# ---------------------------------------------------------------------------------------------------------------------
# progress, interruption, failure


def test_nothing_is_printed_when_nobody_watches(capsys):
    cool(end_time=5.0)
    out = capsys.readouterr()
    assert (out.out, out.err) == ("", "")


def test_progress_callable_sees_the_run(monkeypatch):
    monkeypatch.setattr(march_module, "ROWS", 10)
    seen = []
    data = cool(progress=lambda fraction, time: seen.append((fraction, time)))
    assert len(seen) >= data.attrs["n_steps"] // 10
    assert seen[-1] == (1.0, 60.0)
    assert all(a < b for a, b in zip(seen[:-1], seen[1:], strict=True))
    assert all(fraction == pytest.approx(time / 60.0) for fraction, time in seen)


def test_interruption_keeps_what_was_computed(monkeypatch, tmp_path):
    monkeypatch.setattr(march_module, "ROWS", 10)

    def stop(fraction, time):
        if fraction >= 0.3:
            raise KeyboardInterrupt

    whole = cool(steel=hq.grade("4140"))
    part = cool(steel=hq.grade("4140"), progress=stop)
    assert part.attrs["status"] == "interrupted"
    assert 0.3 <= float(part.time[-1]) / 60.0 < 0.6
    assert 10 < part.sizes["time"] < whole.sizes["time"]
    assert float(part.temperature.sel(probe="centre")[-1]) > float(whole.temperature.sel(probe="centre")[-1])
    assert part.attrs["energy_residual"] < 1e-8
    save_netcdf(part, tmp_path / "part.nc")
    back = xr.load_dataset(tmp_path / "part.nc", engine="scipy")
    assert back.attrs["status"] == "interrupted"
    xr.testing.assert_equal(back, part)


def test_a_refinement_that_would_take_too_long_is_not_begun(monkeypatch):
    monkeypatch.setattr(module, "MOST_WORK", 1e4)
    dip = hq.Immersion(0.02, below=hq.Convection(3000.0, 20.0), above=hq.Convection(20.0, 20.0))
    bar = hq.RoundBar(diameter=0.02, length=0.1)
    metal = hq.Material.constant(conductivity=30.0, density=7700.0, specific_heat=600.0)
    with pytest.warns(hq.AccuracyWarning, match="after refining as far as is sensible"):
        run = hq.simulate(
            bar, metal, dict.fromkeys(bar.faces, dip), initial_temperature=850.0, end_time=10.0, accuracy=1.0
        )
    assert run.attrs["estimated_error"] > 1.0
    assert run.attrs["status"] == "finished"


def test_interruption_of_the_error_estimate_is_not_swallowed(monkeypatch):
    """The run proper was whole: it is returned, but it says that it was interrupted and has no estimate."""
    march, calls = module.march, []

    def second_is_cut(*args):
        calls.append(1)
        return march(*args) if len(calls) == 1 else "interrupted"

    monkeypatch.setattr(module, "march", second_is_cut)
    bath = hq.Convection(coefficient=1000.0, fluid_temperature=20.0)
    metal = hq.Material.constant(conductivity=30.0, density=7700.0, specific_heat=600.0)
    faces = dict.fromkeys(
        ("bottom", "side", "top"), bath
    )  # in two dimensions the estimate is a run after the run proper
    run = hq.simulate(hq.RoundBar(diameter=0.02, length=0.04), metal, faces, initial_temperature=850.0, end_time=20.0)
    assert run.attrs["status"] == "interrupted"
    assert np.isnan(run.attrs["estimated_error"])
    assert float(run.time[-1]) == 20.0


def test_interruption_with_output_times_keeps_those_reached(monkeypatch):
    monkeypatch.setattr(march_module, "ROWS", 10)

    def stop(fraction, time):
        if fraction >= 0.3:
            raise KeyboardInterrupt

    part = cool(progress=stop, output_times=[1.0, 10.0, 59.0])
    np.testing.assert_array_equal(part.time, [1.0, 10.0])


def test_the_size_of_the_record_does_not_change_the_result(monkeypatch):
    whole = cool()
    monkeypatch.setattr(march_module, "ROWS", 7)
    xr.testing.assert_equal(cool(), whole)


def test_the_size_of_the_record_does_not_change_a_transforming_run(monkeypatch):
    options = {"steel": hq.grade("4140"), "output_times": [5.0, 20.0, 60.0]}
    whole = cool(**options)
    monkeypatch.setattr(march_module, "ROWS", 7)
    np.testing.assert_allclose(cool(**options).temperature, whole.temperature, atol=1e-6)


def long_piece(accuracy, **options):
    face = hq.Convection(coefficient=500.0, fluid_temperature=40.0)
    return hq.simulate(
        hq.RoundBar(diameter=0.0762, length=0.6096), METAL, dict.fromkeys(("bottom", "side", "top"), face),
        initial_temperature=845.0, end_time=600.0, output_times=[5.0, 20.0, 100.0, 600.0], accuracy=accuracy, progress=False,
        **options,
    )  # fmt: skip


def test_ends_far_from_every_probe_cost_little_and_change_nothing_there():
    probes, fields = long_piece(0.5), long_piece(0.5, fields_at=[600.0])
    cells = [json.loads(run.attrs["settings"])["cells"] for run in (probes, fields)]
    assert cells[0][1] < 0.5 * cells[1][1]
    assert float(np.abs(probes.temperature - fields.temperature).max()) < 0.5
    heat = [run.heat_removed for run in (probes, fields)]
    np.testing.assert_allclose(*heat, rtol=0.01)


def test_the_estimate_is_no_guess_where_a_coarser_grid_cannot_be_had():
    coarse = long_piece(5.0)
    assert float(np.abs(coarse.temperature - long_piece(0.2).temperature).max()) <= 5.0


def test_stop_below_ends_a_long_run(monkeypatch):
    monkeypatch.setattr(march_module, "ROWS", 5)
    data = cool(stop_below=400.0)
    assert data.attrs["status"] == "finished"
    assert float(data.time[-1]) < 30.0
    assert float(data.temperature[-1].max()) < 400.0


def test_stop_below_ends_a_short_run():
    data = cool(stop_below=400.0)
    assert float(data.time[-1]) < 30.0


def test_a_failure_names_time_place_and_cures_and_keeps_the_part(monkeypatch):
    """No ordinary case fails, so the failing return code of the kernel is made here."""
    from heatq import _kernels

    real, calls = _kernels.advance, []

    def failing(runs):
        calls.append(1)
        real(runs)
        if len(calls) == 3:
            runs[0][0][8] = _kernels.STEP_TOO_SMALL

    monkeypatch.setattr(march_module, "ROWS", 10)
    monkeypatch.setattr(_kernels, "advance", failing)
    with pytest.raises(
        SolverError, match=r"time step became too small at t = .* near r = .* Try a larger accuracy"
    ) as caught:
        cool()
    assert caught.value.partial.sizes["time"] == 31
    assert "too small" in caught.value.partial.attrs["status"]


# ---------------------------------------------------------------------------------------------------------------------
# extreme cases


def hold_then(duration, coefficient=3000.0):
    return hq.Stages(
        (duration, hq.Convection(coefficient=50.0, fluid_temperature=850.0)), (None, hq.Convection(coefficient, 20.0))
    )


EXTREME = {
    "no heat flow": ({"boundaries": {"side": hq.Convection(coefficient=0.0, fluid_temperature=20.0)}}, 850.0, 850.0),
    "h of 1e5": ({"boundaries": {"side": hq.Convection(coefficient=1e5, fluid_temperature=20.0)}}, 19.0, 21.0),
    "h of 1e7": ({"boundaries": {"side": hq.Convection(coefficient=1e7, fluid_temperature=20.0)}}, 19.0, 21.0),
    "surface held": ({"boundaries": {"side": FixedTemperature(20.0, coefficient=1e10)}}, 19.0, 21.0),
    "wire of 0.1 mm": ({"specimen": hq.RoundBar(diameter=1e-4), "end_time": 1.0}, 19.9, 20.1),
    "bar of 500 mm": (
        {
            "specimen": hq.RoundBar(diameter=0.5, length=2.0),
            "boundaries": dict.fromkeys(("bottom", "side", "top"), hq.Convection(1000.0, 20.0)),
            "end_time": 2e4,
        },
        19.9,
        21.0,
    ),
    "microsecond transfer": ({"boundaries": {"side": hold_then(1e-6)}}, 20.0, 60.0),
    "hour-long hold": ({"boundaries": {"side": hold_then(3600.0)}, "end_time": 3700.0}, 19.9, 22.0),
    "heating": (
        {"boundaries": {"side": hq.Convection(500.0, 850.0)}, "initial_temperature": 20.0, "end_time": 2000.0},
        849.9,
        850.1,
    ),
    "heating uncoupled steel": (
        {
            "steel": hq.grade("4140"),
            "coupled": False,
            "boundaries": {"side": hq.Convection(500.0, 850.0)},
            "initial_temperature": 20.0,
            "end_time": 2000.0,
        },
        849.9,
        850.1,
    ),
    "boiling curve": (
        {
            "boundaries": {
                "side": Flux(lambda t: np.interp(t, [20.0, 100.0, 250.0, 400.0, 1400.0], [0.0, 0.0, 5e6, 2e5, 6e5]))
            }
        },
        100.0,
        130.0,
    ),
    "steel, h of 1e5": (
        {"steel": hq.grade("4140"), "boundaries": {"side": hq.Convection(1e5, 20.0)}, "end_time": 600.0},
        19.0,
        21.0,
    ),
    "steel, 500 mm": (
        {
            "steel": hq.grade("4340"),
            "specimen": hq.RoundBar(diameter=0.5),
            "boundaries": {"side": hq.Convection(100.0, 20.0)},
            "end_time": 5e4,
        },
        20.0,
        21.0,
    ),
    "a microsecond in all": ({"end_time": 1e-6}, 800.0, 850.0),
    "ten million seconds": ({"end_time": 1e7}, 19.9, 20.1),
}


@pytest.mark.parametrize("name", EXTREME)
def test_extreme_cases_finish(name):
    options, low, high = EXTREME[name]
    data = cool(**options)
    assert data.attrs["status"] == "finished"
    assert low - 1e-6 <= float(data.temperature[-1].min()) <= float(data.temperature[-1].max()) <= high + 1e-6
    assert data.attrs["energy_residual"] < 1e-8
    assert data.attrs["n_steps"] < 5000
    assert np.isfinite(data.temperature).all()


def test_a_microsecond_of_transfer_changes_nothing():
    with_transfer = cool(boundaries={"side": hold_then(1e-6)}, output_times=[1.0, 10.0, 60.0])
    without = cool(boundaries={"side": hq.Convection(3000.0, 20.0)}, output_times=[1.0, 10.0, 60.0])
    np.testing.assert_allclose(with_transfer.temperature, without.temperature, atol=0.5)


def test_a_cold_steel_does_not_heat_itself():
    """A coupled steel that starts cold is not austenite: it must be refused or keep its temperature."""
    try:
        data = cool(steel=hq.grade("4140"), boundaries={"side": hq.Insulated()}, initial_temperature=20.0)
    except InputError:
        return
    assert float(data.temperature.max()) < 21.0


def test_temperatures_below_absolute_zero_are_noticed():
    with pytest.raises((SolverError, hq.ValidityWarning, hq.AccuracyWarning)):
        cool(boundaries={"side": hq.HeatFlux(5e6)}, end_time=10.0)


def test_grid_convergence_shows_that_the_accuracy_is_kept():
    table = hq.grid_convergence(BAR, METAL, {"side": BATH}, initial_temperature=850.0, end_time=60.0)
    assert (table.difference[:-1] < table.accuracy[:-1]).all()
    assert (np.diff(table.cells_radial) > 0).all()
    assert np.isnan(table.difference[-1])
    # both parts of the error go with the working accuracy: the difference falls with it
    assert (np.diff(table.difference[:-1]) < 0).all()


@pytest.mark.parametrize("accuracies", [(1.0, 0.5), (0.5, 1.0, 2.0), (1.0, 1.0, 0.5)])
def test_grid_convergence_needs_falling_accuracies(accuracies):
    with pytest.raises(InputError, match="at least three numbers"):
        hq.grid_convergence(BAR, METAL, {"side": BATH}, initial_temperature=850.0, end_time=60.0, accuracies=accuracies)


def test_output_times_shortly_before_a_jump_are_as_good_as_the_steps():
    """The flux jumps from 19 to 1500 kW/m2 after 3 s: the curve has a corner there, and the next step is very short."""
    quench = hq.Stages((3.0, hq.Convection(30.0, 20.0)), (None, hq.Convection(3000.0, 20.0)))
    before = np.linspace(1.0, 3.0, 41)
    options = {"specimen": hq.RoundBar(diameter=0.05), "boundaries": {"side": quench}, "output_times": before}
    coarse, fine = cool(**options), cool(**options, step_tolerance=1e-3)
    assert float(np.abs(coarse.temperature - fine.temperature).max()) <= 0.1


@pytest.mark.parametrize(
    ("name", "diameter", "fluid"),
    [("1045", 0.05, 600.0), ("1045", 0.3, 700.0), ("4130", 0.3, 760.0), ("8620", 0.05, 760.0)],
)
@pytest.mark.filterwarnings("ignore::heatq.errors.ValidityWarning")
def test_hours_near_equilibrium_are_no_harder_than_a_quench(name, diameter, fluid):
    """Ferrite that grows with its limit warms the cell and so lowers the limit: neither runs ahead of the other."""
    from heatq.transformation.kinetics import TEMPERATURE_GRID, kinetic_tables

    steel = hq.grade(name)
    run = hq.simulate(
        hq.RoundBar(diameter=diameter), steel, {"side": hq.Convection(100.0 if fluid > 600.0 else 10.0, fluid)},
        initial_temperature=900.0, end_time=40_000.0, progress=False,
    )  # fmt: skip
    assert run.attrs["n_steps"] + run.attrs["n_rejected"] < 2000
    assert run.attrs["energy_residual"] < 1e-8
    if fluid == 760.0:  # a long hold between Ae1 and Ae3 ends at the lever rule
        limit = np.interp(run.temperature[-1], TEMPERATURE_GRID, kinetic_tables(steel).rates[:, 3])
        assert float(run.temperature[-1].max()) == pytest.approx(760.0, abs=2.0)
        np.testing.assert_allclose(run.fraction.sel(phase="ferrite"), limit, atol=0.01)


@pytest.mark.parametrize("rows", [256, 20])
@pytest.mark.parametrize("stop_below", [None, 300.0])
def test_the_run_beside_changes_nothing(monkeypatch, rows, stop_below):
    """A short run and the coarser one go to the kernel as a pair; with a progress function one after the other."""
    monkeypatch.setattr(march_module, "ROWS", rows)
    given = {"initial_temperature": 860.0, "end_time": 200.0, "stop_below": stop_below}
    case = hq.RoundBar(diameter=0.03), hq.grade("4140"), {"side": hq.Convection(600.0, 40.0)}
    pair = hq.simulate(*case, **given)
    single = hq.simulate(*case, **given, progress=lambda fraction, time: None)
    xr.testing.assert_equal(pair, single)
    assert pair.attrs["estimated_error"] == single.attrs["estimated_error"]
    assert pair.attrs["n_steps"] == single.attrs["n_steps"] > 40


def test_only_who_waits_for_the_compiler_is_told(monkeypatch, capsys):
    cool(end_time=1.0)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    march_module.tell_compiling()
    assert capsys.readouterr().err == ""  # it is there
    monkeypatch.setattr(march_module, "_kernels", types.SimpleNamespace(advance=types.SimpleNamespace(signatures=[])))
    march_module.tell_compiling()
    assert "compiling the solver (once per installation" in capsys.readouterr().err


def test_nothing_is_said_after_a_wrong_input_or_a_finished_run(monkeypatch):
    monkeypatch.setattr(march_module, "_is_compiled", False)
    with pytest.raises(InputError):
        cool(end_time=-1.0)
    cool(end_time=1.0)
    waiting = [thread for thread in threading.enumerate() if isinstance(thread, threading.Timer)]
    assert all(thread.finished.is_set() for thread in waiting)


def test_solve_is_simulate_without_the_dataset():
    given = {
        "initial_temperature": 850.0,
        "end_time": 20.0,
        "output_times": [5.0, 10.0],
        "fields_at": [10.0],
        "accuracy": 5.0,
    }
    variables, coords, attrs = module.solve(BAR, METAL, {"side": BATH}, **given)
    run = hq.simulate(BAR, METAL, {"side": BATH}, **given)
    assert list(variables) == list(run.data_vars)
    assert set(coords) == set(run.coords)
    for name, (dims, values, about) in (variables | coords).items():
        assert isinstance(values, np.ndarray)
        assert run[name].dims == ((dims,) if isinstance(dims, str) else dims)
        assert run[name].attrs == about
        np.testing.assert_array_equal(run[name].values, values)
    clocks = {"created", "compile_seconds", "solve_seconds", "total_seconds"}
    assert {name: attrs[name] for name in attrs.keys() - clocks} == {
        name: run.attrs[name] for name in run.attrs.keys() - clocks
    }
