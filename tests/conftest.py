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


def pytest_configure(config):
    """In the fast loop a file stays with one worker, so that what its tests share is computed once.

    Slow tests are few and long: they are dealt out one by one, or one worker would still be at a file when the other is done.
    """
    if getattr(config.option, "dist", "no") == "load" and config.option.markexpr == "not slow":
        config.option.dist = "loadfile"


#: Pages whose code takes longer than a second; the figures of the gallery are drawn when the site is built, too.
SLOW_PAGES = (
    "docs/gallery.md",
    "docs/howto/choose-a-quench.md",
    "docs/howto/equal-quenches.md",
    "docs/howto/furnace-and-load.md",
    "docs/howto/h-from-a-log.md",
    "docs/howto/where-to-put-the-thermocouple.md",
)


def pytest_collection_modifyitems(config, items):
    """Mark pages slow: in the page itself there is no place for a mark."""
    for item in items:
        if item.nodeid.startswith(SLOW_PAGES):
            item.add_marker(pytest.mark.slow)


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
