"""The open work as a network, and its simulation on drawn hours and days. Nothing is drawn here."""

from forecast.simulate.network.criticality import Criticality, criticality_of_stages, criticality_of_tasks
from forecast.simulate.network.network import Network, network_of, network_of_untouched
from forecast.simulate.network.records import CAUSES, UNFINISHED
from forecast.simulate.network.simulation import Simulation, finish_frame, simulate_schedule

__all__ = [
    "CAUSES",
    "UNFINISHED",
    "Criticality",
    "Network",
    "Simulation",
    "criticality_of_stages",
    "criticality_of_tasks",
    "finish_frame",
    "network_of",
    "network_of_untouched",
    "simulate_schedule",
]
