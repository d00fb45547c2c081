"""Transient conduction in bodies of revolution: grid, tables, time integration."""

from heatq.conduction.batch import simulate_many
from heatq.conduction.convergence import grid_convergence
from heatq.conduction.grid import Grid, make_grid
from heatq.conduction.run import simulate

__all__ = ["Grid", "grid_convergence", "make_grid", "simulate", "simulate_many"]
