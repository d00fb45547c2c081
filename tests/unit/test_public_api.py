"""The public names: they load, they are documented, and they do not change unnoticed."""

from __future__ import annotations

import difflib
import inspect
import pathlib
import re

import pytest

import heatq

SNAPSHOT = pathlib.Path(__file__).with_name("public_api.txt")
DOCS = pathlib.Path(__file__).parents[2] / "docs"


def describe():
    """One line per public name: its signature, or what it is."""
    lines = []
    for name in sorted(heatq.__all__):
        value = getattr(heatq, name)
        if not callable(value):
            lines.append(f"{name}: {type(value).__name__}")
        elif inspect.isclass(value) and issubclass(value, BaseException):
            lines.append(f"{name}: {', '.join(base.__name__ for base in value.__mro__[1:3])}")
        else:
            signature = inspect.signature(value.__init__ if inspect.isclass(value) else value)
            kept = [p for p in signature.parameters.values() if p.name != "self"]
            lines.append(f"{name}{signature.replace(parameters=kept, return_annotation=signature.empty)}")
    return lines


@pytest.mark.parametrize("name", heatq.__all__)
def test_every_public_name_loads(name):
    assert getattr(heatq, name) is not None
    assert name in dir(heatq)


def test_names_are_listed_once():
    assert len(set(heatq.__all__)) == len(heatq.__all__)


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="module 'heatq' has no attribute 'jominy'"):
        heatq.jominy  # noqa: B018
    assert not hasattr(heatq, "_repr_html_")


def test_modules_load_by_name():
    assert callable(heatq.hardness.read_traverse)
    assert heatq.units.degF(212.0) == pytest.approx(100.0)


def test_public_names_and_signatures_are_as_recorded():
    recorded = SNAPSHOT.read_text(encoding="utf-8").splitlines()
    found = describe()
    if found != recorded:
        changes = "\n".join(difflib.unified_diff(recorded, found, "recorded", "now", lineterm="", n=0))
        pytest.fail(
            f"the public interface changed:\n{changes}\n\nIf this is meant, record it with\n"
            "    python tests/unit/test_public_api.py\n"
            "and say so in docs/changelog.md (a removed or renamed argument breaks somebody's script).",
            pytrace=False,
        )


@pytest.mark.parametrize("name", [name for name in heatq.__all__ if callable(getattr(heatq, name))])
def test_every_public_name_is_documented(name):
    value = getattr(heatq, name)
    text = inspect.getdoc(value)
    assert text, f"{name} has no docstring"
    if inspect.isclass(value) and "Examples\n--------" not in text:
        text += "".join(inspect.getdoc(member) or "" for _, member in inspect.getmembers(value, inspect.isroutine))
    documented = "Examples\n--------" in text
    if not documented:
        word = re.compile(rf"\b{name}\b")
        documented = any(word.search(page.read_text(encoding="utf-8")) for page in DOCS.rglob("*.md"))
    assert documented, f"{name}: give it an Examples section, or explain it in docs/"


@pytest.mark.parametrize("name", [n for n in heatq.__all__ if inspect.isfunction(getattr(heatq, n))])
def test_arguments_are_described(name):
    value = getattr(heatq, name)
    parameters = [p for p in inspect.signature(value).parameters if not p.startswith("_")]
    if len(parameters) < 2:
        return
    text = inspect.getdoc(value)
    assert "Parameters\n----------" in text or all(f"``{p}``" in text for p in parameters), (
        f"{name}: describe arguments"
    )
    for parameter in parameters:
        assert parameter in text, f"{name}: {parameter} is not described"


if __name__ == "__main__":
    SNAPSHOT.write_text("\n".join(describe()) + "\n", encoding="utf-8")
