"""Twenty tablets coming ashore at once: how long, what the server needs, and how many bytes pass.

Run by hand:  python tests/bench/bench_sync.py
Real processes, TLS on loopback: a first full day into an empty shop, 1 % new on every tablet, nothing new, few new
entries among full hulls. Goal: bytes on the wire within 1.3 times the bytes of the new entries moved.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import sys
import tempfile
import time
from pathlib import Path

import attrs

sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns.sync_campaign import Server
from garboard.disk.clock import Stamp
from garboard.disk.entries import Entry, make_entry
from garboard.disk.hullfile import HullFolder
from garboard.shop_link import pairing, sync
from shop_rig import Wire

TICKS = os.sysconf("SC_CLK_TCK") if hasattr(os, "sysconf") else 100


@attrs.define
class Round:
    """What one round took."""

    name: str
    wall: float = 0.0
    slowest: float = 0.0
    server_cpu: float = 0.0
    server_peak: float = 0.0
    moved: int = 0
    moved_bytes: int = 0
    wire_bytes: int = 0
    bodies: int = 0

    def __str__(self) -> str:
        ratio = f"{self.wire_bytes / self.moved_bytes:.2f}" if self.moved_bytes else "-"
        return (
            f"{self.name:<24} wall {self.wall:6.2f} s, slowest tablet {self.slowest:6.2f} s, "
            f"server CPU {self.server_cpu:6.2f} s, peak {self.server_peak:5.0f} MB, "
            f"{self.moved} entries moved, {self.moved_bytes / 1e6:.2f} MB; on the wire {self.wire_bytes / 1e6:.2f} MB "
            f"(bodies {self.bodies / 1e6:.2f}), ratio {ratio}"
        )


STEPS = ("prop_check.full_throttle", "fuel_curve.steps", "wiring_audit.circuits", "handover.lights_and_horn")
FIELDS = ("engine_speed", "speed", "fuel_flow", "voltage_at_load", "wire_size", "heard", "remark")
UNITS = ("rev/min", "kn", "gal/h", "V", "mm2", "ft")


def reading(tablet: int, hull: int, number: int) -> Entry:
    """An invented measurement of about 300 bytes: as unlike its neighbours as a day's readings are; a third replace
    an earlier one, whose id no packing makes smaller."""
    chance = random.Random(tablet * 1_000_003 + hull * 1009 + number)
    replaced = [f"{chance.getrandbits(128):032x}"] if chance.random() < 1 / 3 else []
    return make_entry(
        "measure",
        f"ABC{hull:05d}A526",
        dev=f"tablet-{tablet:02d}",
        by=f"technician {tablet}",
        clock=Stamp(1_778_752_800_000 + chance.randrange(36_000_000), chance.randrange(3)),
        at=f"2026-05-14T{chance.randrange(6, 18):02d}:{chance.randrange(60):02d}:{chance.randrange(60):02d}+02:00",
        job=f"job-{hull:04d}",
        subject=[chance.choice(STEPS), chance.choice(FIELDS), f"{tablet}-{number}", chance.choice(["port", ""])],
        value=f"{chance.randrange(1, 60000) / 10:.1f} {chance.choice(UNITS)}",
        replaces=replaced,
    )


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--tablets", type=int, default=20)
    options.add_argument("--hulls", type=int, default=40)
    options.add_argument("--entries", type=int, default=200, help="a hull, at the start of the second round")
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as where:
        for done in rounds(Path(where), chosen.tablets, chosen.hulls, chosen.entries):
            print(done, flush=True)


def rounds(where: Path, tablets: int, hulls: int, entries: int):  # type: ignore[no-untyped-def]
    """Each round as it ends."""
    server = Server(where / "shop")
    folders = [where / f"tablet{number:02d}" for number in range(tablets)]
    try:
        codes = [server.start(), *(server.new_code() for _ in folders[1:])]
        for number, (folder, code) in enumerate(zip(folders, codes, strict=True)):
            pairing.keep(folder, sync.pair(code, folder.name))
            _save(folder, number, hulls, range(entries // tablets))
        yield _round("a first full day", server, folders)
        yield _round("the day goes round", server, folders)
        new = max(1, entries // 100)
        for number, folder in enumerate(folders):
            _save(folder, number, hulls, range(1000, 1000 + new))
        yield _round("1 % new on each", server, folders)
        yield _round("1 % goes round", server, folders)
        yield _round("nothing new", server, folders)
        _save(folders[0], 0, hulls, range(2000, 2001))
        yield _round("one brings 1 a hull", server, folders[:1])
        yield _round("1 a hull goes round", server, folders[1:])
        _save(folders[0], 0, 1, range(3000, 3012))
        yield _round("one brings 12 of a hull", server, folders[:1])
        yield _round("12 of a hull go round", server, folders[1:])
        fresh = where / "fresh"
        pairing.keep(fresh, sync.pair(server.new_code(), "fresh"))
        yield _round("one new tablet, all of it", server, [fresh])
    finally:
        server.kill()


def _save(folder: Path, tablet: int, hulls: int, numbers: range) -> None:
    with HullFolder(folder) as folder_of_hulls, folder_of_hulls.batch():
        for hull in range(hulls):
            made = [reading(tablet, hull, number) for number in numbers]
            folder_of_hulls.put_if_absent(made[0].hull, made)


def _round(name: str, server: Server, folders: list[Path]) -> Round:
    """All tablets at once, each a process."""
    done = Round(name)
    cpu = _server_cpu(server)
    with Wire(server.port) as wire, multiprocessing.get_context("fork").Pool(len(folders)) as pool:
        start = time.perf_counter()
        results = pool.starmap(_come_ashore, [(folder, wire.port) for folder in folders], chunksize=1)
        done.wall = time.perf_counter() - start
        done.wire_bytes = wire.passed
    done.server_cpu, done.server_peak = _server_cpu(server) - cpu, _server_peak(server)
    done.slowest = max(seconds for seconds, *_ in results)
    done.moved = sum(moved for _, moved, *_ in results)
    done.moved_bytes = round(done.moved * _mean_size(folders[0]))
    done.bodies = sum(bodies for *_, bodies in results)
    return done


def _come_ashore(folder: Path, port: int) -> tuple[float, int, int]:
    shop = pairing.kept(folder)
    assert shop is not None
    start = time.perf_counter()
    with HullFolder(folder) as hulls:
        report = sync.bring_ashore(hulls, attrs.evolve(shop, port=port))
    assert not report.refused, report.refused[:1]
    return time.perf_counter() - start, report.sent + report.received, report.bytes_sent + report.bytes_received


def _mean_size(folder: Path) -> float:
    """Mean size of the entries a tablet holds [bytes]."""
    with HullFolder(folder, read_only=True) as hulls:
        sizes = [len(raw) for hull in hulls.hulls() for raw in hulls.get(hull).values()]
    return sum(sizes) / len(sizes)


def _server_cpu(server: Server) -> float:
    """CPU time the server has used, all threads [s]. Linux."""
    fields = Path(f"/proc/{server.process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def _server_peak(server: Server) -> float:
    """Most memory the server has had so far [MB]. Linux."""
    status = Path(f"/proc/{server.process}/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


if __name__ == "__main__":
    main()
