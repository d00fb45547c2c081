"""``heatq place``: where a thermocouple should sit in a bar, a tube or an end-quench bar."""

from __future__ import annotations

import argparse
import pathlib
from typing import Any

import numpy as np

from heatq.commands.bar_quench import BELONGS, add_quench_arguments, check_quench_arguments, piece_and_quench
from heatq.commands.common import (
    EPILOG,
    add_steel_arguments,
    check_steel_arguments,
    heat_in_words,
    make_folder,
    piece_in_words,
    read_steel,
    say_caution,
)
from heatq.commands.quantities import add_units_argument, in_unit, plain_number, quantity, whole_number
from heatq.errors import InputError
from heatq.units import in_words, shown, unit_text

__all__ = ["add_parser", "run"]

PURPOSES = {
    "slowest": "slowest point",
    "three-quarter-radius": "three-quarter radius",
    "point": "named point",
    "minimum-rate": "minimum rate",
    "calibrate": "calibrate h",
}

EXPLAINED = (
    "Errors are limits, root mean square between the two temperatures of the window: place - the metal there is not at the point\n"
    "of interest; lag - of the couple, uncorrected; +-pos - the position tolerance across and along; class - calibration;\n"
    "well - the hole bends the field; stem - heat along the sheath; all - the root of the sum of their squares."
)


def add_parser(commands: Any) -> None:
    """Add the subcommand."""
    parser = commands.add_parser(
        "place",
        help="where a thermocouple should sit, and how wrong it reads there",
        description="Rank the places of a round bar, tube or end-quench bar where a thermocouple could sit in a quench. Without "
        "--length the piece is long and only the radius counts. Without --diameter it is the end-quench bar with a water jet.",
        epilog=EPILOG,
    )
    add_steel_arguments(parser)
    length = quantity("m", "1.5 mm")
    degrees = quantity("degC", "800 degC")
    purpose = parser.add_argument_group("purpose")
    purpose.add_argument(
        "--purpose", choices=tuple(PURPOSES), default="slowest", help="default slowest, the last to cool"
    )
    purpose.add_argument("--point", metavar="NAME", help="with --purpose point: such as J8 or 'centre @ 120 mm'")
    purpose.add_argument(
        "--place", action="append", metavar="NAME", help="judge this place instead of all; repeat for more"
    )
    purpose.add_argument(
        "--upper",
        type=degrees,
        default=800.0,
        metavar="TEMPERATURE",
        help="upper end of the window that is judged (default 800 degC)",
    )
    purpose.add_argument(
        "--lower", type=degrees, default=500.0, metavar="TEMPERATURE", help="lower end of the window (default 500 degC)"
    )
    purpose.add_argument(
        "--required-rate",
        type=quantity("K/s", "0.5 K/s"),
        metavar="RATE",
        help="mean rate that must be proved, with --purpose minimum-rate",
    )
    purpose.add_argument(
        "--within",
        type=quantity("K", "5 K"),
        default=5.0,
        metavar="DIFFERENCE",
        help="of the point of interest: region marked in the map (default 5 K)",
    )
    purpose.add_argument(
        "--count", type=whole_number("8"), default=8, metavar="NUMBER", help="of places shown (default 8)"
    )
    couple = parser.add_argument_group("thermocouple")
    couple.add_argument(
        "--sheath", type=length, default=1.5e-3, metavar="DIAMETER", help="of the sheath (default 1.5 mm)"
    )
    couple.add_argument("--junction", choices=("grounded", "insulated", "exposed"), default="grounded",
                        help="default grounded")  # fmt: skip
    couple.add_argument(
        "--fit", choices=("tight", "filled", "gap"), default="tight", help="in its well (default tight)"
    )
    couple.add_argument(
        "--well", type=length, metavar="DIAMETER", help="of the hole (default: the sheath, or 0.1 mm more)"
    )
    couple.add_argument("--type", default="K", metavar="LETTER", help="of the couple: K (default), N, J, T, E, R, S, B")
    couple.add_argument("--tolerance-class", default="1", metavar="CLASS", help="1 (default), 2, 3, special, standard")
    couple.add_argument(
        "--position-tolerance",
        type=length,
        default=0.5e-3,
        metavar="LENGTH",
        help="of the junction, ± (default 0.5 mm)",
    )
    couple.add_argument(
        "--lag",
        type=quantity("s", "0.3 s"),
        metavar="TIME",
        help="measured time constant of the mounted couple (default: from sheath and fit)",
    )
    couple.add_argument("--entry", choices=("side", "end", "both"), default="both", help="face drilled (default both)")
    couple.add_argument(
        "--drill-ratio",
        type=plain_number("40"),
        default=40.0,
        metavar="RATIO",
        help="largest depth over diameter (default 40)",
    )
    couple.add_argument("--wall", type=length, metavar="LENGTH", help="least metal around (default a well diameter)")
    piece = parser.add_argument_group("piece")
    piece.add_argument("--diameter", type=length, help="such as '75 mm'; left out: the end-quench bar")
    piece.add_argument("--length", type=length, help="left out: a long bar")
    piece.add_argument("--bore", type=length, metavar="DIAMETER", help="inner diameter of a tube")
    piece.add_argument("--bore-medium", choices=("same", "still", "insulated"), help="as in heatq bar")
    add_quench_arguments(parser)
    output = parser.add_argument_group("output")
    output.add_argument(
        "--out", metavar="DIR", default="heatq-out", help="folder for figures, CSV, NetCDF (default heatq-out)"
    )
    add_units_argument(output)
    parser.set_defaults(run=run)


def _couple(arguments: argparse.Namespace) -> Any:
    from heatq.thermocouples import Thermocouple

    given = arguments.tolerance_class
    return Thermocouple(
        sheath_diameter=arguments.sheath,
        junction=arguments.junction,
        fit=arguments.fit,
        type=arguments.type.strip().upper(),
        tolerance_class=int(given) if given.isdecimal() else given,
        well_diameter=arguments.well,
        position_tolerance=arguments.position_tolerance,
        time_constant=arguments.lag,
    )


def _piece(arguments: argparse.Namespace) -> tuple[Any, dict[str, Any], str]:
    """Piece, boundaries and the quench in words; a bar as in ``heatq bar``."""
    from heatq.boundaries import Radiation, StillAir, WaterJet
    from heatq.specimens import EndQuenchBar

    if arguments.diameter is None:
        strange = (
            "length",
            "bore",
            "bore_medium",
            "medium",
            *BELONGS,
            "ramp",
            "interrupt",
            "transfer",
            "emissivity",
        )
        for name in strange:
            if name != "bath_temperature" and getattr(arguments, name):
                flag = "--" + name.replace("_", "-")
                raise InputError(f"{flag} belongs to a bar or a tube: give its --diameter, or leave {flag} out.")
        water = 24.0 if arguments.bath_temperature is None else arguments.bath_temperature
        air: Any = StillAir(arguments.air_temperature) + Radiation(0.3, arguments.air_temperature)
        return (
            EndQuenchBar(),
            {"jet": WaterJet(water), "side": air, "top": air},
            f"water jet on the end, {in_unit(water, 'degC')}",
        )
    check_quench_arguments(arguments)
    return piece_and_quench(arguments)


def run(arguments: argparse.Namespace) -> int:
    """Rank the places, print them, draw the map and the ranking."""
    from heatq.thermocouples import distinct_places, place_thermocouples

    check_steel_arguments(arguments)
    if arguments.upper <= arguments.lower:
        raise InputError(
            f"--upper {in_unit(arguments.upper, 'degC')} is not above --lower {in_unit(arguments.lower, 'degC')}."
        )
    if arguments.count < 1:
        raise InputError(f"--count = {arguments.count}: show at least one place.")
    purpose = PURPOSES[arguments.purpose]
    if (arguments.point is None) == (purpose == "named point"):
        raise InputError("--point NAME belongs to --purpose point, and that needs one, such as --point J8.")
    if arguments.required_rate is not None and purpose != "minimum rate":
        raise InputError("--required-rate belongs to --purpose minimum-rate and would be ignored: leave it out.")
    steel = read_steel(arguments)
    piece, boundaries, label = _piece(arguments)
    sensor = _couple(arguments)
    folder = make_folder(arguments.out)
    result = place_thermocouples(
        piece,
        steel,
        boundaries,
        purpose=purpose,
        sensor=sensor,
        point=arguments.point,
        places=arguments.place,
        initial_temperature=arguments.initial_temperature,
        window=(arguments.upper, arguments.lower),
        entries=None if arguments.entry == "both" else (arguments.entry,),
        largest_drill_ratio=arguments.drill_ratio,
        minimum_wall=arguments.wall,
        required_rate=arguments.required_rate,
    )
    best = result if arguments.place else distinct_places(result, arguments.count)
    print(f"{heat_in_words(steel)}\n{piece_in_words(piece)}\n{_couple_in_words(sensor)}\n")
    print(f"{label}; {purpose}{_where(result)}\n{_table(best)}\n")
    if arguments.place is None:
        print(f"{result.sizes['place']} places can be drilled and read; those near a better one are left out here.")
    print(EXPLAINED)
    if "couple" in result.dims:
        print(f"\n{_couples(result)}")
    try:
        _write(folder, result, best, arguments.within)
    except OSError as error:
        raise InputError(
            f"--out {folder}: {error.filename or 'a file'} cannot be written ({error.strerror})."
        ) from None
    say_caution()
    return 0


def _couple_in_words(sensor: Any) -> str:
    """The thermocouple as it is printed."""
    well = "" if sensor.well_diameter is None else f" in a well of {in_unit(sensor.well_diameter, 'm')}"
    return (
        f"thermocouple: type {sensor.type}, class {sensor.tolerance_class}, sheath {in_unit(sensor.sheath_diameter, 'm')}, "
        f"{sensor.junction}, {sensor.fit}{well}, position ±{in_unit(sensor.position_tolerance, 'm')}, lag {sensor.lag:.2g} s"
    )


def _where(result: Any) -> str:
    (r, z), unit = shown([result.attrs["point_r"], result.attrs["point_z"]], "m")
    if not np.isfinite(r):
        return ""
    digits = 4 if unit == "mm" else 3
    height = f", z {z:.{digits}g}" if result.sizes["section_z"] > 1 else ""
    (upper, lower), degree = shown(result.attrs["window"], "degC")
    rate = in_unit(result.attrs["point_rate"], "K/s", ".3g")
    return f": r {r:.{digits}g}{height} {unit}, {rate} from {upper:.4g} to {lower:.4g} {degree}"


def _table(result: Any) -> str:
    """One line per place."""
    names = [in_words(str(name)) for name in result["place"].values]
    mm, kelvin, rate = unit_text("m"), unit_text("K"), unit_text("K/s")
    fine = ".3f" if mm == "in" else ".3g"
    width = max(20, *(len(name) for name in names)) + 2
    must_read = "rate_to_read" in result
    lines = [
        f"{'junction at':<{width}}{'depth':>7}{'L/D':>5}{'wall':>7}{'place':>8}{'lag':>7}{'+-pos':>7}{'class':>7}{'well':>7}"
        f"{'stem':>7}{'all':>8}{'rate':>9}{'all':>9}" + (f"{'must read':>11}" if must_read else ""),
        f"{'':<{width}}{mm:>7}{'':>5}{mm:>7}{kelvin:>8}" + f"{kelvin:>7}" * 5 + f"{kelvin:>8}{rate:>9}{rate:>9}"
        + (f"{rate:>11}" if must_read else ""),
    ]  # fmt: skip
    for n, name in enumerate(names):

        def value(what: str, unit: str, n: int = n) -> float:
            return float(shown(result[what].values[n], unit)[0])

        parts, _ = shown(result["error_temperature"].values[:, n], "K")
        lines.append(
            f"{name:<{width}}{value('depth', 'm'):>7{fine}}{float(result['drill_ratio'][n]):>5.0f}"
            f"{value('wall', 'm'):>7{fine}}{parts[0]:>8.1f}" + "".join(f"{part:>7.1f}" for part in parts[1:])
            + f"{value('combined_temperature', 'K'):>8.1f}{value('rate', 'K/s'):>9.3g}{value('combined_rate', 'K/s'):>9.2g}"
            + (f"{value('rate_to_read', 'K/s'):>11.3g}" if must_read else "")
        )  # fmt: skip
        why = in_words(str(result["why_not"].values[n]))
        if why:
            lines.append(f"{'':<4}cannot be had: {why}")
    return "\n".join(lines)


def _couples(result: Any) -> str:
    """What each further couple is worth to a calibration."""
    levels, degree = shown(result["surface_temperature"].values, "degC")
    lines = [
        "couples for a calibration of h, each where it tells most given the ones before",
        f"{'':<4}{'place':<28}{'adds, bits':>11}   standard deviation of h, %, at a surface of "
        + ", ".join(f"{level:.0f}" for level in levels)
        + f" {degree}",
    ]
    for number, name in enumerate(result["chosen"].values):
        spread = 100 * result["h_uncertainty"].values[number]
        lines.append(
            f"{number + 1:<4}{in_words(str(name)):<28}{float(result['gain'][number]):>11.1f}   "
            + "".join(f"{s:>7.1f}" for s in spread)
        )
    worth = int(result.attrs["worth"])
    lines.append(
        f"worth it: {worth}; each further one adds less than a bit. Errors of the model itself are not counted."
    )
    return "\n".join(lines)


def _write(folder: pathlib.Path, result: Any, shown: Any, within: float) -> None:
    from heatq.files import save_netcdf
    from heatq.plot_thermocouples import place_map, place_ranking

    for name, axes in (("places.png", place_map(shown, within)), ("ranking.png", place_ranking(shown))):
        figure: Any = axes.figure
        figure.savefig(folder / name, dpi=200)
    per_place = result.drop_dims([dim for dim in result.dims if dim not in ("place", "component")])
    wide = per_place.drop_vars([name for name in per_place.data_vars if "component" in per_place[name].dims])
    for component in result["component"].values:
        for kind, unit in (("temperature", "K"), ("rate", "K_per_s")):
            wide[f"{component}_{unit}"] = per_place[f"error_{kind}"].sel(component=component, drop=True)
    wide.drop_vars("component", errors="ignore").to_dataframe().to_csv(folder / "places.csv")
    save_netcdf(result, folder / "places.nc")
    print(f"\nwritten to {folder}/: places.png, ranking.png, places.csv, places.nc")
