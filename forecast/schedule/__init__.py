"""Drawn hours and drawn days, played through the network of the plan. Nothing is drawn here."""

from forecast.schedule.network import Network, network_of, network_of_untouched
from forecast.schedule.simulation import Simulation, simulate_schedule

__all__ = ["Network", "Simulation", "network_of", "network_of_untouched", "simulate_schedule"]
