"""Exact solutions of transient and steady conduction, written from the equations with scipy alone.

Nothing here uses heatq. Temperatures in degC, everything else SI. The series are those of Carslaw and Jaeger, Conduction
of Heat in Solids, 2nd ed. 1959 (cylinder and wall with surface resistance: ch. VII and III; half space: 2.5; Kirchhoff:
1.6; hollow cylinder: 13.4; constant flux: 7.8; Neumann's freezing solution: 11.2). The printed tables below were computed
with the same series at 30 digits and rounded to the digits shown ("series, evaluated with 30 digits"); `test_exact_solutions.py`
holds the double-precision code against them.
"""

from __future__ import annotations

import functools

import numpy as np
from scipy import optimize
from scipy.special import erf, erfc, erfcx, j0, j1, jn_zeros, y0, y1

TERMS = 600

# ---------------------------------------------------------------------------------------------------------------------
# eigenvalues and series


@functools.lru_cache(maxsize=2)
def bessel_zeros(order: int) -> np.ndarray:
    """Positive zeros of J0 or J1."""
    return jn_zeros(order, TERMS)


@functools.lru_cache(maxsize=64)
def cylinder_roots(biot: float) -> np.ndarray:
    """Roots of zeta J1(zeta) = Bi J0(zeta), one between successive zeros of J1."""
    zeros = np.concatenate([[0.0], bessel_zeros(1)])
    return np.array(
        [
            optimize.brentq(lambda x: x * j1(x) - biot * j0(x), low + 1e-13, high, xtol=1e-14, rtol=1e-15)
            for low, high in zip(zeros[:-1], zeros[1:], strict=True)
        ]
    )


@functools.lru_cache(maxsize=64)
def wall_roots(biot: float) -> np.ndarray:
    """Roots of zeta sin(zeta) = Bi cos(zeta), one in each (n pi, n pi + pi/2)."""
    return np.array(
        [
            optimize.brentq(
                lambda x: x * np.sin(x) - biot * np.cos(x), n * np.pi, (n + 0.5) * np.pi, xtol=1e-14, rtol=1e-15
            )
            for n in range(TERMS)
        ]
    )


def cylinder_coefficients(biot: float) -> np.ndarray:
    """C_n = 2 J1 / (zeta (J0^2 + J1^2))."""
    zeta = cylinder_roots(biot)
    return 2.0 * j1(zeta) / (zeta * (j0(zeta) ** 2 + j1(zeta) ** 2))


def wall_coefficients(biot: float) -> np.ndarray:
    """C_n = 4 sin / (2 zeta + sin 2 zeta)."""
    zeta = wall_roots(biot)
    return 4.0 * np.sin(zeta) / (2.0 * zeta + np.sin(2.0 * zeta))


def cylinder(position: float, fourier: float, biot: float) -> float:
    """(T - T_fluid)/(T_start - T_fluid) of the long cylinder at r/R = ``position``."""
    zeta = cylinder_roots(biot)
    return float(np.sum(cylinder_coefficients(biot) * np.exp(-(zeta**2) * fourier) * j0(zeta * position)))


def cylinder_heat(fourier: float, biot: float) -> float:
    """Share Q/Q0 of the heat that has left the long cylinder."""
    zeta = cylinder_roots(biot)
    return float(1.0 - np.sum(cylinder_coefficients(biot) * np.exp(-(zeta**2) * fourier) * 2.0 * j1(zeta) / zeta))


def wall(position: float, fourier: float, biot: float) -> float:
    """(T - T_fluid)/(T_start - T_fluid) of the wall at x/L = ``position`` from its insulated (middle) plane."""
    zeta = wall_roots(biot)
    return float(np.sum(wall_coefficients(biot) * np.exp(-(zeta**2) * fourier) * np.cos(zeta * position)))


def half_space(depth: float, time: float, coefficient: float, conductivity: float, diffusivity: float) -> float:
    """(T - T_fluid)/(T_start - T_fluid) at ``depth`` below a surface with convection; erfcx keeps it from overflowing."""
    reach = np.sqrt(diffusivity * time)
    eta = depth / (2.0 * reach)
    rest = coefficient * reach / conductivity
    # exp(h z/k + h^2 a t/k^2) erfc(eta + rest) = exp(-eta^2) erfcx(eta + rest)
    return float(1.0 - (erfc(eta) - np.exp(-(eta**2)) * erfcx(eta + rest)))


def cylinder_fixed(position: float, fourier: float) -> float:
    """(T - T_surface)/(T_start - T_surface) of the cylinder with its surface held."""
    zeta = bessel_zeros(0)
    return float(np.sum(2.0 / (zeta * j1(zeta)) * j0(zeta * position) * np.exp(-(zeta**2) * fourier)))


def cylinder_flux(position: float, fourier: float) -> float:
    """(T_start - T) k/(q R) of the cylinder losing the constant flux q from t = 0."""
    zeta = bessel_zeros(1)
    tail = np.sum(np.exp(-(zeta**2) * fourier) * j0(zeta * position) / (zeta**2 * j0(zeta)))
    return float(2.0 * fourier + 0.5 * position**2 - 0.25 - 2.0 * tail)


def hollow_cylinder(
    radius: float, time: float, inner: float, outer: float, bore_ratio: float, side_ratio: float, diffusivity: float
) -> float:
    """(T - T_fluid)/(T_start - T_fluid) of the tube, convection on both faces to one fluid; ratios are h/k (1/m)."""
    total = 0.0
    for beta, bore_a, bore_b, coefficient in _hollow_modes(inner, outer, bore_ratio, side_ratio):
        shape = bore_b * j0(beta * radius) - bore_a * y0(beta * radius)
        total += coefficient * shape * np.exp(-diffusivity * beta**2 * time)
    return float(total)


@functools.lru_cache(maxsize=8)
def _hollow_modes(inner: float, outer: float, bore_ratio: float, side_ratio: float) -> list[tuple[float, ...]]:
    def ends(beta: float) -> tuple[float, float]:
        # R = B J0 - A Y0 satisfies R'(a) = (h/k) R(a) when A, B are the two parts of that condition
        return (
            -beta * j1(beta * inner) - bore_ratio * j0(beta * inner),
            -beta * y1(beta * inner) - bore_ratio * y0(beta * inner),
        )

    def mismatch(beta: float) -> float:
        a, b = ends(beta)
        slope = b * -beta * j1(beta * outer) - a * -beta * y1(beta * outer)
        return slope + side_ratio * (b * j0(beta * outer) - a * y0(beta * outer))

    modes = []
    step = np.pi / (outer - inner) / 60.0
    beta = step * 1e-3
    while len(modes) < 40:
        if mismatch(beta) * mismatch(beta + step) < 0.0:
            root = optimize.brentq(mismatch, beta, beta + step, xtol=1e-12, rtol=1e-14)
            a, b = ends(root)

            # from (r R')' = -beta^2 r R: both integrals are closed
            (r_in, d_in), (r_out, d_out) = (
                (b * j0(root * r) - a * y0(root * r), -root * (b * j1(root * r) - a * y1(root * r)))
                for r in (inner, outer)
            )
            top = (inner * d_in - outer * d_out) / root**2
            norm = 0.5 * (outer**2 * (d_out**2 / root**2 + r_out**2) - inner**2 * (d_in**2 / root**2 + r_in**2))
            modes.append((root, a, b, top / norm))
        beta += step
    return modes


def kirchhoff(temperature: float, slope: float) -> float:
    """U = T + b T^2/2 for k proportional to 1 + b T."""
    return temperature + 0.5 * slope * temperature**2


def kirchhoff_inverse(value: float, slope: float) -> float:
    """T from U."""
    return (np.sqrt(1.0 + 2.0 * slope * value) - 1.0) / slope


def tube_steady(
    radius: float,
    inner: float,
    outer: float,
    conductivity: float,
    slope: float,
    bore: tuple[float, float],
    side: tuple[float, float],
) -> float:
    """Steady temperature of the tube with k = k0 (1 + b T) between two fluids; ``bore``, ``side`` are (h, T_fluid)."""

    def power(t_bore: float) -> float:
        return inner * bore[0] * (bore[1] - t_bore)  # per 2 pi of length

    def surface(t_bore: float) -> float:
        return side[1] + power(t_bore) / (outer * side[0])

    def mismatch(t_bore: float) -> float:
        drop = conductivity * (kirchhoff(t_bore, slope) - kirchhoff(surface(t_bore), slope))
        return drop / np.log(outer / inner) - power(t_bore)

    low, high = sorted((bore[1], side[1]))
    t_bore = optimize.brentq(mismatch, low, high, xtol=1e-12)
    u = kirchhoff(t_bore, slope) - power(t_bore) / conductivity * np.log(radius / inner)
    return float(kirchhoff_inverse(u, slope))


def neumann_lambda(start: float, change: float, surface: float, specific_heat: float, latent: float) -> float:
    """Front constant: front at 2 lambda sqrt(a t), equal properties of both phases."""

    def stefan(x: float) -> float:
        behind = (change - surface) * np.exp(-(x**2)) / erf(x)
        ahead = (start - change) * np.exp(-(x**2)) / erfc(x)
        return specific_heat / np.sqrt(np.pi) * (behind - ahead) - latent * x

    return float(optimize.brentq(stefan, 1e-6, 5.0, xtol=1e-14))


def neumann(depth: float, time: float, front: float, start: float, change: float, surface: float, a: float) -> float:
    """Temperature at ``depth`` of the half space whose surface is held at ``surface`` and that transforms at ``change``."""
    eta = depth / (2.0 * np.sqrt(a * time))
    if eta < front:
        return float(surface + (change - surface) * erf(eta) / erf(front))
    return float(start - (start - change) * erfc(eta) / erfc(front))


# ---------------------------------------------------------------------------------------------------------------------
# printed values: "series, evaluated with 30 digits"

#: Biot number -> first root and first coefficient.
CYLINDER_FIRST = {
    0.1: (0.44168178, 1.0245794),
    0.5: (0.94077056, 1.1142546),
    1.0: (1.2557837, 1.2070921),
    2.0: (1.5994492, 1.3383771),
    5.0: (1.9898147, 1.5028691),
    10.0: (2.1794966, 1.5676918),
    100.0: (2.3809017, 1.6015239),
}
WALL_FIRST = {1.0: (0.86033359, 1.119132), 10.0: (1.42887, 1.2619626)}

#: Three quenched bars, k 30 W/mK, rho 7700 kg/m3, c 600 J/kgK, 850 -> 20 degC: (diameter m, h W/m2K) -> rows of
#: (axis, half radius, surface) at Fo = 0.05, 0.2, 0.5, 1, 2.
BAR_PROPERTIES = {"conductivity": 30.0, "density": 7700.0, "specific_heat": 600.0}
BAR_START, BAR_FLUID = 850.0, 20.0
BAR_FOURIER = (0.05, 0.2, 0.5, 1.0, 2.0)
BARS = {
    (0.0125, 2000.0): (
        (849.6001, 842.2527, 760.835),
        (798.1666, 765.5219, 664.5785),
        (644.8344, 615.8294, 532.7759),
        (448.9632, 429.0276, 371.993),
        (222.1459, 212.7514, 185.8742),
    ),
    (0.0254, 2000.0): (
        (849.2158, 835.0417, 683.3971),
        (755.4082, 698.8223, 530.9569),
        (510.9578, 469.4911, 355.4662),
        (266.0, 245.2019, 188.0574),
        (81.7466, 76.5262, 62.1828),
    ),
    (0.1, 500.0): (
        (849.2273, 835.2544, 685.6057),
        (756.5998, 700.6431, 534.4469),
        (514.3059, 473.0774, 359.5777),
        (269.8687, 249.007, 191.6224),
        (83.8323, 78.5029, 63.8432),
    ),
}

#: Half-space end quench, same properties, h = 2e4 W/m2K, 845 -> 24 degC: depth (mm) -> temperatures at END_TIMES.
END_TIMES = (0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
END_COEFFICIENT, END_START, END_FLUID = 2.0e4, 845.0, 24.0
END_QUENCH = {
    1.5875: (809.6143, 609.905, 492.9707, 382.8143, 264.1753, 197.4741, 148.044),
    3.1750: (844.1809, 763.5763, 659.6609, 534.2497, 377.7824, 282.9445, 210.4612),
    6.3500: (845.0, 841.2316, 812.5596, 732.5544, 567.4508, 438.7569, 329.5652),
    12.7000: (845.0, 844.9999, 844.8675, 839.4224, 777.267, 667.2516, 532.74),
    25.4000: (845.0, 845.0, 845.0, 844.9998, 844.1967, 829.3034, 765.8266),
}

#: Cylinder R 12.7 mm with k = k0 (1 + b T) and rho c = C0 (1 + b T), 850 degC, surface held at 100 degC.
KIRCHHOFF = {
    "radius": 12.7e-3,
    "conductivity": 15.3,
    "slope": 8e-4,
    "capacity": 2.64e6,
    "start": 850.0,
    "surface": 100.0,
}
KIRCHHOFF_TIMES = (0.55661, 1.39152, 2.78304, 5.56609, 11.13217, 22.26435)
KIRCHHOFF_TABLE = {
    0.0: (849.9955, 842.0371, 754.3999, 516.3797, 244.1853, 114.9448),
    0.5: (839.0542, 746.1127, 594.3193, 392.2572, 198.1861, 110.0301),
    0.9: (400.3186, 283.4741, 216.3639, 161.9211, 119.6454, 101.9563),
}

#: Two-phase Neumann problem, equal properties.
NEUMANN = {"start": 800.0, "change": 650.0, "surface": 100.0, "specific_heat": 650.0, "latent": 80e3}
NEUMANN_DIFFUSIVITY = 6e-6
NEUMANN_LAMBDA = 0.73751106
NEUMANN_DEPTHS = (2e-3, 5e-3, 10e-3, 20e-3)
NEUMANN_TABLE = {  # time (s) -> front (mm), then temperatures at NEUMANN_DEPTHS
    1.0: (3.61305, (441.317, 724.778, 798.034, 800.000)),
    5.0: (8.07903, (259.392, 476.598, 700.637, 795.038)),
    20.0: (16.15806, (180.359, 298.013, 476.598, 700.637)),
}

#: Textbook cases, exact series (charts and one-term answers of the books differ by up to 1 K).
ROD = {"temperature": 119.6656, "heat_share": 0.62083}  # aluminium rod, Holman ch. 4 (inputs from memory, not verified)
SHORT_CYLINDER = {"centre": 402.7462, "face": 370.5443, "side": 362.4271, "corner": 342.8617}  # kelvin; Incropera ch. 5
WALL = {"middle": 43.0175, "surface": 45.3635}  # degC at the insulated back and the heated face; Incropera ch. 5
FROST_DEPTH = 0.6770  # m after 60 days; Incropera ch. 5

#: The rod: 5 cm, 200 -> 70 degC, h 525 W/m2K, k 215 W/mK, a 8.4e-5 m2/s, read at r = 1.25 cm after 60 s.
ROD_PROPERTIES = {"conductivity": 215.0, "density": 2700.0, "specific_heat": 215.0 / (8.4e-5 * 2700.0)}
#: The short cylinder: 80 x 60 mm, 600 -> 300 K, h 500 W/m2K, 180 s.
SHORT_PROPERTIES = {"conductivity": 17.4, "density": 7900.0, "specific_heat": 526.0}
#: The wall: 40 mm, insulated back, -20 -> 60 degC, h 500 W/m2K, k 63.9 W/mK, a 18.8e-6 m2/s, 480 s.
WALL_PROPERTIES = {"conductivity": 63.9, "density": 7832.0, "specific_heat": 63.9 / (18.8e-6 * 7832.0)}
#: The soil: a 0.138e-6 m2/s, 20 degC, surface -15 degC for 60 days.
SOIL_PROPERTIES = {"conductivity": 0.52, "density": 2050.0, "specific_heat": 0.52 / (0.138e-6 * 2050.0)}


def cylinder_flux_ramp(position: float, fourier: float) -> float:
    """(T_start - T) k/(R dq/dFo) of the cylinder whose flux grows linearly from zero: integral of `cylinder_flux`."""
    zeta = bessel_zeros(1)
    tail = np.sum(-np.expm1(-(zeta**2) * fourier) * j0(zeta * position) / (zeta**4 * j0(zeta)))
    return float(fourier**2 + (0.5 * position**2 - 0.25) * fourier - 2.0 * tail)
