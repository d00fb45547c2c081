"""Versions for a report of an error."""

from __future__ import annotations

from importlib import metadata

import numpy as np

import heatq
from heatq import environment


def test_versions_are_those_in_use():
    found = environment.versions()
    assert found["heatq"] == heatq.__version__
    assert found["numpy"] == np.__version__
    assert all(name in found for name in environment.LIBRARIES)


def test_a_missing_library_is_said(monkeypatch):
    def missing(name):
        raise metadata.PackageNotFoundError(name)

    monkeypatch.setattr(metadata, "version", missing)
    found = environment.versions()
    assert found["numba"] == "not installed"
    assert "dask" not in found


def test_each_version_is_a_line(capsys):
    environment.show_versions()
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == list(environment.versions())
