"""Simulated pianists: players made of arithmetic, for the demo, the tests and the benchmarks."""

from coach.playing.simulated.player import demo_fault_words, demo_pianist, demo_window

__all__ = ["demo_fault_words", "demo_pianist", "demo_window"]
