"""Whatever the bytes: a log is read, or refused with one of our own errors."""

from __future__ import annotations

import contextlib
import json

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from heatq.errors import DataError, InputError
from heatq.logs import cut_log, drop_dead_channels, fill_gaps, log_report, log_report_text, read_log, remove_spikes

FAST, MANY = 25, 1500

numbers = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(str),
    st.floats(-50.0, 1300.0).map(lambda x: f"{x:.1f}"),
    st.floats(-50.0, 1300.0).map(lambda x: f"{x:.2f}".replace(".", ",")),
    st.sampled_from(["1,234", "1.234,5", "1e999", "-0", "٣", "1_000", "0x1F", "²", "1 234", "9" * 400]),
)
stamps = st.one_of(
    st.tuples(st.integers(0, 30), st.integers(0, 70), st.integers(0, 70)).map(
        lambda t: f"{t[0]:02d}:{t[1]:02d}:{t[2]:02d}"
    ),
    st.sampled_from(
        ["12:03", "01/02/2024 12:00:00", "31.12.2024 23:59:59", "2024-02-30 00:00:00", "0001-01-01T00:00:00+23:59"]
    ),
    st.datetimes().map(str),
    st.sampled_from(["12:00:00 PM", "13:00:00 AM", "12:03.5", "99-Abc-2024 10:00:00", "9999-12-31 23:59:60Z"]),
)
words = st.sampled_from(
    ["time", "Time (s)", "t", "T [°C]", "TC1 (°F)", "core", "K", "s", "", "-", "OPEN", "nan", '"', '""', "#", "Date", "[", ")("]
)  # fmt: skip
cells = st.one_of(numbers, stamps, words, st.text(max_size=6))


@st.composite
def tables(draw):
    """Text that looks like a log, more or less: a header, one way to write times and numbers, here and there a surprise."""
    mark = draw(st.sampled_from([";", "\t", "|", ",", " "]))
    point = "." if mark == "," else draw(st.sampled_from([".", ","]))
    head = draw(st.sampled_from(["Time (s)", "t", "Zeit [min]", "Date;Time", "Timestamp", "clock", "x"])).replace(
        ";", mark
    )
    write = {
        "Time (s)": lambda n: f"{n / 2:.1f}".replace(".", point),
        "t": lambda n: str(n),
        "Zeit [min]": lambda n: f"{n / 60:.2f}".replace(".", point),
        "Timestamp": lambda n: f"2024-12-31 23:59:{50 + n}" if n < 10 else f"2025-01-01 00:00:{n - 10:02d}",
        "clock": lambda n: f"23:59:{50 + n}" if n < 10 else f"00:00:{n - 10:02d}",
    }.get(head, lambda n: f"31.12.2024{mark}12:00:{n:02d}")
    width = draw(st.integers(1, 3))
    rows = [[head, *["A [°C]", "B degF", "C (K)"][:width]]]
    if draw(st.integers(0, 3)) == 0:
        rows.insert(0, ["Recorder", "invented"])
    for n in range(draw(st.integers(0, 12))):
        values = draw(st.lists(st.integers(300, 1200), min_size=width, max_size=width))
        rows.append([write(n), *(f"{v}{point}{v % 10}" for v in values)])
    for _ in range(draw(st.sampled_from([0, 0, 1, 1, 2, 5]))):
        row = rows[draw(st.integers(0, len(rows) - 1))]
        place = draw(st.integers(0, len(row)))
        row[place : place + draw(st.sampled_from([0, 1, 1, 1, 2]))] = [draw(cells)] * draw(
            st.sampled_from([0, 1, 1, 1, 2])
        )
    if draw(st.integers(0, 4)) == 0:
        rows[draw(st.integers(0, len(rows) - 1))] = rows[draw(st.integers(0, len(rows) - 1))]
    return draw(st.sampled_from(["\n", "\r\n", "\r"])).join(mark.join(row) for row in rows)


every_option = st.fixed_dictionaries(
    {},
    optional={
        "on_bad": st.sampled_from(["raise", "gap"]),
        "on_repeat": st.sampled_from(["raise", "first", "spread"]),
        "units": st.sampled_from(["degC", "degF", "K"]),
        "time_unit": st.sampled_from(["s", "min"]),
        "time": st.one_of(st.integers(-1, 5), words),
        "header": st.integers(-1, 4),
        "decimal": st.sampled_from([".", ","]),
        "delimiter": st.sampled_from([",", ";", " ", "\t", "x"]),
        "encoding": st.sampled_from(["utf-8", "cp1252", "utf-16", "ascii", "hex", "nothing"]),
        "interval": st.floats(0.01, 10.0),
        "time_format": st.sampled_from(["%H:%M", "%d/%m/%Y %H:%M:%S", "%", "%Q", "(", "%H:%M:%S"]),
        "channels": st.lists(st.one_of(words, st.integers(0, 4)), max_size=2),
    },
)


gentle = st.fixed_dictionaries(
    {"on_bad": st.sampled_from(["raise", "gap"]), "on_repeat": st.sampled_from(["raise", "spread"])},
    optional={"units": st.just("degC"), "time_unit": st.just("s")},
)
options = st.one_of(st.just({}), gentle, gentle, every_option)


def survives(path, raw, settings_):
    path.write_bytes(raw)
    with contextlib.suppress(InputError, DataError):
        log = read_log(path, **settings_)
        time, values = log["time"].values, log["temperature"].values
        assert log["temperature"].dims == ("time", "probe")
        assert time[0] == 0.0
        assert (np.diff(time) > 0).all()
        good = values[np.isfinite(values)]
        assert ((good >= -200.0) & (good <= 1450.0)).all()
        reading = json.loads(log.attrs["reading"])
        assert list(reading["missing"].values()) == np.isnan(values).sum(axis=0).tolist()
        assert log_report_text(log_report(log))
        for step in (
            lambda: drop_dead_channels(log),
            lambda: remove_spikes(log, 10.0),
            lambda: fill_gaps(log, 5.0),
            lambda: cut_log(log, 1.0),
        ):
            with contextlib.suppress(InputError):
                step()


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz") / "log.csv"


def bytes_case(path, raw, settings_):
    survives(path, raw, settings_)


def text_case(path, text, settings_, encoding):
    survives(
        path, text.encode(encoding, errors="surrogatepass" if encoding.startswith("utf") else "replace"), settings_
    )


ENCODINGS = st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1"])
QUIET = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture]


@settings(max_examples=FAST, suppress_health_check=QUIET)
@given(raw=st.binary(max_size=200), settings_=options)
def test_random_bytes(path, raw, settings_):
    bytes_case(path, raw, settings_)


@settings(max_examples=5 * FAST, suppress_health_check=QUIET)
@given(text=tables(), settings_=options, encoding=ENCODINGS)
def test_random_tables(path, text, settings_, encoding):
    text_case(path, text, settings_, encoding)


@settings(max_examples=2 * FAST, suppress_health_check=QUIET)
@given(text=tables())
def test_random_tables_as_a_user_would_read_them(path, text):
    survives(path, text.encode(), {"units": "degC", "time_unit": "s", "on_bad": "gap", "on_repeat": "spread"})


@pytest.mark.slow
@settings(max_examples=MANY, suppress_health_check=QUIET)
@given(raw=st.binary(max_size=2000), settings_=options)
def test_many_random_bytes(path, raw, settings_):
    bytes_case(path, raw, settings_)


@pytest.mark.slow
@settings(max_examples=3 * MANY, suppress_health_check=QUIET)
@given(text=tables(), settings_=options, encoding=ENCODINGS)
def test_many_random_tables(path, text, settings_, encoding):
    text_case(path, text, settings_, encoding)


GOOD = ["Time (s);core [°C];skin [°F]"] + [f"{n};{850 - 3 * n},5;{1560 - 9 * n},1" for n in range(12)]


def mutated(draw):
    """A good log with one place broken."""
    text = "\n".join(GOOD)
    at = draw(st.integers(0, len(text)))
    cut = draw(st.integers(0, 3))
    return text[:at] + draw(st.text(max_size=3)) + text[at + cut :]


@settings(max_examples=3 * FAST, suppress_health_check=QUIET)
@given(data=st.data())
def test_a_good_log_broken_at_one_place(path, data):
    survives(path, mutated(data.draw).encode("utf-8", errors="replace"), {})


@pytest.mark.slow
@settings(max_examples=2 * MANY, suppress_health_check=QUIET)
@given(data=st.data())
def test_a_good_log_broken_at_one_place_many_times(path, data):
    survives(
        path,
        mutated(data.draw).encode("utf-8", errors="replace"),
        {"on_bad": data.draw(st.sampled_from(["raise", "gap"]))},
    )
