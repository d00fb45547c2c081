"""Recorder logs in: every way to write one that means one thing, and a clear refusal of what may mean two."""

from __future__ import annotations

import json

import numpy as np
import pytest

import heatq as hq
from heatq.errors import DataError, InputError
from heatq.files import find_delimiter, number_in, split_rows
from heatq.history import check_history, cooling_rate
from heatq.logs import fill_gaps, log_dataset, log_report, log_report_text, read_log
from heatq.logs.headers import split_header

TIMES = [0.0, 1.0, 2.0, 3.0]
CORE = [850.5, 849.0, 800.25, 700.0]
SKIN = [850.0, 760.0, 650.0, 500.0]


@pytest.fixture
def read(tmp_path):
    def read_(content, **options):
        path = tmp_path / "run.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read_log(path, **options)

    return read_


def reading(log):
    return json.loads(log.attrs["reading"])


def same(log, names=("core", "skin")):
    assert log["probe"].values.tolist() == list(names)
    np.testing.assert_allclose(log["time"].values, TIMES, atol=1e-9)
    np.testing.assert_allclose(log["temperature"].values, np.column_stack([CORE, SKIN]), atol=1e-9)


# ------------------------------------------------------------------------------------------------ ways to write it


def table(mark, point, times=("0", "1", "2", "3"), head="Time (s)"):
    rows = [mark.join([head, "core [°C]", "skin [°C]"])]
    for t, a, b in zip(times, CORE, SKIN, strict=True):
        rows.append(mark.join([t, str(a).replace(".", point), str(b).replace(".", point)]))
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize(
    ("mark", "point"), [(",", "."), (";", "."), (";", ","), ("\t", ","), ("|", "."), ("   ", "."), ("  ", ",")]
)
def test_separators_and_decimals(read, mark, point):
    log = read(table(mark, point))
    same(log)
    assert reading(log)["decimal"] == point


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(read, encoding):
    log = read(table(";", ",").encode(encoding))
    same(log)
    assert reading(log)["encoding"] == encoding.removesuffix("-sig")
    same(read(table(";", ",").encode("utf-16-le"), encoding="utf-16-le"))


@pytest.mark.parametrize(
    ("head", "times", "start"),
    [
        ("Time (s)", ["10", "11", "12", "13"], ""),
        ("time_s", ["0.0", "1.0", "2.0", "3.0"], ""),
        ("t/s", ["0", "1", "2", "3"], ""),
        ("Zeit in s", ["0", "1", "2", "3"], ""),
        ("Elapsed [ms]", ["0", "1000", "2000", "3000"], ""),
        ("Time", ["23:59:58", "23:59:59", "00:00:00", "00:00:01"], ""),
        ("Time", ["1:59:58 PM", "1:59:59 PM", "2:00:00 PM", "2:00:01 PM"], ""),
        ("Time", ["11:59:58 am", "11:59:59 am", "12:00:00 pm", "12:00:01 pm"], ""),
        ("Elapsed time", ["99:59:58", "99:59:59", "100:00:00", "100:00:01"], ""),
        ("Clock", ["12:03:04.0", "12:03:05.0", "12:03:06.0", "12:03:07.0"], ""),
        ("Time", ["59:58.0", "59:59.0", "60:00.0", "60:01.0"], ""),
        ("Timestamp", [f"2024-02-{d}" for d in ("28T23:59:59", "29T00:00:00", "29T00:00:01", "29T00:00:02")], "2024-02-28 23:59:59"),
        ("Timestamp", [f"2024-03-31T0{h}+0{z}:00" for h, z in (("1:59:59", 1), ("3:00:00", 2), ("3:00:01", 2), ("3:00:02", 2))], "2024-03-31 00:59:59"),
        ("Date/Time", [f"31.12.2023 12:00:0{n}" for n in range(4)], "2023-12-31 12:00:00"),
        ("Date/Time", [f"31/12/2023 12:00:0{n}" for n in range(4)], "2023-12-31 12:00:00"),
        ("Date/Time", [f"12/31/2023 12:00:0{n} PM" for n in range(4)], "2023-12-31 12:00:00"),
        ("Date/Time", [f"01-Mar-2024 12:00:0{n}" for n in range(4)], "2024-03-01 12:00:00"),
        ("Date;Time", [f"29.02.2024;12:00:0{n}" for n in range(4)], "2024-02-29 12:00:00"),
        ("Time;Date", [f"12:00:0{n};2024-02-29" for n in range(4)], "2024-02-29 12:00:00"),
    ],
)  # fmt: skip
def test_times(read, head, times, start):
    log = read(table(";", ".", times, head))
    same(log)
    assert log.attrs["start"] == start


def test_midnight_is_written_down(read):
    log = read(table(";", ".", ["23:59:58", "23:59:59", "00:00:00", "00:00:01"], "Time"))
    assert reading(log)["time"] == [{"column": "Time", "kind": "clock", "midnights": 1}]
    assert "midnight 1 time" in log_report_text(log_report(log))


def test_a_time_format(read):
    times = ["03/04/24 12.00.00", "03/04/24 12.00.01", "03/04/24 12.00.02", "03/04/24 12.00.03"]
    log = read(table(";", ".", times, "Time"), time_format="%d/%m/%y %H.%M.%S")
    same(log)
    assert log.attrs["start"] == "2024-04-03 12:00:00"
    log = read(table(";", ".", ["23:58", "23:59", "00:00", "00:01"], "Time"), time_format="%H:%M")
    np.testing.assert_allclose(log["time"].values, [0.0, 60.0, 120.0, 180.0])
    assert reading(log)["time"][0]["midnights"] == 1


def test_fahrenheit_and_kelvin_by_header_and_by_argument(read):
    text = "t (s),a [°F],b (K),c\n0,1562,1123.15,1562\n1,1400,1033.15,1400\n"
    log = read(text, units={"c": "degF"})
    np.testing.assert_allclose(log["temperature"].values, [[850.0] * 3, [760.0] * 3])
    assert reading(log)["units"] == {"a": "degF", "b": "K", "c": "degF"}
    log = read("t (s),a [°C]\n0,1400\n1,1300\n", units={"a [°C]": "degF"})
    np.testing.assert_allclose(log["temperature"].values[:, 0], [760.0, (1300.0 - 32.0) / 1.8])


@pytest.mark.parametrize(
    ("text", "name", "unit"),
    [
        ("TC1 [°F]", "TC1", "degF"), ("TC 1 (deg C)", "TC 1", "degC"), ("core, °C", "core", "degC"), ("T1 / K", "T1", "K"),
        ("T_core_C", "T_core", "degC"), ("furnace in °C", "furnace in", "degC"), ("skin degF", "skin", "degF"),
        ("type K", "type K", ""), ("type J", "type J", ""), ("flow (l/min)", "flow", ""), ("TC2 (type K)", "TC2 (type K)", ""), ("Q [m³/h]", "Q", ""), ("Time (hh:mm:ss)", "Time", ""), ("TC1 ºC", "TC1", "degC"),
    ],
)  # fmt: skip
def test_units_in_headers(text, name, unit):
    column = split_header(0, text)
    assert (column.name, column.temperature_unit) == (name, unit)


def test_units_on_a_line_of_their_own(read):
    log = read("Time;core;skin\ns;°C;°F\n0;850,5;1562\n1;849,0;1400\n")
    np.testing.assert_allclose(log["temperature"].values, [[850.5, 850.0], [849.0, 760.0]])
    assert reading(log)["units_line"] == 2


def test_lines_above_the_header_are_kept_as_text(read):
    head = 'Recorder;invented\nSerial;12345\nStart time;12:03:04\nSampling;1,5\n"Operator";"A; B"\n\n# a comment\n'
    log = read(head + table(";", ","))
    same(log)
    assert reading(log)["before_header"] == [
        "Recorder invented",
        "Serial 12345",
        "Start time 12:03:04",
        "Sampling 1,5",
        "Operator A; B",
    ]
    assert (reading(log)["header_line"], reading(log)["comments"]) == (8, 1)


def test_the_header_line_can_be_given(read):
    same(read("core [°C];x\n" + table(";", ","), header=2))
    log = read("0;850\n1;840\n", header=0, units="degC", time=1, time_unit="s")
    assert log["probe"].values.tolist() == ["column 2"]
    np.testing.assert_allclose(log["temperature"].values[:, 0], [850.0, 840.0])


def test_columns_that_are_no_temperatures_are_left_aside_and_listed(read):
    text = "No.;Time (s);core [°C];p [bar];alarm;remark\n1;0;850;9,8;0;\n2;1;840;9,7;1;door\n"
    log = read(text)
    assert log["probe"].values.tolist() == ["core"]
    assert reading(log)["skipped_columns"] == {
        "No.": "by its name no temperature",
        "p [bar]": "unit bar",
        "alarm": "by its name no temperature",
        "remark": "by its name no temperature",
    }
    assert "left aside: p [bar] (unit bar)" in log_report_text(log_report(log))


def test_what_stands_in_brackets_is_a_unit_or_part_of_the_name(read):
    log = read(";Time (hh:mm:ss);TC1 [°C];p (bar abs)\n1;12:00:00;850;9\n2;12:00:01;849;9\n")
    assert reading(log)["skipped_columns"] == {"column 1": "neither name nor unit", "p (bar abs)": "unit bar abs"}
    with pytest.raises(DataError, match=r"column TC2 \(type K\): the unit is not stated"):
        read("t [s];TC1 [°C];TC2 (type K)\n0;850;850\n1;849;849\n")


def test_channels_by_name_number_and_new_name(read):
    text = table(";", ".")
    assert read(text, channels=["skin"])["probe"].values.tolist() == ["skin"]
    assert read(text, channels=[3, "core [°C]"])["probe"].values.tolist() == ["skin", "core"]
    same(read(text, channels={"core": "J1", "skin": "J2"}), ("J1", "J2"))
    assert reading(read(text, channels="skin"))["skipped_columns"] == {"core [°C]": "not asked for"}


def test_no_time_column_but_an_interval(read):
    log = read("core [°C]\n850.5\n849\n800.25\n700\n", interval=0.5)
    np.testing.assert_allclose(log["time"].values, [0.0, 0.5, 1.0, 1.5])
    np.testing.assert_allclose(log["temperature"].values[:, 0], CORE)


def test_each_channel_with_its_own_times(read):
    text = "ta (s);a [°C];tb (s);b [°C]\n0;850;0,5;849\n1;840;1,5;839\n2;830;;\n"
    log = read(text, time={"a": "ta (s)", "b": "tb (s)"})
    np.testing.assert_allclose(log["time"].values, [0.0, 0.5, 1.0, 1.5, 2.0])
    np.testing.assert_allclose(log["temperature"].sel(probe="b").values, [np.nan, 849.0, np.nan, 839.0, np.nan])
    with pytest.raises(InputError, match="no time column is given for channel 'b'"):
        read(text, time={"a": "ta (s)"}, channels=["a", "b"])


def test_places_give_the_coordinates_of_a_simulated_history(read):
    log = read(table(";", "."), places={"core": (0.0, 0.12), "skin": hq.Probe(0.025, 0.12)})
    run = hq.simulate(
        hq.RoundBar(0.05), hq.Material.constant(conductivity=30.0, density=7800.0, specific_heat=600.0),
        {"side": hq.Convection(500.0, 20.0)}, initial_temperature=850.0, end_time=5.0, probes=["centre"], progress=False,
    )  # fmt: skip
    for key in ("temperature", "time", "probe", "r", "z"):
        assert log[key].dims == run[key].dims
        assert log[key].attrs == run[key].attrs
        assert log[key].dtype.kind == run[key].dtype.kind
    assert log["r"].values.tolist() == [0.0, 0.025]
    with pytest.raises(InputError, match="places: channel 'skin' is missing"):
        read(table(";", "."), places={"core": (0.0, 0.0)})
    with pytest.raises(InputError, match=r"places\['core'\] = 3"):
        read(table(";", "."), places={"core": 3, "skin": (0.0, 0.0)})
    with pytest.raises(InputError, match="channel in places"):
        read(table(";", "."), places={"kern": (0.0, 0.0)})


def test_missing_readings_are_gaps_that_metrics_refuse_until_filled(read):
    log = read("t (s);core [°C]\n0;850\n1;OPEN\n2;800\n3;--\n4;600\n5;550\n")
    assert reading(log)["missing"] == {"core": 2}
    with pytest.raises(InputError, match="holds gaps"):
        check_history(log)
    whole = fill_gaps(log, 2.0)
    assert float(cooling_rate(whole)[0]) == pytest.approx(100.0, rel=0.1)
    assert read("t (s);core [°C]\n0;850\n1;kaputt\n", missing=["Kaputt"]).temperature.isnull().sum() == 1


def test_thousands(read):
    log = read("t (s);T [°F]\n0;1.562,5\n1;1.400,0\n")
    np.testing.assert_allclose(log["temperature"].values[:, 0], [(1562.5 - 32) / 1.8, 760.0])
    log = read('t (s),T [°F]\n0.5,"1,562"\n1.5,"1,400"\n')
    np.testing.assert_allclose(log["temperature"].values[:, 0], [850.0, 760.0])
    text = "t (s);T [°F]\n0;1,562\n1;1,400\n"
    log = read(text, decimal=".")
    np.testing.assert_allclose(log["temperature"].values[:, 0], [850.0, 760.0])
    log = read(text, decimal=",")
    np.testing.assert_allclose(log["temperature"].values[:, 0], (np.array([1.562, 1.4]) - 32.0) / 1.8)


@pytest.mark.parametrize(
    ("text", "decimal", "number"),
    [
        ("850", ".", 850.0), ("-1.5e2", ".", -150.0), ("1 234,5", ",", 1234.5), ("1'234.5", ".", 1234.5),
        ("1,234,567.5", ".", 1234567.5), ("1.234.567", ",", 1234567.0), ("1\u202f234", ".", 1234.0),
        ("12,34.5", ".", np.nan), ("1,23", ".", np.nan), ("", ".", np.nan), ("1_000", ".", np.nan), ("inf", ".", np.nan),
        ("1e999", ".", np.nan), ("٣", ".", np.nan), ("1,5,0", ",", np.nan), ("850 °C", ".", np.nan), ("1.234.5", ".", np.nan),
    ],
)  # fmt: skip
def test_numbers(text, decimal, number):
    np.testing.assert_equal(number_in(text, decimal), number)


def test_rows_and_their_numbers():
    rows, mark = split_rows("# c\r\na;b\r\n\r\n1;2\r3;4\n", "x")
    assert mark == ";" == find_delimiter("a;b,c")
    assert [(row.line, row.cells) for row in rows] == [(2, ["a", "b"]), (4, ["1", "2"]), (5, ["3", "4"])]


def test_repeated_stamps(read):
    text = "Time;T [°C]\n" + "".join(f"12:00:0{n // 4};{850 - n}\n" for n in range(12))
    log = read(text, on_repeat="spread")
    np.testing.assert_allclose(log["time"].values, np.arange(12) / 4.0)
    log = read(text, on_repeat="first")
    np.testing.assert_allclose(log["temperature"].values[:, 0], [850.0, 846.0, 842.0])
    assert reading(log)["left_out_lines"] == [3, 4, 5, 7, 8, 9, 11, 12, 13]
    with pytest.raises(DataError, match="all rows have the same time"):
        read("Time;T [°C]\n12:00:00;850\n12:00:00;849\n", on_repeat="spread")


# ------------------------------------------------------------------------------------------------- twenty broken files

HEAD = "Time (s);core [°C];skin [°C]\n"
ROWS = "0;850,5;850,0\n1;849,0;760,0\n2;800,5;650,0\n3;700,0;500,0\n"
SPLIT = ROWS.splitlines(keepends=True)

#: What is broken: (content, what the refusal says; naming line and column wherever there is one)
BROKEN = {
    "empty": (b"", r"run\.csv is empty"),
    "only comments": ("# a\n# b\n", r"run\.csv is empty: it holds only comments"),
    "binary": (b"PK\x03\x04\x00\x00\x08", "is not a text file"),
    "utf-16 cut in the middle of a letter": ((HEAD + ROWS).encode("utf-16")[:-1], "line 1: not UTF-16 text|not UTF-16"),
    "text in a reading": (HEAD + SPLIT[0] + "1;849,0;hot\n" + SPLIT[2], r"line 3, column skin \[°C\]: 'hot' is not a number"),
    "unit in the cell": (HEAD + SPLIT[0] + "1;849,0 °C;760,0\n", r"line 3, column core \[°C\]: '849,0 °C' is not a number"),
    "text in a time": (HEAD + SPLIT[0] + "later;849,0;760,0\n" + SPLIT[2], r"line 3, column Time \(s\): 'later' is not a time"),
    "empty time": (HEAD + SPLIT[0] + ";849,0;760,0\n" + SPLIT[2], r"line 3, column Time \(s\): '' is empty where a time"),
    "cut off in the last row": (HEAD + ROWS + "4;60", r"line 6 has 2 cells, the header has 3: it ends before column skin \[°C\]"),
    "too many cells": (HEAD + SPLIT[0] + "1;849,0;760,0;3\n", r"line 3 has 4 cells, the header has 3: column 4 has no name"),
    "decimal comma in a comma-separated file": (
        "Time (s),core [°C]\n0,850,5\n1,849,0\n", r"line 2 has 3 cells, the header has 2.*semicolons or tabs"),
    "no header": ("0;850,5\n1;849,0\n", r"line 1 already holds numbers, column 1 reads '0'.*header=0"),
    "header only": (HEAD, r"line 1: no row of numbers follows, column 1 reads 'Time \(s\)'"),
    "prose": ("dear sir\nthe furnace broke\n", r"line 1: no row of numbers follows, column 1 reads 'dear"),
    "header again, the recorder was restarted": (
        HEAD + ROWS + HEAD + ROWS, r"line 6, column Time \(s\): 'Time \(s\)' is not a time.*restarted"),
    "time runs backwards": (HEAD + SPLIT[0] + SPLIT[2] + SPLIT[1], r"line 4, column Time \(s\): the time runs backwards by 1 s"),
    "row twice": (HEAD + SPLIT[0] + SPLIT[1] * 2 + SPLIT[2], r"line 4, column Time \(s\): the same time as on line 3"),
    "end of summer time": (
        "Time;T [°C]\n02:59:59;850\n02:00:00;849\n", r"line 3, column Time: the time runs backwards by 3599 s.*summer time"),
    "day or month": (
        "Time;T [°C]\n03/04/2024 12:00:00;850\n03/04/2024 12:00:01;849\n", r"line 2, column Time: '03/04/2024' may be day/month"),
    "day and month contradict": (
        "Time;T [°C]\n13/04/2024 12:00:00;850\n04/14/2024 12:00:01;849\n", r"column Time: on line 2 the day must.*line 3 the month"),
    "no such day": (
        "Time;T [°C]\n2023-02-28 12:00:00;850\n2023-02-29 12:00:00;849\n2023-03-01 12:00:00;9\n", r"line 3, column Time: '2023-02-29"),
    "hours or minutes": ("Time;T [°C]\n12:03;850\n12:04;849\n", r"line 2, column Time: '12:03' may be hours and minutes or"),
    "date without time of day": ("Date;T [°C]\n2024-02-28;850\n2024-02-29;849\n", r"line 2, column Date: '2024-02-28' is a date"),
    "minute 75": ("Time;T [°C]\n12:00:00;850\n12:75:00;849\n", r"line 3, column Time: '12:75:00' is not a time"),
    "comma for decimals or thousands": ("t (s);T [°F]\n0;1,562\n1;1,400\n", r"line 2: '1,562' may have a decimal comma or"),
    "comma and point": ("t (s);T [°C]\n0.5;850,5\n1.5;849,5\n", r"line 2 has a decimal comma \('850,5'\), line 2 a decimal point"),
    "no unit of temperature": ("t (s);core\n0;850\n1;849\n", r"line 1, column core: the unit is not stated; write units="),
    "no unit of time": ("t;core [°C]\n0;850\n1;849\n", r"line 2, column t: the times are plain numbers.*time_unit="),
    "no time": ("a [°C];b [°C]\n850;850\n840;840\n", r"line 1: no column is called time.*a \[°C\], b \[°C\]; say time="),
    "two times": ("t (s);Elapsed (min);T [°C]\n0;0;850\n60;1;840\n", r"line 1: which column is the time\? t \(s\), Elapsed \(min\)"),
    "same name twice": ("t (s);T [°C];T [°C]\n0;850;850\n1;849;849\n", r"line 1: two channels are called 'T'"),
    "Fahrenheit under Celsius": (HEAD + "0;1562;1562\n1;1500;1500\n", r"line 2, column core \[°C\]: '1562' \(degC\) is outside -200 to"),
    "number that means a broken couple": (HEAD + SPLIT[0] + "1;849,0;-9999\n", r"line 3, column skin \[°C\]: '-9999' \(degC\) is outside"),
    "unfinished quotation mark": (HEAD + SPLIT[0] + '1;"849,0;760,0\n', r"line 3: unexpected end of data"),
    "one row": (HEAD + SPLIT[0], r"line 2, column Time \(s\): 1 row with a time; a log needs at least two"),
    "years instead of seconds": ("t (d);T [°C]\n0;850\n4000;840\n", r"the times span 3\.456e\+08 s.*unit of time"),
    "no temperature": ("t (s);p [bar]\n0;10\n1;10\n", r"line 1: no temperature column; left aside: \{'p \[bar\]': 'unit bar'\}"),
}  # fmt: skip


@pytest.mark.parametrize("case", BROKEN)
def test_broken_files_are_refused_naming_file_line_and_column(read, case):
    content, message = BROKEN[case]
    with pytest.raises(DataError, match=message) as caught:
        read(content)
    assert "run.csv" in str(caught.value)


#: The same files, read with on_bad="gap": (times kept, readings kept, bad cells listed, lines left out).
MENDED = {
    "text in a reading": (3, 5, [(3, "skin [°C]")], []),
    "unit in the cell": (2, 3, [(3, "core [°C]")], []),
    "text in a time": (2, 4, [(3, "Time (s)")], [3]),
    "empty time": (2, 4, [(3, "Time (s)")], [3]),
    "cut off in the last row": (5, 9, [(6, "skin [°C]")], []),
    "no such day": (2, 2, [(3, "Time")], [3]),
    "number that means a broken couple": (2, 3, [(3, "skin [°C]")], []),
}


@pytest.mark.parametrize("case", MENDED)
def test_broken_cells_become_gaps_on_request_and_are_listed(read, case):
    rows, readings, cells, lines = MENDED[case]
    log = read(BROKEN[case][0], on_bad="gap")
    assert log.sizes["time"] == rows
    assert int(log["temperature"].notnull().sum()) == readings
    assert [(cell["line"], cell["column"]) for cell in reading(log)["bad_cells"]] == cells
    assert reading(log)["left_out_lines"] == lines
    shown = log_report_text(log_report(log))
    assert f"line {cells[0][0]}, column {cells[0][1]}" in shown


def test_what_stays_unclear_is_refused_with_gaps_allowed_too(read):
    for case in ("day or month", "time runs backwards", "row twice", "comma and point", "no unit of temperature"):
        with pytest.raises(DataError):
            read(BROKEN[case][0], on_bad="gap")
    log = read(HEAD + SPLIT[0] + "1;849,0;760,0;3\n" + SPLIT[2], on_bad="gap")
    assert reading(log)["left_out_lines"] == [3]


@pytest.mark.parametrize(
    ("options", "error", "message"),
    [
        ({"on_bad": "drop"}, InputError, "unknown on_bad 'drop'"),
        ({"on_repeat": "last"}, InputError, "unknown on_repeat 'last'"),
        ({"units": "Rankine"}, InputError, "unknown units 'Rankine'"),
        ({"units": "degF"}, DataError, r"line 1, column core \[°C\]: the header says degC, the argument units degF"),
        ({"time_unit": "min"}, DataError, r"column Time \(s\): the header says s, the argument time_unit min"),
        ({"time_unit": "week"}, InputError, "unknown time_unit 'week'"),
        ({"time": "Zeit"}, DataError, r"run\.csv: unknown column in time: 'Zeit'"),
        ({"time": 7}, InputError, "time = 7: .* has the columns 1 to 3"),
        ({"time": (1, 2, 3)}, InputError, r"time = \(1, 2, 3\): one column, a pair"),
        ({"time": 1, "interval": 1.0}, InputError, "time and interval are both given"),
        ({"time": {"kern": 1}}, InputError, "time: no channel belongs to"),
        ({"time_format": "%d.%m.%Y"}, DataError, r"line 2, column Time \(s\): no time fits time_format"),
        ({"interval": 0.0}, InputError, "interval = 0 s is outside"),
        ({"channels": [1]}, InputError, r"channels: column 'Time \(s\)' is the time column"),
        ({"channels": ["kern"]}, DataError, "unknown column in channels: 'kern'"),
        ({"header": 99}, InputError, "header = 99: .* has no such line"),
        ({"delimiter": ";;"}, InputError, "delimiter = ';;' must be one character"),
        ({"decimal": "x"}, InputError, "unknown decimal 'x'"),
        ({"encoding": "utf-9"}, InputError, "encoding = 'utf-9' is not known"),
        ({"encoding": "ascii"}, DataError, "line 1: not ascii text"),
    ],
)
def test_options_that_cannot_be(read, options, error, message):
    with pytest.raises(error, match=message):
        read(HEAD + ROWS, **options)


def test_kinds_of_time_that_have_no_common_zero(read):
    with pytest.raises(DataError, match="different kinds"):
        read("ta (s);a [°C];tb;b [°C]\n0;850;12:00:00;849\n1;840;12:00:01;839\n", time={"a": 1, "b": 3})
    with pytest.raises(DataError, match="the time column is empty"):
        read("t (s);a [°C];tb;b [°C]\n0;850;;849\n1;840;;839\n", time="tb")


def test_a_log_typed_in_is_a_history():
    log = log_dataset([0.0, 10.0], [[850.0], [650.0]], ["core"])
    assert float(cooling_rate(log, 700.0)[0]) == pytest.approx(20.0)
