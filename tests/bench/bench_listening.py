"""What listening to the boat's network costs: processor time of the app's own listener, as a share of one core.

Run by hand:  python tests/bench/bench_listening.py --seconds 15
A process of its own sends; this one listens by a real socket, and takes what came ten times a second as a live guide
does. Against the same process that listens to nothing. Processor time, so other work on the machine counts little.
Goal: the simulated boat costs less than 5 % of one core. A network that is as full as can be (1 500 frames a second,
all different) is measured beside it; it is what the limit of lines in `boat_network.py` is made for.
"""

from __future__ import annotations

import argparse
import platform
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from itertools import islice

from garboard.recordings.boat_network import BoatNetwork
from garboard.recordings.simulated_network import TWIN, SimulatedNetwork, can_frames, outing
from garboard.recordings.simulator import simulate
from garboard.recordings.where import Where

TAKEN = 0.1
"""What came is taken so often, as a live guide does [s]."""
FULL = 1500
"""Frames a second of a network as full as can be: 250 kbit/s [NMEA 2000]."""


def cost(seconds: float, network: BoatNetwork | None) -> tuple[float, int]:
    """Processor time for each second, and how many samples came."""
    if network is not None:
        network.start()
        end = time.monotonic() + 10
        while not network.take():
            if time.monotonic() > end:
                raise RuntimeError(f"nothing is heard: {network.trouble()}")
            time.sleep(TAKEN)
    samples, began, used = 0, time.monotonic(), time.process_time()
    while time.monotonic() - began < seconds:
        time.sleep(TAKEN)
        samples += len(network.take()) if network is not None else 0
    share = (time.process_time() - used) / (time.monotonic() - began)
    if network is not None:
        network.stop()
    return share, samples


def serve(form: str) -> None:
    """The simulated boat in real time; says its port, and goes on until it is ended."""
    network = SimulatedNetwork(TWIN, outing(), ports={form: 0})
    network.start()
    print(network.ports[form], flush=True)
    time.sleep(3600)


def send_full(port: int) -> None:
    """Frames by UDP, fifty times a second, as many as make a full network."""
    from itertools import cycle

    frames = cycle([*islice(can_frames(simulate(TWIN, outing(), start=1e9)), 20_000)])
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        print(port, flush=True)
        while True:
            sender.sendto("".join(f"{line}\n" for line in islice(frames, FULL // 50)).encode(), ("127.0.0.1", port))
            time.sleep(0.02)


def free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def measured(what: str, seconds: float, arguments: list[str], where: Callable[[int], Where], idle: float) -> None:
    command = [sys.executable, __file__, *arguments]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None
        port = int(other.stdout.readline())
        try:
            share, samples = cost(seconds, BoatNetwork(where(port)))
        finally:
            other.kill()
    print(f"{what}: {(share - idle) * 100:.1f} % of one core, {samples / seconds:.0f} samples a second", flush=True)


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--seconds", type=float, default=15.0)
    seconds = arguments.parse_args().seconds
    print(platform.platform(), platform.python_version())
    idle, _ = cost(seconds, None)
    print(f"listening to nothing: {idle * 100:.2f} % of one core")
    for what, form in (("NMEA 0183", "nmea0183"), ("NMEA 2000 as text", "can"), ("Signal K", "signalk")):
        way = (lambda port: Where(host="127.0.0.1", port=port)) if form != "signalk" else signal_k
        measured(f"the simulated boat, {what}", seconds, ["serve", form], way, idle)
    udp = free_port()
    measured(
        f"a full network, {FULL} frames a second", seconds, ["full", str(udp)], lambda port: Where(port=port), idle
    )


def signal_k(port: int) -> Where:
    from garboard.recordings.where import read_where

    return read_where(f"ws://127.0.0.1:{port}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["serve"]:
        serve(sys.argv[2])
    elif sys.argv[1:2] == ["full"]:
        send_full(int(sys.argv[2]))
    else:
        main()
