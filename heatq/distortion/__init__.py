"""Comparable figures of how hard a quench is on the piece: temperature differences, Ms, evenness of h, elastic stress.

No promise of a distortion in millimetres or of a crack: the figures rank quenches of the same piece. They are read off one
run (or a log with a surface and a centre couple). What they leave out is said in docs/howto/compare-distortion.md.
"""

from heatq.distortion.compare import compare_distortion, distortion_table
from heatq.distortion.evenness import h_evenness
from heatq.distortion.figures import distortion_figures, distortion_probes
from heatq.distortion.stress import free_strain, long_cylinder_stress

__all__ = [
    "compare_distortion",
    "distortion_figures",
    "distortion_probes",
    "distortion_table",
    "free_strain",
    "h_evenness",
    "long_cylinder_stress",
]
