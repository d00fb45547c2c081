"""Axes, look and units of all figures, in one place: white, quiet, safe for colour-blind readers and in greyscale.

Lengths are drawn in millimetres and temperatures in degrees Celsius, or in what `units` says. Results are never
converted: they stay in SI and degC, only what is drawn changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.constants import inch, milli

from heatq.errors import InputError, check_name
from heatq.units import SHOWN_IN, quenched_end
from heatq.units import shown as shown
from heatq.units import unit_text as unit_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["LINES", "legend", "new_axes", "quiet", "units"]

#: Colour and line style go together, so that lines stay apart in greyscale. Colours: Okabe & Ito (2008), whose set was
#: made for colour-blind readers, without its yellow; black first.
LINES = (
    ("#000000", "-"),
    ("#0072B2", "--"),
    ("#D55E00", "-."),
    ("#009E73", (0, (5, 1, 1, 1, 1, 1))),
    ("#CC79A7", (0, (8, 2))),
    ("#56B4E9", ":"),
    ("#E69F00", (0, (3, 1, 1, 1))),
)
#: A mark for each line of `LINES`.
MARKERS = "osv^D<>"
#: Size of a figure, inches.
SIZE = (6.4, 4.2)


def units(length: str | None = None, temperature: str | None = None) -> AbstractContextManager[None]:
    """Units of lengths and temperatures in figures and printed tables: for all that follows, or within ``with``.

    Parameters
    ----------
    length : {"mm", "inch"}, optional
        Left as it is if not given. With "inch", distances from a quenched end are drawn in sixteenths of an inch.
    temperature : {"degC", "degF"}, optional
        Left as it is if not given. Differences and rates of temperature follow.

    Returns
    -------
    context manager
        At the end of its ``with`` block the units are what they were before.

    Notes
    -----
    The choice holds in the thread and the asynchronous task that made it. Everything else keeps its unit: pressures are
    in bar, velocities in m/s, heat-transfer coefficients in W/m2K. What is passed in is in m, degC and K as everywhere.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> from heatq.plot import histories, units
    >>> history = xr.Dataset({"temperature": (("time", "probe"), [[850.0], [100.0]])},
    ...                      {"time": [1.0, 60.0], "probe": ["centre"]})
    >>> with units("inch", "degF"):
    ...     ax = histories(history)
    >>> ax.get_ylabel(), ax.lines[0].get_ydata()
    ('temperature, °F', array([1562.,  212.]))
    >>> histories(history).get_ylabel()
    'temperature, °C'
    """
    before = SHOWN_IN.get()
    chosen = (
        before[0] if length is None else check_name("length", length, ["mm", "inch"]),
        before[1] if temperature is None else check_name("temperature", temperature, ["degC", "degF"]),
    )
    SHOWN_IN.set(chosen)
    return _back_to(before)


@contextmanager
def _back_to(before: tuple[str, str]) -> Iterator[None]:
    try:
        yield
    finally:
        SHOWN_IN.set(before)


def quenched_end_distance(metres: Any) -> Any:
    """Distance from a quenched end as `quenched_end_axis` expects it: in mm, or in sixteenths of an inch."""
    return quenched_end(metres)[0]


def quenched_end_axis(ax: Axes) -> None:
    """Label of the distance from a quenched end below, and the other of its two usual units above."""
    from matplotlib.ticker import MultipleLocator

    names = ["mm", "1/16 in"]
    factor = inch / 16.0 / milli
    if SHOWN_IN.get()[0] == "inch":
        names.reverse()
        factor = 1.0 / factor
    ax.set_xlim(left=0.0)
    ax.set_xlabel(f"distance from quenched end, {names[0]}")
    above = ax.secondary_xaxis("top", functions=(lambda x: x / factor, lambda x: x * factor))
    above.set_xlabel(f"distance from quenched end, {names[1]}")
    if names[1] == "1/16 in":
        above.xaxis.set_major_locator(MultipleLocator(4))
    else:
        ax.xaxis.set_major_locator(MultipleLocator(4))


def new_axes(rows: int = 1, columns: int = 1, *, size: tuple[float, float] = SIZE, **layout: Any) -> Any:
    """Empty axes of a new white figure, in the look of all other figures; for figures of your own.

    Parameters
    ----------
    rows, columns : int
        Axes below and beside one another.
    size : (float, float)
        Width and height of the figure, inches.
    **layout
        Passed on to `matplotlib.figure.Figure.subplots`, such as ``sharex=True``.

    Returns
    -------
    matplotlib Axes or array
        Their figure is ``ax.figure``; it is not known to pyplot, so nothing needs to be closed.

    Examples
    --------
    >>> ax = new_axes()
    >>> _ = ax.plot([0.0, 1.0], [850.0, 400.0], color=LINES[0][0], linestyle=LINES[0][1], label="centre")
    >>> ax.figure.get_facecolor()
    (1.0, 1.0, 1.0, 1.0)
    >>> upper, lower = new_axes(2, 1, size=(6.4, 5.6), sharex=True)
    """
    from matplotlib.figure import Figure

    check_count("rows", rows)
    check_count("columns", columns)
    figure = Figure(figsize=size, layout="constrained", facecolor="white")
    figure.savefig = partial(_save, figure)  # type: ignore[method-assign]
    axes = figure.subplots(rows, columns, **layout)
    for ax in np.ravel(axes):
        quiet(ax)
    return axes


def _save(figure: Any, *where: Any, **how: Any) -> None:
    """`savefig` that keeps the white background, which a dark style of matplotlib's would paint over."""
    if not how.get("transparent"):
        how.setdefault("facecolor", figure.get_facecolor())
    type(figure).savefig(figure, *where, **how)


def check_axes(ax: Any) -> Any:
    """The same axes, or an error if they are none."""
    if not callable(getattr(ax, "secondary_xaxis", None)):
        raise InputError(f"ax = {ax!r} is no matplotlib Axes: leave it out, or pass one, such as new_axes().")
    return ax


def axes_or_new(ax: Axes | None, size: tuple[float, float] = SIZE) -> Axes:
    """The axes given, or those of a new figure."""
    return new_axes(size=size) if ax is None else check_axes(ax)


def two_axes(axes: Any, rows: int, columns: int, size: tuple[float, float], **layout: Any) -> tuple[Axes, Axes]:
    """The two axes given, or those of a new figure."""
    given = new_axes(rows, columns, size=size, **layout) if axes is None else axes
    try:
        first, second = given
    except (TypeError, ValueError):
        raise InputError(
            f"axes = {axes!r}: two matplotlib Axes, such as those of new_axes({rows}, {columns})."
        ) from None
    return check_axes(first), check_axes(second)


def check_count(argument: str, value: Any) -> int:
    """The same number, or an error if it is no whole one of at least 1."""
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or value < 1:
        raise InputError(f"{argument} = {value!r} must be a whole number of at least 1.")
    return int(value)


def chosen_names(names: Any, known: Iterable[Any], what: str = "probe") -> list[str]:
    """The names that were asked for, or all; an error if one of them is not there."""
    there = [str(name) for name in known]
    if names is None:
        return there
    wanted = [names] if isinstance(names, str) or not isinstance(names, Iterable) else [str(name) for name in names]
    if not wanted:
        raise InputError(f"{what}s is empty: leave it out, or name at least one of {', '.join(there)}.")
    return [check_name(what, name, there) for name in wanted]


def quiet(ax: Axes) -> None:
    """The common look: white, no box, a light grid behind the lines, black text whatever matplotlib's style is.

    Parameters
    ----------
    ax : matplotlib Axes
        Whose look is set; call it when everything is drawn. Labels outside keep their colours in a figure that is dark.

    Examples
    --------
    >>> ax = new_axes()
    >>> quiet(ax)
    >>> ax.spines["top"].get_visible()
    False
    """
    check_axes(ax)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.set_facecolor("white")
    ax.grid(visible=True, color="0.88", linestyle="-", linewidth=0.6)
    ax.set_axisbelow(True)
    ink(ax)


def ink(ax: Any) -> None:
    """Black where matplotlib's style would put its own colour of text, so that a dark style leaves no white on white."""
    from matplotlib import rcParams
    from matplotlib.colors import same_color, to_rgba

    def blacken(*texts: Any) -> None:
        for text in texts:
            if same_color(text.get_color(), rcParams["text.color"]):
                text.set_color("black")

    blacken(*ax.texts)
    *rgb, alpha = to_rgba(ax.figure.get_facecolor())
    if alpha > 0.5 and sum(rgb) < 1.5:  # a dark figure that was given: what stands outside the axes fits it already
        return
    for axis in (ax.xaxis, ax.yaxis):
        if same_color(axis.label.get_color(), rcParams["axes.labelcolor"]):
            axis.label.set_color("black")
        axis.set_tick_params(which="both", color="black", labelcolor="black")
    blacken(ax.title, ax._left_title, ax._right_title)
    for spine in ax.spines.values():
        spine.set_edgecolor("black")
    for child in ax.child_axes:
        ink(child)


def legend(ax: Axes, **how: Any) -> None:
    """The legend where it covers least, in two columns if it is long; what it covers stays visible behind it.

    Parameters
    ----------
    ax : matplotlib Axes
        Whose labelled lines are named; without any there is no legend.
    **how
        Passed on to `matplotlib.axes.Axes.legend`, such as ``loc="lower left"``.

    Examples
    --------
    >>> ax = new_axes()
    >>> _ = ax.plot([0.0, 1.0], [850.0, 400.0], label="centre")
    >>> legend(ax, loc="upper right")
    >>> [text.get_text() for text in ax.get_legend().get_texts()]
    ['centre']
    """
    check_axes(ax)
    count = len(how.get("handles", ax.get_legend_handles_labels()[0]))
    if count:
        drawn = ax.legend(**(LEGEND | {"ncols": 2 if count > 4 else 1} | how))
        drawn.get_title().set_color("black")


#: Look of every legend.
LEGEND: dict[str, Any] = {
    "fontsize": "small",
    "edgecolor": "none",
    "facecolor": "white",
    "framealpha": 0.7,
    "labelcolor": "black",
    "borderpad": 0.2,
}


def title(ax: Axes, text: str, height: float | None = None) -> None:
    """What is drawn, in a few words, on the left above the axes; ``height`` in parts of theirs, else what is needed."""
    ax.set_title(text, fontsize="medium", loc="left", y=height)


def enough(count: int, what: str, cure: str = "draw fewer, or several figures") -> None:
    """More lines than there are distinct styles would look alike in greyscale, or get lost."""
    if count > len(LINES):
        raise InputError(f"{count} {what} in one figure: at most {len(LINES)} stay apart; {cure}.")


def plain_ticks(axis: Any, steps: tuple[float, ...] = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0)) -> None:
    """1, 2, 3, 4 ... instead of powers of ten on a logarithmic axis; ``steps`` within a decade."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    axis.set_major_locator(LogLocator(subs=steps))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.set_minor_formatter(NullFormatter())


def round_ticks(axis: Any) -> None:
    """Steps of 1, 2 or 5 times a power of ten, none of 2.5."""
    from matplotlib.ticker import MaxNLocator

    axis.set_major_locator(MaxNLocator(nbins=8, steps=[1, 2, 5, 10]))


def label_contours(ax: Axes, drawn: Any, text: str) -> None:
    """Write its level on every contour line, where it is farthest from the edges; lines that cut a corner stay without."""
    to_axes = ax.transData + ax.transAxes.inverted()
    places = []
    for path in drawn.get_paths():
        for part in path.to_polygons(closed_only=False):
            if len(part) < 2:
                continue
            along = np.linspace(0.0, len(part) - 1.0, 100)
            line = np.column_stack([np.interp(along, np.arange(len(part)), column) for column in part.T])
            inside = to_axes.transform(line)
            room = np.minimum(inside, 1.0 - inside).min(axis=1)
            if room.max() > 0.06:
                places.append(tuple(line[room.argmax()]))
    if places:
        ax.clabel(drawn, fmt=text, fontsize="small", inline_spacing=2, manual=places)
