"""``heatq warm-up``: compile the kernels now instead of at the first trial."""

from __future__ import annotations

import argparse
import time
from typing import Any

__all__ = ["add_parser", "run"]


def add_parser(commands: Any) -> None:
    """Add the subcommand."""
    parser = commands.add_parser(
        "warm-up",
        help="prepare the computation now, once per installation, so that the first trial need not wait for it",
        description="Translate the computation for this machine and keep it on disk (in the folder that the environment variable "
        "NUMBA_CACHE_DIR names, if it is set). Every first trial does so by itself; this is for installations that are "
        "prepared beforehand, and before several trials start at once.",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run one tiny trial, which compiles whatever is not on disk yet."""
    from heatq.boundaries import Convection
    from heatq.specimens import RoundBar
    from heatq.steels import demo_heat
    from heatq.transformation import transform
    from heatq.trials import trial

    begin = time.perf_counter()
    heat = demo_heat()
    bath = {"side": Convection(coefficient=1000.0, fluid_temperature=20.0)}
    result = trial(RoundBar(diameter=0.01), heat, bath, end_time=20.0, accuracy=5.0, progress=False)
    transform(result, heat)
    print(f"ready ({time.perf_counter() - begin:.1f} s)")
    return 0
