"""The pages of docs/ keep up with the code. (Their code blocks run as doctests.)"""

from __future__ import annotations

import ast
import functools
import pathlib
import re

import pytest

import heatq.errors

ROOT = pathlib.Path(__file__).parents[2]
ERRORS = ROOT / "docs" / "reference" / "errors.md"

#: What a message is given to.
SAYING = ("InputError", "DataError", "SolverError", "error", "argparse.ArgumentTypeError")
#: What Python's own protocols ask for, and what a caller of heatq cannot bring about.
INTERNAL = ("AttributeError", "KeyError", "RuntimeError")


@functools.cache
def parsed(path):
    return ast.parse(path.read_text(encoding="utf-8"))


def template(node):
    """Text of a message with ... where something is filled in."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(part.value if isinstance(part, ast.Constant) else "…" for part in node.values)
    if isinstance(node, ast.BinOp):
        return template(node.left) + template(node.right)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):  # f"...".rstrip()
        return template(node.func.value)
    return "…"


def followed(node, function, module, seen=()):
    """Templates of a message; of a name or a call, those of what is assigned or returned in the same module."""
    name = node.id if isinstance(node, ast.Name) else getattr(getattr(node, "func", None), "id", None)
    if name is None or name in seen:
        return [template(node)]
    found = []
    if isinstance(node, ast.Name):
        for assignment in ast.walk(function):
            if isinstance(assignment, ast.Assign) and name in map(ast.unparse, assignment.targets):
                found += followed(assignment.value, function, module, (*seen, name))
    for called in ast.walk(module):
        if isinstance(node, ast.Call) and isinstance(called, ast.FunctionDef) and called.name == name:
            for statement in ast.walk(called):
                if isinstance(statement, ast.Return):
                    found += followed(statement.value, called, module, (*seen, name))
    return found or ["…"]


def same(text):
    """A message or a row without what differs in writing: quotation marks around a placeholder, the place in front."""
    text = re.sub(r"['\"]?…(['\"]?…)*['\"]?", "…", re.sub(r"\s+", " ", text))
    text = re.sub(r"^(…(,? ((line|column|key) )?…)*: )+", "", text)
    return re.sub(r"(\. ?…)?[. ]*$", "", text)


def modules():
    """Every module of the package that says something: none can be left out."""
    for path in sorted((ROOT / "heatq").rglob("*.py")):
        module = parsed(path)
        said = {}
        for function in ast.walk(module):
            for node in ast.walk(function) if isinstance(function, ast.FunctionDef) else ():
                if isinstance(node, ast.Call) and ast.unparse(node.func) in SAYING and node.args:
                    said.setdefault(node.lineno, []).extend(followed(node.args[0], function, module))
        if said:  # a single word is a state of the solver
            said = {line: [text for text in set(texts) if " " in text or text == "…"] for line, texts in said.items()}
            yield str(path.relative_to(ROOT / "heatq")), said


def rows():
    """Messages in the first column of the page."""
    for line in ERRORS.read_text(encoding="utf-8").splitlines():
        if line.startswith("| "):
            yield from re.findall(r"`([^`]+)`", line.replace(r"\|", "¦").split("|")[1].replace("¦", "|"))


@functools.cache
def compiled(pattern):
    parts = pattern.split("…")
    return max(parts, key=len), re.compile(".*".join(map(re.escape, parts)))


def fits(pattern, text):
    """Whether a text has the parts of a pattern in its order; ... stands for anything."""
    longest, whole = compiled(pattern)
    return longest in text and whole.fullmatch(text) is not None


def explains(row, message):
    """A row may shorten a message by ..., or write out one case of what a message fills in."""
    return row == message or fits(row, message) or fits(message, row)


def passes_on(message):
    """A place in front of the message of another error, such as a file and a line; nothing of its own."""
    return not re.search("[a-zA-Z]{2}", re.sub("line|column|key", "", message)) and ": …" in message


ROWS = {same(row) for row in rows()}


@pytest.mark.parametrize(("module", "said"), [pytest.param(*m, id=m[0]) for m in modules()])
def test_every_message_is_explained(module, said):
    for line, message in sorted((line, text) for line, texts in said.items() for text in texts):
        assert message != "…", f"heatq/{module}:{line}: the message is not written where it is raised"
        known = passes_on(message) or any(explains(row, same(message)) for row in ROWS)
        assert known, f"heatq/{module}:{line} says {message!r}, which docs/reference/errors.md does not explain"


def test_every_row_explains_a_message():
    said = {same(text) for _, lines in modules() for texts in lines.values() for text in texts if not passes_on(text)}
    left = [row for row in ROWS if not any(explains(row, text) for text in said) and not hasattr(heatq.errors, row)]
    texts = {same(template(node)) for path in (ROOT / "heatq").rglob("*.py") for node in ast.walk(parsed(path))
             if isinstance(node, (ast.JoinedStr, ast.Constant))}  # fmt: skip
    left = [row for row in left if not any(fits(row, text) for text in texts)]  # warnings
    assert not left, "docs/reference/errors.md explains what nothing says any more:\n" + "\n".join(left)


def test_every_error_is_of_a_kind_that_the_page_explains():
    for path in sorted((ROOT / "heatq").rglob("*.py")):
        module = parsed(path)
        own = {node.name for node in ast.walk(module) if isinstance(node, ast.FunctionDef)}
        for node in ast.walk(module):
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                kind = ast.unparse(node.exc.func)
                assert kind in {*SAYING, *own, *INTERNAL}, f"{path.name}:{node.lineno} raises {kind}: add it to SAYING"


def pages():
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]


@pytest.mark.parametrize("page", pages(), ids=lambda p: str(p.relative_to(ROOT)))
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#\s]+)", page.read_text(encoding="utf-8")):
        if not target.startswith(("http:", "https:", "mailto:")):
            assert (page.parent / target).exists(), f"{page.name} links to {target}, which is not there"
