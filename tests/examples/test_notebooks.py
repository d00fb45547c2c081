"""Every notebook runs from clean, top to bottom, and is stored without outputs."""

import json
import pathlib

import pytest

NOTEBOOKS = sorted((pathlib.Path(__file__).parents[2] / "notebooks").glob("**/*.ipynb"))


def test_there_are_notebooks():
    assert NOTEBOOKS


@pytest.mark.slow
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_notebook_runs(path, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    namespace = {"__name__": "__main__", "display": lambda *objects: None}
    for cell in cells:
        if cell["cell_type"] == "code":
            source = "".join(line for line in cell["source"] if not line.lstrip().startswith("%"))
            exec(compile(source, f"{path.name}", "exec"), namespace)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_notebook_is_stored_without_outputs(path):
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    assert all(
        not cell.get("outputs") and cell.get("execution_count") is None for cell in cells if cell["cell_type"] == "code"
    )
