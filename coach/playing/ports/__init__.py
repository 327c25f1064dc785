"""Live MIDI ports: the one door to python-rtmidi."""

from coach.playing.ports.byte_stream import KeyEvent, KeyReader, Message
from coach.playing.ports.driver import OutPort
from coach.playing.ports.port_choice import BRIDGES
from coach.playing.ports.ports import Ports, PortsUnavailable

__all__ = ["BRIDGES", "KeyEvent", "KeyReader", "Message", "OutPort", "Ports", "PortsUnavailable"]
