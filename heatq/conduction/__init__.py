"""Transient conduction in bodies of revolution: grid, tables, time integration."""

from heatq.conduction.grid import Grid, make_grid
from heatq.conduction.run import simulate

__all__ = ["Grid", "make_grid", "simulate"]
