"""Simulated pianists: players made of arithmetic, for the demo, the tests and the benchmarks."""

from coach.playing.simulated.demo import demo_pianist

__all__ = ["demo_pianist"]
