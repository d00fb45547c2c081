"""One conduction problem, heatq beside scipy.integrate.solve_ivp at equal measured error, in one run.

Both are held against the same reference (`reference.py`), which shares no code with heatq. The error is the largest
difference over 200 times and six probes. The competitor integrates the same finite volumes as the reference on coarser
grids, in enthalpy, with an exact sparse Jacobian; of several grids and tolerances the cheapest one that is at least as
accurate counts. Times are medians of whole calls, warm, single thread.
"""

from __future__ import annotations

import json
import statistics
import time

import numpy as np
import reference

import heatq as hq

GRIDS = ((6, 80), (8, 112), (10, 140), (12, 180))
TOLERANCES = (3e-3, 1e-3, 3e-4, 1e-4, 3e-5)
ACCURACIES = (2.0, 1.0, 0.5, 0.2, 0.1)


def heatq_run(accuracy: float):
    """One run of heatq."""
    side = hq.Convection(reference.SIDE_COEFFICIENT, reference.FLUID) + hq.Radiation(
        reference.EMISSIVITY, surroundings_temperature=reference.FLUID
    )
    return hq.simulate(
        hq.EndQuenchBar(),
        hq.steels.fire_code_steel(),
        {"jet": hq.Convection(reference.END_COEFFICIENT, reference.FLUID), "side": side, "top": side},
        initial_temperature=reference.START,
        end_time=float(reference.TIMES[-1]),
        output_times=reference.TIMES,
        probes=[hq.Probe(reference.RADIUS, float(z), f"{1e3 * z:.4g} mm") for z in reference.PROBES],
        accuracy=accuracy,
        progress=False,
    )


def median_seconds(call, repeats: int) -> float:
    """Median wall time of a call."""
    spans = []
    for _ in range(repeats):
        begin = time.perf_counter()
        call()
        spans.append(time.perf_counter() - begin)
    return statistics.median(spans)


def main() -> dict:
    """Measure, print, return."""
    exact, own_error = reference.reference()
    print(f"reference: {own_error:.3f} K from its own coarser grid")
    heatq_run(0.5)
    ours = {}
    print(f"{'heatq accuracy, K':>20} {'error, K':>9} {'cells':>9} {'steps':>6} {'call, ms':>9} {'solve, ms':>9}")
    for accuracy in ACCURACIES:
        result = heatq_run(accuracy)
        error = float(np.abs(result["temperature"].values - exact).max())
        seconds = median_seconds(lambda a=accuracy: heatq_run(a), 5)
        ours[accuracy] = (error, seconds)
        cells = json.loads(result.attrs["settings"])["cells"]
        print(
            f"{accuracy:>20g} {error:>9.3f} {cells[0]:>4d} x {cells[1]:<3d} {result.attrs['n_steps']:>5d} "
            f"{1e3 * seconds:>9.1f} {1e3 * result.attrs['solve_seconds']:>9.1f}"
        )
    theirs = []
    print(f"{'solve_ivp BDF':>20} {'error, K':>9} {'rtol':>9} {'':>6} {'call, ms':>9}")
    for nr, nz in GRIDS:
        for tolerance in TOLERANCES:
            bar = reference.Bar(nr, nz)
            found, seconds, _ = bar.solve(tolerance)
            error = float(np.abs(found - exact).max())
            theirs.append((error, seconds))
            print(f"{f'{nr} x {nz}':>20} {error:>9.3f} {tolerance:>9.0e} {'':>6} {1e3 * seconds:>9.1f}")
    ratios = {}
    for accuracy, (error, seconds) in ours.items():
        good = [s for e, s in theirs if e <= error]
        if good:
            ratios[accuracy] = min(good) / seconds
            print(
                f"accuracy {accuracy:g} K ({error:.3f} K measured): solve_ivp needs {ratios[accuracy]:.0f} times as long"
            )
        else:
            print(f"accuracy {accuracy:g} K ({error:.3f} K measured): none of the solve_ivp runs is as accurate")
    return {
        "heatq": {f"{a:g}": {"error": e, "seconds": s} for a, (e, s) in ours.items()},
        "solve_ivp": [{"error": e, "seconds": s} for e, s in theirs],
        "ratio": {f"{a:g}": r for a, r in ratios.items()},
    }


if __name__ == "__main__":
    main()
