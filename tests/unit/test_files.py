"""Delimited text in, with file, line and column in every message; NetCDF out."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from heatq.errors import DataError
from heatq.files import parse_number, read_rows, read_text, save_netcdf


def write(tmp_path, content, name="data.csv"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_every_delimiter_gives_the_same_table(tmp_path, delimiter):
    lines = ["time", "T"], ["0", "850.5"], ["1", "800"]
    table = read_rows(write(tmp_path, "\n".join(delimiter.join(line) for line in lines)))
    assert table.delimiter == delimiter
    assert table.header == ["time", "T"]
    assert [table.column(1, row) for row in table.rows] == [850.5, 800.0]


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_decimal_comma(tmp_path, delimiter):
    table = read_rows(write(tmp_path, f"mm{delimiter}HRC\n1,5{delimiter}56,9\n"))
    assert [table.column(n, table.rows[0]) for n in (0, 1)] == [1.5, 56.9]


def test_decimal_comma_in_a_comma_separated_file_is_refused_not_misread(tmp_path):
    with pytest.raises(DataError, match=r"data.csv, line 2 has 4 cells, the header has 2.*semicolons"):
        read_rows(write(tmp_path, "mm,HRC\n1,5,56,9\n"))


def test_empty_cells_at_the_end_of_a_row_do_no_harm(tmp_path):
    table = read_rows(write(tmp_path, "a,b\n1,2,,\n"))
    assert table.column(1, table.rows[0]) == 2.0


def test_a_semicolon_in_the_header_wins_over_a_comma_inside_a_name(tmp_path):
    assert read_rows(write(tmp_path, "distance, mm;HRC\n1,5;57\n")).header == ["distance, mm", "HRC"]


@pytest.mark.parametrize(
    "raw",
    ["mm,HRC\n1.5,57\n".encode("utf-8-sig"), "mm,HRC\n1.5,57\n".encode("utf-16"), b"mm,HRC\r\n1.5,57\r\n"],
    ids=["byte-order mark", "utf-16", "windows line ends"],
)
def test_encodings(tmp_path, raw):
    table = read_rows(write(tmp_path, raw))
    assert table.header == ["mm", "HRC"]
    assert table.column(0, table.rows[0]) == 1.5


def test_blank_lines_and_comments_are_skipped_but_counted(tmp_path):
    table = read_rows(write(tmp_path, "# from the lab\n\na,b\n\n# second half\n1,2\n"))
    assert (table.header_line, table.rows[0].line) == (3, 6)


def test_quoted_cells(tmp_path):
    assert read_rows(write(tmp_path, '"a, first",b\n"1","2"\n')).header == ["a, first", "b"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty"),
        (b"  \n\n", "is empty"),
        (b"# only a comment\n", "only comments and blank lines"),
        (b"a,b\n", r"has a header \(line 1\) but no data row"),
        (b"PK\x03\x04\x00\x00", "not a text file"),
        (b"a,b\n1,2\n\xe9,4\n", "line 3: not UTF-8 text"),
        ("a,b\n1,2\n".encode("utf-16") + b"\x00", "not UTF-16 text"),
    ],
)
def test_files_that_cannot_be_used(tmp_path, content, message):
    with pytest.raises(DataError, match=message) as caught:
        read_rows(write(tmp_path, content))
    assert "data.csv" in str(caught.value)


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(DataError, match="nothing.csv: there is no such file"):
        read_text(tmp_path / "nothing.csv")
    with pytest.raises(DataError, match="is a folder, not a file"):
        read_text(tmp_path)


@pytest.mark.parametrize("text", ["soft", "57 HRC", "1,5,0", "1.000,5", "nan", "inf", "1_000"])
def test_what_is_not_a_number(text):
    with pytest.raises(DataError, match="here: .* is not a number"):
        parse_number(text, "here", ";")


def test_text_in_a_number_column_names_file_line_and_column(tmp_path):
    table = read_rows(write(tmp_path, "J,HRC\n1,57\n\n2,soft\n3\n"))
    with pytest.raises(DataError, match=r"data.csv, line 4, column HRC: 'soft' is not a number"):
        table.column(1, table.rows[1])
    with pytest.raises(DataError, match=r"data.csv, line 5, column HRC: the cell is empty"):
        table.column(1, table.rows[2])


def test_netcdf_round_trip_keeps_values_units_and_attributes(tmp_path):
    data = xr.Dataset(
        {"temperature": (("time", "probe"), np.arange(6.0).reshape(3, 2), {"units": "degC"})},
        coords={"time": [0.0, 1.0, 2.0], "probe": ["J1", "J2"]},
        attrs={"coupled": True, "nothing": None, "table": {"a": 1}, "steps": 3, "text": "°C"},
    )
    path = tmp_path / "a.nc"
    save_netcdf(data, path)
    again = xr.load_dataset(path, engine="scipy")
    np.testing.assert_array_equal(again["temperature"].values, data["temperature"].values)
    assert list(again["probe"].values) == ["J1", "J2"]
    assert again["temperature"].units == "degC"
    assert again.attrs["coupled"] == "true"
    assert again.attrs["table"] == '{"a": 1}'
    assert again.attrs["text"] == "°C"
    assert data.attrs["coupled"] is True  # the caller's Dataset is untouched
    assert [p.name for p in tmp_path.iterdir()] == ["a.nc"]  # no half-written file stays
