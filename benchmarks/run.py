"""Run all benchmarks and append one line of JSON to out/results.jsonl: ``python benchmarks/run.py [name ...]``."""

from __future__ import annotations

import datetime
import importlib
import json
import os
import pathlib
import platform
import sys

# the other library may use threads in its linear algebra; the comparison is single-threaded
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

OUT = pathlib.Path(__file__).parent / "out"
sys.path.insert(0, str(pathlib.Path(__file__).parent))


def main(names: list[str]) -> None:
    """Run and append."""
    import heatq

    line = {
        "when": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        "heatq": heatq.__version__,
        "python": platform.python_version(),
        "machine": platform.machine(),
        "cores": os.cpu_count(),
        "load": os.getloadavg()[0],
    }
    for name in names:
        print(f"\n== {name}")
        line[name] = importlib.import_module(name).main()
    OUT.mkdir(exist_ok=True)
    with (OUT / "results.jsonl").open("a", encoding="utf-8") as file:
        file.write(json.dumps(line) + "\n")
    print(f"\nappended to {OUT / 'results.jsonl'}")


if __name__ == "__main__":
    main(sys.argv[1:] or ["bench_trial", "bench_conduction", "accuracy"])
