"""Compiled small work before and after a run: weights at the probes, interpolation in time, results. Arrays in, arrays out."""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

import numpy as np
from numba import njit

jit = njit(cache=True, error_model="numpy")


@jit
def cell_tables(r_faces, z_faces):
    """Of a grid: rows over the radius (centre, inner face, outer face, ring area), centres and (half width, width) along z, volumes."""
    nr, nz = r_faces.shape[0] - 1, z_faces.shape[0] - 1
    r_table, z, z_table, volume = np.empty((4, nr)), np.empty(nz), np.empty((2, nz)), np.empty((nr, nz))
    thinnest = r_faces[nr] - r_faces[0]
    for i in range(nr):
        inner, outer = r_faces[i], r_faces[i + 1]
        thinnest = min(thinnest, outer - inner)
        r_table[0, i], r_table[1, i], r_table[2, i] = 0.5 * (outer + inner), inner, outer
        r_table[3, i] = np.pi * (outer * outer - inner * inner)
    for j in range(nz):
        width = z_faces[j + 1] - z_faces[j]
        z[j] = 0.5 * (z_faces[j + 1] + z_faces[j])
        z_table[0, j], z_table[1, j] = 0.5 * width, width
        thinnest = min(thinnest, width)
        for i in range(nr):
            volume[i, j] = r_table[3, i] * width
    return r_table, z, z_table, volume, thinnest


@jit
def node_weights(position, nodes, is_axis, weights):
    """First node of the (up to) four that interpolate at ``position`` among cell centres and faces; writes their weights.

    ``nodes`` holds the lower face, the cell centres and the upper face. ``is_axis``: the lower face is the axis, which has
    no value of its own; the first cell is mirrored instead.
    """
    count = nodes.shape[0]
    for a in range(4):
        weights[a] = 0.0
    if count <= 3:
        # one cell: quadratic through face, centre, face is not meaningful on an axis; fall back to linear
        first = 0 if position <= nodes[1] and not is_axis else 1
        share = (position - nodes[first]) / (nodes[first + 1] - nodes[first])
        share = min(max(share, 0.0), 1.0)
        if is_axis and position <= nodes[1]:
            share = 0.0
        weights[0], weights[1] = 1.0 - share, share
        return first
    low = 1 if is_axis else 0
    right = 0
    while right < count and nodes[right] <= position:
        right += 1
    first = min(max(right - 2, low), max(count - 4, low))
    used = min(4, count - first)
    # even in r: interpolate in r squared, which is exact for the symmetry at the axis
    squared = is_axis and first == low
    x = position * position if squared else position
    for a in range(used):
        own = nodes[first + a] ** 2 if squared else nodes[first + a]
        weight = 1.0
        for b in range(used):
            if a != b:
                other = nodes[first + b] ** 2 if squared else nodes[first + b]
                weight *= (x - other) / (own - other)
        weights[a] = weight
    return first


@jit
def neighbours(position, centres):
    """Two neighbouring cells and the weight of the second, held beyond the outermost centres."""
    last = centres.shape[0] - 1
    if last == 0 or position <= centres[0]:
        return 0, 0, 0.0
    if position >= centres[last]:
        return last, last, 0.0
    k = 1
    while centres[k] < position:
        k += 1
    return k - 1, k, (position - centres[k - 1]) / (centres[k] - centres[k - 1])


@jit
def with_faces(centres, faces):
    """Lower face, cell centres, upper face."""
    nodes = np.empty(centres.shape[0] + 2)
    nodes[0], nodes[-1] = faces[0], faces[-1]
    for i in range(centres.shape[0]):
        nodes[i + 1] = centres[i]
    return nodes


@jit
def probe_tables(places, r_faces, r, z_faces, z, solid):
    """Interpolation to ``places`` (rows r, z): first nodes and weights in r and z, and the linear set for fractions."""
    count = places.shape[0]
    first_r, first_z = np.empty(count, np.int64), np.ones(count, np.int64)
    weight_r, weight_z, linear = np.empty((count, 4)), np.zeros((count, 4)), np.empty((count, 6))
    r_nodes, z_nodes = with_faces(r, r_faces), with_faces(z, z_faces)
    for n in range(count):
        first_r[n] = node_weights(places[n, 0], r_nodes, solid, weight_r[n])
        if z.shape[0] == 1:
            weight_z[n, 0] = 1.0
        else:
            first_z[n] = node_weights(places[n, 1], z_nodes, False, weight_z[n])
        j0, j1, wj = neighbours(places[n, 1], z)
        i0, i1, wi = neighbours(places[n, 0], r)
        linear[n, 0], linear[n, 1], linear[n, 2], linear[n, 3] = j0, j1, i0, i1
        linear[n, 4], linear[n, 5] = wj, wi
    return first_r, first_z, weight_r, weight_z, linear


@jit
def end_slope(near, far, chord, next_chord):
    """Slope at an end of the data from the two nearest intervals: three points, held monotone."""
    slope = ((2.0 * near + far) * chord - near * next_chord) / (near + far)
    if slope * chord <= 0.0:
        return 0.0
    if chord * next_chord <= 0.0 and abs(slope) > 3.0 * abs(chord):
        return 3.0 * chord
    return slope


@jit
def inner_slope(before, behind, chord, next_chord):
    """Slope between two intervals: weighted harmonic mean of their chords, zero at an extreme."""
    if chord * next_chord <= 0.0:
        return 0.0
    w1, w2 = 2.0 * behind + before, behind + 2.0 * before
    return 1.0 / ((w1 / chord + w2 / next_chord) / (w1 + w2))


@jit
def monotone_cubics(rows, first, last, times, out):
    """Columns ``first`` to ``last`` of ``rows`` (at least two, time in column 0) at increasing ``times``, written to ``out``.

    Monotone cubics of Fritsch & Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300 (from memory, equal to scipy's PCHIP).
    """
    n = rows.shape[0]
    slope = np.empty(n)
    for column in range(first, last):
        width = rows[1, 0] - rows[0, 0]
        chord = (rows[1, column] - rows[0, column]) / width
        slope[0] = slope[n - 1] = chord
        for i in range(1, n - 1):
            next_width = rows[i + 1, 0] - rows[i, 0]
            next_chord = (rows[i + 1, column] - rows[i, column]) / next_width
            if i == 1:
                slope[0] = end_slope(width, next_width, chord, next_chord)
            if i == n - 2:
                slope[n - 1] = end_slope(next_width, width, next_chord, chord)
            slope[i] = inner_slope(width, next_width, chord, next_chord)
            width, chord = next_width, next_chord
        k = 0
        for m in range(times.shape[0]):
            while k < n - 2 and rows[k + 1, 0] <= times[m]:
                k += 1
            width, s = rows[k + 1, 0] - rows[k, 0], times[m] - rows[k, 0]
            chord = (rows[k + 1, column] - rows[k, column]) / width
            bend = (slope[k] + slope[k + 1] - 2.0 * chord) / width
            square = s * s
            out[m, column - first] = (
                rows[k, column]
                + slope[k] * s
                + ((chord - slope[k]) / width - bend) * square
                + bend / width * (square * s)
            )


@jit
def phase_fractions(rows, first, count):
    """Fractions of five phases (phase, row, probe): four from the columns of ``rows`` from ``first``, austenite from their sum."""
    n = rows.shape[0]
    out = np.empty((5, n, count))
    for i in range(n):
        for p in range(count):
            total = 0.0
            for phase in range(4):
                fraction = rows[i, first + phase * count + p]
                out[phase, i, p] = fraction
                total += fraction
            out[4, i, p] = min(max(1.0 - total, 0.0), 1.0)
    return out


@jit
def formation_temperatures(formation, formed, linear):
    """Mean formation temperature (phase, probe) of three phases: what is summed over the cells, over what has formed; NaN for none."""
    count = linear.shape[0]
    out = np.full((5, count), np.nan)
    for p in range(count):
        j0, j1, i0, i1 = int(linear[p, 0]), int(linear[p, 1]), int(linear[p, 2]), int(linear[p, 3])
        wj, wi = linear[p, 4], linear[p, 5]
        for phase in range(3):
            if formed[phase, p] > 1e-9:
                low = formation[phase, i0, j0] + wi * (formation[phase, i1, j0] - formation[phase, i0, j0])
                high = formation[phase, i0, j1] + wi * (formation[phase, i1, j1] - formation[phase, i0, j1])
                out[phase, p] = (low + wj * (high - low)) / formed[phase, p]
    return out


@jit
def mixture_enthalpy(temp, fractions, thermal, start, step):
    """Enthalpy (J/m3) of every cell from its temperature and fractions."""
    out = np.empty(temp.shape)
    for i in range(temp.shape[0]):
        for j in range(temp.shape[1]):
            x = (temp[i, j] - start) / step
            row = min(max(int(x), 0), thermal.shape[0] - 2)
            total = rest = 0.0
            for phase in range(5):
                fraction = fractions[phase, i, j] if phase < 4 else 1.0 - rest
                rest += fraction
                total += fraction * (thermal[row, phase] + (x - row) * (thermal[row + 1, phase] - thermal[row, phase]))
            out[i, j] = total
    return out


@jit
def face_demand(levels, flux, initial):
    """Largest flux between the start temperature and where the flux ends (and at the start), that span, and the least coefficient over it.

    ``levels`` rise evenly. The coefficient is inf where none is to be had.
    """
    step = levels[1] - levels[0]
    x = min(max((initial - levels[0]) / step, 0.0), levels.shape[0] - 1.0)
    row = min(int(x), levels.shape[0] - 2)
    start = flux[row] + (x - row) * (flux[row + 1] - flux[row])
    sign = 1.0 if start >= 0.0 else -1.0
    largest, end, crosses = abs(start), initial, False
    for i in range(levels.shape[0]):
        if sign * flux[i] > 0.0 and sign * levels[i] <= sign * initial:
            largest = max(largest, abs(flux[i]))
            if not crosses or sign < 0.0:
                end = levels[i]
            crosses = True
    if not crosses:
        return largest, 0.0, np.inf if start == 0.0 else 0.0
    span, least = abs(initial - end), np.inf
    for i in range(levels.shape[0]):
        if sign * flux[i] > 0.0 and sign * levels[i] <= sign * initial:
            away = abs(levels[i] - end)
            if away > 0.2 * span:  # nearer to its end h is a small over a small number
                least = min(least, abs(flux[i]) / away)
    return largest, span, least


@jit
def through_cubics(nodes, parts):
    """Values ``parts`` to an interval between equidistant nodes, each on the cubic through the four nearest nodes."""
    count = nodes.shape[0]
    out = np.empty((count - 1) * parts + 1)
    for k in range(count - 1):
        first = min(max(k - 1, 0), count - 4)
        for part in range(parts):
            a = k - first + part / parts  # distance from the first of the four, in nodes
            b, c, d = a - 1.0, a - 2.0, a - 3.0
            out[k * parts + part] = (
                -nodes[first] * b * c * d / 6.0
                + nodes[first + 1] * a * c * d / 2.0
                - nodes[first + 2] * a * b * d / 2.0
                + nodes[first + 3] * a * b * c / 6.0
            )
    out[-1] = nodes[-1]
    return out
