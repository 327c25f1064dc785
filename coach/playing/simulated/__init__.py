"""Simulated pianists: players made of arithmetic, for the demo, the tests and the benchmarks."""

from coach.playing.simulated.player import demo_pianist

__all__ = ["demo_pianist"]
