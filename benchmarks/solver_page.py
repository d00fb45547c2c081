"""Render docs/explanation/speed.md from results/solver.json: ``python benchmarks/solver_page.py [--check]``."""

from __future__ import annotations

import json
import math
import pathlib
import sys

HERE = pathlib.Path(__file__).parent
RESULT = HERE / "results" / "solver.json"
PAGE = HERE.parent / "docs" / "explanation" / "speed.md"
LEVELS = (5.0, 1.0, 0.1)
HEATQ = (
    "heatq, accuracy",
    "heatq, accuracy, with error estimate (default)",
    "heatq, grid and tolerance by hand",
)
TITLES = {
    "P1": "P1: end-quench bar",
    "P1L": "P1L: end-quench bar with 80 kJ/kg released between 700 and 650 °C",
    "P2": "P2: round bar 76.2 × 609.6 mm",
}


def seconds(value: float) -> str:
    """Milliseconds or seconds, three digits."""
    return f"{1e3 * value:.3g} ms" if value < 1.0 else f"{value:.3g} s"


def table(head: list[str], rows: list[list[str]]) -> str:
    """Markdown table."""
    return "\n".join("| " + " | ".join(row) + " |" for row in (head, ["---"] * len(head), *rows))


def is_good(run: dict, problem: str, solver: str, level: float) -> bool:
    """Whether a run counts at a level (a peer that was stopped has no error)."""
    return run["problem"] == problem and run["solver"] == solver and run["error"] <= level


def cheapest(runs: list[dict], problem: str, solver: str, level: float) -> dict | None:
    """The cheapest run of a solver within a level."""
    return min((r for r in runs if is_good(r, problem, solver, level)), key=lambda r: r["seconds"], default=None)


def cell(runs: list[dict], problem: str, solver: str, level: float, base: dict | None) -> str:
    """Time, error, setting and ratio to the base; or what came of the attempt."""
    best = cheapest(runs, problem, solver, level)
    if best:
        ratio = f", **{best['seconds'] / base['seconds']:.3g} ×**" if base else ""
        return f"{seconds(best['seconds'])}{ratio} ({best['error']:.2g} K; {best['setting']})"
    mine = [r for r in runs if r["problem"] == problem and r["solver"] == solver]
    stopped = [r for r in mine if r["level"] == level and r["note"]]
    if stopped:
        return f"{stopped[0]['note']} ({stopped[0]['setting']})"
    if any(r["note"] == "not installed" for r in mine):
        return "not installed"
    errors = [r for r in mine if math.isfinite(r["error"])]
    if not errors:
        return "not tried"
    nearest = min(errors, key=lambda r: r["error"])
    return f"not reached: {nearest['error']:.2g} K in {seconds(nearest['seconds'])} ({nearest['setting']})"


def comparison(data: dict, problem: str) -> str:
    """Table of one problem."""
    runs = data["runs"]
    solvers = [s for s in (*HEATQ, *data["peers"]) if any(r["solver"] == s and r["problem"] == problem for r in runs)]
    rows = []
    for solver in solvers:
        name = solver.replace("the same, ", "SciPy odeint (LSODA), exact banded Jacobian, ")
        bases = [cheapest(runs, problem, HEATQ[0], level) for level in LEVELS]
        rows.append(
            [name, *(cell(runs, problem, solver, level, base) for level, base in zip(LEVELS, bases, strict=True))]
        )
        if solver == HEATQ[0]:
            kernel = [f"{seconds(b['kernel_seconds'])} ({b['steps']} steps)" if b else "" for b in bases]
            rows.append(["of that the compiled kernel", *kernel])
    return table(["solver", *(f"error ≤ {level:g} K" for level in LEVELS)], rows)


def best_ratios(data: dict) -> str:
    """Ratio of the best peer, without and with compiled callbacks, to each way of calling heatq."""
    runs, rows = data["runs"], []
    numpy_only = [p for p in data["peers"] if "numba" not in p]
    for problem in TITLES:
        for level in LEVELS:
            row = [problem, f"{level:g} K"]
            for group in (numpy_only, [p for p in data["peers"] if "numba" in p]):
                found = [r for p in group if (r := cheapest(runs, problem, p, level))]
                best = min(found, key=lambda r: r["seconds"], default=None)
                for solver in (HEATQ[0], HEATQ[2]):
                    ours = cheapest(runs, problem, solver, level)
                    row.append(f"{best['seconds'] / ours['seconds']:.3g}" if best and ours else "-")
                ours = cheapest(runs, problem, HEATQ[0], level)
                row.append(f"{best['seconds'] / ours['kernel_seconds']:.3g}" if best and ours else "-")
            if any(x != "-" for x in row[2:]):
                rows.append(row)
    head = ["problem", "error", "as they are: call", "by hand", "kernel", "compiled: call", "by hand", "kernel"]
    return table(head, rows)


def honesty(data: dict) -> str:
    """Accuracy asked for, reached and estimated."""
    rows = []
    for problem in TITLES:
        for run in data["runs"]:
            if run["problem"] == problem and run["solver"] in HEATQ[:2]:
                estimated = run["solver"] == HEATQ[1]
                shown = f"{run['estimate']:.2g}" if estimated else "-"
                rows.append(
                    [problem, run["setting"].removeprefix("accuracy ").replace(", ", " | ", 1), f"{run['error']:.2g}", shown,
                     str(run["steps"]), seconds(run["seconds"])]
                )  # fmt: skip
    return table(["problem", "accuracy, K", "cells", "error, K", "estimate, K", "steps", "call"], rows)


def scaling(data: dict) -> str:
    """Cost against cells, rates of the kernels, and the limits of the machine."""
    grid = data["cells"]
    first = table(
        ["cells", "steps", "kernel", "ns per cell and step"],
        [
            [f"{r['shape'][0]} × {r['shape'][1]}", str(r["steps"]), seconds(r["seconds"]),
             f"{1e9 * r['seconds'] / r['cells'] / r['steps']:.1f}"]
            for r in grid["rows"]
        ],
    )  # fmt: skip
    second = table(
        ["run at default accuracy", "cells", "steps", "kernel", "ns per cell and step", "million cell-steps per second"],
        [
            [r["kind"], f"{r['shape'][0]} × {r['shape'][1]}", str(r["steps"]), seconds(r["seconds"]), f"{r['ns']:.0f}",
             f"{1e3 / r['ns']:.1f}"]
            for r in data["kernels"]
        ],
    )  # fmt: skip
    limits = data["machine"]
    third = table(["limit, one thread", "measured"], [[name, f"{value:.3g}"] for name, value in limits.items()])
    per_cell = min(1e9 * r["seconds"] / r["cells"] / r["steps"] for r in grid["rows"])
    sweep = limits["tridiagonal sweep, ns per unknown"]
    memory = 500.0 / limits["triad in L2, GB/s"]
    return f"""Time per step against the number of cells, P1 with a fixed step tolerance of 2 K; the cost of a step grows with the number
of cells to the power **{grid["exponent"]:.2f}**.

{first}

{second}

{third}

A step has two stages with one tridiagonal sweep in each direction: four sweeps over every cell. At {sweep:.1f} ns per unknown for the
bare sweep (a chain of dependent divisions, so a limit of latency) that is {4 * sweep:.0f} ns, against {per_cell:.0f} ns for
everything in the step. Moving 500 bytes per cell and step (an estimate from a trial kernel, not a measurement) through the second-level
cache would take {memory:.1f} ns: the bandwidth of the memory is not the limit. Sweeping several lines side by side hides the
latency, so the bare sweep is a limit only for one line after the other."""


def batches(data: dict) -> str:
    """Many cases."""
    if not data["batch"]:
        return "Not measured in this run."
    many = table(
        ["what", "cases", "threads", "cases per second", "CPU per case, ms", "peak of the process so far, MB"],
        [[r["what"], f"{r['cases']:,}", str(r["threads"]), f"{r['per_second']:.0f}", f"{r['cpu_ms']:.2f}", f"{r['peak_mb']:.0f}"]
         for r in data["batch"]["rows"]],
    )  # fmt: skip
    return f"""Default accuracy, error estimate included, kinetics coupled, in a process of its own. `simulate_many` keeps the fractions of every
case; a study of trials also works out the hardness by every route and keeps one of them.

{many}

What is missing on two threads at twice the rate of one is Python's lock: of the CPU time of a long bar about 0.35 ms (of a trial
0.45 ms) is Python, during which the other thread can compute but not prepare."""


def render(data: dict) -> str:
    """Return the page."""
    libraries = ", ".join(f"{name} {number}" for name, number in data["libraries"].items())
    references = ", ".join(f"{name} {distance:.3f} K" for name, distance in data["references"].items())
    short = " A short run: not all peers and settings." if data["quick"] else ""
    parts = [
        f"""# Speed at equal error

heatq's conduction solver beside general-purpose libraries, on three problems, in one run. Written by
`python benchmarks/solver.py --write`; `python benchmarks/solver_page.py` renders it from `benchmarks/results/solver.json`.

Run of {data["when"]}: heatq {data["heatq"]}, Python {data["python"]}, {libraries}; {data["processor"]}, {data["cores"]} cores,
load {data["load"][0]:.2f} before and {data["load"][1]:.2f} after. One thread per solver.{short} Ratios carry over to other
machines, milliseconds do not.

## How it is measured

* Error: the largest difference to a reference over all probes and 200 times. The references (`benchmarks/references/`) come from
  spectral elements that share no code with heatq; distance to the next coarser mesh or tolerance: {references}.
* Time: wall time of the whole call, warm, the smallest of several. Of each solver's settings the cheapest within the error counts.
* **×**: times the call of heatq with that `accuracy` and `estimate_error=False` in the same column.
* The peers' grids are graded and picked by hand with the error known, and on P2 they use the plane of symmetry; heatq picks its
  grid itself from `accuracy` and takes the whole bar. The row "by hand" is heatq tuned as the peers are.
* A peer that needs more than 60 s is stopped: "> 60 s", with the simulated time it had reached.
* SciPy's integrators run on the same finite volumes in numpy (tables for the properties, Kirchhoff potential, exact Jacobian). In one
  row the user has also compiled the callbacks with numba: no longer a general-purpose library alone, but what a
  user who compiles can reach.

## What it comes to

How many times as long the best peer takes: first the libraries as they are, then with callbacks compiled by hand. "call" is
`simulate(accuracy=...)`, "by hand" the tuned one, "kernel" the compiled part of the first.

{best_ratios(data)}"""
    ]
    parts += [
        f"## {title}\n\n{comparison(data, name)}"
        for name, title in TITLES.items()
        if any(r["problem"] == name for r in data["runs"])
    ]
    parts += [
        f"## Accuracy asked for and reached\n\n{honesty(data)}",
        f"## Where the limit is\n\n{scaling(data)}",
        f"## Many cases\n\n{batches(data)}",
    ]
    return "\n\n".join(parts) + "\n"


if __name__ == "__main__":
    page = render(json.loads(RESULT.read_text(encoding="utf-8")))
    if "--check" in sys.argv:
        if PAGE.read_text(encoding="utf-8") != page:
            sys.exit(f"{PAGE} is not what {RESULT} gives: run python benchmarks/solver_page.py")
    else:
        PAGE.write_text(page, encoding="utf-8")
