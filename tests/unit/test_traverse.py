"""Measured hardness traverses: reading and comparing."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from scipy.constants import inch, milli

from heatq.errors import DataError, InputError
from heatq.hardness.conversion import hrc_from_hv
from heatq.hardness.traverse import compare_traverse, read_traverse


def write(tmp_path, text, name="traverse.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("header", "first", "metres"),
    [
        ("J", "4", 4 * inch / 16),
        ("sixteenths", "4", 4 * inch / 16),
        ("Distance (1/16 in)", "4", 4 * inch / 16),
        ("mm", "9", 9 * milli),
        ("distance_mm", "9", 9 * milli),
        ("Distance [mm]", "9", 9 * milli),
        ("inch", "0.25", 0.25 * inch),
        ("distance in", "0.25", 0.25 * inch),
    ],
)
def test_the_header_states_the_unit(tmp_path, header, first, metres):
    read = read_traverse(write(tmp_path, f"{header},Hardness (HRC)\n{first},55.5\n"))
    assert float(read["distance"][0]) == pytest.approx(metres, rel=1e-12)
    assert float(read["measured_hrc"][0]) == 55.5
    assert (read["distance"].units, read["measured_hrc"].units) == ("m", "HRC")
    assert read.attrs["source"].endswith("traverse.csv")


def test_rows_come_out_by_distance(tmp_path):
    read = read_traverse(write(tmp_path, "J;HRC;remark\n8;50,5;\n1;57;end\n4;55,0;\n"))
    np.testing.assert_array_equal(read["measured_hrc"], [57.0, 55.0, 50.5])


def test_vickers_is_converted(tmp_path):
    read = read_traverse(write(tmp_path, "mm,HV\n1.5,600\n40,200\n"))
    assert float(read["measured_hrc"][0]) == pytest.approx(float(hrc_from_hv(600.0)))
    assert np.isnan(read["measured_hrc"][1])  # the HRC scale ends at 238 HV


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("distance,HRC\n1,57\n", r"line 1: no distance column among distance, HRC.*J \(sixteenths"),
        ("J,hardness\n1,57\n", "line 1: no hardness column among J, hardness"),
        ("J,HRC\n1,57\n2,soft\n", "line 3, column HRC: 'soft' is not a number"),
        ("J,HRC\n1,57\n2,\n", "line 3, column HRC: the cell is empty"),
        ("J,HRC\n1,57\n-2,50\n", "line 3, column J: -3.175 mm is outside 0 to 500 mm"),
        (
            "inch,HRC\n25.4,57\n",
            "line 2, column inch: 645.16 mm is outside 0 to 500 mm; does the header state the right",
        ),
        ("J,HRC\n1,570\n", "line 2, column HRC: 570 HRC is outside 0 to 70 HRC"),
        ("J,HV\n1,57\n2,30\n", "line 3, column HV: 30 HV is outside 50 to 1000 HV"),
    ],
)
def test_bad_files_name_line_and_column(tmp_path, text, message):
    with pytest.raises(DataError, match=message) as caught:
        read_traverse(write(tmp_path, text))
    assert "traverse.csv" in str(caught.value)


def bar(distance_mm, hrc):
    return xr.Dataset(
        {"hardness_hrc": ("probe", np.asarray(hrc, dtype=float))},
        coords={"distance": ("probe", np.asarray(distance_mm, dtype=float) * milli)},
    )


def test_deviation_is_predicted_less_measured(tmp_path):
    measured = read_traverse(write(tmp_path, "mm,HRC\n5,50\n15,44\n25,30\n60,22\n"))
    compared = compare_traverse(bar([0, 10, 20, 30], [56.0, 52.0, 40.0, np.nan]), measured)
    np.testing.assert_allclose(compared["predicted_hrc"], [54.0, 46.0, np.nan, np.nan])
    np.testing.assert_allclose(compared["deviation"], [4.0, 2.0, np.nan, np.nan])
    assert compared.attrs["rms"] == pytest.approx(np.sqrt(10.0))
    assert "rms" not in measured.attrs


def test_order_of_the_probes_does_not_matter(tmp_path):
    measured = read_traverse(write(tmp_path, "mm,HRC\n5,50\n15,44\n"))
    forward = compare_traverse(bar([0, 10, 20], [56.0, 52.0, 40.0]), measured)
    backward = compare_traverse(bar([20, 0, 10], [40.0, 56.0, 52.0]), measured)
    np.testing.assert_array_equal(forward["predicted_hrc"], backward["predicted_hrc"])


def test_nothing_to_compare_gives_nan_not_a_number(tmp_path):
    measured = read_traverse(write(tmp_path, "mm,HRC\n90,50\n"))
    assert np.isnan(compare_traverse(bar([0, 10], [56.0, 52.0]), measured).attrs["rms"])


def test_a_round_bar_has_no_traverse(tmp_path):
    measured = read_traverse(write(tmp_path, "mm,HRC\n5,50\n"))
    with pytest.raises(InputError, match="result has no distance from a quenched end"):
        compare_traverse(xr.Dataset({"hardness_hrc": ("probe", [50.0])}), measured)
