"""The progress of a run on the terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any

__all__ = ["Bar", "Progress"]

Progress = str | bool | Callable[[float, float], None]


class Bar:
    """Progress by wall time; silent unless somebody watches."""

    def __init__(self, progress: Progress, end_time: float) -> None:
        self.call = progress if callable(progress) else None
        self.end = end_time
        self.bar: Any = None
        self.wanted = progress is True or (progress == "auto" and sys.stderr is not None and sys.stderr.isatty())
        self.delay = 0.0 if progress is True else 2.0
        self.begin = time.perf_counter()

    def show(self, now: float) -> None:
        """Move on to a time of the run, s."""
        if self.call is not None:
            self.call(now / self.end, now)
        elif self.wanted and time.perf_counter() - self.begin > self.delay:
            if self.bar is None:
                from tqdm import tqdm

                self.bar = tqdm(
                    total=round(self.end, 3),
                    unit="s",
                    desc="simulated",
                    mininterval=1.0,
                )
            self.bar.update(round(now, 3) - self.bar.n)

    def close(self) -> None:
        """Leave the bar as it is."""
        if self.bar is not None:
            self.bar.close()
