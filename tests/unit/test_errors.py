from __future__ import annotations

import warnings

import numpy as np
import pytest

from heatq.errors import (
    LIMITS,
    AccuracyWarning,
    DataError,
    InputError,
    SolverError,
    ValidityWarning,
    check_name,
    check_number,
    collect_validity,
    hold_validity,
    note_validity,
    repeat_notes,
    watch_validity,
)


def test_each_class_is_also_a_standard_one():
    assert issubclass(InputError, ValueError)
    assert issubclass(DataError, ValueError)
    assert issubclass(SolverError, RuntimeError)
    assert issubclass(ValidityWarning, UserWarning)
    assert issubclass(AccuracyWarning, UserWarning)


def test_solver_error_carries_the_partial_result():
    assert SolverError("no convergence").partial is None
    assert SolverError("no convergence", partial=3).partial == 3


@pytest.mark.parametrize("value", [0.025, 1, np.float64(0.5), np.array(0.5)])
def test_check_number_returns_a_float(value):
    number = check_number("diameter", value, "diameter")
    assert type(number) is float
    assert number == value


SLIPS = [
    ("diameter", 25, "diameter", r"diameter = 25 m is outside 1e-05 to 3 m\. .*for 25 mm write 0\.025"),
    ("length", 100, "length", r"length = 100 m .*0\.025"),
    ("initial_temperature", 1550, "initial_temperature", r"1550 degC is outside -50 to 1350 degC.*Fahrenheit.*degF\("),
    ("temperature", -300, "temperature", r"-300 degC is outside -200 to 1450 degC"),
    ("pressure", 10, "pressure", r"pressure = 10 Pa is outside 1000 to 1e\+07 Pa.*10\*bar"),
    ("pressure", -1e5, "pressure", r"pressure = -100000 Pa is outside"),
    ("velocity", 12000, "velocity", r"velocity = 12000 m/s .*200\*mph"),
    ("emissivity", 80, "emissivity", r"emissivity = 80 is outside 0 to 1\. .*fraction"),
    ("grain_size", 20, "grain_size", r"grain_size = 20 ASTM number .*not micrometres"),
    ("end_time", 0, "end_time", r"end_time = 0 s .*10\*minute"),
    ("accuracy", 0, "accuracy", r"accuracy = 0 K"),
]


@pytest.mark.parametrize(("argument", "value", "kind", "message"), SLIPS)
def test_unit_slips_are_caught_with_the_cure(argument, value, kind, message):
    with pytest.raises(InputError, match=message):
        check_number(argument, value, kind)


@pytest.mark.parametrize("slip", [("length", 0.5, "0.5 inch"), ("temperature", 1123.0, "1123 K")])
def test_slips_that_cannot_be_caught(slip):
    """Documented in errors.LIMITS: these are plausible numbers in the right unit."""
    kind, value, _ = slip
    assert check_number(kind, value, kind) == value


@pytest.mark.parametrize("value", ["0.5", b"1", True, None, [1.0, 2.0], 1j, object()])
def test_not_a_number(value):
    with pytest.raises(InputError, match=r"diameter = .* is not a number\. Lengths are in metres"):
        check_number("diameter", value, "diameter")


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_not_finite(value):
    with pytest.raises(InputError, match=r"x = -?(nan|inf) is not a finite number"):
        check_number("x", value)


def test_limits_belong_to_the_range_unless_open():
    assert check_number("x", 0.0, low=0.0, high=1.0) == 0.0
    assert check_number("x", 1.0, low=0.0, high=1.0, low_open=True) == 1.0
    with pytest.raises(InputError, match=r"x = 0 K is outside above 0 and up to 1 K"):
        check_number("x", 0.0, low=0.0, high=1.0, unit="K", low_open=True)
    with pytest.raises(InputError, match=r"x = -1 must be at least 0\."):
        check_number("x", -1, low=0.0)


def test_keywords_override_the_kind():
    assert check_number("probe", -0.5, "position", low=-1.0) == -0.5
    with pytest.raises(InputError, match="own hint"):
        check_number("probe", 30, "position", hint="own hint")


def test_every_limit_has_order_unit_and_cure():
    for kind, limit in LIMITS.items():
        assert limit.low < limit.high, kind
        assert limit.unit, kind
        assert limit.hint.endswith("."), kind


def test_check_name_gives_the_nearest_three():
    known = ["nitrogen", "argon", "helium", "hydrogen"]
    assert check_name("gas", "argon", known) == "argon"
    with pytest.raises(
        InputError, match=r"unknown gas 'nitrogn'\. Did you mean 'nitrogen' or '\w+' or '\w+'\? Known: nitrogen, argon"
    ):
        check_name("gas", "nitrogn", known)
    with pytest.raises(DataError, match="unknown oil 3"):
        check_name("name", 3, known, what="oil", error=DataError)
    with pytest.raises(InputError, match=r"unknown gas 'x'\. Known: \."):
        check_name("gas", "x", [])


def test_validity_note_warns_outside_a_run():
    with pytest.warns(ValidityWarning, match=r"Nu: Re = 5000 is outside 10 to 1000 \(A 1990\); computed all the same"):
        note_validity("Nu", "Re", 5000.0, 10.0, 1000.0, "1", "A 1990")
    with pytest.warns(ValidityWarning, match=r"T = 5 to 700 degC is outside 20 to 600 degC"):
        note_validity("k", "T", np.array([5.0, np.nan, 700.0]), 20.0, 600.0, "degC", "B")


@pytest.mark.parametrize("value", [10.0, 1000.0, [10.0, np.nan, 999.0], np.nan, [], 1000.0 * (1 + 1e-10)])
def test_inside_the_range_is_silent(value):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        note_validity("Nu", "Re", value, 10.0, 1000.0, "1", "A 1990")


def test_notes_are_collected_once_per_model_and_quantity():
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        with collect_validity() as notes:
            for value in (2000.0, 3000.0):
                note_validity("Nu", "Re", value, 10.0, 1000.0, "1", "A 1990")
            with collect_validity() as inner:
                note_validity("k", "T", 700.0, 20.0, 600.0, "degC", "B")
            assert inner is notes
            assert not said  # nothing before the end of the run
    assert [str(warning.message) for warning in said] == [" ".join(notes.values())]
    assert said[0].category is ValidityWarning
    assert list(notes) == ["Nu/Re", "k/T"]
    assert "3000" in notes["Nu/Re"]
    with pytest.warns(ValidityWarning):  # the collection has ended
        note_validity("Nu", "Re", 2000.0, 10.0, 1000.0, "1", "A 1990")


def test_a_run_without_notes_is_silent():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with collect_validity() as notes:
            note_validity("Nu", "Re", 100.0, 10.0, 1000.0, "1", "A 1990")
    assert notes == {}


def test_notes_of_a_cached_result_are_said_at_each_use():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with hold_validity() as held:
            note_validity("Nu", "Re", 2000.0, 10.0, 1000.0, "1", "A 1990")
    with pytest.warns(ValidityWarning, match="Re = 2000"):
        repeat_notes(held)
    with pytest.warns(ValidityWarning, match="Re = 2000"), collect_validity() as notes:
        repeat_notes(held)
    assert notes == held


def test_collection_ends_after_an_error():
    with pytest.raises(KeyError), collect_validity():
        raise KeyError
    with pytest.warns(ValidityWarning):
        note_validity("Nu", "Re", 2000.0, 10.0, 1000.0, "1", "A 1990")


def test_a_table_is_told_where_it_lies_outside():
    with watch_validity() as outside:
        note_validity("model", "Re", np.array([1.0, np.nan, 5.0, 20.0]), 2.0, 10.0, "1", "source")
        note_validity("model", "Pr", 3.0, 2.0, 10.0, "1", "source")
        note_validity("model", "p", 30.0, 2.0, 10.0, "1", "source")
    assert [np.asarray(where).tolist() for where in outside] == [[True, False, False, True], True]


def test_notes_held_or_collected_while_a_table_is_made_count_for_all_of_it():
    with warnings.catch_warnings(), watch_validity() as outside:
        warnings.simplefilter("error")
        with hold_validity() as held:
            note_validity("model", "p", 30.0, 2.0, 10.0, "1", "source")
        assert outside == []
        repeat_notes(held)
        with collect_validity():
            note_validity("model", "p", 3.0, 2.0, 10.0, "1", "source")
        with collect_validity():
            note_validity("model", "p", 30.0, 2.0, 10.0, "1", "source")
    assert outside == [True, True]


@pytest.mark.parametrize(
    "value", [3.0, [3.0, 9.0], [np.nan, 3.0], [3.0, np.nan], np.array([3.0, np.nan]), [], np.array([])]
)
def test_values_of_every_kind_inside_the_range_are_silent(value):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        note_validity("model", "Re", value, 2.0, 10.0, "1", "source")


@pytest.mark.parametrize("value", [11.0, 11, [3.0, 11.0], [np.nan, 11.0], np.array([np.nan, 11.0]), [11.0, np.nan]])
def test_values_of_every_kind_outside_the_range_are_noted(value):
    with pytest.warns(ValidityWarning, match="11 is outside 2 to 10"):
        note_validity("model", "Re", value, 2.0, 10.0, "1", "source")
