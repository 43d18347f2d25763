"""`garboard simulate`: the simulated boat's network on this machine, to practise with and to try gateways' settings."""

from __future__ import annotations

import time

import click

from garboard.recordings.where import PORT, SIGNAL_K_PORT

CAN_PORT = 2000
"""Common practice for frames as text by TCP, no source."""
LOOK = 0.5
HELP = """Serve the simulated boat's instrument network to whoever connects, and drive a scripted outing.

Turns, full throttle both ways and ten throttle steps both ways, over and over: NMEA 0183, NMEA 2000 frames as text, and
Signal K. Everything it sends says that nobody measured it, so nothing of it becomes a measurement. Stop with Ctrl-C.
"""


@click.command("simulate", help=HELP, short_help="Serve the simulated boat's network, for practice.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to serve on; 0.0.0.0 for the whole wifi.")
@click.option("--nmea0183", default=PORT, show_default=True, type=click.IntRange(0, 65535), help="Port by TCP.")
@click.option("--can", default=CAN_PORT, show_default=True, type=click.IntRange(0, 65535), help="Port by TCP.")
@click.option("--signalk", default=SIGNAL_K_PORT, show_default=True, type=click.IntRange(0, 65535), help="Port.")
@click.option("--seconds", type=click.FloatRange(0, min_open=True), help="Stop after this many seconds.")
@click.pass_context
def command(context: click.Context, host: str, nmea0183: int, can: int, signalk: int, seconds: float | None) -> None:
    """Serve until stopped; each outing begins anew where the last one ended."""
    from itertools import chain, repeat

    from garboard.faults import Fault, InputError, in_words
    from garboard.recordings.simulated_network import TWIN, SimulatedNetwork, outing

    console = context.obj.console()
    wanted = {"nmea0183": nmea0183, "can": can, "signalk": signalk}
    try:
        orders = chain.from_iterable(outing() for _ in repeat(None))
        network = SimulatedNetwork(TWIN, orders, host=host, ports=wanted)
    except OSError as failure:
        cure = "choose other ports, or close what uses them"
        raise InputError(
            "simulated boat", [Fault("ports", "ports that are free on this machine", in_words(failure), cure=cure)]
        ) from None
    ports = network.ports
    console.print("The simulated boat is under way. Nothing of it becomes a measurement.")
    console.print(f"NMEA 0183: {host}:{ports['nmea0183']}. NMEA 2000 frames as text: {host}:{ports['can']}.")
    console.print(f"Signal K: ws://{host}:{ports['signalk']}. Stop with Ctrl-C.")
    end = time.monotonic() + seconds if seconds else None
    network.start()
    try:
        while end is None or time.monotonic() < end:
            time.sleep(LOOK if end is None else max(0.0, min(LOOK, end - time.monotonic())))
    except KeyboardInterrupt:
        pass
    finally:
        network.close()
