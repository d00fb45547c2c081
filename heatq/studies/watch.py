"""Somebody watches a study: cases done and failed, rate and time left."""

from __future__ import annotations

import sys
import time
from typing import Any

from heatq.errors import InputError
from heatq.studies.packing import FAILED, Batch

__all__ = ["Watch"]


class Watch:
    """Cases done, failed, rate and time left; silent unless somebody watches."""

    def __init__(self, progress: Any, total: int) -> None:
        if not (callable(progress) or progress in ("auto", True, False)):
            raise InputError(
                f"progress = {progress!r} must be 'auto', True, False or a function of done, failed and total."
            )
        self.call = progress if callable(progress) else None
        watched = sys.stderr is not None and sys.stderr.isatty()
        self.wanted = progress is True or (progress == "auto" and watched)
        self.delay = 0.0 if progress is True else 2.0
        self.total, self.done, self.failed, self.skipped = total, 0, 0, 0
        self.begin = time.perf_counter()
        self.bar: Any = None

    def __enter__(self) -> Watch:
        return self

    def __exit__(self, *_: object) -> None:
        if self.bar is not None:
            self.bar.close()

    def skip(self, count: int) -> None:
        """Cases that an earlier run finished."""
        self.skipped = self.done = count

    def add(self, batch: Batch) -> None:
        """Count a batch in."""
        self.done += len(batch.status)
        self.failed += int((batch.status == FAILED).sum())
        if self.call is not None:
            self.call(self.done, self.failed, self.total)
        elif self.wanted and time.perf_counter() - self.begin > self.delay:
            if self.bar is None:
                from tqdm import tqdm

                self.bar = tqdm(total=self.total, initial=self.skipped, unit="case", desc="study", mininterval=0.5)
            self.bar.set_postfix(failed=self.failed, refresh=False)
            self.bar.update(self.done - self.bar.n)
