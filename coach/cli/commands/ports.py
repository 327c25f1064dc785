"""``coach ports``: the MIDI ports that are there."""

from __future__ import annotations

from argparse import Namespace

from coach.cli.terminal import say
from coach.playing.ports import Ports, PortsUnavailable, divert_noise


def show_ports(options: Namespace) -> int:
    """List the ports in and out; says what to do where there is none."""
    divert_noise()
    ports = Ports()
    try:
        into, out = ports.names_in(), ports.names_out()
        if ports.trouble:
            raise PortsUnavailable(ports.trouble)
    finally:
        ports.close()
    for title, names in (("From the piano:", into), ("To the piano:", out)):
        say(title)
        say("\n".join(f"  {name}" for name in names) or "  none")
    if not into:
        say("Plug in the piano's USB cable and switch it on; coach notices it while running.")
    return 0
