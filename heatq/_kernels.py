"""Compiled kernels: arrays and scalars in, arrays out, no objects.

Everything that runs once per cell and time step lives in this one module, because numba's on-disk cache notices a
change only in the file a function stands in. The equations are on the documentation page "equations and grid"; a plain
numpy twin of the step is in the tests.

Layout. Cells are ``[radial, axial]`` with the axial index fastest, so that the inner loops are long. A material is two tables on one uniform
temperature grid (`TABLE_START`, `TABLE_STEP`): ``thermal[i]`` holds four columns for each of ferrite, pearlite, bainite, martensite and
austenite: volumetric enthalpy (J/m3), its change to the next row, conductivity (W/mK), its change; ``kinetic[i]`` holds
the rates of ferrite, pearlite, bainite (1/s), the ferrite limit and exp(alpha T). ``kinetic_scalars`` holds Ms (degC),
Koistinen-Marburger coefficient alpha (1/K), carbon (mass %), dMs/dC (K per mass %), the temperature above which nothing
forms, exp(-alpha Ms), and the temperature below which no rate is left. A plain material uses the austenite columns and ``transforms = 0``.

Boundary tables: ``flux_tables[row]`` is the flux (W/m2) over surface temperature on the same grid. A zone has knots
``zone_start[zone] .. zone_start[zone + 1]`` in ``knot_time``, each with its row of ``flux_tables``; between knots the
flux is linear in time.

What runs once per cell or step is inlined into `advance` and works on arrays without owners (`borrowed`): counting references and
passing tables through calls took two thirds of the time of a short 1-D run.
"""

from __future__ import annotations

import numpy as np
from numba import njit, types
from numba.core import cgutils
from numba.extending import intrinsic

#: First of the four columns of a phase.
FERRITE, PEARLITE, BAINITE, MARTENSITE, AUSTENITE = range(0, 20, 4)
REACHED, COLD, BUFFER_FULL, STEP_TOO_SMALL, NOT_FINITE = range(5)
GAMMA = 1.0 - 0.5 * 2.0**0.5

# The one temperature grid of all tables, degC; constants, so that a look-up needs no division.
TABLE_START = -100.0
TABLE_STEP = 1.0
TABLE_ROWS = 1551
#: Rows of work space that a run needs.
WORK_ROWS = 35

jit = njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract"})
inline = njit(cache=True, nogil=True, error_model="numpy", forceinline=True, fastmath={"contract"})


@intrinsic
def borrowed(typing_context, values):
    """The same tuple with its arrays without owners, so that no reference to them is counted; the caller holds them."""

    def generate(context, builder, signature, arguments):
        parts = cgutils.unpack_tuple(builder, arguments[0], len(values))
        for n, kind in enumerate(values):
            if isinstance(kind, types.Array):
                array = context.make_array(kind)(context, builder, value=parts[n])
                array.meminfo = array.meminfo.type(None)
                array.parent = array.parent.type(None)
                parts[n] = array._getvalue()
        return context.make_tuple(builder, signature.return_type, parts)

    return values(values), generate


@inline
def table_index(temperature):
    """Row below ``temperature`` and the distance from it in rows; linear continuation beyond the table."""
    x = (temperature - TABLE_START) * (1.0 / TABLE_STEP)
    i = min(max(int(x), 0), TABLE_ROWS - 2)
    return i, x - i


@inline
def inverse_s(y, s_table, s_inverse_step):
    """Transformed fraction X = S^-1(y) from its uniform table; 1 beyond the end."""
    x = y * s_inverse_step
    i = int(x)
    if i >= s_table.shape[0] - 1:
        return 1.0
    return s_table[i] + (x - i) * (s_table[i + 1] - s_table[i])


@inline
def rates_at(temperature, kinetic):
    """Rates of ferrite, pearlite, bainite (1/s) and the ferrite limit at one temperature."""
    i, w = table_index(temperature)
    return (
        kinetic[i, 0] + w * (kinetic[i + 1, 0] - kinetic[i, 0]),
        kinetic[i, 1] + w * (kinetic[i + 1, 1] - kinetic[i, 1]),
        kinetic[i, 2] + w * (kinetic[i + 1, 2] - kinetic[i, 2]),
        kinetic[i, 3] + w * (kinetic[i + 1, 3] - kinetic[i, 3]),
    )


@inline
def grow(
    y_ferrite, y_pearlite, y_bainite, gain_ferrite, gain_pearlite, gain_bainite,
    ferrite, pearlite, bainite, martensite, limit, s_table, s_inverse_step,
):  # fmt: skip
    """Fractions of ferrite, pearlite and bainite after their rate integrals grew by the gains to the given values.

    Ferrite is a share of the lever-rule limit, pearlite of what ferrite left, bainite of what both left; none shrinks, one
    whose rate is zero does not grow, and their sum with martensite never exceeds one.
    """
    free = 1.0 - ferrite - pearlite - bainite - martensite
    if free <= 0.0:
        return ferrite, pearlite, bainite
    if gain_ferrite > 0.0:
        new = inverse_s(y_ferrite, s_table, s_inverse_step) * limit
        if new > ferrite:
            gain = min(new - ferrite, free)
            ferrite += gain
            free -= gain
    if gain_pearlite > 0.0:
        new = inverse_s(y_pearlite, s_table, s_inverse_step) * (1.0 - ferrite)
        if new > pearlite:
            gain = min(new - pearlite, free)
            pearlite += gain
            free -= gain
    if gain_bainite > 0.0:
        new = inverse_s(y_bainite, s_table, s_inverse_step) * (1.0 - ferrite - pearlite)
        if new > bainite:
            bainite += min(new - bainite, free)
    return ferrite, pearlite, bainite


@inline
def warming(temperature, thermal):
    """Temperature (K) that austenite gains as it becomes ferrite at one temperature."""
    i, _ = table_index(temperature)
    return (thermal[i, AUSTENITE] - thermal[i, FERRITE]) * TABLE_STEP / thermal[i, AUSTENITE + 1]


@inline
def coupled_limit(y, limit, temperature, ferrite, kinetic, s_table, s_inverse_step, thermal):
    """Ferrite limit that holds when the ferrite has grown to its share X(y) of it, by one Newton step.

    ``limit`` is that of ``temperature``, which belongs to the fraction ``ferrite``. Between Ae1 and Ae3 every bit of ferrite warms
    the cell and so lowers the limit; near equilibrium, in slow cooling, the two have to be solved together.
    """
    i, _ = table_index(temperature)
    fall = (kinetic[i, 3] - kinetic[i + 1, 3]) * (1.0 / TABLE_STEP)
    if fall <= 0.0:
        return limit
    share = inverse_s(y, s_table, s_inverse_step)
    if share <= 0.0:
        return limit
    feedback = share * fall * warming(temperature, thermal)
    return (ferrite + (share * limit - ferrite) / (1.0 + feedback)) / share


@inline
def martensite_start(ferrite, kinetic_scalars):
    """Ms (degC) of austenite enriched by the carbon that ferrite rejected."""
    carbon = kinetic_scalars[2]
    if ferrite <= 0.0 or carbon <= 0.02:
        return kinetic_scalars[0]
    enriched = (carbon - 0.02 * ferrite) / max(1.0 - ferrite, 0.02)
    return kinetic_scalars[0] + kinetic_scalars[3] * (enriched - carbon)


@inline
def highest_start(kinetic_scalars):
    """Temperature (degC) above which no cell is below its Ms, whatever carbon its austenite has."""
    return kinetic_scalars[0] if kinetic_scalars[3] <= 0.0 else 1e9


@inline
def update_start(n, ferrite, start, kinetic_scalars):
    """Ms (degC) of cell n and exp(-alpha Ms), worked out again only when its ferrite has changed."""
    if ferrite != start[0, n]:
        ms = martensite_start(ferrite, kinetic_scalars)
        start[0, n] = ferrite
        start[1, n] = ms
        start[2, n] = np.exp(-kinetic_scalars[1] * ms)


@inline
def plain_temperature(enthalpy, guess, thermal):
    """Temperature, heat capacity (J/m3K) and conductivity of the austenite (or plain material) columns."""
    i, w = table_index(guess)
    lowest = 0
    highest = TABLE_ROWS - 2
    while True:
        rise = thermal[i, AUSTENITE + 1]
        w = (enthalpy - thermal[i, AUSTENITE]) / rise
        if w < 0.0 and i > lowest:
            highest = i - 1
            i = max(lowest, i - max(1, int(min(-w, 1e6))))
        elif w > 1.0 and i < highest:
            lowest = i + 1
            i = min(highest, i + max(1, int(min(w, 1e6))))
        else:
            break
    k = thermal[i, AUSTENITE + 2] + w * thermal[i, AUSTENITE + 3]
    return TABLE_START + (i + w) * TABLE_STEP, rise * (1.0 / TABLE_STEP), k


@inline
def mixture_row(i, ferrite, pearlite, bainite, martensite, austenite, thermal):
    """Enthalpy (J/m3) of a mixture at row i and its change to the next row, then the same of its conductivity (W/mK)."""
    h = (
        ferrite * thermal[i, FERRITE] + pearlite * thermal[i, PEARLITE] + bainite * thermal[i, BAINITE]
        + martensite * thermal[i, MARTENSITE] + austenite * thermal[i, AUSTENITE]
    )  # fmt: skip
    rise = (
        ferrite * thermal[i, FERRITE + 1] + pearlite * thermal[i, PEARLITE + 1] + bainite * thermal[i, BAINITE + 1]
        + martensite * thermal[i, MARTENSITE + 1] + austenite * thermal[i, AUSTENITE + 1]
    )  # fmt: skip
    k = (
        ferrite * thermal[i, FERRITE + 2] + pearlite * thermal[i, PEARLITE + 2] + bainite * thermal[i, BAINITE + 2]
        + martensite * thermal[i, MARTENSITE + 2] + austenite * thermal[i, AUSTENITE + 2]
    )  # fmt: skip
    slope = (
        ferrite * thermal[i, FERRITE + 3] + pearlite * thermal[i, PEARLITE + 3] + bainite * thermal[i, BAINITE + 3]
        + martensite * thermal[i, MARTENSITE + 3] + austenite * thermal[i, AUSTENITE + 3]
    )  # fmt: skip
    return h, rise, k, slope


@inline
def forming_share(i, enthalpy, h, rise, k, slope, scale, low, kinetic, thermal):
    """`mixture_row` with ``low`` of austenite turned into what holds while martensite forms: share, rise, conductivity, austenite.

    The austenite follows Koistinen and Marburger, ``scale`` exp(alpha T), linear between rows; with its latent heat, linear too, that
    makes a small parabola, w = chord + bow w (1 - w). ``bow`` is of the order of 1e-3, and what is left out of the
    order of its fourth power; outside the two rows the share is that of the chord.
    """
    fall = scale * kinetic[i + 1, 4] - low
    bend = thermal[i, AUSTENITE + 1] - thermal[i, MARTENSITE + 1]
    rise += fall * (thermal[i, AUSTENITE] - thermal[i, MARTENSITE] + bend)
    inverse = 1.0 / rise
    chord = (enthalpy - h) * inverse
    bow = fall * bend * inverse
    arch = max(chord * (1.0 - chord), 0.0)
    w = chord + bow * arch * (1.0 + bow * (1.0 - 2.0 * chord + bow * (1.0 - 5.0 * arch)))
    more = w * fall
    k += w * slope + more * (
        thermal[i, AUSTENITE + 2] - thermal[i, MARTENSITE + 2]
        + w * (thermal[i, AUSTENITE + 3] - thermal[i, MARTENSITE + 3])
    )  # fmt: skip
    return w, rise, k, low + more


@jit
def mixture_temperature(
    enthalpy, guess, ferrite, pearlite, bainite, martensite, ms, exp_ms, kinetic, thermal
):  # fmt: skip
    """Temperature, martensite fraction, heat capacity (J/m3K) and conductivity of a mixture of given enthalpy.

    Where the steel is colder than Koistinen and Marburger allow for the martensite that is there, more forms and its heat is
    part of the balance: enthalpy(T, austenite(T)) = enthalpy, with the austenite of their law linear between table rows.
    Which of the two branches holds, frozen or forming, is decided by the austenite it leaves.
    """
    pool = 1.0 - ferrite - pearlite - bainite
    austenite = pool - martensite
    scale = pool * exp_ms
    can_form = austenite > 1e-12
    forms = can_form and guess < ms
    i, w = table_index(guess)
    for attempt in range(2):
        lowest = 0
        highest = TABLE_ROWS - 2
        while True:
            left = scale * kinetic[i, 4] if forms else austenite
            h, rise, k, slope = mixture_row(i, ferrite, pearlite, bainite, pool - left, left, thermal)
            if forms:
                w, rise, k, left = forming_share(i, enthalpy, h, rise, k, slope, scale, left, kinetic, thermal)
            else:
                w = (enthalpy - h) / rise
                k += w * slope
            if w < 0.0 and i > lowest:
                highest = i - 1
                i = max(lowest, i - max(1, int(min(-w, 1e6))))
            elif w > 1.0 and i < highest:
                lowest = i + 1
                i = min(highest, i + max(1, int(min(w, 1e6))))
            else:
                break
        if forms:
            if left <= austenite or attempt == 1:
                left = max(min(left, austenite), 0.0)
                break
            forms = False
        else:
            t = TABLE_START + (i + w) * TABLE_STEP
            if not can_form or attempt == 1 or t >= ms:
                break
            if scale * (kinetic[i, 4] + w * (kinetic[i + 1, 4] - kinetic[i, 4])) >= austenite:
                break
            forms = True
    return TABLE_START + (i + w) * TABLE_STEP, max(pool - left, martensite), rise * (1.0 / TABLE_STEP), k


@inline
def surface_balance(cell, conductance, guess, flux_tables, a, b, weight):
    """Surface temperature, flux (W/m2) and slope dq/dTs with conductance (cell - Ts) = q(Ts).

    q is row ``a`` of the tables, moved by ``weight`` towards row ``b``. Walks node by node from ``guess`` (the last surface
    temperature), so that on a boiling curve with several roots the surface stays on its branch until that branch ends.
    """
    i, w = table_index(guess)
    q0 = flux_tables[a, i]
    q1 = flux_tables[a, i + 1]
    if weight > 0.0:
        q0 += weight * (flux_tables[b, i] - q0)
        q1 += weight * (flux_tables[b, i + 1] - q1)
    t0 = TABLE_START + i * TABLE_STEP
    way = 0
    while True:
        if conductance * (cell - t0) < q0 and i > 0 and way <= 0:
            way = -1
            i -= 1
            t0 -= TABLE_STEP
            q1 = q0
            q0 = flux_tables[a, i]
            if weight > 0.0:
                q0 += weight * (flux_tables[b, i] - q0)
        elif conductance * (cell - t0 - TABLE_STEP) > q1 and i < TABLE_ROWS - 2 and way >= 0:
            way = 1
            i += 1
            t0 += TABLE_STEP
            q0 = q1
            q1 = flux_tables[a, i + 1]
            if weight > 0.0:
                q1 += weight * (flux_tables[b, i + 1] - q1)
        else:
            break
    slope = (q1 - q0) * (1.0 / TABLE_STEP)
    ts = t0 + (conductance * (cell - t0) - q0) / max(conductance + slope, 1e-9 * conductance)
    return ts, q0 + slope * (ts - t0), slope


@inline
def knot_rows(time, zone, side, zone_start, knot_time):
    """Rows of the two knots around ``time`` and the weight of the later one.

    At a jump (two knots at one time) ``side = 0`` takes the state after it, ``side = 1`` the state before.
    """
    first = zone_start[zone]
    last = zone_start[zone + 1] - 1
    k = first
    if side == 0:
        while k < last and knot_time[k + 1] <= time:
            k += 1
    else:
        while k < last and knot_time[k + 1] < time:
            k += 1
    if k == last:
        return k, k, 0.0
    span = knot_time[k + 1] - knot_time[k]
    if span <= 0.0:
        return k, k, 0.0
    return k, k + 1, min(max((time - knot_time[k]) / span, 0.0), 1.0)


@inline
def boundary_balance(
    face,
    time,
    side,
    temp,
    cond,
    surface,
    grid_r,
    grid_z,
    zones,
    zone_start,
    knot_time,
    flux_tables,
    rate,
    bound,
):
    """Surface balance of every cell of one face: subtract its heat from ``rate``, return the power out (W)."""
    nr, nz = temp.shape
    power = 0.0
    last_zone = -1
    a = b = 0
    w = 0.0
    two_pi = 2.0 * np.pi
    for n in range(nr if face < 2 else nz):
        zone = zones[face, n]
        if zone != last_zone:
            a, b, w = knot_rows(time, zone, side, zone_start, knot_time)
            last_zone = zone
        if face < 2:
            i, j = n, (0 if face == 0 else nz - 1)
            area, distance = grid_r[3, n], grid_z[0, j]
        elif face == 2:
            i, j = nr - 1, n
            area, distance = (
                two_pi * grid_r[2, i] * grid_z[1, n],
                grid_r[2, i] - grid_r[0, i],
            )
        else:
            i, j = 0, n
            area, distance = (
                two_pi * grid_r[1, 0] * grid_z[1, n],
                grid_r[0, 0] - grid_r[1, 0],
            )
        g = cond[i, j] / distance
        ts, q, slope = surface_balance(temp[i, j], g, surface[face, n], flux_tables, a, b, w)
        surface[face, n] = ts
        rate[i, j] -= q * area
        power += q * area
        bound[face, n] = area * g * slope / (g + slope) if slope > 0.0 else 0.0
    return power


@inline
def heat_balance(
    time, side, temp, cond, surface, grid_r, grid_z, zones, zone_start, knot_time, flux_tables,
    rate, g_r, g_z, bound, face_power,
):  # fmt: skip
    """Net heat into every cell (W), face conductances (W/K), linearised boundary conductances and power out per face.

    ``grid_r`` rows: centre radius, inner face radius, outer face radius, ring area. ``grid_z`` rows: half width, width.
    ``surface`` and ``bound`` have one row per face: 0 bottom, 1 top (radial index), 2 outer, 3 bore (axial index).
    ``g_r[i]`` is between rings i and i + 1, ``g_z[:, j]`` between slices j and j + 1.
    """
    nr, nz = temp.shape
    half = grid_z[0]
    width = grid_z[1]
    if nz == 1:  # loops of length one would cost more than what they do
        rate[0, 0] = 0.0
        for i in range(nr - 1):
            near = (grid_r[2, i] - grid_r[0, i]) * cond[i + 1, 0]
            far = (grid_r[0, i + 1] - grid_r[2, i]) * cond[i, 0]
            g = 2.0 * np.pi * grid_r[2, i] * width[0] * cond[i, 0] * cond[i + 1, 0] / (near + far)
            q = g * (temp[i, 0] - temp[i + 1, 0])
            g_r[i, 0] = g
            rate[i, 0] -= q
            rate[i + 1, 0] = q
    else:
        for i in range(nr):
            c = cond[i]
            g = g_z[i]
            area = grid_r[3, i]
            for j in range(nz - 1):
                near = c[j]
                far = c[j + 1]
                g[j] = area * near * far / (half[j] * far + half[j + 1] * near)
        for i in range(nr - 1):
            c = cond[i]
            d = cond[i + 1]
            g = g_r[i]
            around = 2.0 * np.pi * grid_r[2, i]
            inner = grid_r[2, i] - grid_r[0, i]
            outer = grid_r[0, i + 1] - grid_r[2, i]
            for j in range(nz):
                g[j] = around * width[j] * c[j] * d[j] / (inner * d[j] + outer * c[j])
        for i in range(nr):
            t = temp[i]
            r = rate[i]
            g = g_z[i]
            r[0] = g[0] * (t[1] - t[0])
            for j in range(1, nz - 1):
                r[j] = g[j] * (t[j + 1] - t[j]) - g[j - 1] * (t[j] - t[j - 1])
            r[nz - 1] = g[nz - 2] * (t[nz - 2] - t[nz - 1])
        for i in range(nr - 1):
            t = temp[i]
            u = temp[i + 1]
            g = g_r[i]
            r = rate[i]
            s = rate[i + 1]
            for j in range(nz):
                q = g[j] * (t[j] - u[j])
                r[j] -= q
                s[j] += q
    for face in range(4):
        face_power[face] = 0.0
        if zones[face, 0] >= 0:
            face_power[face] = boundary_balance(
                face,
                time,
                side,
                temp,
                cond,
                surface,
                grid_r,
                grid_z,
                zones,
                zone_start,
                knot_time,
                flux_tables,
                rate,
                bound,
            )


@inline
def factor_sweeps(tau_gamma, mass, g_r, g_z, bound, upper_r, inverse_r, upper_z, inverse_z):
    """Factors of (mass + gamma tau K_z) and (mass + gamma tau K_r), used by both stages of a step.

    ``inverse`` holds 1 / pivot and ``upper`` the share of the next unknown, so that a solve only multiplies. The loops over
    independent systems are the inner ones: one system alone would wait for its own division at every cell.
    """
    nr, nz = mass.shape
    if nz > 1:
        for i in range(nr):
            inverse = 1.0 / (mass[i, 0] + tau_gamma * (g_z[i, 0] + bound[0, i]))
            inverse_z[i, 0] = inverse
            upper_z[i, 0] = tau_gamma * g_z[i, 0] * inverse
        for j in range(1, nz - 1):
            for i in range(nr):
                low = tau_gamma * g_z[i, j - 1]
                up = tau_gamma * g_z[i, j]
                inverse = 1.0 / (mass[i, j] + up + low * (1.0 - upper_z[i, j - 1]))
                inverse_z[i, j] = inverse
                upper_z[i, j] = up * inverse
        j = nz - 1
        for i in range(nr):
            low = tau_gamma * g_z[i, j - 1]
            inverse_z[i, j] = 1.0 / (mass[i, j] + tau_gamma * bound[1, i] + low * (1.0 - upper_z[i, j - 1]))
            upper_z[i, j] = 0.0
    if nz == 1:
        up = 0.0
        share = 0.0
        d = mass[0, 0] + tau_gamma * bound[3, 0]
        for i in range(nr):
            if i > 0:
                d = mass[i, 0] + up * (1.0 - share)
            up = tau_gamma * (g_r[i, 0] if i < nr - 1 else bound[2, 0])
            inverse = 1.0 / (d + up)
            share = up * inverse
            inverse_r[i, 0] = inverse
            upper_r[i, 0] = share
        upper_r[nr - 1, 0] = 0.0
        return
    for i in range(nr):
        m = mass[i]
        g = g_r[i]
        below = g_r[max(i - 1, 0)]
        share = upper_r[max(i - 1, 0)]
        upper = upper_r[i]
        inverse_row = inverse_r[i]
        for j in range(nz):
            d = m[j]
            up = 0.0
            if i > 0:
                d += tau_gamma * below[j] * (1.0 - share[j])
            else:
                d += tau_gamma * bound[3, j]
            if i < nr - 1:
                up = tau_gamma * g[j]
                d += up
            else:
                d += tau_gamma * bound[2, j]
            inverse = 1.0 / d
            inverse_row[j] = inverse
            upper[j] = up * inverse


@inline
def solve_sweeps(
    tau_gamma, right, mass, g_r, g_z, bound, upper_r, inverse_r, upper_z, inverse_z, face_energy
):  # fmt: skip
    """Solve (1 - gamma tau A_z)(1 - gamma tau A_r) k = right in place; the boundary's share goes to ``face_energy``.

    ``right`` is energy per cell (J); on return it holds the temperature-like increment theta = k / mass of every cell, with
    ``mass`` the heat capacity of the cell (J/K). The factors come from `factor_sweeps`.
    """
    nr, nz = right.shape
    last = nr - 1
    if nz > 1:
        for i in range(nr):
            right[i, 0] *= inverse_z[i, 0]
        for j in range(1, nz):
            for i in range(nr):
                right[i, j] = (right[i, j] + tau_gamma * g_z[i, j - 1] * right[i, j - 1]) * inverse_z[i, j]
        for j in range(nz - 2, -1, -1):
            for i in range(nr):
                right[i, j] += upper_z[i, j] * right[i, j + 1]
        for i in range(nr):
            face_energy[0] += tau_gamma * bound[0, i] * right[i, 0]
            face_energy[1] += tau_gamma * bound[1, i] * right[i, nz - 1]
        for i in range(nr):
            x = right[i]
            m = mass[i]
            for j in range(nz):
                x[j] *= m[j]
        for i in range(nr):
            x = right[i]
            v = inverse_r[i]
            if i == 0:
                for j in range(nz):
                    x[j] *= v[j]
            else:
                g = g_r[i - 1]
                y = right[i - 1]
                for j in range(nz):
                    x[j] = (x[j] + tau_gamma * g[j] * y[j]) * v[j]
        for i in range(nr - 2, -1, -1):
            x = right[i]
            y = right[i + 1]
            u = upper_r[i]
            for j in range(nz):
                x[j] += u[j] * y[j]
    else:
        passed = right[0, 0] * inverse_r[0, 0]
        right[0, 0] = passed
        for i in range(1, nr):
            passed = (right[i, 0] + tau_gamma * g_r[i - 1, 0] * passed) * inverse_r[i, 0]
            right[i, 0] = passed
        for i in range(nr - 2, -1, -1):
            passed = right[i, 0] + upper_r[i, 0] * passed
            right[i, 0] = passed
    for j in range(nz):
        face_energy[2] += tau_gamma * bound[2, j] * right[last, j]
        face_energy[3] += tau_gamma * bound[3, j] * right[0, j]


@inline
def transform(
    dt, temp_a, temp_b, ferrite_b, fractions, sums, new_fractions, new_sums,
    kinetic, kinetic_scalars, s_table, s_inverse_step, thermal,
):  # fmt: skip
    """Ferrite, pearlite and bainite of every cell after a step; see `new_state`."""
    top = kinetic_scalars[4]
    bottom = kinetic_scalars[6]
    half = 0.5 * dt
    for n in range(temp_a.shape[0]):
        f = fractions[0, n]
        p = fractions[1, n]
        b = fractions[2, n]
        m = fractions[3, n]
        yf = sums[0, n]
        yp = sums[1, n]
        yb = sums[2, n]
        ta = temp_a[n]
        tb = temp_b[n]
        if f + p + b + m < 0.999999999 and max(ta, tb) > bottom and min(ta, tb) < top:
            ka = rates_at(ta, kinetic)
            kb = rates_at(tb, kinetic)
            df = half * (ka[0] + kb[0])
            dp = half * (ka[1] + kb[1])
            db = half * (ka[2] + kb[2])
            if df + dp + db > 0.0:
                yf += df
                yp += dp
                yb += db
                limit = kb[3]
                if df > 0.0:
                    limit = coupled_limit(yf, limit, tb, ferrite_b[n], kinetic, s_table, s_inverse_step, thermal)
                f, p, b = grow(yf, yp, yb, df, dp, db, f, p, b, m, limit, s_table, s_inverse_step)
        new_fractions[0, n] = f
        new_fractions[1, n] = p
        new_fractions[2, n] = b
        new_sums[0, n] = yf
        new_sums[1, n] = yp
        new_sums[2, n] = yb


@inline
def new_state(
    dt, temp_a, temp_b, ferrite_b, transforms, fractions, sums, enthalpy, guess,
    new_fractions, new_sums, new_temp, new_mass, new_cond, volume, start, others,
    kinetic, kinetic_scalars, s_table, s_inverse_step, thermal,
):  # fmt: skip
    """Fractions, temperature, heat capacity (J/K) and conductivity of every cell for new enthalpies.

    The rate integrals grow by ``dt (k(temp_a) + k(temp_b)) / 2``; ``ferrite_b`` is the ferrite that ``temp_b`` counts with.
    All arrays run over the cells in one row; those of fractions and sums have the phase (ferrite,
    pearlite, bainite, martensite; three sums) first. ``start`` remembers per cell the ferrite fraction, its Ms and
    exp(-alpha Ms), kept up to date only where it is cold enough for them to count. Mostly the table row of ``guess`` is right, and whether
    martensite forms there; the ``others`` are solved after that.
    """
    if not transforms:
        for n in range(enthalpy.shape[0]):
            t, c, k = plain_temperature(enthalpy[n], guess[n], thermal)
            new_temp[n] = t
            new_mass[n] = c * volume[n]
            new_cond[n] = k
        return
    transform(
        dt, temp_a, temp_b, ferrite_b, fractions, sums, new_fractions, new_sums,
        kinetic, kinetic_scalars, s_table, s_inverse_step, thermal,
    )  # fmt: skip
    warm = highest_start(kinetic_scalars)
    count = 0
    for n in range(enthalpy.shape[0]):
        f = new_fractions[0, n]
        p = new_fractions[1, n]
        b = new_fractions[2, n]
        pool = 1.0 - f - p - b
        austenite = pool - fractions[3, n]
        ms = warm
        if guess[n] < warm:
            update_start(n, f, start, kinetic_scalars)
            ms = start[1, n]
        can_form = austenite > 1e-12
        forms = can_form and guess[n] < ms
        i, w = table_index(guess[n])
        scale = pool * start[2, n]
        left = scale * kinetic[i, 4] if forms else austenite
        if left == 1.0:  # austenite alone
            h, rise = thermal[i, AUSTENITE], thermal[i, AUSTENITE + 1]
            k, slope = thermal[i, AUSTENITE + 2], thermal[i, AUSTENITE + 3]
        else:
            h, rise, k, slope = mixture_row(i, f, p, b, pool - left, left, thermal)
        if forms:
            w, rise, k, left = forming_share(i, enthalpy[n], h, rise, k, slope, scale, left, kinetic, thermal)
        else:
            w = (enthalpy[n] - h) / rise
            k += w * slope
        t = TABLE_START + (i + w) * TABLE_STEP
        if not 0.0 <= w <= 1.0 or not 0.0 <= left <= austenite or (can_form and not forms and t < ms):
            others[count] = n
            count += 1
        new_fractions[3, n] = max(pool - left, fractions[3, n])
        new_temp[n] = t
        new_mass[n] = rise * (1.0 / TABLE_STEP) * volume[n]
        new_cond[n] = k
    for other in range(count):
        n = others[other]
        update_start(n, new_fractions[0, n], start, kinetic_scalars)
        t, m, c, k = mixture_temperature(
            enthalpy[n], guess[n], new_fractions[0, n], new_fractions[1, n], new_fractions[2, n], fractions[3, n],
            start[1, n], start[2, n], kinetic, thermal,
        )  # fmt: skip
        new_fractions[3, n] = m
        new_temp[n] = t
        new_mass[n] = c * volume[n]
        new_cond[n] = k


@inline
def expected_capacity(
    dt, temp, enthalpy, heating, mass, volume, transforms, fractions, start, kinetic, kinetic_scalars, thermal, capacity
):  # fmt: skip
    """Heat capacity (J/K) of every cell over the step to come: the secant of enthalpy over temperature, not the tangent.

    The enthalpy at the end is expected from ``heating``, its rate (W/m3) in the last step, which stays continuous where
    the heat capacity jumps. A cell that transforms keeps its tangent unless it is about to pass Ms.
    """
    warm = highest_start(kinetic_scalars)
    for n in range(temp.shape[0]):
        t = temp[n]
        capacity[n] = mass[n]
        change = dt * heating[n]
        guess = t + change * volume[n] / mass[n]
        if abs(guess - t) < 1e-3:
            continue
        if not transforms:
            ahead = plain_temperature(enthalpy[n] + change, guess, thermal)[0]
        elif guess < warm and t > guess:
            update_start(n, fractions[0, n], start, kinetic_scalars)
            if t <= start[1, n] or guess >= start[1, n]:
                continue
            ahead = mixture_temperature(
                enthalpy[n] + change, guess, fractions[0, n], fractions[1, n], fractions[2, n],
                fractions[3, n], start[1, n], start[2, n], kinetic, thermal,
            )[0]  # fmt: skip
        else:
            continue
        if abs(ahead - t) > 1e-3:
            capacity[n] = change * volume[n] / (ahead - t)


@inline
def released_rate(
    dt, temp, new_temp, enthalpy, new_enthalpy, mass, new_mass, volume, fractions, new_fractions, release
):  # fmt: skip
    """Temperature rate (K/s) that growth alone gave each cell in the last step; 0 where martensite forms or nothing grew."""
    per_second = 1.0 / dt
    for n in range(temp.shape[0]):
        grown = 0.0
        for phase in range(3):
            grown += new_fractions[phase, n] - fractions[phase, n]
        rate = 0.0
        if grown > 0.0 and new_fractions[3, n] == fractions[3, n]:
            heat = (new_enthalpy[n] - enthalpy[n]) * volume[n]
            rate = (new_temp[n] - temp[n] - 2.0 * heat / (mass[n] + new_mass[n])) * per_second
        release[n] = rate


@inline
def node_value(temp, surface, r, z):
    """Temperature at a node: 0 and n + 1 are the faces of a direction, 1 ... n its cells."""
    nr, nz = temp.shape
    if 1 <= z <= nz:
        if r == 0:
            return surface[3, z - 1]
        if r == nr + 1:
            return surface[2, z - 1]
        return temp[r - 1, z - 1]
    end = 0 if z == 0 else 1
    if 1 <= r <= nr:
        return surface[end, r - 1]
    i = 0 if r == 0 else nr - 1  # a corner: continue both faces
    j = 0 if z == 0 else nz - 1
    return surface[end, i] + surface[3 if r == 0 else 2, j] - temp[i, j]


@inline
def record_row(
    row,
    time,
    transforms,
    temp,
    surface,
    fractions,
    energy_out,
    probe_r,
    probe_z,
    weight_r,
    weight_z,
    linear,
    record,
):
    """Write time, heat out of the faces, probe temperatures and probe fractions into one row of ``record``.

    ``probe_r/z`` is the first of four nodes with their weights; ``linear`` holds the two cells per direction of the
    fractions and their weights.
    """
    count = probe_r.shape[0]
    record[row, 0] = time
    for face in range(4):
        record[row, 1 + face] = energy_out[face]
    for p in range(count):
        total = 0.0
        for a in range(4):
            if weight_z[p, a] != 0.0:
                for b in range(4):
                    if weight_r[p, b] != 0.0:
                        value = node_value(temp, surface, probe_r[p] + b, probe_z[p] + a)
                        total += weight_z[p, a] * weight_r[p, b] * value
        record[row, 5 + p] = total
        if transforms:
            j0 = int(linear[p, 0])
            j1 = int(linear[p, 1])
            i0 = int(linear[p, 2])
            i1 = int(linear[p, 3])
            wj = linear[p, 4]
            wi = linear[p, 5]
            for phase in range(4):
                low = fractions[phase, i0, j0] + wi * (fractions[phase, i1, j0] - fractions[phase, i0, j0])
                high = fractions[phase, i0, j1] + wi * (fractions[phase, i1, j1] - fractions[phase, i0, j1])
                record[row, 5 + (phase + 1) * count + p] = low + wj * (high - low)


@jit
def advance(runs):
    """March the runs of a pair; two short runs need Python's lock only once, and an idle one has a ``stop_time`` of 0.

    A run is (clock, stop_time, tolerance, longest_step, transforms, enthalpy, temp, mass, cond, fractions, sums, formation,
    memory, surface, energy_out, grid_r, grid_z, volume, zones, zone_start, knot_time, flux_tables, thermal, kinetic,
    kinetic_scalars, s_table, s_inverse_step, probe_r, probe_z, weight_r, weight_z, linear, record, work, edges, totals). It goes
    from ``clock[0]`` to ``stop_time`` or until ``record`` is full.

    ``clock`` holds time, next step, accepted steps, rejected steps, lowest and highest temperature seen, the step to take
    after a jump, the temperature below which the run may end, and on return the status and the rows written. ``memory`` holds
    what each cell remembers of the last step: the rate of its enthalpy (W/m3), the part of its temperature rate that growth gave
    it (K/s), and ``start`` of `new_state`. ``work`` (`WORK_ROWS`, cells), ``edges`` (3, 4, longest side) and ``totals`` (4, 4) are
    the kernel's own; ``edges`` of faces without a boundary must be 0.

    Second-order linearly implicit W-method (ROS2) in enthalpy, approximately factorised: one tridiagonal sweep per direction and
    stage; the kinetics ride along with the mean of the rates at both ends of the step. The matrix of the implicit part takes the
    heat capacity that is expected over the step, and the heat that growth releases, as known from the last step, as a source with
    a time of its own. The step is chosen so that the difference to the embedded first-order solution stays below ``tolerance`` (K)
    in every cell.
    """
    for run in runs:
        (
            clock, stop_time, tolerance, longest_step, transforms,
            enthalpy, temp, mass, cond, fractions, sums, formation, memory, surface, energy_out,
            grid_r, grid_z, volume, zones, zone_start, knot_time, flux_tables,
            thermal, kinetic, kinetic_scalars, s_table, s_inverse_step,
            probe_r, probe_z, weight_r, weight_z, linear, record, work, edges, totals,
        ) = borrowed(run)  # fmt: skip
        if stop_time <= clock[0]:
            continue
        nr, nz = temp.shape
        shape = (nr, nz)
        cells = nr * nz
        bound = edges[0]
        bound2 = edges[1]
        surface1 = edges[2]
        power = totals[0]
        power2 = totals[1]
        out1 = totals[2]
        out2 = totals[3]
        # fields for the balance and the sweeps; what is done for every cell alone runs over all cells in one row
        g_r = work[0].reshape(shape)
        g_z = work[1].reshape(shape)
        g_r2 = work[2].reshape(shape)
        g_z2 = work[3].reshape(shape)
        upper_r = work[4].reshape(shape)
        inverse_r = work[5].reshape(shape)
        upper_z = work[6].reshape(shape)
        inverse_z = work[7].reshape(shape)
        rate = work[8]
        x1 = work[9]
        x2 = work[10]
        t1 = work[11]
        cond1 = work[12]
        capacity = work[13]
        field_rate = rate.reshape(shape)
        field_x1 = x1.reshape(shape)
        field_x2 = x2.reshape(shape)
        field_t1 = t1.reshape(shape)
        field_cond1 = cond1.reshape(shape)
        field_capacity = capacity.reshape(shape)
        per_volume = work[14]
        h1 = work[15]
        t2 = work[16]
        mass1 = work[17]
        guess = work[18]
        ferrite = work[19]
        others = work[20].view(np.int64)
        frac1 = work[21:25]
        frac2 = work[25:29]
        sums1 = work[29:32]
        sums2 = work[32:35]
        t0 = temp.reshape(cells)
        h0 = enthalpy.reshape(cells)
        mass0 = mass.reshape(cells)
        cond0 = cond.reshape(cells)
        frac0 = fractions.reshape((4, cells))
        sums0 = sums.reshape((3, cells))
        formed = formation.reshape((3, cells))
        size = volume.reshape(cells)
        heating = memory[0].reshape(cells)
        release = memory[1].reshape(cells)
        start = memory[2:].reshape((3, cells))
        for n in range(cells):
            per_volume[n] = 1.0 / size[n]
        status = REACHED
        rows = 0
        fresh = True
        rejected_last = False
        if clock[2] == 0.0:
            start[0] = 0.0
            start[1] = kinetic_scalars[0]
            start[2] = kinetic_scalars[5]
            new_state(
                0.0, t0, t0, frac0[0], transforms, frac0, sums0, h0, t0, frac1, sums1, t1, mass0, cond0, size, start, others,
                kinetic, kinetic_scalars, s_table, s_inverse_step, thermal,
            )  # fmt: skip
        while clock[0] < stop_time:
            if rows >= record.shape[0]:
                status = BUFFER_FULL
                break
            time = clock[0]
            if fresh:
                heat_balance(
                    time, 0, temp, cond, surface, grid_r, grid_z, zones, zone_start, knot_time, flux_tables,
                    field_rate, g_r, g_z, bound, power,
                )  # fmt: skip
                fresh = False
            # the next jump of any boundary must not lie inside a step
            limit = stop_time
            for k in range(knot_time.shape[0]):
                if knot_time[k] > time * (1.0 + 1e-14) and knot_time[k] < limit:
                    limit = knot_time[k]
            wish = min(clock[1], longest_step)
            dt = wish
            left = limit - time
            lands = False
            if dt >= left * 0.999999:
                dt = left
                lands = True
            elif dt > 0.5 * left:
                dt = 0.5 * left
            gamma = GAMMA * dt
            expected_capacity(
                dt, t0, h0, heating, mass0, size, transforms, frac0, start, kinetic, kinetic_scalars, thermal, capacity
            )  # fmt: skip
            for n in range(cells):
                x1[n] = dt * (rate[n] + capacity[n] * release[n])
            for face in range(4):
                out1[face] = dt * power[face]
            factor_sweeps(gamma, field_capacity, g_r, g_z, bound, upper_r, inverse_r, upper_z, inverse_z)
            solve_sweeps(gamma, field_x1, field_capacity, g_r, g_z, bound, upper_r, inverse_r, upper_z, inverse_z, out1)
            for n in range(cells):
                guess[n] = t0[n] + x1[n]
                x1[n] = capacity[n] * (x1[n] - dt * release[n])
                h1[n] = h0[n] + x1[n] * per_volume[n]
            if transforms:
                for n in range(cells):
                    ferrite[n] = frac0[0, n]
                    if release[n] > 0.0:
                        ferrite[n] += dt * release[n] / warming(t0[n], thermal)
            new_state(
                dt, t0, guess, ferrite, transforms, frac0, sums0, h1, guess, frac1, sums1, t1, mass1, cond1, size, start, others,
                kinetic, kinetic_scalars, s_table, s_inverse_step, thermal,
            )  # fmt: skip
            for face in range(4):
                for n in range(surface.shape[1]):
                    surface1[face, n] = surface[face, n]
            heat_balance(
                time + dt if not lands else limit, 1, field_t1, field_cond1, surface1, grid_r, grid_z, zones, zone_start,
                knot_time, flux_tables, field_x2, g_r2, g_z2, bound2, power2,
            )  # fmt: skip
            for n in range(cells):
                x2[n] = dt * (x2[n] - capacity[n] * release[n]) - 2.0 * x1[n]
            for face in range(4):
                out2[face] = dt * power2[face] - 2.0 * out1[face]
            solve_sweeps(gamma, field_x2, field_capacity, g_r, g_z, bound, upper_r, inverse_r, upper_z, inverse_z, out2)
            for n in range(cells):
                change = 0.5 * (x1[n] + capacity[n] * (x2[n] + dt * release[n]))
                h1[n] += change * per_volume[n]
                guess[n] = t1[n] + change / mass1[n]
            new_state(
                dt, t0, t1, frac1[0], transforms, frac0, sums0, h1, guess, frac2, sums2, t2, mass1, cond1, size, start, others,
                kinetic, kinetic_scalars, s_table, s_inverse_step, thermal,
            )  # fmt: skip
            worst = 0.0
            for n in range(cells):
                worst = max(worst, abs(t2[n] - t1[n]))
            finite = worst < 1e30
            error = worst / tolerance
            if not finite or error > 1.0:
                clock[3] += 1.0
                clock[1] = dt * (max(0.2, 0.9 / np.sqrt(error)) if finite else 0.2)
                rejected_last = True
                if clock[1] < 1e-13 * max(1.0, time):
                    status = STEP_TOO_SMALL if finite else NOT_FINITE
                    break
                continue
            factor = min(3.0, 0.9 / np.sqrt(max(error, 1e-6)))
            if rejected_last:
                factor = min(factor, 1.0)
            rejected_last = False
            if transforms:
                released_rate(dt, t0, t2, h0, h1, mass0, mass1, size, frac0, frac2, release)
                for phase in range(3):
                    for n in range(cells):
                        formed[phase, n] += (frac2[phase, n] - frac0[phase, n]) * 0.5 * (t0[n] + t2[n])
                frac0[:] = frac2
                sums0[:] = sums2
            per_second = 1.0 / dt
            for n in range(cells):
                heating[n] = (h1[n] - h0[n]) * per_second
            low = t2[0]
            high = t2[0]
            for n in range(cells):
                low = min(low, t2[n])
                high = max(high, t2[n])
            h0[:] = h1
            t0[:] = t2
            mass0[:] = mass1
            cond0[:] = cond1
            clock[4] = min(clock[4], low)
            clock[5] = max(clock[5], high)
            for face in range(4):
                energy_out[face] += 1.5 * out1[face] + 0.5 * out2[face]
            clock[0] = limit if lands else time + dt
            clock[1] = dt * factor if not lands else max(wish * min(factor, 1.0), dt * factor)
            clock[2] += 1.0
            # the row shows the state before a jump at this time; the next step starts from the state after it
            heat_balance(
                clock[0], 1, temp, cond, surface, grid_r, grid_z, zones, zone_start, knot_time, flux_tables,
                field_rate, g_r, g_z, bound, power,
            )  # fmt: skip
            record_row(
                rows,
                clock[0],
                transforms,
                temp,
                surface,
                fractions,
                energy_out,
                probe_r,
                probe_z,
                weight_r,
                weight_z,
                linear,
                record,
            )
            rows += 1
            if high < clock[7]:
                status = COLD
                break
            if lands:
                fresh = True
                if limit < stop_time or knot_time[-1] >= stop_time:
                    clock[1] = min(clock[1], clock[6])
        clock[8] = status
        clock[9] = rows


@jit
def transform_history(
    time, temperature, largest_change, kinetic, kinetic_scalars, s_table, s_inverse_step,
    fractions, formation,
):  # fmt: skip
    """Fractions of ferrite, pearlite, bainite, martensite along one given temperature history.

    ``fractions`` is (4, times), ``formation`` (3,) sums of temperature times fraction formed. Between samples the
    temperature is linear; an interval is cut so that no part changes by more than ``largest_change`` kelvin.
    """
    f = p = b = m = 0.0
    yf = yp = yb = 0.0
    for n in range(time.shape[0]):
        if n > 0:
            span = time[n] - time[n - 1]
            change = temperature[n] - temperature[n - 1]
            parts = max(1, int(np.ceil(abs(change) / largest_change)))
            for part in range(parts):
                ta = temperature[n - 1] + change * part / parts
                tb = temperature[n - 1] + change * (part + 1) / parts
                if (ta < kinetic_scalars[4] or tb < kinetic_scalars[4]) and f + p + b + m < 0.999999999:
                    ka = rates_at(ta, kinetic)
                    kb = rates_at(tb, kinetic)
                    half = 0.5 * span / parts
                    df = half * (ka[0] + kb[0])
                    dp = half * (ka[1] + kb[1])
                    db = half * (ka[2] + kb[2])
                    yf += df
                    yp += dp
                    yb += db
                    f0, p0, b0 = f, p, b
                    f, p, b = grow(yf, yp, yb, df, dp, db, f, p, b, m, kb[3], s_table, s_inverse_step)
                    mid = 0.5 * (ta + tb)
                    formation[0] += (f - f0) * mid
                    formation[1] += (p - p0) * mid
                    formation[2] += (b - b0) * mid
                ms = martensite_start(f, kinetic_scalars)
                if tb < ms:
                    pool = 1.0 - f - p - b
                    m = max(m, pool * (1.0 - np.exp(-kinetic_scalars[1] * (ms - tb))))
        elif temperature[0] < kinetic_scalars[0]:
            ms = kinetic_scalars[0]
            m = 1.0 - np.exp(-kinetic_scalars[1] * (ms - temperature[0]))
        fractions[0, n] = f
        fractions[1, n] = p
        fractions[2, n] = b
        fractions[3, n] = m


@jit
def crossings(time, values, levels):
    """First times at which the columns of ``values`` (time, column) fall to each level; (level, column), NaN where one never does.

    Also NaN where a column starts below the level; one that starts at the level crosses it there. Between the two samples around
    the crossing, time over temperature is a monotone cubic (Fritsch-Carlson slopes); where the neighbours are not monotone it is
    linear.
    """
    count = values.shape[0]
    out = np.full((levels.shape[0], values.shape[1]), np.nan)
    for number in range(levels.shape[0]):
        level = levels[number]
        for column in range(values.shape[1]):
            k = 0
            while k < count and not values[k, column] <= level:
                k += 1
            if k == 0 and values[0, column] == level:
                out[number, column] = time[0]
            if k == 0 or k == count:
                continue
            t0, t1, y0, y1 = time[k - 1], time[k], values[k - 1, column], values[k, column]
            width = y1 - y0
            chord = slope0 = slope1 = (t1 - t0) / width
            if k >= 2 and values[k - 2, column] > y0:
                before = (t0 - time[k - 2]) / (y0 - values[k - 2, column])
                slope0 = 2.0 * before * chord / (before + chord)
            if k + 1 < count and values[k + 1, column] < y1:
                behind = (time[k + 1] - t1) / (values[k + 1, column] - y1)
                slope1 = 2.0 * behind * chord / (behind + chord)
            s = (level - y0) / width
            rest = 1.0 - s
            out[number, column] = (
                (1.0 + 2.0 * s) * rest * rest * t0
                + s * s * (3.0 - 2.0 * s) * t1
                + s * rest * rest * width * slope0
                - s * s * rest * width * slope1
            )
    return out
