"""Simulated pianists: players made of arithmetic, for the demo, the tests and the benchmarks."""
