"""Live MIDI ports: the one door to python-rtmidi."""

from coach.playing.ports.byte_stream import KeyReader, Message
from coach.playing.ports.driver import Driver, OutPort, RtMidiDriver, divert_noise
from coach.playing.ports.own_sound import ASK
from coach.playing.ports.ports import BRIDGES, Ports, PortsUnavailable, choose

__all__ = [
    "ASK",
    "BRIDGES",
    "Driver",
    "KeyReader",
    "Message",
    "OutPort",
    "Ports",
    "PortsUnavailable",
    "RtMidiDriver",
    "choose",
    "divert_noise",
]
