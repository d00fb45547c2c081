"""The page that lists the notebooks, written from their first cells."""

from __future__ import annotations

import json
import pathlib
import re

REPOSITORY = pathlib.Path(__file__).parents[1]

INTRODUCTION = """
Lessons in a story of our own invention: the workshop, its heats, furnaces, logs and prices are made up. They are stored without
results; run them from top to bottom. Each begins with its goal and ends with questions and worked answers. This page is written
from the notebooks by `python docs/generate.py`.

In a clone of the repository:

```console
$ python3 -m venv .venv && .venv/bin/pip install '.[cluster]' jupyterlab
$ .venv/bin/jupyter lab notebooks
```

Only notebook 8 needs the extra `cluster` (a store on disk and a dask cluster); for the others `pip install . jupyterlab` will do.
"""

SERIES = {
    "The work of a shop": ("notebooks", "from the first trial to a decision, in the order of the numbers."),
    "Teaching series": ("notebooks/teaching", "the physics and the numerics by hand, each held against heatq."),
}


def entry(path: pathlib.Path) -> str:
    """Heading, goal, time and prerequisites of one notebook."""
    cell = "".join(json.loads(path.read_text(encoding="utf-8"))["cells"][0]["source"])
    found = {"title": re.match(r"# (.+)", cell)}
    for part in ("Goal", "Time", "You should know"):
        found[part] = re.search(rf"^\*\*{part}\.\*\* (.+)", cell, re.MULTILINE)
    missing = [part for part, text in found.items() if text is None]
    if missing:
        raise ValueError(f"{path.name}: the first cell has no {', '.join(missing)}")
    title, goal, time, known = (match[1] for match in found.values() if match)
    return (
        f"### {title}\n\n{goal}\n\n* Time: {time}\n* You should know: {known}\n"
        f"* File: `{path.relative_to(REPOSITORY).as_posix()}`"
    )


def page() -> str:
    """Text of docs/notebooks.md."""
    parts = ["# Notebooks", INTRODUCTION.strip()]
    for title, (folder, what) in SERIES.items():
        paths = sorted((REPOSITORY / folder).glob("*.ipynb"))
        parts += [f"## {title}", f"{len(paths)} notebooks: {what}", *map(entry, paths)]
    return "\n\n".join(parts) + "\n"
