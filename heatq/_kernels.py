"""Compiled kernels: arrays and scalars in, arrays out, no objects.

Everything that runs once per cell and time step lives in this one module, because numba's on-disk cache notices a
change only in the file a function stands in. The equations are on the documentation page "equations and grid"; a plain
numpy twin of the step is in the tests.

Layout. Cells are ``[axial, radial]`` with the radial index fastest. A material is two tables on one uniform
temperature grid (`TABLE_START`, `TABLE_STEP`): ``thermal[i]`` holds the volumetric enthalpy
(J/m3) of ferrite, pearlite, bainite, martensite, austenite and then their conductivities (W/mK); ``kinetic[i]`` holds
the rates of ferrite, pearlite, bainite (1/s), the ferrite limit and exp(alpha T). ``kinetic_scalars`` holds Ms (degC),
Koistinen-Marburger coefficient alpha (1/K), carbon (mass %), dMs/dC (K per mass %), the temperature above which nothing
forms, and exp(-alpha Ms). A plain material uses the austenite columns and ``transforms = 0``.

Boundary tables: ``flux_tables[row]`` is the flux (W/m2) over surface temperature on the same grid. A zone has knots
``zone_start[zone] .. zone_start[zone + 1]`` in ``knot_time``, each with its row of ``flux_tables``; between knots the
flux is linear in time.
"""

from __future__ import annotations

import numpy as np
from numba import njit

FERRITE, PEARLITE, BAINITE, MARTENSITE, AUSTENITE = range(5)
REACHED, BUFFER_FULL, STEP_TOO_SMALL, NOT_FINITE = range(4)
GAMMA = 1.0 - 0.5 * 2.0**0.5

# The one temperature grid of all tables, degC; constants, so that a look-up needs no division.
TABLE_START = -100.0
TABLE_STEP = 1.0
TABLE_ROWS = 1551

jit = njit(cache=True, nogil=True, error_model="numpy")


@jit
def table_index(temperature):
    """Row below ``temperature`` and the distance from it in rows; linear continuation beyond the table."""
    x = (temperature - TABLE_START) * (1.0 / TABLE_STEP)
    i = min(max(int(x), 0), TABLE_ROWS - 2)
    return i, x - i


@jit
def inverse_s(y, s_table, s_inverse_step):
    """Transformed fraction X = S^-1(y) from its uniform table; 1 beyond the end."""
    x = y * s_inverse_step
    i = int(x)
    if i >= s_table.shape[0] - 1:
        return 1.0
    return s_table[i] + (x - i) * (s_table[i + 1] - s_table[i])


@jit
def rates_at(temperature, kinetic):
    """Rates of ferrite, pearlite, bainite (1/s) and the ferrite limit at one temperature."""
    i, w = table_index(temperature)
    return (
        kinetic[i, 0] + w * (kinetic[i + 1, 0] - kinetic[i, 0]),
        kinetic[i, 1] + w * (kinetic[i + 1, 1] - kinetic[i, 1]),
        kinetic[i, 2] + w * (kinetic[i + 1, 2] - kinetic[i, 2]),
        kinetic[i, 3] + w * (kinetic[i + 1, 3] - kinetic[i, 3]),
    )


@jit
def grow(y_ferrite, y_pearlite, y_bainite, ferrite, pearlite, bainite, martensite, limit, s_table, s_inverse_step):
    """Fractions of ferrite, pearlite and bainite after their accumulated rate integrals reached the given values.

    Ferrite is a share of the lever-rule limit, pearlite of what ferrite left, bainite of what both left; none shrinks and
    their sum with martensite never exceeds one.
    """
    free = 1.0 - ferrite - pearlite - bainite - martensite
    if free <= 0.0:
        return ferrite, pearlite, bainite
    new = inverse_s(y_ferrite, s_table, s_inverse_step) * limit
    if new > ferrite:
        gain = min(new - ferrite, free)
        ferrite += gain
        free -= gain
    new = inverse_s(y_pearlite, s_table, s_inverse_step) * (1.0 - ferrite)
    if new > pearlite:
        gain = min(new - pearlite, free)
        pearlite += gain
        free -= gain
    new = inverse_s(y_bainite, s_table, s_inverse_step) * (1.0 - ferrite - pearlite)
    if new > bainite:
        bainite += min(new - bainite, free)
    return ferrite, pearlite, bainite


@jit
def martensite_start(ferrite, kinetic_scalars):
    """Ms (degC) of austenite enriched by the carbon that ferrite rejected."""
    carbon = kinetic_scalars[2]
    if ferrite <= 0.0 or carbon <= 0.02:
        return kinetic_scalars[0]
    enriched = (carbon - 0.02 * ferrite) / max(1.0 - ferrite, 0.02)
    return kinetic_scalars[0] + kinetic_scalars[3] * (enriched - carbon)


@jit
def plain_temperature(enthalpy, guess, thermal):
    """Temperature, heat capacity (J/m3K) and conductivity of the austenite (or plain material) columns."""
    rows = TABLE_ROWS
    i, w = table_index(guess)
    way = 0
    while True:
        h = thermal[i, AUSTENITE]
        rise = thermal[i + 1, AUSTENITE] - h
        w = (enthalpy - h) / rise
        if w < 0.0 and i > 0:
            i -= 1 if way > 0 else min(i, max(1, int(-w)))
            way = -1 if way <= 0 else 2
        elif w > 1.0 and i < rows - 2 and way != 2:
            i += 1 if way < 0 else min(rows - 2 - i, max(1, int(w)))
            way = 1 if way >= 0 else -2
        else:
            break
        if way == -2 and w < 0.0:
            break
    k = thermal[i, 9] + w * (thermal[i + 1, 9] - thermal[i, 9])
    return TABLE_START + (i + w) * TABLE_STEP, rise * (1.0 / TABLE_STEP), k


@jit
def node_enthalpy(i, ferrite, pearlite, bainite, formed, pool, thermal):
    """Enthalpy (J/m3) of a mixture at table row i with a given martensite fraction."""
    return (
        ferrite * thermal[i, FERRITE]
        + pearlite * thermal[i, PEARLITE]
        + bainite * thermal[i, BAINITE]
        + formed * thermal[i, MARTENSITE]
        + (pool - formed) * thermal[i, AUSTENITE]
    )


@jit
def mixture_temperature(enthalpy, guess, ferrite, pearlite, bainite, martensite, kinetic, kinetic_scalars, thermal):
    """Temperature, martensite fraction, heat capacity (J/m3K) and conductivity of a mixture of given enthalpy.

    Martensite forms with falling temperature (Koistinen-Marburger) and its heat is part of the balance. The enthalpy with
    the martensite of each table row is linear between rows, so the temperature is found without iteration; the martensite
    fraction then follows from the enthalpy exactly, so that no heat is lost.
    """
    rows = TABLE_ROWS
    pool = 1.0 - ferrite - pearlite - bainite
    ms = martensite_start(ferrite, kinetic_scalars)
    scale = -1.0
    i, w = table_index(guess)
    way = 0
    while True:
        low = martensite
        high = martensite
        t0 = TABLE_START + i * TABLE_STEP
        if t0 < ms and pool > martensite:
            if scale < 0.0:
                scale = kinetic_scalars[5] if ferrite <= 0.0 else np.exp(-kinetic_scalars[1] * ms)
            low = max(martensite, pool - pool * scale * kinetic[i, 4])
            if t0 + TABLE_STEP < ms:
                high = max(martensite, pool - pool * scale * kinetic[i + 1, 4])
        h0 = node_enthalpy(i, ferrite, pearlite, bainite, low, pool, thermal)
        rise = node_enthalpy(i + 1, ferrite, pearlite, bainite, high, pool, thermal) - h0
        w = (enthalpy - h0) / rise
        if w < 0.0 and i > 0 and way != -2:
            i -= 1 if way > 0 else min(i, max(1, int(-w)))
            way = -1 if way <= 0 else 2
        elif w > 1.0 and i < rows - 2 and way != 2:
            i += 1 if way < 0 else min(rows - 2 - i, max(1, int(w)))
            way = 1 if way >= 0 else -2
        else:
            break
    formed = martensite
    if low > martensite:
        v = min(max(w, 0.0), 1.0)
        h_a = thermal[i, AUSTENITE] + v * (thermal[i + 1, AUSTENITE] - thermal[i, AUSTENITE])
        h_m = thermal[i, MARTENSITE] + v * (thermal[i + 1, MARTENSITE] - thermal[i, MARTENSITE])
        h0 = node_enthalpy(i, ferrite, pearlite, bainite, 0.0, pool, thermal)
        h = h0 + v * (node_enthalpy(i + 1, ferrite, pearlite, bainite, 0.0, pool, thermal) - h0)
        formed = min(max((h - enthalpy) / (h_a - h_m), martensite), pool)
    k = (
        ferrite * (thermal[i, 5] + w * (thermal[i + 1, 5] - thermal[i, 5]))
        + pearlite * (thermal[i, 6] + w * (thermal[i + 1, 6] - thermal[i, 6]))
        + bainite * (thermal[i, 7] + w * (thermal[i + 1, 7] - thermal[i, 7]))
        + formed * (thermal[i, 8] + w * (thermal[i + 1, 8] - thermal[i, 8]))
        + (pool - formed) * (thermal[i, 9] + w * (thermal[i + 1, 9] - thermal[i, 9]))
    )
    return TABLE_START + (i + w) * TABLE_STEP, formed, rise * (1.0 / TABLE_STEP), k


@jit
def surface_balance(cell, conductance, guess, lower, upper, weight):
    """Surface temperature, flux (W/m2) and slope dq/dTs with conductance (cell - Ts) = q(Ts).

    Walks node by node from ``guess`` (the last surface temperature), so that on a boiling curve with several roots the
    surface stays on its branch until that branch ends.
    """
    i, w = table_index(guess)
    step = TABLE_STEP
    q0 = lower[i] + weight * (upper[i] - lower[i])
    q1 = lower[i + 1] + weight * (upper[i + 1] - lower[i + 1])
    t0 = TABLE_START + i * step
    direction = 0
    for _ in range(2 * TABLE_ROWS):
        r0 = conductance * (cell - t0) - q0
        r1 = conductance * (cell - t0 - step) - q1
        if r0 < 0.0 and i > 0 and direction <= 0:
            direction = -1
            i -= 1
            t0 -= step
            q1 = q0
            q0 = lower[i] + weight * (upper[i] - lower[i])
            continue
        if r1 > 0.0 and i < TABLE_ROWS - 2 and direction >= 0:
            direction = 1
            i += 1
            t0 += step
            q0 = q1
            q1 = lower[i + 1] + weight * (upper[i + 1] - lower[i + 1])
            continue
        break
    slope = (q1 - q0) * (1.0 / TABLE_STEP)
    total = conductance + slope
    if total <= 1e-9 * conductance:
        total = 1e-9 * conductance
    ts = t0 + (conductance * (cell - t0) - q0) / total
    return ts, q0 + slope * (ts - t0), slope


@jit
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


@jit
def heat_balance(
    time, side, temp, cond, surface, grid_r, grid_z, zones, zone_start, knot_time, flux_tables,
    rate, g_r, g_z, bound, face_power,
):  # fmt: skip
    """Net heat into every cell (W), face conductances (W/K), linearised boundary conductances and power out per face.

    ``grid_r`` rows: centre radius, inner face radius, outer face radius, ring area. ``grid_z`` rows: half width, width.
    ``surface`` and ``bound`` have one row per face: 0 bottom, 1 top (radial index), 2 outer, 3 bore (axial index).
    """
    nz, nr = temp.shape
    two_pi = 2.0 * np.pi
    for face in range(4):
        face_power[face] = 0.0
    for j in range(nz):
        half = grid_z[0, j]
        other = grid_z[0, min(j + 1, nz - 1)]
        for i in range(nr):
            rate[j, i] = 0.0
        if j + 1 < nz:
            for i in range(nr):
                near, far = cond[j, i], cond[j + 1, i]
                g_z[j, i] = grid_r[3, i] * near * far / (half * far + other * near)
    for j in range(nz):
        width = grid_z[1, j]
        for i in range(nr - 1):
            near, far = cond[j, i], cond[j, i + 1]
            apart = (grid_r[2, i] - grid_r[0, i]) * far + (grid_r[0, i + 1] - grid_r[2, i]) * near
            g = two_pi * grid_r[2, i] * width * near * far / apart
            g_r[j, i] = g
            q = g * (temp[j, i] - temp[j, i + 1])
            rate[j, i] -= q
            rate[j, i + 1] += q
    for j in range(nz - 1):
        for i in range(nr):
            q = g_z[j, i] * (temp[j, i] - temp[j + 1, i])
            rate[j, i] -= q
            rate[j + 1, i] += q
    last_zone = -1
    a = b = 0
    w = 0.0
    for face in range(4):
        count = nr if face < 2 else nz
        for n in range(count):
            zone = zones[face, n]
            if zone < 0:
                bound[face, n] = 0.0
                if face == 0:
                    surface[face, n] = temp[0, n]
                elif face == 1:
                    surface[face, n] = temp[nz - 1, n]
                elif face == 2:
                    surface[face, n] = temp[n, nr - 1]
                else:
                    surface[face, n] = temp[n, 0]
                continue
            if zone != last_zone:
                a, b, w = knot_rows(time, zone, side, zone_start, knot_time)
                last_zone = zone
            if face == 0:
                j, i = 0, n
                area, distance = grid_r[3, n], grid_z[0, 0]
            elif face == 1:
                j, i = nz - 1, n
                area, distance = grid_r[3, n], grid_z[0, nz - 1]
            elif face == 2:
                j, i = n, nr - 1
                area = two_pi * grid_r[2, nr - 1] * grid_z[1, n]
                distance = grid_r[2, nr - 1] - grid_r[0, nr - 1]
            else:
                j, i = n, 0
                area = two_pi * grid_r[1, 0] * grid_z[1, n]
                distance = grid_r[0, 0] - grid_r[1, 0]
            g = cond[j, i] / distance
            ts, q, slope = surface_balance(temp[j, i], g, surface[face, n], flux_tables[a], flux_tables[b], w)
            surface[face, n] = ts
            rate[j, i] -= q * area
            face_power[face] += q * area
            bound[face, n] = area * g * slope / (g + slope) if slope > 0.0 else 0.0
    return


@jit
def solve_sweeps(tau_gamma, right, capacity, volume, g_r, g_z, bound, work, face_energy):
    """Solve (1 - gamma tau A_z)(1 - gamma tau A_r) k = right in place; the boundary's share goes to ``face_energy``.

    ``right`` is energy per cell (J); on return it holds the energy increment k of every cell.
    """
    nz, nr = right.shape
    if nz > 1:
        # along z for all radii at once: unknown theta = w / (C V)
        for i in range(nr):
            cv = capacity[0, i] * volume[0, i]
            inverse = 1.0 / (cv + tau_gamma * (g_z[0, i] + bound[0, i]))
            work[0, i] = tau_gamma * g_z[0, i] * inverse
            right[0, i] *= inverse
        for j in range(1, nz):
            top = j == nz - 1
            for i in range(nr):
                low = tau_gamma * g_z[j - 1, i]
                up = 0.0 if top else tau_gamma * g_z[j, i]
                d = capacity[j, i] * volume[j, i] + low + up - low * work[j - 1, i]
                if top:
                    d += tau_gamma * bound[1, i]
                inverse = 1.0 / d
                work[j, i] = up * inverse
                right[j, i] = (right[j, i] + low * right[j - 1, i]) * inverse
        for j in range(nz - 2, -1, -1):
            for i in range(nr):
                right[j, i] += work[j, i] * right[j + 1, i]
        for i in range(nr):
            face_energy[0] += tau_gamma * bound[0, i] * right[0, i]
            face_energy[1] += tau_gamma * bound[1, i] * right[nz - 1, i]
        for j in range(nz):
            for i in range(nr):
                right[j, i] *= capacity[j, i] * volume[j, i]
    for j in range(nz):
        d = capacity[j, 0] * volume[j, 0] + tau_gamma * bound[3, j]
        if nr > 1:
            d += tau_gamma * g_r[j, 0]
        else:
            d += tau_gamma * bound[2, j]
        inverse = 1.0 / d
        work[j, 0] = tau_gamma * g_r[j, 0] * inverse
        right[j, 0] *= inverse
        for i in range(1, nr):
            low = tau_gamma * g_r[j, i - 1]
            d = capacity[j, i] * volume[j, i] + low - low * work[j, i - 1]
            up = tau_gamma * g_r[j, i]
            d += up if i + 1 < nr else tau_gamma * bound[2, j]
            inverse = 1.0 / d
            work[j, i] = up * inverse
            right[j, i] = (right[j, i] + low * right[j, i - 1]) * inverse
        for i in range(nr - 2, -1, -1):
            right[j, i] += work[j, i] * right[j, i + 1]
        face_energy[2] += tau_gamma * bound[2, j] * right[j, nr - 1]
        face_energy[3] += tau_gamma * bound[3, j] * right[j, 0]
        for i in range(nr):
            right[j, i] *= capacity[j, i] * volume[j, i]


@jit
def transform_state(
    dt, temp_a, temp_b, weight_b, transforms, fractions, sums, enthalpy, guess,
    new_fractions, new_sums, new_temp, new_capacity, new_cond,
    kinetic, kinetic_scalars, s_table, s_inverse_step, thermal,
):  # fmt: skip
    """Fractions, temperature, heat capacity and conductivity of every cell for new enthalpies.

    The rate integrals grow by ``dt (k(temp_a) (1 - weight_b) + k(temp_b) weight_b)``; arrays of fractions and sums have
    the phase (ferrite, pearlite, bainite, martensite; three sums) first.
    """
    nz, nr = enthalpy.shape
    top = kinetic_scalars[4]
    for j in range(nz):
        for i in range(nr):
            hot = temp_a[j, i] >= top and temp_b[j, i] >= top
            if not transforms or (hot and guess[j, i] >= top and fractions[0, j, i] + fractions[1, j, i] == 0.0):
                t, c, k = plain_temperature(enthalpy[j, i], guess[j, i], thermal)
                new_temp[j, i] = t
                new_capacity[j, i] = c
                new_cond[j, i] = k
                if transforms:
                    for phase in range(4):
                        new_fractions[phase, j, i] = fractions[phase, j, i]
                    for phase in range(3):
                        new_sums[phase, j, i] = sums[phase, j, i]
                continue
            f = fractions[0, j, i]
            p = fractions[1, j, i]
            b = fractions[2, j, i]
            m = fractions[3, j, i]
            yf = sums[0, j, i]
            yp = sums[1, j, i]
            yb = sums[2, j, i]
            if f + p + b + m < 0.999999999 and not hot:
                ka = rates_at(temp_a[j, i], kinetic)
                wa = dt * (1.0 - weight_b)
                df = wa * ka[0]
                dp = wa * ka[1]
                db = wa * ka[2]
                limit = ka[3]
                if weight_b > 0.0:
                    kb = rates_at(temp_b[j, i], kinetic)
                    wb = dt * weight_b
                    df += wb * kb[0]
                    dp += wb * kb[1]
                    db += wb * kb[2]
                    limit = kb[3]
                if df + dp + db > 0.0:
                    yf += df
                    yp += dp
                    yb += db
                    f, p, b = grow(yf, yp, yb, f, p, b, m, limit, s_table, s_inverse_step)
            new_sums[0, j, i] = yf
            new_sums[1, j, i] = yp
            new_sums[2, j, i] = yb
            t, m, c, k = mixture_temperature(enthalpy[j, i], guess[j, i], f, p, b, m, kinetic, kinetic_scalars, thermal)
            new_fractions[0, j, i] = f
            new_fractions[1, j, i] = p
            new_fractions[2, j, i] = b
            new_fractions[3, j, i] = m
            new_temp[j, i] = t
            new_capacity[j, i] = c
            new_cond[j, i] = k


@jit
def record_row(
    row, time, temp, surface, fractions, energy_out, grid_z, probe_r, probe_z, weight_r, weight_z, linear, record
):
    """Write time, probe temperatures, probe fractions and energy through the faces into one row of ``record``.

    Node 0 and node n + 1 of a direction are its two faces; the axis counts as a face with the value of its cell's
    parabola, which the weights already contain. ``probe_r/z`` is the first of four nodes, ``linear`` the two cells of the
    fractions and their weights.
    """
    nz, nr = temp.shape
    count = probe_r.shape[0]
    record[row, 0] = time
    for face in range(4):
        record[row, 1 + face] = energy_out[face]
    for p in range(count):
        total = 0.0
        for a in range(4):
            wz = weight_z[p, a]
            if wz == 0.0:
                continue
            z = probe_z[p] + a
            for b in range(4):
                wr = weight_r[p, b]
                if wr == 0.0:
                    continue
                r = probe_r[p] + b
                if 1 <= z <= nz:
                    if r == 0:
                        value = surface[3, z - 1]
                    elif r == nr + 1:
                        value = surface[2, z - 1]
                    else:
                        value = temp[z - 1, r - 1]
                elif 1 <= r <= nr:
                    value = surface[0, r - 1] if z == 0 else surface[1, r - 1]
                else:  # corner: continue both faces
                    j = 0 if z == 0 else nz - 1
                    i = 0 if r == 0 else nr - 1
                    end = surface[0, i] if z == 0 else surface[1, i]
                    edge = surface[3, j] if r == 0 else surface[2, j]
                    value = end + edge - temp[j, i]
                total += wz * wr * value
        record[row, 5 + p] = total
        j0 = int(linear[p, 0])
        j1 = int(linear[p, 1])
        i0 = int(linear[p, 2])
        i1 = int(linear[p, 3])
        wj = linear[p, 4]
        wi = linear[p, 5]
        for phase in range(4):
            low = fractions[phase, j0, i0] + wi * (fractions[phase, j0, i1] - fractions[phase, j0, i0])
            high = fractions[phase, j1, i0] + wi * (fractions[phase, j1, i1] - fractions[phase, j1, i0])
            record[row, 5 + (phase + 1) * count + p] = low + wj * (high - low)


@jit
def advance(
    clock, stop_time, tolerance, longest_step, transforms,
    enthalpy, temp, fractions, sums, formation, surface, energy_out,
    grid_r, grid_z, volume, zones, zone_start, knot_time, flux_tables,
    thermal, kinetic, kinetic_scalars, s_table, s_inverse_step,
    probe_r, probe_z, weight_r, weight_z, linear, record,
):  # fmt: skip
    """March from ``clock[0]`` to ``stop_time`` or until ``record`` is full; return status and the rows written.

    ``clock`` holds time, next step, accepted steps, rejected steps, lowest and highest temperature seen. Second-order
    linearly implicit W-method (ROS2) in enthalpy, approximately factorised: one tridiagonal sweep per direction and
    stage; the kinetics ride along as an explicit second-order pair. The step is chosen so that the difference to the
    embedded first-order solution stays below ``tolerance`` (K) in every cell.
    """
    nz, nr = temp.shape
    shape = (nz, nr)
    rate = np.empty(shape)
    g_r = np.zeros(shape)
    g_z = np.zeros(shape)
    g_r2 = np.zeros(shape)
    g_z2 = np.zeros(shape)
    cond = np.empty(shape)
    capacity = np.empty(shape)
    scratch = np.empty(shape)
    k1 = np.empty(shape)
    k2 = np.empty(shape)
    h1 = np.empty(shape)
    t1 = np.empty(shape)
    t2 = np.empty(shape)
    c1 = np.empty(shape)
    cond1 = np.empty(shape)
    guess = np.empty(shape)
    bound = np.zeros((4, max(nz, nr)))
    bound2 = np.zeros((4, max(nz, nr)))
    surface1 = surface.copy()
    frac1 = fractions.copy()
    frac2 = fractions.copy()
    sums1 = sums.copy()
    sums2 = sums.copy()
    power = np.zeros(4)
    power2 = np.zeros(4)
    out1 = np.zeros(4)
    out2 = np.zeros(4)
    rows = 0
    fresh = True
    rejected_last = False
    transform_state(
        0.0, temp, temp, 0.0, transforms, fractions, sums, enthalpy, temp, frac1, sums1, t1, capacity, cond,
        kinetic, kinetic_scalars, s_table, s_inverse_step, thermal,
    )  # fmt: skip
    while clock[0] < stop_time:
        if rows >= record.shape[0]:
            return BUFFER_FULL, rows
        time = clock[0]
        if fresh:
            heat_balance(
                time, 0, temp, cond, surface, grid_r, grid_z, zones, zone_start, knot_time, flux_tables,
                rate, g_r, g_z, bound, power,
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
        for j in range(nz):
            for i in range(nr):
                k1[j, i] = dt * rate[j, i]
        for face in range(4):
            out1[face] = dt * power[face]
        solve_sweeps(gamma, k1, capacity, volume, g_r, g_z, bound, scratch, out1)
        for j in range(nz):
            for i in range(nr):
                h1[j, i] = enthalpy[j, i] + k1[j, i] / volume[j, i]
                guess[j, i] = temp[j, i] + k1[j, i] / (volume[j, i] * capacity[j, i])
        transform_state(
            dt, temp, temp, 0.0, transforms, fractions, sums, h1, guess, frac1, sums1, t1, c1, cond1,
            kinetic, kinetic_scalars, s_table, s_inverse_step, thermal,
        )  # fmt: skip
        for face in range(4):
            for n in range(surface.shape[1]):
                surface1[face, n] = surface[face, n]
        heat_balance(
            time + dt if not lands else limit, 1, t1, cond1, surface1, grid_r, grid_z, zones, zone_start, knot_time,
            flux_tables, k2, g_r2, g_z2, bound2, power2,
        )  # fmt: skip
        for j in range(nz):
            for i in range(nr):
                k2[j, i] = dt * k2[j, i] - 2.0 * k1[j, i]
        for face in range(4):
            out2[face] = dt * power2[face] - 2.0 * out1[face]
        solve_sweeps(gamma, k2, capacity, volume, g_r, g_z, bound, scratch, out2)
        for j in range(nz):
            for i in range(nr):
                change = 0.5 * (k1[j, i] + k2[j, i]) / volume[j, i]
                h1[j, i] += change
                guess[j, i] = t1[j, i] + change / c1[j, i]
        transform_state(
            dt, temp, t1, 0.5, transforms, fractions, sums, h1, guess, frac2, sums2, t2, c1, cond1,
            kinetic, kinetic_scalars, s_table, s_inverse_step, thermal,
        )  # fmt: skip
        worst = 0.0
        finite = True
        for j in range(nz):
            for i in range(nr):
                e = abs(t2[j, i] - t1[j, i])
                if e > worst:
                    worst = e
                if not np.isfinite(t2[j, i]):
                    finite = False
        error = worst / tolerance
        if not finite or error > 1.0:
            clock[3] += 1.0
            factor = 0.2 if not finite else max(0.2, 0.9 / np.sqrt(error))
            clock[1] = dt * factor
            rejected_last = True
            if clock[1] < 1e-13 * max(1.0, time):
                return (NOT_FINITE if not finite else STEP_TOO_SMALL), rows
            continue
        if error > 1e-6:
            factor = min(3.0, 0.9 / np.sqrt(error))
        else:
            factor = 3.0
        if rejected_last:
            factor = min(factor, 1.0)
        rejected_last = False
        if transforms:
            for phase in range(3):
                for j in range(nz):
                    for i in range(nr):
                        gain = frac2[phase, j, i] - fractions[phase, j, i]
                        formation[phase, j, i] += gain * 0.5 * (temp[j, i] + t2[j, i])
                        fractions[phase, j, i] = frac2[phase, j, i]
                        sums[phase, j, i] = sums2[phase, j, i]
            fractions[3] = frac2[3]
        for j in range(nz):
            for i in range(nr):
                enthalpy[j, i] = h1[j, i]
                temp[j, i] = t2[j, i]
                capacity[j, i] = c1[j, i]
                cond[j, i] = cond1[j, i]
        for face in range(4):
            energy_out[face] += 1.5 * out1[face] + 0.5 * out2[face]
        clock[0] = limit if lands else time + dt
        clock[1] = dt * factor if not lands else max(wish * min(factor, 1.0), dt * factor)
        clock[2] += 1.0
        for j in range(nz):
            for i in range(nr):
                if temp[j, i] < clock[4]:
                    clock[4] = temp[j, i]
                if temp[j, i] > clock[5]:
                    clock[5] = temp[j, i]
        # the row shows the state before a jump at this time; the next step starts from the state after it
        heat_balance(
            clock[0], 1, temp, cond, surface, grid_r, grid_z, zones, zone_start, knot_time, flux_tables,
            rate, g_r, g_z, bound, power,
        )  # fmt: skip
        record_row(
            rows,
            clock[0],
            temp,
            surface,
            fractions,
            energy_out,
            grid_z,
            probe_r,
            probe_z,
            weight_r,
            weight_z,
            linear,
            record,
        )
        rows += 1
        if lands:
            fresh = True
            if limit < stop_time or knot_time[-1] >= stop_time:
                clock[1] = min(clock[1], clock[6])
    return REACHED, rows


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
                    yf += half * (ka[0] + kb[0])
                    yp += half * (ka[1] + kb[1])
                    yb += half * (ka[2] + kb[2])
                    f0, p0, b0 = f, p, b
                    f, p, b = grow(yf, yp, yb, f, p, b, m, kb[3], s_table, s_inverse_step)
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
