"""One self-contained HTML page about a result, to be printed, sent or kept."""

from heatq.report.page import html

__all__ = ["html"]
