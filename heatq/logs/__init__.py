"""Recorder logs: reading, looking, cleaning; each step explicit and listed in the result."""

from __future__ import annotations

from heatq.logs.cleaning import (
    align_starts,
    cut_log,
    drop_dead_channels,
    fill_gaps,
    join_logs,
    remove_spikes,
    resample_log,
    smooth_log,
)
from heatq.logs.diagnostics import log_report, log_report_text, start_of_quench
from heatq.logs.lumped import lumped_coefficient
from heatq.logs.reading import log_dataset, read_log

__all__ = [
    "align_starts",
    "cut_log",
    "drop_dead_channels",
    "fill_gaps",
    "join_logs",
    "log_dataset",
    "log_report",
    "log_report_text",
    "lumped_coefficient",
    "read_log",
    "remove_spikes",
    "resample_log",
    "smooth_log",
    "start_of_quench",
]
