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


def texts(path, kind):
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return ["".join(cell["source"]) for cell in cells if cell["cell_type"] == kind]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_notebook_says_what_a_student_must_know(path):
    words = texts(path, "markdown")
    for part in ("**Goal.**", "**Time.**", "**You should know.**", "**The scenario (invented"):
        assert part in words[0]
    whole = "\n\n".join(words)
    questions = whole.split("## Try it")[1].split("### Answer")[0]
    asked = [line for line in questions.splitlines() if line[:2] in ("1.", "2.", "3.")]
    assert len(asked) == 3
    assert [whole.count(f"### Answer {number}\n") + whole.endswith(f"### Answer {number}") for number in (1, 2, 3)] == [
        1
    ] * 3
    if path.parent.name == "notebooks":
        assert "**Cautions.**" in words[0]
        assert "## Where the numbers come from" in words[-1]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_figures_of_a_notebook_have_the_look_of_the_house(path):
    code = "\n".join(texts(path, "code"))
    assert "Figure(" not in code
    assert "pyplot" not in code
