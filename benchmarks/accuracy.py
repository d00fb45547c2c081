"""How far reported histories are from converged ones: ``python benchmarks/accuracy.py [--page]``.

Each case is run at several values of ``accuracy`` and held against the same solver with four times as many cells along
the bar and twice as many across it as the default, and a step tolerance of 0.25 K. That measures convergence, not truth;
an independent reference is in bench_conduction.py. The last column is the difference of that reference to a coarser one
(three times, one and a half times, 0.35 K). ``--page`` prints only the table of
docs/explanation/time-stepping-and-error.md. Takes some minutes.
"""

from __future__ import annotations

import sys
import warnings

import numpy as np
from scipy.constants import bar

import heatq as hq
from heatq.conduction.grid import CELLS

GRADES = ("4340H", "4140H", "1045H", "8620H")
ACCURACIES = (1.0, 0.5, 0.25)
#: Cells across and along, in multiples of the default, and step tolerance (K): the reference, and what checks it.
FINE = ((2.0, 4.0), 0.25)
CHECK = ((1.5, 3.0), 0.35)
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
    nr, nz = CELLS["end quench"]
    for grade, name, boundaries in cases():
        steel = hq.grade(grade)

        def run(steel=steel, boundaries=boundaries, **settings):
            return hq.simulate(
                hq.EndQuenchBar(), steel, boundaries, initial_temperature=steel.austenitizing_temperature, end_time=600.0,
                output_times=TIMES, probes=PROBES, progress=False, **settings,
            )  # fmt: skip

        fine, check = (
            run(cells=(round(a * nr), round(b * nz)), step_tolerance=tolerance) for (a, b), tolerance in (FINE, CHECK)
        )
        row = {"grade": grade, "quench": name, "reference": error(check, fine)[0], "accuracy": {}}
        for accuracy in ACCURACIES:
            result = run(accuracy=accuracy)
            row["accuracy"][accuracy] = (*error(result, fine, steel), result.attrs["solve_seconds"])
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
    print(page(rows))
    for accuracy in ACCURACIES:
        kept = sum(row["accuracy"][accuracy][0] <= accuracy for row in rows)
        print(f"accuracy {accuracy:g} K kept in {kept} of {len(rows)} cases")
    return {"cases": [{**row, "accuracy": {f"{a:g}": v for a, v in row["accuracy"].items()}} for row in rows]}


if __name__ == "__main__":
    if "--page" in sys.argv:
        print(page(measure()))
    else:
        main()
