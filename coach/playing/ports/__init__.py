"""Live MIDI ports: the one door to python-rtmidi."""

from coach.playing.ports.byte_stream import KeyReader, Message
from coach.playing.ports.driver import Driver, OutPort, PortsUnavailable, RtMidiDriver, divert_noise
from coach.playing.ports.own_sound import ASK
from coach.playing.ports.ports import BRIDGES, Ports, choose

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
