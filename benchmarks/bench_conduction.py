"""The conduction problems of `reference`, heatq beside general-purpose libraries at equal measured error, in one run.

Error: the largest difference to the stored reference over all probes and 200 times. Of every solver's settings the cheapest one
whose error is within the level counts. Time: wall time of a whole call, warm, smallest of several, one thread.
``python benchmarks/bench_conduction.py [--wide PROBLEM] [--all]``: the first prints a wide sweep of the peers' settings,
from which those in `peers` were chosen; the second all peers on all problems.
"""

from __future__ import annotations

import dataclasses
import itertools
import json
import os
import sys
import time
import warnings

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np  # noqa: E402
import peers  # noqa: E402
import reference  # noqa: E402
from peers.integrators import TimeUp  # noqa: E402

import heatq as hq  # noqa: E402

LEVELS = (5.0, 1.0, 0.1)
LIMIT = 60.0
ACCURACIES = (10.0, 7.0, 5.0, 4.0, 3.0, 2.0, 1.4, 1.0, 0.7, 0.5, 0.35, 0.25, 0.18, 0.13, 0.1, 0.07, 0.05)
#: heatq with its grid and step tolerance chosen by hand, with the error known, as the peers' are: (cells, K).
BY_HAND: dict[str, dict[float, tuple]] = {
    "P1": {
        5.0: (((4, 24), 8.0), ((3, 32), 8.0)),
        1.0: (((5, 84), 3.0), ((6, 80), 3.0)),
        0.1: (((16, 260), 0.08),),
    },
    "P1L": {
        5.0: (((3, 36), 8.0), ((3, 36), 6.0)),
        1.0: (((5, 80), 3.0), ((6, 80), 3.0)),
        0.1: (((18, 260), 0.2), ((16, 320), 0.3)),
    },
    "P2": {
        5.0: (((12, 8), 2.0), ((14, 8), 2.0)),
        1.0: (((38, 12), 0.8), ((38, 12), 0.5)),
        0.1: (((100, 20), 0.08),),
    },
}


@dataclasses.dataclass
class Run:
    """One setting of one solver on one problem; ``seconds`` is the smallest of the repeats."""

    problem: str
    solver: str
    setting: str
    error: float = float("nan")
    seconds: float = float("nan")
    note: str = ""
    level: float = float("nan")
    kernel_seconds: float = float("nan")
    cells: int = 0
    steps: int = 0
    estimate: float = float("nan")


# ---------------------------------------------------------------------------------------------------------- heatq


def fire_code(latent: bool):
    """heatq's material; with latent heat the specific heat is raised between 650 and 700 degC."""
    plain = hq.steels.fire_code_steel()
    if not latent:
        return plain
    curve = plain.specific_heat_curves[0]
    rise = reference.LATENT_HEAT / (reference.FULL - reference.SOLID)
    low, middle, *high = curve.coefficients
    poles = curve.poles
    new = dataclasses.replace(
        curve,
        starts=(0.0, 600.0, 650.0, 700.0, 735.0, 900.0),
        coefficients=(low, middle, (middle[0] + rise,), middle, *high),
        poles=(poles[0], poles[1], poles[1], poles[1], *poles[2:]),
    )
    return dataclasses.replace(plain, name="fire-code steel with latent heat", specific_heat_curves=(new,))


def boundary(face: reference.Face):
    """heatq's boundary of a face."""
    out = hq.Convection(face.coefficient, face.fluid)
    if face.emissivity:
        out = out + hq.Radiation(face.emissivity, surroundings_temperature=face.fluid)
    return out


def heatq_run(problem: reference.Problem, **options):
    """One run of heatq; the whole bar, also where the peers use the symmetry of P2."""
    p = problem
    if p.name == "P2":
        piece = hq.RoundBar(diameter=2 * p.radius, length=2 * p.length)
        faces = {"bottom": boundary(p.bottom), "side": boundary(p.side), "top": boundary(p.bottom)}
    else:
        piece = hq.EndQuenchBar()
        faces = {"jet": boundary(p.bottom), "side": boundary(p.side), "top": boundary(p.top)}
    return hq.simulate(
        piece, fire_code(p.latent), faces, initial_temperature=p.start, end_time=p.end_time, output_times=p.times,
        probes=[hq.Probe(float(r), float(z), f"{1e3 * r:.4g}, {1e3 * z:.4g} mm") for r, z in p.probes],
        progress=False, **options,
    )  # fmt: skip


def heatq_measure(problem: reference.Problem, label: str, setting: str, **options) -> Run:
    """Run, compare, repeat."""
    exact = reference.load(problem.name)[0]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result, seconds = timed(lambda: heatq_run(problem, **options))
    cells = json.loads(result.attrs["settings"])["cells"]
    return Run(
        problem.name, label, f"{setting}, {cells[0]} x {cells[1]}",
        float(np.abs(result["temperature"].values - exact).max()), seconds,
        kernel_seconds=result.attrs["solve_seconds"], cells=cells[0] * cells[1],
        steps=result.attrs["n_steps"] + result.attrs["n_rejected"], estimate=result.attrs["estimated_error"],
    )  # fmt: skip


def heatq_all(problem: reference.Problem, levels: tuple[float, ...]) -> list[Run]:
    """By accuracy with and without error estimate, until the tightest level is met, and by hand."""
    heatq_run(problem, accuracy=5.0)
    runs = []
    for estimate, label in ((False, "heatq, accuracy"), (True, "heatq, accuracy, with error estimate (default)")):
        for accuracy in ACCURACIES:
            runs.append(
                heatq_measure(problem, label, f"accuracy {accuracy:g}", accuracy=accuracy, estimate_error=estimate)
            )
            show(runs[-1])
            if runs[-1].error <= min(levels) or runs[-1].seconds > LIMIT / 5:
                break
    for level in levels:
        for cells, tolerance in BY_HAND[problem.name][level]:
            label = "heatq, grid and tolerance by hand"
            runs.append(heatq_measure(problem, label, f"{tolerance:g} K", cells=cells, step_tolerance=tolerance))
            show(runs[-1])
    return runs


# ------------------------------------------------------------------------------------------------------- measuring


def timed(call, budget: float = 0.5):
    """Result and smallest wall time: several calls while ``budget`` seconds last, one if it alone takes twice that."""
    best, spent, count = np.inf, 0.0, 0
    while count == 0 or (spent < budget and count < 15) or (count < 3 and spent < 2.0 * budget):
        begin = time.perf_counter()
        result = call()
        span = time.perf_counter() - begin
        best, spent, count = min(best, span), spent + span, count + 1
    return result, best


def peer_measure(
    problem: reference.Problem, peer: peers.Peer, setting: tuple, level: float, limit: float = LIMIT
) -> Run:
    """Run a peer with one setting; what stops it is the note."""
    nr, nz, tolerance, grading = setting
    run = Run(problem.name, peer.label, f"{nr} x {nz}, {tolerance:g}", level=level)
    begin = time.perf_counter()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found, run.seconds = timed(lambda: peer.run(problem, limit, *setting))
        run.error = float(np.abs(found - reference.load(problem.name)[0]).max())
    except TimeUp as stop:
        run.seconds, run.note = time.perf_counter() - begin, f"> {limit:.0f} s: reached {stop.where:.3g} s"
    except Exception as failure:  # noqa: BLE001 (a peer that fails is a result)
        run.note = f"failed: {str(failure).splitlines()[0][:80]}"
    return run


def show(run: Run) -> None:
    """Print one line."""
    print(
        f"{run.problem:4} {run.solver[:58]:58} {run.setting:28} {run.error:9.3f} K {1e3 * run.seconds:10.1f} ms {run.note}",
        flush=True,
    )


def peer_all(problem: reference.Problem, peer: peers.Peer, levels, slowest: float, first_only: bool) -> list[Run]:
    """A peer's settings, coarse to fine; one that was stopped or nearly so is not asked for a finer level."""
    if not peer.installed():
        return [Run(problem.name, peer.label, "", note="not installed")]
    runs: list[Run] = []
    for level in levels:
        settings = peer.settings(problem.name, level)
        if level == levels[0] and settings and not peer.is_slow:
            nr, nz, _, grading = settings[0]
            peer.run(problem, slowest, nr, nz, 1e-2, grading)  # warm: imports, compiled callbacks
        for setting in settings[:1] if first_only else settings:
            runs.append(peer_measure(problem, peer, setting, level, slowest))
            show(runs[-1])
            if runs[-1].note or runs[-1].seconds > 0.7 * slowest:
                return runs
            if runs[-1].seconds > 5.0 and runs[-1].error <= level:
                break
    return runs


def compare(problems=("P1", "P1L", "P2"), levels=LEVELS, slowest: float = LIMIT, first_only: bool = False,
            deadline: float = np.inf) -> list[Run]:  # fmt: skip
    """All solvers on the problems, the slow libraries last; after ``deadline`` no further one is started."""
    runs: list[Run] = []
    for is_slow in (False, True):
        for problem in (reference.PROBLEMS[name] for name in problems):
            if not is_slow:
                runs += heatq_all(problem, levels)
            for peer in peers.PEERS:
                if peer.is_slow != is_slow or problem.name not in peer.problems:
                    continue
                if time.perf_counter() > deadline:
                    runs.append(Run(problem.name, peer.label, "", note="not started: no time left"))
                else:
                    runs += peer_all(problem, peer, levels, slowest, first_only)
    return runs


def wide(name: str) -> None:
    """Print the cheapest of a wide range of grids and tolerances for SciPy's integrators."""
    problem = reference.PROBLEMS[name]
    shapes = {"P2": ((6, 4), (8, 4), (12, 6), (16, 6), (24, 8), (72, 8), (96, 10))}.get(
        name,
        ((3, 24), (3, 32), (3, 40), (4, 72), (4, 84), (4, 96), (5, 112), (6, 140), (10, 200), (10, 240), (12, 300)),
    )
    for peer in peers.PEERS[:8]:
        runs = []
        for (nr, nz), tolerance, across in itertools.product(shapes, (5e-3, 2e-3, 5e-4, 1e-4, 3e-5), (1.5, 6.0)):
            setting = (nr, nz, tolerance, (across, 60.0 if name != "P2" else 10.0))
            runs.append(peer_measure(problem, peer, setting, 0.0, 10.0))
            runs[-1].setting += f", {across:g}"
        for level in LEVELS:
            for run in sorted((r for r in runs if r.error <= level), key=lambda r: r.seconds)[:2]:
                show(run)


def main() -> dict:
    """Measure P1 at 5 and 1 K, print, return: the short form for `run.py`."""
    runs = compare(("P1",), (5.0, 1.0), slowest=5.0, first_only=True)
    return {"runs": [dataclasses.asdict(run) for run in runs]}


if __name__ == "__main__":
    if "--wide" in sys.argv:
        wide(sys.argv[-1])
    elif "--all" in sys.argv:
        compare()
    else:
        main()
