"""Keyhole: a live drill coach for pianists at a digital piano."""

__version__ = "0.1.0"
