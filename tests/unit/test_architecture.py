"""The layers: imports go downward only, and no module grows beyond what one can read."""

from __future__ import annotations

import ast
import functools
import pathlib

import pytest

PACKAGE = pathlib.Path(__file__).parents[2] / "heatq"

#: From the bottom to the top. A module imports from layers below its own and from its own package. `transformation`
#: stands below `conduction`, because the kinetics run inside the conduction step.
LAYERS = (
    ("_version", "_roots", "errors", "units"),
    ("_kernels",),
    ("environment", "files"),
    ("cautions", "steels"),
    ("boundaries",),
    ("specimens",),
    ("history",),
    ("logs", "metrics", "windows", "comparison"),
    ("transformation",),
    ("conduction",),
    ("hardness",),
    ("trials", "diagrams", "sections", "carburizing", "titanium", "thermocouples", "distortion"),
    ("inverse",),
    ("decide",),
    ("studies",),
    ("plot_style",),
    ("plot",),
    (
        "plot_media",
        "plot_decide",
        "plot_distortion",
        "plot_equal",
        "plot_diagrams",
        "plot_inverse",
        "plot_load",
        "plot_logs",
        "plot_study",
        "plot_thermocouples",
    ),
    ("report",),
    ("commands",),
    ("__main__",),
)
LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}

#: Longest module, lines; and the ones that have a reason to be longer.
LONGEST = 520
LONGER = {
    "_kernels.py": "numba's cache notices changes of its own file only, so all compiled code is in one file",
}

MODULES = sorted(path.relative_to(PACKAGE) for path in PACKAGE.rglob("*.py"))


def compiled(path):
    """Modules of compiled loops, the only ones that know numba; each stands alone."""
    return path.name.endswith("_kernels.py")


def part(path):
    """Layer name of a module file."""
    return path.parts[0].removesuffix(".py")


@functools.cache
def nodes(path):
    """All of a module's syntax, the module itself first; read once."""
    return tuple(ast.walk(ast.parse((PACKAGE / path).read_text(encoding="utf-8"))))


@functools.cache
def imports(path):
    """(line, dotted name) of every import that happens at run time, inside functions too."""
    return tuple(found_imports(path))


def found_imports(path):
    skipped = set()
    for node in nodes(path):
        if isinstance(node, ast.If) and ast.unparse(node.test) in ("TYPE_CHECKING", "typing.TYPE_CHECKING"):
            skipped |= {id(inner) for statement in node.body for inner in ast.walk(statement)}
    for node in nodes(path):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: write imports in full, from heatq.x import y"
            if node.module == "heatq":
                yield from ((node.lineno, f"heatq.{alias.name}") for alias in node.names)
            else:
                yield node.lineno, node.module


def test_every_module_has_a_layer():
    unknown = {part(path) for path in MODULES} - {*LEVEL, "__init__"}
    assert not unknown, f"give {', '.join(sorted(unknown))} a place in LAYERS, and in DEVELOPERS.md"


@pytest.mark.parametrize("path", [p for p in MODULES if p != pathlib.Path("__init__.py")], ids=str)
def test_imports_go_downward(path):
    own = part(path)
    upward = []
    for line, name in imports(path):
        pieces = name.split(".")
        if pieces[0] != "heatq" or len(pieces) == 1:
            continue
        other = pieces[1]
        assert other in LEVEL, f"{path}:{line} imports {name}, which is in no layer"
        if other != own and LEVEL[other] >= LEVEL[own]:
            if LEVEL[other] == LEVEL[own] == 0:  # errors and units
                continue
            upward.append(f"{path}:{line} imports {name}, which is not below {own}")
    assert not upward, "\n".join(upward)


@pytest.mark.parametrize("package", ["transformation", "hardness"])
def test_transformation_and_hardness_take_any_history(package):
    for path in (p for p in MODULES if part(p) == package):
        for line, name in imports(path):
            assert not name.startswith("heatq.conduction"), f"{path}:{line} imports {name}"


#: May be imported at the top of a module; everything else waits inside the function that needs it.
LIGHT = {"numpy", "scipy.constants", "heatq"}


@pytest.mark.parametrize("path", [p for p in MODULES if not compiled(p)], ids=str)
def test_nothing_heavy_is_imported_at_the_top(path):
    import sys

    for node in nodes(path)[0].body:
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module]
        for name in names:
            root = name.split(".")[0]
            allowed = root in sys.stdlib_module_names or root in LIGHT or name in LIGHT
            assert allowed or name.startswith("numpy."), f"{path}:{node.lineno} imports {name} at the top"


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_no_module_grows_too_long(path):
    lines = (PACKAGE / path).read_text(encoding="utf-8").count("\n")
    assert lines <= LONGEST or str(path) in LONGER, f"{path} has {lines} lines, more than {LONGEST}"


def test_only_the_kernels_know_numba():
    for path in MODULES:
        if not compiled(path):
            assert not [name for _, name in imports(path) if name.split(".")[0] == "numba"], path


def test_compiled_modules_stand_alone():
    """numba's cache notices changes of its own file only: a compiled function must not call one of another file."""
    for path in MODULES:
        if compiled(path):
            assert not [name for _, name in imports(path) if name.startswith("heatq")], path


def test_pint_stays_at_the_command_line():
    for path in MODULES:
        if part(path) != "commands":
            assert not [name for _, name in imports(path) if name.split(".")[0] == "pint"], path


def test_kelvin_is_made_in_one_place():
    """Never a bare 273.15, see `heatq.units`."""
    for path in MODULES:
        numbers = (
            node.value for node in nodes(path) if isinstance(node, ast.Constant) and isinstance(node.value, float)
        )
        assert 273.15 not in numbers, path


def test_nothing_is_printed_but_by_the_command_line():
    for path in MODULES:
        if part(path) in ("commands", "__main__", "environment"):  # show_versions() is there to print
            continue
        for node in nodes(path):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "print":
                to_stderr = any(keyword.arg == "file" for keyword in node.keywords)
                assert to_stderr, f"{path}:{node.lineno} prints; a library returns or logs"
