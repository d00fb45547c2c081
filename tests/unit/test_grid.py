"""The grid: exact volumes, grading, and the interpolation from cells and faces to probes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heatq.conduction._probe_kernels import node_weights as compiled_weights
from heatq.conduction.grid import Demand, make_grid, probe_weights
from heatq.specimens import EndQuenchBar, Probe, RoundBar, Tube

PIECES = {
    "end-quench bar": (EndQuenchBar(), np.pi * 0.0127**2 * 0.1016),
    "round bar": (RoundBar(diameter=0.08, length=0.2), np.pi * 0.04**2 * 0.2),
    "long bar": (RoundBar(diameter=0.08), np.pi * 0.04**2),
    "tube": (Tube(outer_diameter=0.06, inner_diameter=0.03, length=0.1), np.pi * (0.03**2 - 0.015**2) * 0.1),
    "long tube": (Tube(outer_diameter=0.06, inner_diameter=0.03), np.pi * (0.03**2 - 0.015**2)),
    "wire": (RoundBar(diameter=1e-4), np.pi * 0.5e-4**2),
}


@pytest.mark.parametrize("accuracy", [5.0, 0.5, 0.05])
@pytest.mark.parametrize("name", PIECES)
def test_volumes_are_exact(name, accuracy):
    piece, volume = PIECES[name]
    grid = make_grid(piece, accuracy)
    assert grid.volume.shape == grid.shape
    assert (grid.volume > 0.0).all()
    assert grid.volume.sum() == pytest.approx(volume, rel=1e-12)
    assert (np.diff(grid.r_faces) > 0.0).all()
    assert (np.diff(grid.z_faces) > 0.0).all()


@pytest.mark.parametrize("name", PIECES)
def test_tables_describe_the_same_cells(name):
    grid = make_grid(PIECES[name][0], 0.5)
    centre, inner, outer, ring = grid.r_table
    np.testing.assert_allclose(centre, 0.5 * (inner + outer), rtol=1e-14)
    np.testing.assert_allclose(ring, np.pi * (outer**2 - inner**2), rtol=1e-14)
    np.testing.assert_allclose(inner[1:], outer[:-1], rtol=1e-14)
    half, width = grid.z_table
    np.testing.assert_allclose(2.0 * half, width, rtol=1e-14)


HARD = Demand(flux=1e6, span=820.0)


def test_finer_accuracy_means_smaller_growth_by_its_square_root():
    piece = RoundBar(diameter=0.08, length=0.2)
    demands = dict.fromkeys(("bottom", "outer", "top"), HARD)
    coarse, fine = (make_grid(piece, accuracy, demands=demands) for accuracy in (0.5, 0.125))
    growth = [np.diff(grid.r_faces)[-2] / np.diff(grid.r_faces)[-1] - 1.0 for grid in (coarse, fine)]
    assert growth[0] / growth[1] == pytest.approx(2.0, rel=0.05)
    assert fine.shape[0] > 1.5 * coarse.shape[0]
    assert np.diff(fine.r_faces)[-1] == pytest.approx(np.diff(coarse.r_faces)[-1] / 4.0, rel=0.1)


def test_a_mild_quench_needs_few_cells_and_a_far_probe_no_fine_ones():
    bar = RoundBar(diameter=0.02)
    mild = make_grid(bar, 0.5, demands={"outer": Demand(flux=2e4, span=800.0)})
    hard = make_grid(bar, 0.5, demands={"outer": Demand(flux=5e6, span=820.0)})
    far = make_grid(bar, 0.5, demands={"outer": Demand(flux=5e6, span=820.0, nearest=0.002)})
    assert mild.shape[0] < 20 < far.shape[0] < hard.shape[0]


def test_an_end_that_no_probe_feels_gets_few_cells():
    bar = RoundBar(diameter=0.08, length=0.8)
    side = Demand(flux=4e5, span=800.0, least=500.0)

    def cells(nearest, **options):
        demands = {"outer": side} | dict.fromkeys(("bottom", "top"), Demand(flux=4e5, span=800.0, nearest=nearest))
        return make_grid(bar, 0.5, demands=demands, **options)

    at_the_end, in_the_middle = cells(0.01), cells(0.4)
    assert in_the_middle.shape[1] < 0.4 * at_the_end.shape[1]
    assert in_the_middle.shape[0] == at_the_end.shape[0]
    assert np.diff(in_the_middle.z_faces)[0] <= 0.15 * 0.04 * (1.0 + 1e-12)  # the heat through the end is still caught
    whole = cells(0.4, is_whole=True).shape[1]
    assert whole > 2 * in_the_middle.shape[1]
    side = Demand(flux=4e5, span=800.0, least=0.0)  # a side that takes no heat: the end is felt everywhere
    assert cells(0.4).shape[1] == whole


def test_cells_replace_the_choice():
    assert make_grid(EndQuenchBar(), 0.5, cells=(3, 7)).shape == (3, 7)
    assert make_grid(RoundBar(diameter=0.08), 0.5, cells=(9, 1)).shape == (9, 1)


def test_grids_are_fine_where_the_piece_is_quenched():
    end_quench = make_grid(EndQuenchBar(), 0.5, demands={"bottom": HARD})
    assert np.diff(end_quench.z_faces)[0] == np.diff(end_quench.z_faces).min() < 0.1e-3
    bar = make_grid(RoundBar(diameter=0.08, length=0.2), 0.5, demands=dict.fromkeys(("bottom", "outer", "top"), HARD))
    width = np.diff(bar.z_faces)
    np.testing.assert_allclose(width, width[::-1], rtol=1e-9)  # symmetric
    assert np.diff(bar.r_faces)[-1] == np.diff(bar.r_faces).min()
    tube = make_grid(
        Tube(outer_diameter=0.06, inner_diameter=0.03), 0.5, demands=dict.fromkeys(("bore", "outer"), HARD)
    )
    assert np.diff(tube.r_faces)[0] == pytest.approx(np.diff(tube.r_faces)[-1], rel=1e-9)


def nodes_of(faces):
    return np.concatenate([faces[:1], 0.5 * (faces[1:] + faces[:-1]), faces[-1:]])


def places_of(probes):
    return np.array([(probe.r, probe.z) for probe in probes])


def node_weights(position, nodes, is_axis):
    weights = np.empty(4)
    return compiled_weights(position, nodes, is_axis, weights), weights


@given(st.integers(3, 30), st.floats(0.0, 1.0), st.lists(st.floats(-3.0, 3.0), min_size=4, max_size=4))
def test_weights_reproduce_cubics_exactly(cells, position, coefficients):
    """Four points, no axis: any cubic between cell centres and faces is met."""
    nodes = nodes_of(np.linspace(0.0, 1.0, cells + 1) ** 1.4)
    first, weights = node_weights(position, nodes, is_axis=False)
    value = np.polynomial.polynomial.polyval(nodes, coefficients)
    assert 0 <= first <= len(nodes) - 4
    assert weights.sum() == pytest.approx(1.0, rel=1e-9)
    expected = np.polynomial.polynomial.polyval(position, coefficients)
    assert weights @ value[first : first + 4] == pytest.approx(expected, abs=1e-8)


@given(st.integers(4, 30), st.floats(0.0, 1.0), st.lists(st.floats(-3.0, 3.0), min_size=2, max_size=2))
def test_weights_reproduce_even_parabolas_about_the_axis(cells, position, coefficients):
    """On a solid section the axis node carries no value; a + b r^2 is met everywhere, on the axis too."""
    nodes = nodes_of(np.linspace(0.0, 1.0, cells + 1))
    first, weights = node_weights(position, nodes, is_axis=True)
    value = coefficients[0] + coefficients[1] * nodes**2
    value[0] = np.nan  # must not be touched
    used = weights != 0.0
    assert weights[used] @ value[first : first + 4][used] == pytest.approx(
        coefficients[0] + coefficients[1] * position**2, abs=1e-8
    )


def test_weights_near_the_axis_are_exact_to_the_sixth_power():
    nodes = nodes_of(np.linspace(0.0, 1.0, 11))
    first, weights = node_weights(0.0, nodes, is_axis=True)
    assert first == 1
    value = 1.0 - 2.0 * nodes**2 + 0.5 * nodes**4 - nodes**6
    assert weights @ value[first : first + 4] == pytest.approx(1.0, rel=1e-10)


def test_one_cell_across_reads_the_cell_and_its_faces():
    nodes = np.array([0.0, 0.5, 1.0])
    for position, is_axis, expected in (
        (0.0, True, 5.0),
        (0.5, True, 5.0),
        (1.0, True, 9.0),
        (0.0, False, 1.0),
        (0.75, False, 7.0),
    ):
        first, weights = node_weights(position, nodes, is_axis)
        assert weights[:2] @ np.array([1.0, 5.0, 9.0])[first : first + 2] == pytest.approx(expected)


@pytest.mark.parametrize("name", ["end-quench bar", "round bar", "tube"])
def test_probe_tables_interpolate_fields_linear_in_both_directions(name):
    piece = PIECES[name][0]
    grid = make_grid(piece, 0.5)
    inner, outer, length = piece.inner_radius, piece.outer_radius, piece.length
    probes = [Probe(r, z, f"{r} {z}") for r in np.linspace(inner, outer, 4) for z in np.linspace(0.0, length, 5)]
    first_r, first_z, weight_r, weight_z, linear = probe_weights(grid, places_of(probes), inner == 0.0)
    r_nodes, z_nodes = nodes_of(grid.r_faces), nodes_of(grid.z_faces)
    # r^2 and z are both smooth through the axis and met exactly
    field = 3.0 + 50.0 * z_nodes[:, None] + 2e3 * r_nodes[None, :] ** 2
    cells = 50.0 * grid.z[:, None] - 20.0 * grid.r[None, :]
    padded = np.pad(field, ((0, 4), (0, 4)))
    for n, probe in enumerate(probes):
        part = padded[first_z[n] : first_z[n] + 4, first_r[n] : first_r[n] + 4]
        assert weight_z[n] @ part @ weight_r[n] == pytest.approx(3.0 + 50.0 * probe.z + 2e3 * probe.r**2, abs=1e-9)
        j0, j1, i0, i1 = linear[n, :4].astype(int)
        wj, wi = linear[n, 4:]
        low = cells[j0, i0] + wi * (cells[j0, i1] - cells[j0, i0])
        high = cells[j1, i0] + wi * (cells[j1, i1] - cells[j1, i0])
        z = np.clip(probe.z, grid.z[0], grid.z[-1])
        r = np.clip(probe.r, grid.r[0], grid.r[-1])
        assert low + wj * (high - low) == pytest.approx(50.0 * z - 20.0 * r, abs=1e-12)


def test_long_pieces_ignore_z():
    grid = make_grid(RoundBar(diameter=0.08), 0.5)
    first_z, weight_z = probe_weights(grid, places_of([Probe(0.01, 0.0, "a")]), True)[1::2]
    assert first_z[0] == 1
    np.testing.assert_array_equal(weight_z[0], [1.0, 0.0, 0.0, 0.0])
