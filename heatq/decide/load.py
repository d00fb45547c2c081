"""A load in a furnace: gas passes row after row, warms up, is cooled and comes back."""

from __future__ import annotations

import dataclasses
import json
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from heatq._version import __version__
from heatq.boundaries.gas import gas_name
from heatq.decide.furnace import Furnace
from heatq.decide.passage import Anderson, Passage, Row
from heatq.decide.runs import finish
from heatq.errors import InputError, check_number, collect_validity
from heatq.history import cooling_rate, cooling_time
from heatq.specimens import check_piece
from heatq.transformation.options import DEFAULT

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["Load", "quench_load"]

Array = npt.NDArray[np.float64]

#: Sweeps over all rows stop when the gas changes by less than this anywhere, K, and what is not closed yet is less than this share of
#: the heat of the load; and at most so many.
SETTLED, CLOSED, SWEEPS = 1e-4, 3e-7, 120
#: Specific heat of steel fixtures, J/kgK, mean of 20 to 800 degC: heat-resisting steels about 550 to 600 (from memory).
FIXTURE_HEAT = 580.0


@dataclasses.dataclass(frozen=True)
class Load:
    """Equal pieces in rows across the flow of the gas, with their fixtures.

    Parameters
    ----------
    piece : RoundBar or Tube
        One piece; a bar without a length needs ``piece_length``.
    steel : Steel
        Its heat.
    rows : int
        One behind the other in the direction of the gas.
    per_row : int
        Pieces in each row.
    piece_length : float, optional
        m, of a piece that is computed as a long bar (ends left out of the conduction, not of the mass).
    fixture_mass : float
        Of baskets and grids, kg, spread evenly over the rows.
    fixture_diameter : float
        Of their wires or rods, m: sets their surface.
    fixture_specific_heat : float
        J/kgK.
    label : str
        Name for tables.

    Examples
    --------
    27 bars of 60 x 500 mm in three baskets, nine rows of three:

    >>> import heatq as hq
    >>> load = Load(hq.RoundBar(diameter=0.06), hq.grade("4140"), rows=9, per_row=3, piece_length=0.5, fixture_mass=80.0)
    >>> load.pieces, round(load.mass)
    (27, 376)
    """

    piece: Any
    steel: Any
    rows: int = 1
    per_row: int = 1
    piece_length: float | None = None
    fixture_mass: float = 0.0
    fixture_diameter: float = 0.012
    fixture_specific_heat: float = FIXTURE_HEAT
    label: str = "load"

    def __post_init__(self) -> None:
        """Check the arguments."""
        check_piece(self.piece)
        for name in ("rows", "per_row"):
            value = getattr(self, name)
            if not isinstance(value, int) or isinstance(value, bool) or not 1 <= value <= 1000:
                raise InputError(f"{name} = {value!r} must be a whole number from 1 to 1000.")
        if self.piece.length is None and self.piece_length is None:
            raise InputError("piece_length: a load needs the length of its pieces in m; the piece is a long bar.")
        if self.piece.length is not None and self.piece_length is not None:
            raise InputError("piece_length is for a piece without a length of its own; this one has one.")
        if self.piece_length is not None:
            check_number("piece_length", self.piece_length, "length")
        check_number("fixture_mass", self.fixture_mass, low=0.0, high=1e5, unit="kg")
        check_number("fixture_diameter", self.fixture_diameter, "diameter")
        check_number("fixture_specific_heat", self.fixture_specific_heat, low=100.0, high=2000.0, unit="J/kgK")

    @property
    def pieces(self) -> int:
        """Number of pieces."""
        return self.rows * self.per_row

    @property
    def length(self) -> float:
        """Of one piece, m."""
        return float(self.piece.length if self.piece_length is None else self.piece_length)

    @property
    def mass(self) -> float:
        """Of pieces and fixtures, kg."""
        area = np.pi * (self.piece.outer_radius**2 - self.piece.inner_radius**2)
        density = float(getattr(self.steel, "material", self.steel).density)
        return float(self.pieces * area * self.length * density + self.fixture_mass)


def quench_load(
    furnace: Furnace,
    load: Load,
    gas: Any = "nitrogen",
    pressure: float = 6e5,
    *,
    speed: float = 1.0,
    end_time: float = 1200.0,
    initial_temperature: float | None = None,
    probes: Any = None,
    accuracy: float = 1.0,
    kinetics: Any = DEFAULT,
    coupled: bool = True,
    knots: int = 60,
    **settings: Any,
) -> xr.Dataset:
    """Quench a whole load: the gas warms up from row to row, is cooled, and comes back.

    Parameters
    ----------
    furnace : Furnace
        With its velocity or survey, cooler, volume and time of pressure rise.
    load : Load
        Pieces in rows, and fixtures.
    gas, pressure : str or mapping, float
        As in `heatq.GasQuench`; absolute pressure in Pa.
    speed : float
        Of the fan, over full speed.
    end_time : float
        s.
    initial_temperature : float, optional
        degC; default the steel's austenitizing temperature.
    probes, accuracy, kinetics, coupled
        As in `heatq.simulate`.
    knots : int
        Times at which the gas is worked out, spread geometrically.
    **settings
        Others of `heatq.GasQuench`: ``flow`` (``functools.partial(heatq.GasBank, ...)`` for a close grid), ``factor``,
        ``emissivity`` (0 unless given: pieces of a load see one another; what they radiate would be credited to the gas).
        ``temperature`` is worked out here.

    Returns
    -------
    xarray.Dataset
        Over ``column`` ("mean", and with a survey "slowest" and "fastest"), ``row`` in flow direction, ``probe`` and ``time``:
        ``temperature``, ``hardness_hv``, ``hardness_hrc``, ``fraction``, ``cooling_time_800_500`` and ``cooling_rate_704``;
        ``gas_before`` and ``gas_after`` each row (degC, means of the intervals up to ``time``); ``cooler_heat``, ``fan_heat``,
        ``stored_heat`` and ``load_heat`` (J from the start); ``fixture_temperature``; ``hardness_spread`` per probe. Attributes: the
        slowest place, the relative ``energy_residual`` of the whole, ``sweeps``.

    Raises
    ------
    InputError
        For impossible arguments, or if the gas does not settle.

    Notes
    -----
    Pieces of a row are alike. Gas is stored only in the vessel (well mixed, its mass that of the cold gas at full pressure), not
    between the rows; walls of the furnace take up and give off nothing. A row takes from the gas that comes in what an
    exchanger of one temperature takes, so that no gas leaves hotter than the steel. While the
    pressure rises (from 0.1 bar, below which it carries next to nothing) the mass flow rises with it. Slow and fast columns of a survey have their own flow and warming, and the inlet
    of the mean. Radiation between pieces is left out: what a piece radiates goes to walls as cold as the gas.

    Examples
    --------
    >>> import heatq as hq
    >>> from scipy.constants import bar
    >>> from heatq.decide.furnace import Cooler
    >>> furnace = Furnace(volume=3.0, flow_area=0.6, velocity=3.0, cooler=Cooler(effectiveness=0.8))      # invented
    >>> load = Load(hq.RoundBar(diameter=0.04), hq.grade("4340"), rows=3, per_row=6, piece_length=0.5)
    >>> done = quench_load(furnace, load, "nitrogen", 6 * bar, end_time=600.0, accuracy=4.0, knots=20)
    >>> bool((done.gas_after.isel(time=5).diff("row") > 0).all())                    # the gas warms up from row to row
    True
    >>> done.attrs["energy_residual"] < 1e-6
    True
    """
    _check_load(furnace, load, knots)
    check_number("end_time", end_time, "end_time")
    check_number("speed", speed, low=0.0, high=2.0, unit="1", low_open=True)
    if "temperature" in settings or "velocity" in settings:
        raise InputError("temperature and velocity of the gas follow from the furnace: leave them out.")
    settings = {"emissivity": 0.0, **settings}
    quench = furnace.quench(gas, pressure, speed=speed, temperature=furnace.cooler.water_temperature, **settings)
    options = {
        "probes": probes, "accuracy": accuracy, "kinetics": kinetics, "coupled": coupled,
        "initial_temperature": initial_temperature,
    }  # fmt: skip
    with collect_validity() as notes:
        passage = Passage(furnace, load, quench, end_time, knots, options)
        rows, inlet, flow, balance, sweeps = _settle(passage)
        columns = {"mean": rows}
        for name, factor in furnace.velocity_factors.items():
            if name != "mean":
                own = flow * factor
                columns[name] = passage.through(inlet, own)
        result = _load_dataset(passage, columns, inlet, balance)
        result.attrs |= {
            "heatq_version": __version__,
            "furnace": furnace.label,
            "load": load.label,
            "pieces": load.pieces,
            "mass": load.mass,
            "gas": gas_name(gas),
            "pressure": pressure,
            "velocity": quench.velocity,
            "sweeps": sweeps,
            "warnings": json.dumps(list(notes.values())),
        }
    return result


def _check_load(furnace: Any, load: Any, knots: Any) -> None:
    if not isinstance(furnace, Furnace):
        raise InputError(f"furnace = {furnace!r} must be a Furnace(volume=..., flow_area=..., velocity=...).")
    if not isinstance(load, Load):
        raise InputError(f"load = {load!r} must be a Load(piece, steel, rows=..., per_row=...).")
    if not isinstance(knots, int) or not 10 <= knots <= 1000:
        raise InputError(f"knots = {knots!r} must be a whole number from 10 to 1000.")


def _settle(passage: Passage) -> tuple[list[Row], Array, Array, dict[str, Array], int]:
    """Sweep over all rows until the gas that comes back is the gas that was sent in."""
    cold = float(passage.gas.enthalpy(passage.furnace.cooler.water_temperature))
    inlet = np.full(len(passage.step), cold)
    mixer = Anderson()
    for sweep in range(1, SWEEPS + 1):
        first = passage.furnace.cooler.water_temperature
        flow = passage.mass_flow(passage.at_knots(passage.gas.temperature(inlet), first))
        rows = passage.through(inlet, flow)
        balance = passage.loop(rows[-1].after, flow)
        change = np.abs(passage.gas.temperature(balance["inlet"]) - passage.gas.temperature(inlet)).max()
        heat = float(np.sum([row.pieces + row.fixtures for row in rows]))
        through = 0.5 * (flow[1:] + flow[:-1]) * passage.step
        open_end = float(np.abs(through * (balance["inlet"] - inlet)).sum())
        if change < SETTLED and open_end < CLOSED * abs(heat):
            return rows, inlet, flow, balance, sweep
        inlet = mixer.next(inlet, balance["inlet"])
    raise InputError(
        f"the gas does not settle: after {SWEEPS} sweeps it still changes by {change:.2g} K. Take more velocity or fewer rows (the gas takes "
        "up more than it can carry), fewer knots, or a cooler that takes off more."
    )


def _load_dataset(
    passage: Passage, columns: dict[str, list[Row]], inlet: Array, balance: dict[str, Array]
) -> xr.Dataset:
    """The labelled result."""
    import xarray as xr

    load, times = passage.load, passage.times
    told = []
    for rows in columns.values():
        runs = [_predicted(row.run, passage) for row in rows]
        told.append(xr.concat([_kept(run) for run in runs], "row", coords="minimal", compat="override"))
    data = xr.concat(told, "column", coords="minimal", compat="override")
    data.coords["column"] = ("column", list(columns), {"units": "1", "long_name": "column of the work zone"})
    data.coords["row"] = ("row", np.arange(1, load.rows + 1), {"units": "1", "long_name": "row in flow direction"})
    degrees = {"units": "degC"}
    gas = passage.gas.temperature
    before = [[inlet, *(row.after for row in rows[:-1])] for rows in columns.values()]
    after = [[row.after for row in rows] for rows in columns.values()]
    for name, parts, text in (("gas_before", before, "gas before the row"), ("gas_after", after, "gas after the row")):
        values = gas(np.array(parts))
        values = np.concatenate([values[..., :1], values], axis=-1)
        data[name] = (
            ("column", "row", "time"),
            values,
            {**degrees, "long_name": f"{text}, mean of the interval before"},
        )
    fixtures = np.array([[row.fixture_temperature for row in rows] for rows in columns.values()])
    data["fixture_temperature"] = (("column", "row", "time"), fixtures, {**degrees, "long_name": "fixtures"})
    mean = columns["mean"]
    heats = {
        "load_heat": (
            np.sum([row.pieces + row.fixtures for row in mean], axis=0),
            "heat given off by pieces and fixtures",
        ),
        "cooler_heat": (balance["cooler"], "heat carried off by the cooler"),
        "fan_heat": (balance["fan"], "heat of the fan"),
        "stored_heat": (balance["stored"], "heat stored in the gas of the vessel"),
    }
    for name, (values, text) in heats.items():
        total = np.concatenate([[0.0], np.cumsum(values)])
        data[name] = ("time", total, {"units": "J", "long_name": f"{text}, from the start"})
    given = float(data["load_heat"][-1])
    left = given + float(data["fan_heat"][-1] - data["cooler_heat"][-1] - data["stored_heat"][-1])
    own = max(abs(float(row.run.attrs["energy_residual"])) for row in mean)
    data.attrs = {"energy_residual": abs(left) / abs(given) + own, "end_time": float(times[-1])}
    if "hardness_hv" in data:
        spread = data["hardness_hv"].max(("column", "row")) - data["hardness_hv"].min(("column", "row"))
        data["hardness_spread"] = spread.assign_attrs(units="HV", long_name="hardest less softest piece of the load")
    if "cooling_time_800_500" in data:
        slow = data["cooling_time_800_500"].fillna(np.inf)
        place = np.unravel_index(int(slow.values.argmax()), slow.shape)
        names = [str(data[dim].values[n]) for dim, n in zip(slow.dims, place, strict=True)]
        data.attrs["slowest_place"] = ", ".join(f"{dim} {name}" for dim, name in zip(slow.dims, names, strict=True))
    return data


_KEPT = (
    "temperature", "fraction", "hardness_hv", "hardness_hrc", "cooling_rate_704", "cooling_time_800_500",
)  # fmt: skip


def _predicted(run: xr.Dataset, passage: Passage) -> xr.Dataset:
    """The run with hardness and cooling measures, as far as the material has them."""
    run = run.assign(cooling_rate_704=cooling_rate(run), cooling_time_800_500=cooling_time(run))
    if "fraction" not in run:
        return run
    return finish(run, passage.load.steel, passage.quench, passage.options["kinetics"], None, second_opinions=False)


def _kept(run: xr.Dataset) -> xr.Dataset:
    return run[[name for name in _KEPT if name in run]].reset_coords(drop=True)
