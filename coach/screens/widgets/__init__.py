"""Widgets: thin. What they show is computed elsewhere."""
