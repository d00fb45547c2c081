"""Recorder logs from models that share no code with heatq, for the inverse problem.

`by_lines`: method of lines and SciPy's LSODA, temperature as the unknown. `by_elements`: scikit-fem, quadratic elements.
`triangle`: the exact answer of a plate to the triangular flux of Beck, Blackwell & St. Clair.
"""

from __future__ import annotations

import numpy as np
import xarray as xr
from scipy.integrate import solve_ivp
from scipy.interpolate import PchipInterpolator

#: Alloy 600, the metal of the probe of ISO 9950: straight lines through k 14.8 (20 degC) and 27.5 W/mK (800 degC), cp 444 and
#: 625 J/kgK, 8420 kg/m3 (from memory, not verified).
DENSITY = 8420.0
INITIAL = 850.0


def conductivity(temperature):
    return 14.8 + (27.5 - 14.8) / 780.0 * (temperature - 20.0)


def specific_heat(temperature):
    return 444.0 + (625.0 - 444.0) / 780.0 * (temperature - 20.0)


def boiling(peak=2200.0, at=520.0, width=70.0, film=400.0, convection=300.0):
    """Coefficient of an oil-like medium, W/m2K: a Gaussian peak on a step."""

    def coefficient(surface, time=0.0):
        step = convection + (film - convection) / (1.0 + np.exp(-(surface - at) / 40.0))
        return step + peak * np.exp(-0.5 * ((surface - at) / width) ** 2)

    return coefficient


def gas(level=300.0, slope=-0.1):
    """Coefficient of a gas quench, W/m2K: nearly constant; ``slope`` is the relative change over the range."""

    def coefficient(surface, time=0.0):
        return level * (1.0 + slope * (surface - 450.0) / 400.0)

    return coefficient


def by_lines(radius, coefficient, fluid, times, places, *, initial=INITIAL, cells=90):
    """Temperature (time, place) at radii of a long bar; finite differences on sine-graded rings, LSODA."""
    face = radius * np.sin(0.5 * np.pi * np.linspace(0.0, 1.0, cells + 1))
    centre = 0.5 * (face[1:] + face[:-1])
    ring = 0.5 * (face[1:] ** 2 - face[:-1] ** 2)
    gap = radius - centre[-1]

    def rate(time, temperature):
        flow = np.zeros(cells + 1)  # r q
        middle = conductivity(0.5 * (temperature[1:] + temperature[:-1]))
        flow[1:-1] = -middle * np.diff(temperature) / np.diff(centre) * face[1:-1]
        last = temperature[-1]
        k = conductivity(last)
        surface = last
        for _ in range(8):
            h = coefficient(surface, time)
            before, surface = surface, (h * fluid + k / gap * last) / (h + k / gap)
            if abs(surface - before) < 1e-10:
                break
        flow[-1] = k * (last - surface) / gap * radius
        return -np.diff(flow) / ring / (DENSITY * specific_heat(temperature))

    solution = solve_ivp(
        rate,
        (0.0, times[-1]),
        np.full(cells, initial),
        method="LSODA",
        lband=1,
        uband=1,
        rtol=1e-6,
        atol=1e-4,
        t_eval=times,
    )
    even = np.concatenate([-centre[:3][::-1], centre])
    course = np.concatenate([solution.y[:3][::-1], solution.y])
    return PchipInterpolator(even, course, axis=0)(np.abs(places)).T


def by_elements(radius, coefficient, fluid, times, places, *, initial=INITIAL, elements=14, step=0.1):
    """The same by scikit-fem: quadratic elements in the radius, implicit midpoint with Newton-like repeats."""
    from skfem import Basis, BilinearForm, ElementLineP2, MeshLine

    mesh = MeshLine(radius * np.sin(0.5 * np.pi * np.linspace(0.0, 1.0, elements + 1)))
    basis = Basis(mesh, ElementLineP2(), intorder=5)

    @BilinearForm
    def stiffness(u, v, w):
        return conductivity(w["at"]) * u.grad[0] * v.grad[0] * w.x[0]

    @BilinearForm
    def capacity(u, v, w):
        return DENSITY * specific_heat(w["at"]) * u * v * w.x[0]

    end = int(np.argmax(basis.doflocs[0]))
    nodes = basis.doflocs[0]
    order = np.argsort(nodes)
    now = np.full(basis.N, float(initial))
    found = [now[order].copy()]
    clock = [0.0]
    from scipy.sparse.linalg import splu

    while clock[-1] < times[-1] - 1e-9:
        dt = min(step, 1e-4 + 0.03 * clock[-1])
        guess = now.copy()
        for _ in range(4):
            middle = 0.5 * (guess + now)
            at = basis.interpolate(middle)
            mass, stiff = capacity.assemble(basis, at=at), stiffness.assemble(basis, at=at).tolil()
            h = coefficient(middle[end], clock[-1] + 0.5 * dt)
            stiff[end, end] += h * radius
            load = np.zeros(basis.N)
            load[end] = h * radius * fluid
            new = splu((mass / dt + 0.5 * stiff.tocsr()).tocsc()).solve(
                mass @ now / dt - 0.5 * (stiff.tocsr() @ now) + load
            )
            change = np.abs(new - guess).max()
            guess = new
            if change < 1e-5:
                break
        now = guess
        clock.append(clock[-1] + dt)
        found.append(now[order].copy())
    course = np.array(found)
    in_time = PchipInterpolator(np.array(clock), course, axis=0)(np.minimum(times, clock[-1]))
    even = np.concatenate([-nodes[order][1:4][::-1], nodes[order]])
    padded = np.concatenate([in_time[:, 1:4][:, ::-1], in_time], axis=1)
    return PchipInterpolator(even, padded, axis=1)(np.abs(places))


def behind(times, values, lag):
    """First-order lag of a course that is linear between samples, by its convolution."""
    out = values.copy()
    for n in range(1, len(times)):
        dt = times[n] - times[n - 1]
        slope = (values[n] - values[n - 1]) / dt
        out[n] = values[n] - slope * lag + (out[n - 1] - values[n - 1] + slope * lag) * np.exp(-dt / lag)
    return out


def log_of(times, values, names):
    """Dataset as a recorder log."""
    return xr.Dataset(
        {"temperature": (("time", "probe"), values, {"units": "degC"})}, coords={"time": times, "probe": list(names)}
    )


def triangle(times, *, depth=1.0, terms=200):
    """Dimensionless temperature rise of a plate, heated on one face by a triangular flux, insulated on the other.

    Flux: 0 at t = 0, rising with slope 1 to 0.6 at t = 0.6, falling back to 0 at 1.2 (time t alpha/L^2, flux in any unit).
    The response to a constant flux is t + x^2/2 - x + 1/3 - 2/pi^2 sum n^-2 exp(-n^2 pi^2 t) cos(n pi x), x from the heated
    face; that to a ramp is its integral.
    """
    n = np.arange(1, terms + 1)[:, None]

    def ramp(t):
        t = np.maximum(t, 0.0)
        constant = 0.5 * depth**2 - depth + 1.0 / 3.0
        series = (np.cos(n * np.pi * depth) / n**2 * -np.expm1(-((n * np.pi) ** 2) * t) / (n * np.pi) ** 2).sum(axis=0)
        return 0.5 * t**2 + constant * t - 2.0 / np.pi**2 * series

    return ramp(times) - 2.0 * ramp(times - 0.6) + ramp(times - 1.2)


def fluctuating(rng, share, end, memory=5.0):
    """Factor over time with mean 1 and a relative standard deviation: a fan and gusts, correlated over ``memory`` seconds."""
    times = np.arange(0.0, end + memory, memory / 5.0)
    keep = np.exp(-0.2)
    walk = np.empty(len(times))
    walk[0] = rng.normal()
    for n in range(1, len(times)):
        walk[n] = keep * walk[n - 1] + np.sqrt(1.0 - keep**2) * rng.normal()
    return lambda time: 1.0 + share * np.interp(time, times, walk)
