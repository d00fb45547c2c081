"""Figures of transformation diagrams, histories laid over them, equal cooling, and carburized cases.

Lines follow `heatq.plot_style.LINES`: colour and line style go together. A phase has its colour everywhere; its start line is
drawn thick, its finish line thin, and the field between them is tinted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from heatq.diagrams import START_SHARES
from heatq.diagrams import cct as compute_cct
from heatq.errors import InputError
from heatq.hardness import hardness_of
from heatq.history import check_history, crossing_time
from heatq.plot_style import (
    LINES,
    axes_or_new,
    chosen_names,
    enough,
    ink,
    legend,
    new_axes,
    quenched_end_axis,
    quenched_end_distance,
    quiet,
    shown,
    title,
    unit_text,
)
from heatq.steels import Steel
from heatq.transformation import transform
from heatq.units import in_words

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

__all__ = ["case", "cct", "equal_cooling", "overlay", "ttt"]

#: Phase -> (colour, line style), out of `LINES`.
PHASE_LINES = {
    "ferrite": LINES[1],
    "pearlite": LINES[2],
    "bainite": LINES[3],
    "martensite": LINES[4],
    "austenite": LINES[6],
}
#: Hatch of a phase in the bars, where tints look alike in greyscale.
_HATCHES = {"ferrite": "", "pearlite": "///", "bainite": "...", "martensite": "\\\\\\", "austenite": "xxx"}
#: Room below 0 degC in which the hardness at the end of each curve stands, K.
_BELOW = 30.0
_LEVELS = (("ae3", "Ae3"), ("ae1", "Ae1"), ("bs", "Bs"), ("ms", "Ms"))


def _drawn(diagram: xr.Dataset, kind: str) -> None:
    attributes = getattr(diagram, "attrs", {})
    if attributes.get("diagram") != kind:
        raise InputError(f"diagram is not a {kind.upper()} diagram: pass what {kind}() returned.")


def _field(ax: Axes, phase: str, start: tuple[Any, Any], finish: tuple[Any, Any]) -> None:
    """Start and finish line of a phase, (time, temperature) each, and the tint between them."""
    colour, style = PHASE_LINES[phase]
    start, finish = ((time, shown(level, "degC")[0]) for time, level in (start, finish))
    good = np.isfinite(start[0]) & np.isfinite(finish[0]) & (start[0] > 0)
    if not good.any():
        return
    ax.plot(start[0][good], start[1][good], color=colour, linestyle=style, linewidth=1.8)
    ax.plot(finish[0][good], finish[1][good], color=colour, linestyle=style, linewidth=0.8)
    x = np.concatenate([start[0][good], finish[0][good][::-1]])
    y = np.concatenate([start[1][good], finish[1][good][::-1]])
    ax.fill(x, y, color=colour, alpha=0.09, linewidth=0)
    n = int(good.sum())
    k = {"ferrite": 5 * n // 6, "pearlite": n // 2, "bainite": n // 2, "martensite": n - 1}[phase]
    at, level = np.sqrt(start[0][good][k] * finish[0][good][k]), 0.5 * (start[1][good][k] + finish[1][good][k])
    offset = (0, 0)
    if phase == "ferrite":  # its field overlaps that of pearlite: above its start line
        at, level, offset = start[0][good][k], start[1][good][k], (0, 9)
    elif phase == "martensite":
        at, offset = np.sqrt(start[0][good][k] * finish[0][good][k]), (40, 0)
    ax.annotate(
        phase,
        (at, level),
        xytext=offset,
        textcoords="offset points",
        color=colour,
        fontsize="small",
        ha="center",
        va="center",
        bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.6},
    )


def _spread(wanted: Any, gap: float, low: float, high: float) -> Any:
    """Positions near the wanted ones, in their order, at least ``gap`` apart and inside low..high if they fit."""
    order = np.argsort(wanted)
    placed = np.array(wanted, dtype=float)[order]
    for n in range(1, len(placed)):
        placed[n] = max(placed[n], placed[n - 1] + gap)
    placed += min(0.0, high - placed[-1])
    for n in range(len(placed) - 2, -1, -1):
        placed[n] = min(placed[n], placed[n + 1] - gap)
    placed += max(0.0, low - placed[0])
    out = np.empty_like(placed)
    out[order] = placed
    return out


def _levels(ax: Axes, diagram: xr.Dataset) -> None:
    """Critical temperatures as short marks on the right edge."""
    taken: list[float] = []
    for name, text in _LEVELS:
        level = float(diagram[name])
        ax.axhline(shown(level, "degC")[0], color="0.6", linewidth=0.6, zorder=0)
        y = level
        while any(abs(y - other) < 24.0 for other in taken):
            y -= 6.0
        taken.append(y)
        ax.annotate(
            f"{text} {shown(level, 'degC')[0]:.0f}",
            (1.005, shown(y, "degC")[0]),
            xycoords=("axes fraction", "data"),
            fontsize="x-small",
            va="center",
            color="0.35",
        )


def _frame(ax: Axes, diagram: xr.Dataset, text: str) -> None:
    ax.set_xscale("log")
    ax.set_xlabel(text)
    ax.set_ylabel(f"temperature, {unit_text('degC')}")
    ax.set_ylim(shown([0.0, float(diagram["ae3"]) + 40.0], "degC")[0])
    _levels(ax, diagram)
    name = str(diagram.attrs.get("steel_name", ""))
    above = len(name) > 24  # the key, which stands on the right
    if name:
        title(ax, name, 1.05 if above else None)
    ax.set_title(
        "thick: start (1 %, pearlite 5 %); thin: finish (99 % of the phase)",
        fontsize="x-small",
        loc="right",
        color="0.35",
        y=1.0 if above else None,
    )
    quiet(ax)


def cct(diagram: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Continuous-cooling diagram: start (thick) and finish (thin) of every phase over the time from Ae3.

    Parameters
    ----------
    diagram : Dataset
        As `heatq.diagrams.cct` returns it.
    ax : matplotlib Axes, optional
        Where to draw.

    Examples
    --------
    >>> import heatq as hq
    >>> from heatq.diagrams import cct as compute
    >>> cct(compute(hq.grade("4140"))).get_xlabel()
    'time from Ae3, s'
    """
    _drawn(diagram, "cct")
    ax = axes_or_new(ax, (7.0, 4.6))
    for phase in START_SHARES:
        part = diagram.sel(phase=phase)
        _field(
            ax,
            phase,
            (part["start_time"].values, part["start_temperature"].values),
            (part["finish_time"].values, part["finish_temperature"].values),
        )
    _frame(ax, diagram, "time from Ae3, s")
    times = diagram["start_time"].values
    times = times[np.isfinite(times) & (times > 0.0)]
    if times.size:
        ax.set_xlim(max(times.min() * 0.5, 0.1), times.max() * 2.0)
    return ax


def ttt(diagram: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Isothermal diagram: start (thick) and finish (thin) of every phase over the time at temperature.

    Parameters
    ----------
    diagram : Dataset
        As `heatq.diagrams.ttt` returns it.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    _drawn(diagram, "ttt")
    ax = axes_or_new(ax, (7.0, 4.6))
    temperature = diagram["temperature"].values
    for phase in ("ferrite", "pearlite", "bainite"):
        part = diagram.sel(phase=phase)
        _field(ax, phase, (part["start_time"].values, temperature), (part["finish_time"].values, temperature))
    _frame(ax, diagram, "time at temperature, s")
    return ax


def _predicted(history: xr.Dataset, steel: Any) -> xr.Dataset:
    """Fractions and hardness of a history: its own if it is a trial, else by `transform` and `hardness_of`."""
    found = history if "fraction" in history else transform(history, steel)
    hardness = history if "hardness_hv" in history else hardness_of(found, steel)
    return found[["fraction"]].assign(hardness_hv=hardness["hardness_hv"], hardness_hrc=hardness["hardness_hrc"])


def overlay(
    history: xr.Dataset,
    steel: Any,
    *,
    probes: Any = None,
    diagram: xr.Dataset | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Cooling curves over the CCT diagram of the heat, with structure and hardness at the end of each curve.

    Parameters
    ----------
    history : Dataset
        ``temperature(time, probe)`` simulated or measured; fractions and hardness in it are used, else computed.
    steel : Steel
        The heat.
    probes : list of str, optional
        At most seven; by default spread over what there is.
    diagram : Dataset, optional
        A `heatq.diagrams.cct` to draw instead of computing it.
    ax : matplotlib Axes, optional
        Where to draw; then the bars of the structure are left out and the curves carry the hardness only.

    Returns
    -------
    matplotlib Axes
        Of the diagram. The bars are the second axes of its figure.

    Notes
    -----
    Every curve starts where its probe passes Ae3. A curve of a section is no straight line of the diagram: recalescence
    lifts it, and a constant-rate line that it crosses tells the start of a transformation only roughly. What ends up in
    the bars is computed along the curve, not read off the lines.
    """
    temperature = check_history(history)
    known = [str(name) for name in temperature["probe"].values]
    names = chosen_names(probes, known)
    if probes is None and len(names) > 5:
        names = [names[k] for k in np.unique(np.linspace(0, len(names) - 1, 5).round().astype(int))]
    enough(len(names), "probes")
    rows = [known.index(name) for name in names]
    if not isinstance(steel, Steel):
        raise InputError(f"steel = {steel!r} does not transform: an overlay needs the Steel of the heat.")
    diagram = compute_cct(steel) if diagram is None else diagram
    found = _predicted(history, steel)
    bars = None
    if ax is None:
        rows_high = 0.24 * len(names)
        ax, bars = new_axes(2, 1, size=(7.2, 4.4 + rows_high), height_ratios=[4.4, rows_high + 0.35])
    cct(diagram, ax=ax)
    passing = crossing_time(history, float(diagram["ae3"])).values
    time = history["time"].values.astype(float)
    low, high = ax.get_xlim()
    ends = []
    for row, (colour, style) in zip(rows, LINES, strict=False):
        zero = passing[row] if np.isfinite(passing[row]) else time[0]
        after = time - zero
        begun = after > 0.0
        line = temperature.values[begun, row]
        drawn, _ = shown(line, "degC")
        ax.plot(after[begun], drawn, color="white", linewidth=3.2)
        ax.plot(after[begun], drawn, color="#000000", linestyle=LINES[rows.index(row)][1], linewidth=1.3)
        final = line > 45.0
        ends.append((float(after[begun][final][-1]) if final.any() else high, colour, style))
    right = max(end for end, _, _ in ends) * 3.0
    ax.set_xlim(low, right)
    width = np.log10(right / low)
    places = 10.0 ** _spread(
        [np.log10(end) for end, _, _ in ends], 0.1 * width, np.log10(low) + 0.05 * width, np.log10(right) - 0.05 * width
    )
    for place, row, (end, _, _) in zip(places, rows, ends, strict=True):
        ax.annotate(
            _hardness(found, row),
            (end, shown(45.0, "degC")[0]),
            xytext=(place, shown(-_BELOW, "degC")[0]),
            ha="center",
            va="center",
            fontsize="small",
            annotation_clip=False,
            bbox={"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": "0.6", "linewidth": 0.6},
            arrowprops={"arrowstyle": "-", "color": "0.6", "linewidth": 0.6},
        )
    ax.set_ylim(bottom=shown(-2.0 * _BELOW, "degC")[0])
    quiet(ax)
    if bars is not None:
        _structure(bars, found, rows, [in_words(name) for name in names])
    return ax


def _hardness(found: xr.Dataset, row: int) -> str:
    hrc = float(found["hardness_hrc"].values[row])
    return f"{hrc:.0f} HRC" if np.isfinite(hrc) else f"{float(found['hardness_hv'].values[row]):.0f} HV"


def _filled(phase: str) -> dict[str, Any]:
    """Look of a phase in the bars."""
    look: dict[str, Any] = {"facecolor": PHASE_LINES[phase][0], "edgecolor": "white", "linewidth": 0.8}
    return look | {"alpha": 0.75, "hatch": _HATCHES[phase]}


def _structure(ax: Axes, found: xr.Dataset, rows: list[int], names: list[str]) -> None:
    """One bar per curve: shares of the phases, hardness at the end, and the curve's line style on the left."""
    parts = found["fraction"].transpose("phase", "probe")
    seen = []
    for n, row in enumerate(rows):
        left = 0.0
        for phase, share in zip(parts["phase"].values, parts.values[:, row], strict=True):
            if share > 0.003:
                ax.barh(n, share, left=left, height=0.72, **_filled(str(phase)))
                seen.append(str(phase))
            if share > 0.06:
                box = {"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.8}
                at = left + share / 2
                ax.text(at, n, f"{share:.0%}", ha="center", va="center", fontsize="x-small", bbox=box)
            left += share
        ax.plot([-0.085, -0.015], [n, n], color="#000000", linestyle=LINES[n][1], linewidth=1.3, clip_on=False)
        ax.text(1.01, n, _hardness(found, row), va="center", fontsize="small")
    ax.set_yticks(range(len(names)), names)
    ax.tick_params(axis="y", length=0, pad=38)
    ax.set_xlim(0.0, 1.0)
    ax.set_ylim(len(names) - 0.4, -0.6)
    ax.set_xticks([])
    quiet(ax)
    ax.grid(visible=False)
    for spine in ax.spines.values():
        spine.set_visible(False)
    order = [phase for phase in PHASE_LINES if phase in seen]
    from matplotlib.patches import Patch

    patches = [Patch(label=phase, **_filled(phase)) for phase in order]
    where: dict[str, Any] = {"loc": "upper center", "bbox_to_anchor": (0.5, 0.0)}
    legend(ax, handles=patches, ncols=len(order), fontsize="x-small", **where)


def equal_cooling(mapped: xr.Dataset, curve: Any, *, ax: Axes | None = None) -> Axes:
    """End-quench curve or band of the heat, and where on it the places of a piece stand.

    Parameters
    ----------
    mapped : Dataset
        As `heatq.hardness.equal_cooling.hardness_from_curve` returns it.
    curve : Dataset or HardenabilityBand
        The same curve that was given there.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    from heatq.hardness.equal_cooling import _curve_columns

    if not {"equivalent_distance", "hardness_hrc"} <= set(getattr(mapped, "variables", ())):
        raise InputError("mapped is not what hardness_from_curve() returns.")
    where, columns, _ = _curve_columns(curve)
    ax = axes_or_new(ax)
    x = quenched_end_distance(where)
    if "low" in columns:
        ax.fill_between(
            x, columns["low"], columns["high"], color=LINES[1][0], alpha=0.15, linewidth=0, label="band of the grade"
        )
        ax.plot(
            x, columns["middle"], color=LINES[1][0], linestyle=LINES[1][1], linewidth=1.2, label="middle of the band"
        )
    else:
        ax.plot(
            x,
            columns["middle"],
            color="#000000",
            marker="o",
            markerfacecolor="white",
            markersize=4,
            linewidth=1.0,
            label="measured",
        )
    top = float(np.nanmax(np.concatenate(list(columns.values()))))
    bottom = min(20.0, float(np.nanmin(np.concatenate(list(columns.values())))))
    middle = mapped["hardness_hrc"].sel(bound="middle").values
    distance = quenched_end_distance(
        np.where(mapped["is_faster"].values, where[0], mapped["equivalent_distance"].values)
    )
    inside = np.flatnonzero(np.isfinite(distance) & (distance <= 1.05 * x[-1]))
    colour = LINES[2][0]
    places = _spread(distance[inside], 0.045 * x[-1], 0.0, x[-1]) if inside.size else []
    for place, n in zip(places, inside, strict=True):
        name, value = mapped["probe"].values[n], middle[n]
        said = f"{in_words(str(name))}: {value:.0f} HRC" if np.isfinite(value) else f"{in_words(str(name))}: no limit"
        end = value if np.isfinite(value) else top
        ax.plot([distance[n]] * 2, [bottom, end], color=colour, linewidth=0.8, linestyle=":")
        ax.annotate(
            said,
            (distance[n], end),
            xytext=(place, top + 4.0),
            rotation=60,
            fontsize="small",
            color=colour,
            ha="left",
            va="bottom",
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.5},
        )
        if np.isfinite(value):
            ax.plot(distance[n], value, color=colour, marker="D", markersize=5)
    ax.set_ylim(bottom, top + 27.0)  # above the curve only names
    ax.set_yticks([tick for tick in np.arange(10.0 * np.ceil(bottom / 10.0), 70.0, 10.0) if tick <= top + 6.0])
    ax.set_ylabel("hardness, HRC")
    title(ax, f"equal cooling {mapped.attrs.get('by', '')}".strip())
    quenched_end_axis(ax)
    quiet(ax)
    legend(ax, loc="lower left")
    return ax


def case(result: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Hardness and carbon over the depth of a carburized case.

    Parameters
    ----------
    result : Dataset
        As `heatq.carburizing.case_hardness` returns it.
    ax : matplotlib Axes, optional
        Where to draw.
    """
    if not {"hardness_hv", "depth", "case_depth"} <= set(getattr(result, "variables", ())):
        raise InputError("result is not what case_hardness() returns.")
    ax = axes_or_new(ax)
    depth, unit = shown(result["depth"].values, "m")
    colour, style = LINES[0]
    ax.plot(depth, result["hardness_hv"].values, color=colour, linestyle=style, linewidth=1.6, label="hardness")
    ax.axhline(float(result["core_hardness_hv"]), color="0.35", linewidth=1.2, linestyle=LINES[5][1], label="core")
    found, _ = shown(result["case_depth"].values, "m")
    if np.isfinite(found):
        ax.plot([found, found, 0.0], [0.0, 550.0, 550.0], color="0.5", linewidth=0.8)
        ax.annotate(
            f"550 HV at {found:.{2 if unit == 'mm' else 3}f} {unit}",
            (found, 550.0),
            xytext=(6, 4),
            textcoords="offset points",
            fontsize="small",
        )
    ax.set_xlim(left=0.0)
    ax.set_ylim(0.0, 950.0)
    ax.set_xlabel(f"depth below the surface, {unit}")
    ax.set_ylabel("hardness, HV")
    quiet(ax)
    right = ax.twinx()
    right.plot(depth, result["carbon"].values, color=LINES[1][0], linestyle=LINES[1][1], linewidth=1.2)
    right.set_ylabel("carbon, % (dashed)", color=LINES[1][0])
    right.set_ylim(0.0, 1.2)
    right.spines["top"].set_visible(False)
    ink(right)
    legend(ax, loc="upper right")
    return ax
