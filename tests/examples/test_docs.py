"""The pages of docs/ keep up with the code. (Their code blocks run as doctests.)"""

from __future__ import annotations

import ast
import pathlib
import re

import pytest

ROOT = pathlib.Path(__file__).parents[2]
ERRORS = ROOT / "docs" / "reference" / "errors.md"

#: Modules whose every message has a line in docs/reference/errors.md.
EXPLAINED = (
    "conduction/batch.py",
    "errors.py",
    "files.py",
    "history.py",
    "plot.py",
    "specimens.py",
    "trials.py",
    "hardness/traverse.py",
    "hardness/predict.py",
    "logs/reading.py",
    "logs/headers.py",
    "logs/times.py",
    "logs/cleaning.py",
    "logs/diagnostics.py",
    "logs/lumped.py",
    "thermocouples/conduction_with_holes.py",
    "thermocouples/end_well.py",
    "windows.py",
    "comparison.py",
    "plot_logs.py",
    "commands/log.py",
    "inverse/estimate.py",
    "inverse/fit.py",
    "inverse/furnace.py",
    "inverse/laws.py",
    "inverse/readings.py",
    "inverse/result.py",
    "inverse/unknowns.py",
    "plot_inverse.py",
    "distortion/compare.py",
    "distortion/evenness.py",
    "distortion/figures.py",
    "distortion/stress.py",
    "plot_distortion.py",
    "decide/equal.py",
    "decide/equal_search.py",
    "decide/jets.py",
    "plot_equal.py",
    "decide/answers.py",
    "decide/enough.py",
    "decide/quenches.py",
    "decide/requirements.py",
    "decide/runs.py",
    "decide/search.py",
    "decide/sections.py",
    "decide/spread.py",
    "decide/table.py",
    "plot_decide.py",
    "commands/calibrate.py",
    "commands/choose.py",
    "commands/common.py",
    "commands/endquench.py",
    "commands/quantities.py",
    "studies/distributions.py",
    "studies/sampling.py",
    "studies/uncertainty.py",
    "studies/sensitivity.py",
    "studies/bands.py",
    "plot_study.py",
    "report/page.py",
    "commands/described.py",
    "commands/study_file.py",
    "commands/study.py",
)


def pieces(node):
    """Literal text between the placeholders of a message."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.JoinedStr):
        return [part.value for part in node.values if isinstance(part, ast.Constant)]
    if isinstance(node, ast.BinOp):
        return pieces(node.left)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):  # f"...".rstrip()
        return pieces(node.func.value)
    return []


def messages():
    """(module:line, longest literal piece) of every error raised in the modules above."""
    for module in EXPLAINED:
        tree = ast.parse((ROOT / "heatq" / module).read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if not (isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call) and node.exc.args):
                continue
            name = ast.unparse(node.exc.func)
            if name in ("InputError", "DataError", "error", "argparse.ArgumentTypeError"):
                found = pieces(node.exc.args[0])
                assert found, f"{module}:{node.lineno}: the message is not written where it is raised"
                yield f"{module}:{node.lineno}", max(found, key=len).strip(" .:,;'")


def plain(text):
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize(("where", "piece"), [pytest.param(*m, id=m[0]) for m in messages()])
def test_every_message_is_explained(where, piece):
    page = plain(ERRORS.read_text(encoding="utf-8"))
    assert plain(piece) in page, f"heatq/{where} says {piece!r}, which docs/reference/errors.md does not explain"


def pages():
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]


@pytest.mark.parametrize("page", pages(), ids=lambda p: str(p.relative_to(ROOT)))
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#\s]+)", page.read_text(encoding="utf-8")):
        if not target.startswith(("http:", "https:", "mailto:")):
            assert (page.parent / target).exists(), f"{page.name} links to {target}, which is not there"
