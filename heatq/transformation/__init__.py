"""Critical temperatures, transformation kinetics and phase fractions from any history. Never imports conduction."""

from heatq.transformation.critical import critical_temperatures
from heatq.transformation.fractions import transform

__all__ = ["critical_temperatures", "transform"]
