"""Engraved notation: the window as MEI, as a picture, and where its notes stand."""
