"""``heatq media``: h and q of every medium side by side."""

from __future__ import annotations

import argparse
from typing import Any

from scipy.constants import kilo

from heatq.commands.common import EPILOG, make_folder
from heatq.commands.quantities import add_units_argument, in_unit, quantity
from heatq.errors import InputError
from heatq.units import shown, unit_text

__all__ = ["DRAWN", "add_parser", "run"]

#: What is drawn, of the media in the table: from the fastest to the slowest.
DRAWN = (
    "water bath, 0.5 m/s",
    "fast oil, agitation moderate",
    "conventional oil, agitation none",
    "helium across, 10 bar, 20 m/s",
    "nitrogen across, 10 bar, 20 m/s",
    "nitrogen across, 1 bar, 20 m/s",
    "still air and radiation, emissivity 0.8",
)


def add_parser(commands: Any) -> None:
    """Add the subcommand."""
    parser = commands.add_parser(
        "media",
        help="heat-transfer coefficient and heat flux of every medium side by side",
        description="Tabulate h and q of every medium on a round piece at one surface temperature, and draw them over "
        "the surface temperature.",
        epilog=EPILOG,
    )
    parser.add_argument(
        "--diameter",
        type=quantity("m", "25 mm"),
        default=0.025,
        metavar="LENGTH",
        help="diameter of the piece (default 25 mm)",
    )
    parser.add_argument("--length", type=quantity("m", "100 mm"), help="left out: a long bar, lying")
    parser.add_argument(
        "--surface-temperature",
        type=quantity("degC", "600 degC"),
        default=600.0,
        metavar="TEMPERATURE",
        help="of the surface in the table (default 600 degC)",
    )
    parser.add_argument("--out", metavar="DIR", default="heatq-out", help="folder for the figure (default heatq-out)")
    add_units_argument(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the table, draw the figure."""
    from heatq.boundaries.media import media, media_table
    from heatq.plot_media import medium_curves

    rows = media_table(arguments.diameter, arguments.surface_temperature, arguments.length)
    if arguments.surface_temperature <= max(row.fluid_temperature for row in rows):
        raise InputError(
            f"--surface-temperature {in_unit(arguments.surface_temperature, 'degC')} is not above the hottest fluid of the "
            f"table ({in_unit(max(row.fluid_temperature for row in rows), 'degC')}): h would mean nothing there."
        )
    folder = make_folder(arguments.out)
    piece = f"{in_unit(arguments.diameter, 'm')} round"
    piece += ", long" if arguments.length is None else f", {in_unit(arguments.length, 'm')} long"
    print(f"{piece}, surface at {in_unit(arguments.surface_temperature, 'degC')}\n")
    print(f"{'medium':<44}{'fluid':>7}{'h':>9}{'q':>10}{'sources':>10}")
    print(f"{'':<44}{unit_text('degC'):>7}{'W/m2K':>9}{'kW/m2':>10}{'differ':>10}")
    notes: list[str] = []
    for row in rows:
        marks = ""
        for note in row.notes:
            if note not in notes:
                notes.append(note)
            marks += f" [{notes.index(note) + 1}]"
        spread = "-" if row.relative_uncertainty is None else f"±{100 * row.relative_uncertainty:.0f} %"
        print(
            f"{row.medium:<44}{shown(row.fluid_temperature, 'degC')[0]:>7.0f}{row.coefficient:>9.4g}{row.flux / kilo:>10.4g}"
            f"{spread:>10}{marks}"
        )
    for number, note in enumerate(notes, 1):
        print(f"[{number}] {note}")
    print(
        "\nq of water and oil is that of a surface at this temperature on its way down, in steady boiling; h refers to the\n"
        "fluid's temperature. How far each can be trusted: docs/media/."
    )
    known = media(arguments.diameter, arguments.length)
    axes, _ = medium_curves({name: known[name] for name in DRAWN})
    figure: Any = axes.figure
    try:
        figure.savefig(folder / "media.png", dpi=200)
    except OSError as error:
        raise InputError(f"--out {folder}: media.png cannot be written ({error.strerror}).") from None
    print(f"written to {folder}/: media.png")
    return 0
