"""When somebody is at the bench: draws of clock hours per day and person."""

from forecast.learn.bench_time.draws import BenchDraws, Newcomer
from forecast.learn.bench_time.model import BenchTime

__all__ = ["BenchDraws", "BenchTime", "Newcomer"]
