"""The pieces: sizes, faces, probes by name, and what they say to wrong input."""

from __future__ import annotations

import pytest
from scipy.constants import inch

from heatq.errors import InputError
from heatq.specimens import JOMINY_POSITIONS, EndQuenchBar, Probe, RoundBar, Tube


def test_standard_bars():
    american, metric = EndQuenchBar(), EndQuenchBar(standard="ISO 642")
    assert (american.diameter, american.length) == (1.0 * inch, 4.0 * inch)  # ASTM A255-02, 3.1
    assert (metric.diameter, metric.length) == (0.025, 0.1)  # ISO 642:2024
    assert american.flat_depth == pytest.approx(0.381e-3)
    assert metric.flat_depth == pytest.approx(0.4e-3)
    assert american.outer_radius == 0.0127
    assert american.inner_radius == 0.0


def test_sizes_may_be_replaced_by_a_subsize_bar():
    bar = EndQuenchBar(diameter=0.0127, length=0.06, flat_depth=0.0)
    assert (bar.diameter, bar.length, bar.find_probe("J4").r) == (0.0127, 0.06, 0.00635)


def test_end_quench_probes():
    bar = EndQuenchBar()
    assert bar.default_probes[:3] == ("J1", "J2", "J3")
    assert bar.default_probes[-1] == "J32"
    assert len(bar.default_probes) == len(JOMINY_POSITIONS)
    for name, z in (
        ("J1", inch / 16),
        ("j8", 0.5 * inch),
        (" J 16 ", inch),
        ("J2.5", 2.5 * inch / 16),
        ("10 mm", 0.01),
        ("1.5mm", 0.0015),
    ):
        probe = bar.find_probe(name)
        assert probe.z == pytest.approx(z, rel=1e-12)
        assert probe.r == pytest.approx(0.0127 - 0.381e-3)
        assert probe.label == name.strip()


def test_metric_traverse_stays_on_the_bar():
    bar = EndQuenchBar(standard="ISO 642")
    assert bar.default_probes[:3] == ("1.5 mm", "3 mm", "5 mm")
    assert bar.default_probes[-1] == "80 mm"
    assert all(bar.find_probe(name).z <= bar.length for name in bar.default_probes)


def test_short_bar_shortens_the_traverse():
    assert EndQuenchBar(length=0.03).default_probes[-1] == "J16"


def test_round_bar_probes():
    bar = RoundBar(diameter=0.08, length=0.2)
    for name, r in (("centre", 0.0), ("mid-radius", 0.02), ("3/4 radius", 0.03), ("surface", 0.04)):
        assert (bar.find_probe(name).r, bar.find_probe(name).z) == (pytest.approx(r), 0.1)
    away = bar.find_probe("centre @ 120 mm")
    assert (away.r, away.z, away.label) == (0.0, pytest.approx(0.12), "centre @ 120 mm")
    assert RoundBar(diameter=0.08).find_probe("surface").z == 0.0


def test_tube_probes():
    tube = Tube(outer_diameter=0.06, inner_diameter=0.03, length=0.1)
    radii = {name: tube.find_probe(name).r for name in tube.default_probes}
    assert radii == {"bore": 0.015, "mid-wall": pytest.approx(0.0225), "surface": 0.03}
    assert tube.find_probe("mid-wall @ 50 mm").z == pytest.approx(0.05)
    assert (tube.diameter, tube.inner_radius) == (0.06, 0.015)


def test_faces():
    assert EndQuenchBar().faces == {"jet": "bottom", "side": "outer", "top": "top"}
    assert RoundBar(diameter=0.05, length=0.1).faces == {"bottom": "bottom", "side": "outer", "top": "top"}
    assert RoundBar(diameter=0.05).faces == {"side": "outer"}
    assert Tube(outer_diameter=0.06, inner_diameter=0.03).faces == {"side": "outer", "bore": "bore"}
    assert set(Tube(outer_diameter=0.06, inner_diameter=0.03, length=0.1).faces) == {"bottom", "side", "top", "bore"}


def test_probes_in_every_spelling():
    bar = RoundBar(diameter=0.08, length=0.2)
    assert [p.label for p in bar.resolve_probes()] == list(bar.default_probes)
    assert bar.resolve_probes("centre") == [bar.find_probe("centre")]
    assert bar.resolve_probes(Probe(0.01, 0.02)) == [Probe(0.01, 0.02)]
    assert bar.resolve_probes({"deep": (0.0, 0.02)}) == [Probe(0.0, 0.02, "deep")]
    assert [p.label for p in bar.resolve_probes(["centre", Probe(0.01, 0.02)])] == ["centre", "r10 z20"]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: RoundBar(diameter=25.0), r"diameter = 25 m is outside .* for 25 mm write 0\.025"),
        (lambda: RoundBar(diameter=-0.1), "diameter = -0.1 m is outside"),
        (lambda: RoundBar(diameter=0.05, length=float("nan")), "length = nan m is outside"),
        (lambda: RoundBar(diameter="1 inch"), "diameter = '1 inch' is not a number"),
        (lambda: Tube(outer_diameter=0.03, inner_diameter=0.03), r"inner_diameter = 0\.03 m is not smaller"),
        (lambda: Tube(outer_diameter=60.0, inner_diameter=0.03), "outer_diameter = 60 m is outside"),
        (lambda: EndQuenchBar(standard="ASTM"), "unknown standard 'ASTM'. Did you mean 'ASTM A255'"),
        (lambda: EndQuenchBar(flat_depth=0.02), r"flat_depth = 0\.02 m is outside 0 to 0\.00635 m"),
        (lambda: Probe(-0.01, 0.0), r"r = -0\.01 m is outside"),
        (lambda: Probe(0.01, 50.0), "z = 50 m is outside .* Lengths are in metres"),
    ],
)
def test_impossible_sizes(make, message):
    with pytest.raises(InputError, match=message):
        make()


@pytest.mark.parametrize(
    ("probes", "message"),
    [
        (["center"], "unknown probe 'center'. Did you mean 'centre'"),
        (["centre @ 12 cm"], "after @ write the distance from the bottom face"),
        (["centre @ 500 mm"], r"probe 'centre @ 500 mm' lies at .*outside the length z = 0 to 200 mm"),
        ([Probe(0.05, 0.1, "off")], "probe 'off' lies at r = 50 mm, z = 100 mm, outside the section r = 0 to 40 mm"),
        ([], "probes is empty"),
        (["centre", "centre"], "the name 'centre' is given twice"),
        (3.0, r"probes = 3\.0: give names"),
    ],
)
def test_impossible_probes(probes, message):
    with pytest.raises(InputError, match=message):
        RoundBar(diameter=0.08, length=0.2).resolve_probes(probes)


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("centre", "unknown probe 'centre': on an end-quench bar write J1"),
        ("10", "unknown probe '10'"),
        ("J99", r"probe 'J99' lies at .* outside the length z = 0 to 101\.6 mm"),
    ],
)
def test_impossible_end_quench_probes(name, message):
    with pytest.raises(InputError, match=message):
        EndQuenchBar().resolve_probes([name])


def test_a_probe_in_the_bore_is_outside():
    with pytest.raises(InputError, match="outside the section r = 15 to 30 mm"):
        Tube(outer_diameter=0.06, inner_diameter=0.03).resolve_probes({"hole": (0.01, 0.0)})
