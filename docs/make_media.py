"""Write the figures of docs/media/ and the computed tables in its pages: ``python docs/make_media.py [--check]``.

A page holds its computed tables between ``<!-- computed: name -->`` and ``<!-- end -->``. A table counts as unchanged, and stays
as it is, while its words are the same and each number is within one unit of its last printed place: a number on the edge
of rounding is no change. With ``--check`` nothing is written and no figure is drawn; the differences are listed and the
exit code is 1 if there are any.
"""

from __future__ import annotations

import argparse
import pathlib
import re
import sys
import time
import warnings
from collections.abc import Callable

import numpy as np
from matplotlib.figure import Figure
from scipy.constants import bar, milli

HERE = pathlib.Path(__file__).parent
PAGES = HERE / "media"
FIGURES = PAGES / "figures"
for folder in (HERE, HERE.parent / "tests" / "validation", HERE.parent / "tests" / "unit"):
    sys.path.insert(0, str(folder))

import checks  # noqa: E402
import media_checks  # noqa: E402
from printed import same, table, typeset  # noqa: E402

import heatq as hq  # noqa: E402
from heatq.boundaries import (  # noqa: E402
    CoefficientTable,
    GasCrossflow,
    Immersion,
    OilBath,
    Radiation,
    StillAir,
    WaterBath,
    WaterJet,
)
from heatq.errors import hold_validity  # noqa: E402
from heatq.plot import LINES, histories  # noqa: E402
from heatq.plot_media import medium_curves  # noqa: E402

NITROGEN = {"gas": "nitrogen", "temperature": 60.0, "diameter": 0.025}


def quiet(ax: object) -> None:
    """Light grid, no frame."""
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.grid(visible=True, color="0.88", linewidth=0.6)
    ax.set_axisbelow(True)


def save(figure: Figure, name: str) -> None:
    """Write a figure."""
    FIGURES.mkdir(parents=True, exist_ok=True)
    figure.savefig(FIGURES / f"{name}.png", dpi=120, metadata={"Software": None})


# ---------------------------------------------------------------------------------------------------- tables


def cross(correlation: str, pressure: float, velocity: float, surface: float = 600.0, **more: float) -> float:
    """Coefficient of nitrogen across 25 mm, W/m2K."""
    flow = GasCrossflow(velocity=velocity, pressure=pressure * bar, correlation=correlation, **(NITROGEN | more))
    with hold_validity():
        return float(flow.coefficient(np.array(surface)))


def gas_spread() -> str:
    """Three formulas for nitrogen across 25 mm."""
    names = ("churchill-bernstein", "zukauskas", "hilpert")
    rows = []
    for pressure, velocity in ((1, 20), (6, 20), (10, 20), (10, 50), (20, 20)):
        h = [cross(name, pressure, velocity) for name in names]
        spread = 100.0 * (max(h) - min(h)) / np.mean(h) / 2.0
        rows.append([f"{pressure} bar, {velocity} m/s", *(f"{value:.0f}" for value in h), f"±{spread:.0f} %"])
    return table(["nitrogen across 25 mm, W/m2K", "Churchill & Bernstein", "Zukauskas", "Hilpert", "spread"], rows)


def gas_exponents() -> str:
    """Local exponents n of h ~ (p v)^n."""
    rows = []
    for gas in ("nitrogen", "argon", "helium", "hydrogen"):
        for diameter in (25.0, 75.0):
            cells = [f"{media_checks.exponent(gas, v, p, diameter):.2f}" for p in (1, 6, 10, 20) for v in (10, 40)]
            rows.append([f"{gas}, {diameter:g} mm", *cells])
    return table(["n at", *(f"{p} bar, {v} m/s" for p in (1, 6, 10, 20) for v in (10, 40))], rows)


def gas_trade() -> str:
    """Rules of thumb, and what heatq computes."""
    rule = checks.passport("trade_quench")["rule"]

    def ratio(one: tuple, other: tuple) -> str:
        return f"{media_checks.gas_quench(*one)[0] / media_checks.gas_quench(*other)[0]:.2f}"

    doubled = ", ".join(
        ratio(("nitrogen", 2 * v, p, 75.0), ("nitrogen", v, p, 75.0)) + f" ({p:g} bar, {v:g} to {2 * v:g} m/s)"
        for p, v in ((2.0, 10.0), (6.0, 20.0), (10.0, 20.0))
    )
    equal = media_checks.equal_pressure(20.0, 10.0, 75.0)
    rows = [
        ["twice the velocity, 75 mm rounds: cooling rate times", f"{rule['twice_the_velocity']:g}", doubled],
        [
            "pressure that does at twice the velocity what 10 bar does",
            "4 to 5 bar",
            f"{equal:.2f} bar",
        ],
    ]
    for fast, slow in (("helium", "nitrogen"), ("hydrogen", "nitrogen"), ("hydrogen", "helium")):
        found = ", ".join(
            ratio((fast, 20.0, 10.0, d), (slow, 20.0, 10.0, d)) + f" ({d:g} mm)" for d in (25.0, 75.0, 150.0)
        )
        rows.append([f"{fast} against {slow}, 10 bar, same velocity", f"{rule[f'{fast}_to_{slow}']:g}", found])
    every = [
        media_checks.exponent(gas, v, p, d)
        for gas in ("nitrogen", "argon", "helium", "hydrogen")
        for v in (10, 40)
        for p in (1, 6, 10, 20)
        for d in (25.0, 75.0)
    ]
    rows.append(
        ["exponent n of h ~ (p v)^n", "0.6 to 0.75", f"{min(every):.2f} to {max(every):.2f}, see the table above"]
    )
    return table(["rule", "value", "heatq"], rows)


def still_air_parts() -> str:
    """Convection and radiation by temperature on the end-quench bar and a lying 25 mm bar."""
    surface = np.array([150.0, 300.0, 500.0, 704.0, 845.0])
    cases = {
        "standing bar 25.4 x 101.6 mm, convection": StillAir(
            24.0, surface="vertical cylinder", length=0.1016, diameter=0.0254
        ),
        "the same as a flat plate (no curvature)": StillAir(24.0, surface="vertical plate", length=0.1016),
        "lying bar, 25.4 mm, convection": StillAir(24.0, surface="horizontal cylinder", diameter=0.0254),
        "lying bar, 100 mm, convection": StillAir(24.0, surface="horizontal cylinder", diameter=0.1),
        "radiation, emissivity 0.3": Radiation(0.3, 24.0),
        "radiation, emissivity 0.8": Radiation(0.8, 24.0),
    }
    with hold_validity():
        rows = [[name, *(f"{h:.1f}" for h in b.heat_flux(surface) / (surface - 24.0))] for name, b in cases.items()]
    return table(["h, W/m2K, at", *(f"{t:g} °C" for t in surface)], rows)


def water_spread() -> str:
    """What the sources of the boiling curve differ by, and what that does to a 50 mm round."""
    from heatq.boundaries import boiling

    pool = boiling.critical_flux_zuber() / 1e6
    flat = boiling.critical_flux_zuber(constant=0.149) / 1e6
    factors = [
        float(formula(75.97))
        for formula in (
            boiling.subcooling_factor_ivey_morris,
            boiling.subcooling_factor_zuber,
            boiling.subcooling_factor_kutateladze,
        )
    ]
    foot = [
        float(boiling.rewetting_temperature_dhir_purohit(75.97)),
        float(boiling.rewetting_temperature_henry(24.0)),
    ]
    rows = [
        [
            "critical flux, saturated pool, MW/m2",
            f"{pool:.2f} (Zuber), {flat:.2f} (Lienhard & Dhir)",
            f"±{50 * (flat - pool) / pool:.0f} %",
        ],
        [
            "factor of the subcooling, water of 24 °C",
            f"{factors[0]:.2f} (Ivey & Morris), {factors[1]:.2f} (Zuber et al.), {factors[2]:.2f} (Kutateladze)",
            "±6 %",
        ],
        ["film collapses below, °C", f"{foot[0]:.0f} (Dhir & Purohit), {foot[1]:.0f} (Henry)", "hundreds of kelvin"],
    ]
    times = []
    for rewetting in ("dhir-purohit", "henry"):
        result = media_checks.centre_of(0.050, hq.grade("4340"), WaterBath(24.0, 1.0, rewetting=rewetting))
        times.append(float(result["cooling_time_800_500"][0]))
    rows.append(
        [
            "t8/5 in the centre of a 50 mm round, s",
            f"{times[0]:.1f} with the first, {times[1]:.1f} with the second",
            f"factor {times[1] / times[0]:.1f}",
        ]
    )
    return table(["quantity", "sources", "spread"], rows)


def oil_spread() -> str:
    """The ends of the customary ranges of the presets, and their effect on a 50 mm round."""
    ends = {
        "conventional, as shipped": OilBath("conventional"),
        "conventional, low ends": OilBath(
            "conventional", vapour_coefficient=300.0, peak_coefficient=1500.0, convection_coefficient=250.0
        ),
        "conventional, high ends": OilBath(
            "conventional", vapour_coefficient=600.0, peak_coefficient=2200.0, convection_coefficient=350.0
        ),
        "fast, as shipped": OilBath("fast"),
        "marquenching, as shipped": OilBath("marquenching"),
        "conventional, agitation good": OilBath("conventional", agitation="good"),
        "conventional, agitation violent": OilBath("conventional", agitation="violent"),
    }
    rows = []
    for name, oil in ends.items():
        result = media_checks.centre_of(0.050, hq.grade("4340"), oil)
        h = oil.coefficient(np.array([750.0, oil.peak_temperature, 200.0]))
        rate, time = float(result["cooling_rate_704"][0]), float(result["cooling_time_800_500"][0])
        rows.append([name, *(f"{value:.0f}" for value in h), f"{rate:.1f}", f"{time:.0f}"])
    head = ["oil", "h at 750 °C", "h at the peak", "h at 200 °C", "rate 704 °C, centre of 50 mm, K/s", "t8/5, s"]
    return table(head, rows)


def equal_cooling() -> str:
    """Every anchor by every measure."""
    rows = []
    for anchor in media_checks.anchors():
        structure = anchor["medium"] != "severity"
        found = media_checks.deviations(anchor, with_structure=structure)
        places = {m: anchor["distance_mm"] * (1.0 + d / 100.0) for m, d in found.items()}
        cells = [
            f"{places[m]:.1f} ({found[m]:+.0f} %)" if m in found else ""
            for m in ("rate", "cooling time", "half martensite")
        ]
        if structure:
            spread = media_checks.half_martensite(anchor["diameter_mm"] * milli, anchor["medium"]).values()
            cells[-1] += f", {min(spread) / milli:.1f} to {max(spread) / milli:.1f}"
        rows.append([anchor["name"], f"{anchor['distance_mm']:g} ±{anchor['tolerance']:g} %", *cells])
    return table(
        ["centre of", "published, mm", "same rate at 704 °C", "same t8/5", "50 % martensite: mean, range"], rows
    )


def mass(bath: str) -> str:
    """Published and computed HRC of the rows of one bath, then the errors."""
    rows = [row for row in media_checks.quenched() if row["bath"] == bath]
    lines = []
    for row in rows:
        cells = []
        for position in media_checks.POSITIONS:
            published, computed = row["published"][position], row["computed"][position]
            shown = f"{published:g}" if np.isfinite(published) else "< 20"
            cells.append(f"{shown} / {computed:.0f}" if computed >= 20.0 else f"{shown} / < 20")
        lines.append([row["grade"], f"{row['diameter'] / milli:g}", *cells])
    errors = media_checks.error_by_position(rows, bath)
    lines.append(["rms, HRC", "", *(f"{rms:.1f}" for rms, _ in errors.values())])
    lines.append(["mean deviation, HRC", "", *(f"{mean:+.1f}" for _, mean in errors.values())])
    return table(["grade", "diameter, mm", "surface", "half radius", "centre"], lines)


def measured_sensitivity() -> str:
    """What an error of h does to the cooling time, by Biot number."""
    rows = []
    for name, diameter, h in (
        ("25 mm, 200 W/m2K", 0.025, 200.0),
        ("50 mm, 1000 W/m2K", 0.05, 1000.0),
        ("100 mm, 5000 W/m2K", 0.1, 5000.0),
    ):

        def time(factor: float, d: float = diameter, base: float = h) -> float:
            result = media_checks.centre_of(d, hq.grade("4340"), hq.Convection(factor * base, 30.0))
            return float(result["cooling_time_800_500"][0])

        base = time(1.0)
        rows.append(
            [
                name,
                f"{h * diameter / 2 / 22.0:.2f}",
                f"{base:.0f}",
                *(f"{100 * (time(f) / base - 1):+.0f} %" for f in (0.8, 1.2)),
            ]
        )
    return table(
        ["round and h", "Biot number h R/k", "t8/5 of the centre, s", "h 20 % too low", "h 20 % too high"], rows
    )


TABLES: dict[str, Callable[[], str]] = {
    "gas-spread": gas_spread,
    "gas-exponents": gas_exponents,
    "gas-trade": gas_trade,
    "still-air-parts": still_air_parts,
    "water-spread": water_spread,
    "water-mass": lambda: mass("water"),
    "oil-spread": oil_spread,
    "oil-mass": lambda: mass("oil"),
    "equal-cooling": equal_cooling,
    "measured-sensitivity": measured_sensitivity,
}


# --------------------------------------------------------------------------------------------------- figures


def draw_gas() -> None:
    """h over the surface temperature by gas, and over pressure times velocity by formula."""
    figure = Figure(figsize=(9.6, 4.0), layout="constrained")
    left, right = figure.subplots(1, 2)
    surface = np.linspace(100.0, 950.0, 200)
    for gas, (colour, style) in zip(("hydrogen", "helium", "nitrogen", "argon"), LINES, strict=False):
        flow = GasCrossflow(gas, 20.0, 10 * bar, 60.0, diameter=0.025)
        with hold_validity():
            left.plot(surface, flow.coefficient(surface), color=colour, linestyle=style, label=gas)
    left.set(xlabel="surface temperature, °C", ylabel="h, W/m²K", ylim=(0, None), title="10 bar, 20 m/s across 25 mm")
    left.legend(frameon=False)
    product = np.geomspace(10.0, 1000.0, 100)  # bar m/s at 10 bar
    names = {"churchill-bernstein": "Churchill & Bernstein", "zukauskas": "Zukauskas", "hilpert": "Hilpert"}
    for (name, label), (colour, style) in zip(names.items(), LINES, strict=False):
        right.loglog(
            product, [cross(name, 10.0, x / 10.0) for x in product], color=colour, linestyle=style, label=label
        )
    base = cross("churchill-bernstein", 10.0, 10.0)
    for n, colour in ((0.6, "0.55"), (0.75, "0.75")):
        right.loglog(product, base * (product / 100.0) ** n, color=colour, linewidth=0.9, label=f"(p v)$^{{{n:g}}}$")
    right.set(xlabel="pressure times velocity, bar m/s", ylabel="h, W/m²K", title="nitrogen, surface 600 °C")
    right.legend(frameon=False)
    for ax in (left, right):
        quiet(ax)
    save(figure, "gas")


def draw_still_air() -> None:
    """Convection and radiation."""
    figure = Figure(figsize=(6.4, 4.0), layout="constrained")
    ax = figure.subplots()
    surface = np.linspace(60.0, 950.0, 200)
    bar_air = StillAir(24.0, surface="vertical cylinder", length=0.1016, diameter=0.0254)
    lying = StillAir(24.0, surface="horizontal cylinder", diameter=0.1)
    parts = {"convection, standing 25 mm": bar_air, "convection, lying 100 mm": lying}
    parts |= {f"radiation, emissivity {e:g}": Radiation(e, 24.0) for e in (0.3, 0.5, 0.8)}
    parts["standing 25 mm, emissivity 0.8"] = bar_air + Radiation(0.8, 24.0)
    for (name, boundary), (colour, style) in zip(parts.items(), LINES, strict=False):
        with hold_validity():
            h = boundary.heat_flux(surface) / (surface - 24.0)
        ax.plot(
            surface, h, color=colour, linestyle=style, label=name, linewidth=2.0 if name.startswith("standing") else 1.4
        )
    ax.set(xlabel="surface temperature, °C", ylabel="h, W/m²K", ylim=(0, None))
    ax.legend(frameon=False)
    quiet(ax)
    save(figure, "still-air")


def draw_water() -> None:
    """Boiling curves by water temperature, velocity and rewetting, and the jet."""
    size = {"diameter": 0.05}
    media = {
        "bath 24 °C, 1 m/s": (24.0, WaterBath(24.0, 1.0, **size)),
        "bath 24 °C, still": (24.0, WaterBath(24.0, 0.0, **size)),
        "bath 60 °C, 1 m/s": (60.0, WaterBath(60.0, 1.0, **size)),
        "bath 24 °C, 1 m/s, Henry's rewetting": (24.0, WaterBath(24.0, 1.0, rewetting="henry", **size)),
        "end-quench jet 24 °C": (24.0, WaterJet(24.0)),
    }
    save(medium_curves(media, high=950.0)[0].figure, "water")


def draw_oil() -> None:
    """The presets and agitation."""
    media = {
        "conventional, 60 °C, none": (60.0, OilBath("conventional")),
        "conventional, 60 °C, good": (60.0, OilBath("conventional", agitation="good")),
        "fast, 60 °C, moderate": (60.0, OilBath("fast")),
        "marquenching, 150 °C, none": (150.0, OilBath("marquenching")),
    }
    left, right = medium_curves(media)
    surface = np.linspace(80.0, 900.0, 200)
    h = OilBath("conventional").coefficient(surface)
    left.fill_between(surface, 0.6 * h, 1.4 * h, color="0.85", zorder=0, linewidth=0)
    right.fill_between(
        surface, 0.6 * h * (surface - 60) / 1e3, 1.4 * h * (surface - 60) / 1e3, color="0.85", zorder=0, linewidth=0
    )
    save(left.figure, "oil")


def draw_measured() -> None:
    """A bar lowered into oil, and one in stages."""
    figure = Figure(figsize=(9.6, 4.0), layout="constrained")
    left, right = figure.subplots(1, 2)
    steel = hq.grade("4140")
    table_of_h = CoefficientTable([20.0, 200.0, 350.0, 525.0, 680.0, 900.0], [300, 300, 300, 1850, 450, 450], 60.0)
    air = StillAir(25.0) + Radiation(0.8, 25.0)
    dip = Immersion(0.02, below=table_of_h, above=air)
    bar_ = hq.RoundBar(0.04, 0.3)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", hq.ValidityWarning)
        # 1 K is thinner than the lines; to 0.5 K with its error estimate this run, with a front that jumps from cell to
        # cell, takes minutes
        run = hq.simulate(
            bar_, steel, {"bottom": dip, "side": dip, "top": dip}, initial_temperature=845.0, end_time=200.0,
            probes=["surface @ 30 mm", "surface @ 150 mm", "surface @ 270 mm", "centre @ 150 mm"], progress=False,
            accuracy=1.0, estimate_error=False,
        )  # fmt: skip
        histories(run, logarithmic=False, ax=left)
        left.set_title("40 mm round, lowered into oil at 20 mm/s")
        stages = hq.Stages((10.0, air), (25.0, table_of_h), (None, air))
        cooled = hq.simulate(
            hq.RoundBar(0.04), steel, {"side": stages}, initial_temperature=845.0, end_time=200.0,
            probes=["surface", "mid-radius", "centre"], progress=False,
        )  # fmt: skip
        histories(cooled, logarithmic=False, ax=right)
    right.set_title("10 s of air, 25 s of oil, then air")
    save(figure, "measured")


def draw_equal_cooling() -> None:
    """Histories of the 75 mm round and the end-quench bar at the places that count as equal."""
    figure = Figure(figsize=(6.4, 4.2), layout="constrained")
    ax = figure.subplots()
    steel = hq.grade("4340")
    centre = media_checks.centre_of(0.075, steel, media_checks.medium_of("ideal"))
    since = centre["time"] - float(hq.crossing_time(centre, 704.4)[0])
    ax.plot(since, centre["temperature"][:, 0], color=LINES[0][0], linewidth=2.2, label="centre of 75 mm, ideal quench")
    reference = media_checks.reference()
    equal = media_checks.equivalent(0.075, media_checks.medium_of("ideal"))
    places = {"published": 0.0125, "same t8/5": equal["cooling time"], "same rate at 704 °C": equal["rate"]}
    seconds = reference["time"].values
    for (label, place), (colour, style) in zip(places.items(), LINES[1:], strict=False):
        temperature = np.array([np.interp(place, media_checks.PLACES, row) for row in reference["temperature"].values])
        since = seconds - np.interp(-704.4, -temperature, seconds)
        label = f"end-quench bar, {place / milli:.1f} mm: {label}"
        ax.plot(since, temperature, color=colour, linestyle=style, label=label)
    ax.axhline(704.4, color="0.6", linewidth=0.8)
    ax.set(xlabel="time since 704 °C, s", ylabel="temperature, °C", xlim=(-30, 60), ylim=(200, 860))
    ax.legend(frameon=False, fontsize=8)
    quiet(ax)
    save(figure, "equal-cooling")


FIGURES_OF: tuple[Callable[[], None], ...] = (
    draw_gas,
    draw_still_air,
    draw_water,
    draw_oil,
    draw_measured,
    draw_equal_cooling,
)


def refreshed(text: str) -> tuple[str, list[str]]:
    """Text of a page with its tables as they should be, and the differences."""
    differences = []

    def fill(match: re.Match[str]) -> str:
        name, old = match[1], match[2].strip()
        new = typeset(TABLES[name]())
        if same(old, new):
            return match[0]
        before, after = old.splitlines(), new.splitlines()
        changed = [line for line in after if not any(same(other, line) for other in before)]
        differences.append("\n  ".join([f"{name}: now", *changed]))
        return f"<!-- computed: {name} -->\n\n{new}\n\n<!-- end -->"

    return re.sub(r"<!-- computed: (\S+) -->(.*?)<!-- end -->", fill, text, flags=re.DOTALL), differences


def main(check: bool) -> int:
    """Fill in the tables, draw the figures."""
    begin = time.perf_counter()
    differences = []
    for page in sorted(PAGES.glob("*.md")):
        text = page.read_text(encoding="utf-8")
        new, found = refreshed(text)
        differences += [f"{page.name}, {difference}" for difference in found]
        if found and not check:
            page.write_text(new, encoding="utf-8")
    if not check:
        for draw in FIGURES_OF:
            draw()
    state = ("differs" if check else "written") if differences else "all tables are as computed"
    print("\n".join([*differences, f"docs/media: {state}; {time.perf_counter() - begin:.0f} s"]))
    return int(check and bool(differences))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="only compare the tables")
    sys.exit(main(parser.parse_args().check))
