"""Keyhole: a live drill coach for pianists at a digital piano."""
