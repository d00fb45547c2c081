"""Many pieces from one call."""

import threading
import time

import numpy as np
import pytest

import heatq as hq
from heatq.conduction.outcome import NAMES
from heatq.errors import InputError, SolverError, ValidityWarning, collect_validity

METAL = hq.Material.constant(conductivity=30.0, density=7700.0, specific_heat=600.0)


def case(diameter, **changes):
    given = {
        "specimen": hq.RoundBar(diameter=diameter),
        "steel": METAL,
        "boundaries": {"side": hq.Convection(coefficient=1000.0, fluid_temperature=20.0)},
        "initial_temperature": 850.0,
        "end_time": 20.0,
    }
    return given | changes


def test_the_same_as_one_by_one_and_in_order():
    diameters = np.linspace(0.01, 0.06, 9)
    many = list(hq.simulate_many((case(d) for d in diameters), threads=2))
    for diameter, run in zip(diameters, many, strict=True):
        alone = hq.simulate(**case(diameter))
        assert np.array_equal(run.temperature, alone.temperature)
        assert run.attrs["settings"] == alone.attrs["settings"]


def test_steel_with_transformation_is_the_same_in_threads():
    steel = hq.grade("4140")
    cases = [case(d, steel=steel, initial_temperature=860.0, end_time=200.0) for d in (0.02, 0.03, 0.02, 0.03, 0.02)]
    runs = list(hq.simulate_many(cases, lambda run: run.fraction.values, threads=3))
    assert np.array_equal(runs[0], runs[2])
    assert np.array_equal(runs[1], runs[3])
    assert not np.array_equal(runs[0], runs[1])


def test_cases_are_read_only_as_far_ahead_as_needed():
    read = []

    def cases():
        for n in range(100):
            read.append(n)
            yield case(0.02)

    results = hq.simulate_many(cases(), threads=2)
    next(results)
    next(results)
    assert len(read) <= 1 + 2 * 8 * 2 + 8
    results.close()
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("heatq")]


def test_cases_that_take_long_to_make_do_not_hold_up_the_others():
    made = []

    def cases():
        for n in range(40):
            time.sleep(0.01)
            made.append(n)
            yield case(0.02, accuracy=5.0)

    results = hq.simulate_many(cases(), keep=["time"], threads=1)
    for _ in range(3):
        next(results)
    assert len(made) <= 20
    results.close()


def test_keep_gives_arrays_by_name():
    steel = hq.grade("4140")
    names = ["fraction", "temperature", "time", "probe", "heat_removed"]
    cases = [case(d, steel=steel, initial_temperature=860.0, end_time=60.0, accuracy=2.0) for d in (0.02, 0.03)]
    for kept, run in zip(hq.simulate_many(cases, keep=names), hq.simulate_many(cases), strict=True):
        assert list(kept) == names
        for name in names:
            assert type(kept[name]) is np.ndarray
            np.testing.assert_array_equal(kept[name], run[name].values)
        assert kept["temperature"].flags.owndata  # not a view that holds all the rest


def test_keep_knows_every_name_of_a_result():
    air = hq.StillAir()
    bar = hq.EndQuenchBar()
    whole = {"specimen": bar, "boundaries": dict.fromkeys(bar.faces, air), "steel": hq.grade("4140"), "cells": (3, 6)}
    run = hq.simulate(**case(0.02, **whole, fields_at=[1.0], end_time=2.0))
    assert set(NAMES) == {str(name) for name in run.variables}


def test_keep_of_what_a_case_does_not_have_names_the_case():
    with pytest.raises(
        InputError, match=r"case 0: unknown variable or coordinate of this result 'fraction'\. Did you mean"
    ):
        list(hq.simulate_many([case(0.02)], keep=["fraction"]))
    results = list(hq.simulate_many([case(0.02)] * 2, keep=["distance"], on_error="return"))
    assert [type(result) for result in results] == [InputError] * 2


def test_reduce_keeps_what_is_asked():
    kept = list(hq.simulate_many([case(0.02), case(0.04)], lambda run: float(run.temperature[-1, 0]), threads=2))
    assert kept[0] < kept[1]


def test_a_bad_case_names_its_number_and_ends_the_batch():
    with pytest.raises(InputError, match=r"case 1: end_time = -1"):
        list(hq.simulate_many([case(0.02), case(0.02, end_time=-1.0), case(0.02)]))


@pytest.mark.parametrize("bad", [0, 2])
def test_a_bad_case_can_come_back_in_its_place(bad):
    cases = [case(0.02) for _ in range(4)]
    cases[bad] = case(0.02, boundaries={})
    results = list(hq.simulate_many(cases, on_error="return", threads=2))
    assert isinstance(results[bad], InputError)
    assert sum(isinstance(run, InputError | SolverError) for run in results) == 1


def test_notes_of_the_threads_reach_the_caller():
    hot = hq.grade("4140")
    cases = [case(0.02, steel=hot, initial_temperature=1200.0, end_time=5.0) for _ in range(3)]
    with pytest.warns(ValidityWarning, match="initial temperature") as warned, collect_validity() as notes:
        list(hq.simulate_many(cases, threads=2))
    assert any("initial temperature" in note for note in notes.values())
    assert len([w for w in warned if "initial temperature" in str(w.message)]) == 1  # once for the batch


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"threads": 0}, "threads = 0 must be a whole number of at least 1"),
        ({"threads": 1.5}, "threads = 1.5 must be"),
        ({"on_error": "skip"}, "on_error = 'skip' must be 'raise' or 'return'"),
        ({"reduce": 3}, "reduce = 3 must be a function"),
        ({"keep": "time"}, "keep = 'time' must be a list of names"),
        ({"keep": 3}, "keep = 3 must be a list of names"),
        (
            {"keep": ["time", "temperatur"]},
            "unknown variable or coordinate 'temperatur'. Did you mean 'temperature' or",
        ),
        ({"keep": ["time"], "reduce": len}, "keep does not go with reduce"),
    ],
)
def test_bad_arguments(given, message):
    with pytest.raises(InputError, match=message):
        hq.simulate_many([], **given)


def test_a_case_must_be_a_mapping():
    with pytest.raises(InputError, match=r"case 0 is 3; it must be a dict"):
        list(hq.simulate_many([3]))
    with pytest.raises(InputError, match=r"cases = 3 must be a list or a generator"):
        hq.simulate_many(3)
    assert list(hq.simulate_many([])) == []


@pytest.mark.parametrize(
    "call",
    [
        lambda: hq.simulate(3, METAL, {}, initial_temperature=800.0, end_time=1.0),
        lambda: hq.fit_boundary(3, 3, METAL, fluid_temperature=20.0),
        lambda: hq.place_thermocouples(3, METAL, {}, purpose="slowest point"),
        lambda: hq.CalibrationRun(3, 3, METAL, {}),
    ],
)
def test_what_is_not_a_piece_is_refused_alike(call):
    with pytest.raises(InputError, match=r"specimen = 3 is not a piece: write EndQuenchBar"):
        call()


def test_a_calibration_run_needs_its_faces_and_joining_needs_a_list():
    with pytest.raises(InputError, match="dict from face to boundary"):
        hq.CalibrationRun(3, hq.RoundBar(0.02), METAL, hq.Insulated())
    with pytest.raises(InputError, match="at least two logs, in a list"):
        hq.join_logs(3)


def test_a_batch_that_is_left_ends_after_the_cases_in_work():
    begun = []

    class Slow:
        def heat_flux(self, surface):
            begun.append(1)
            time.sleep(0.05)
            return 1000.0 * (surface - 20.0)

    quick = [case(0.02, accuracy=5.0) for _ in range(9)]
    slow = [case(0.02, accuracy=5.0, estimate_error=False, boundaries={"side": Slow()}) for _ in range(16)]
    results = hq.simulate_many([*quick, *slow], keep=["time"], threads=1)
    for _ in range(8):
        next(results)
    results.close()
    assert len(begun) <= 2
