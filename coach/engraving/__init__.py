"""Engraved notation: the window as MEI, as a picture, and where its notes stand."""

from coach.engraving.engraver import Box
from coach.engraving.line import EngravingLine, Picture, Wanted
from coach.engraving.mei import note_id, write_mei
from coach.engraving.picture import KITTY_GONE

__all__ = ["KITTY_GONE", "Box", "EngravingLine", "Picture", "Wanted", "note_id", "write_mei"]
