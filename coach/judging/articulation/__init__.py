"""How long the keys were held."""

from coach.judging.articulation.early_release import Shape, shape
from coach.judging.articulation.holds import Hold

__all__ = ["Hold", "Shape", "shape"]
