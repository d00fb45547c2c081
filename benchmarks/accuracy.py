"""How far reported histories are from converged ones: ``python benchmarks/accuracy.py [--write]``.

Each case is run at several values of ``accuracy`` and held against the same solver on a grid of 12 x 450 cells of its own
grading with a step tolerance of 0.2 K. That measures convergence, not truth; an independent reference is in
bench_conduction.py. The last column is the difference of that reference to a coarser one (10 x 350 cells, 0.3 K).
``--write`` puts the table into docs/explanation/time-stepping-and-error.md. Takes some minutes.
"""

from __future__ import annotations

import json
import pathlib
import sys
import time
import warnings

import numpy as np
from scipy.constants import bar

import heatq as hq

GRADES = ("4340H", "4140H", "1045H", "8620H")
ACCURACIES = (1.0, 0.5, 0.25)
#: Cells across and along, and step tolerance (K): the reference, and what checks it.
FINE = ((12, 450), 0.2)
CHECK = ((10, 350), 0.3)
MARK = "measured accuracy"
PAGE = pathlib.Path(__file__).parents[1] / "docs" / "explanation" / "time-stepping-and-error.md"
TIMES = np.geomspace(0.1, 600.0, 300)
PROBES = [f"J{j}" for j in (1, 2, 3, 4, 6, 8, 10, 12, 16, 20, 24, 32)]


def cases():
    """Grade, quench, bar, boundaries."""
    side = hq.StillAir(temperature=24.0) + hq.Radiation(0.3, surroundings_temperature=24.0)
    jets = {
        "water": hq.WaterJet(temperature=24.0),
        "nitrogen, 60 m/s, 4 bar": hq.GasJet("nitrogen", velocity=60.0, pressure=4 * bar, temperature=25.0),
    }
    for grade in GRADES:
        for name, jet in jets.items():
            yield grade, name, {"jet": jet, "side": side, "top": side}


def measure() -> list[dict]:
    """Largest error of temperature (K) over probes and times, of hardness (HV) over probes, for each case."""
    rows = []
    for grade, name, boundaries in cases():
        steel = hq.grade(grade)

        def run(steel=steel, boundaries=boundaries, **settings):
            return hq.simulate(
                hq.EndQuenchBar(), steel, boundaries, initial_temperature=steel.austenitizing_temperature, end_time=600.0,
                output_times=TIMES, probes=PROBES, progress=False, **settings,
            )  # fmt: skip

        fine, check = (run(cells=cells, step_tolerance=tolerance) for cells, tolerance in (FINE, CHECK))
        row = {"grade": grade, "quench": name, "reference": error(check, fine)[0], "accuracy": {}}
        for accuracy in ACCURACIES:
            result = run(accuracy=accuracy)
            row["accuracy"][accuracy] = (*error(result, fine, steel), json.loads(result.attrs["settings"])["cells"])
        rows.append(row)
        print(f"{len(rows)} of {2 * len(GRADES)}", file=sys.stderr, flush=True)
    return rows


def error(result, fine, steel=None) -> tuple[float, float]:
    """Largest difference of temperature, K, and of hardness, HV."""
    kelvin = float(np.abs(result["temperature"].values - fine["temperature"].values).max())
    if steel is None:
        return kelvin, np.nan
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", hq.ValidityWarning)
        hv = [hq.hardness_of(r, steel)["hardness_hv"].values for r in (result, fine)]
    return kelvin, float(np.nanmax(np.abs(hv[0] - hv[1])))


def page(rows: list[dict]) -> str:
    """Markdown table."""
    head = ["steel", "quench", *(f"accuracy {a:g} K" for a in ACCURACIES), "reference itself"]
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    for row in rows:
        cells = [f"{k:.2f} K, {h:.1f} HV" for k, h, _ in row["accuracy"].values()]
        lines.append("| " + " | ".join([row["grade"], row["quench"], *cells, f"{row['reference']:.2f} K"]) + " |")
    return "\n".join(lines)


def main() -> dict:
    """Measure, print, return."""
    rows = measure()
    table = page(rows)
    kept = [sum(row["accuracy"][a][0] <= a for row in rows) for a in ACCURACIES]
    table += f"\n| kept in | | {' | '.join(f'{n} of {len(rows)}' for n in kept)} | |"
    print(table)
    return {
        "cases": [{**row, "accuracy": {f"{a:g}": v for a, v in row["accuracy"].items()}} for row in rows],
        "table": table,
    }


def write(table: str) -> None:
    """Replace the table of the page."""
    text = PAGE.read_text(encoding="utf-8")
    before, rest = text.split(f"<!-- {MARK} -->\n", 1)
    _, after = rest.split(f"<!-- end of {MARK} -->", 1)
    stamp = time.strftime("%Y-%m-%d")
    PAGE.write_text(
        f"{before}<!-- {MARK} -->\n\n{table}\n\nPrinted by `python benchmarks/accuracy.py --write` on {stamp}.\n\n"
        f"<!-- end of {MARK} -->{after}",
        encoding="utf-8",
    )


if __name__ == "__main__":
    found = main()
    if "--write" in sys.argv:
        write(found["table"])
