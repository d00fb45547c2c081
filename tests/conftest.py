"""Settings for all tests: no window for figures, the same hypothesis examples on every machine."""

import os
import pathlib
import sys

os.environ.setdefault("MPLBACKEND", "Agg")

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "heatq", deadline=None, derandomize=True, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("heatq")

# the exact solutions and the numpy twin are modules of the tests, used by more than one file
for folder in ("convergence", "unit"):
    sys.path.insert(0, str(pathlib.Path(__file__).parent / folder))


@pytest.fixture
def drawn():
    """Ask for it in a test that looks at a figure written by a command."""


@pytest.fixture
def quick_figures(request, monkeypatch):
    """Figure files stay empty unless the test asks for ``drawn``: drawing takes half the time of a run of a command."""
    if "drawn" not in request.fixturenames:
        monkeypatch.setattr(
            "matplotlib.figure.Figure.savefig", lambda figure, path, **settings: pathlib.Path(path).write_bytes(b"")
        )
