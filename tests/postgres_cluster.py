"""A PostgreSQL server of the tests' own: a temporary folder, a socket in it, no network, gone afterwards."""

from __future__ import annotations

import atexit
import contextlib
import itertools
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path
from types import TracebackType
from typing import Self

import psycopg

from garboard_shop.postgres.shards import shard_shop

USER = "shop"
WHERE = "GARBOARD_TEST_CLUSTERS"
"""The environment's name for the folder servers lie in, /tmp without one."""
PLACES = Path("/usr/lib/postgresql")
_END_WITH_US = ("setpriv", "--pdeathsig", "QUIT") if shutil.which("setpriv") else ()
"""The server ends when the tests are killed."""
_EMPTY: list[Path] = []
"""An empty server's data folder, once one was made; gone with the process."""


def programs() -> Path | None:
    """Where Debian keeps the newest PostgreSQL server's programs."""
    found = sorted(PLACES.glob("*/bin/initdb"), key=lambda path: float(path.parts[-3]))
    return found[-1].parent if found else None


def why_not_here() -> str:
    """Why no server can be started here; "" when one can."""
    if programs() is None:
        return f"no PostgreSQL server under {PLACES}: install Debian's package postgresql"
    if os.geteuid() == 0 and not _unprivileged():
        return "a PostgreSQL server does not run as root, and there is no user postgres or nobody"
    return ""


def why_not_spread() -> str:
    """Why no shop can be spread over several servers here; "" when one can."""
    found = programs()
    if found and not (found.parent / "lib/plproxy.so").exists():
        return f"no PL/Proxy: install Debian's package postgresql-{found.parent.name}-plproxy"
    return why_not_here()


class Cluster:
    """A running server.

    settings : further settings, such as {"fsync": "off"}
    """

    def __init__(self, settings: dict[str, str] | None = None) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="gb-pg-", dir=os.environ.get(WHERE, "/tmp")))
        self._settings = {
            "listen_addresses": "",
            "unix_socket_directories": str(self.folder),
            "max_connections": "200",
            "logging_collector": "off",
            "max_wal_size": "128MB",
            **(settings or {}),
        }
        self._names = itertools.count(1)
        self._process: subprocess.Popen[bytes] | None = None
        self._programs = programs() or PLACES
        self._log = (self.folder / "log").open("ab")
        if user := _unprivileged():
            shutil.chown(self.folder, user)
        self._make_data()

    @property
    def data(self) -> Path:
        return self.folder / "data"

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.kill()
        self._log.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    def start(self) -> None:
        """Start it, after a kill with the recovery that brings, and wait until it answers."""
        options = [part for name, value in self._settings.items() for part in ("-c", f"{name}={value}")]
        command = [*_END_WITH_US, str(self._programs / "postgres"), "-D", str(self.data), *options]
        self._process = subprocess.Popen(
            command, stdout=self._log, stderr=self._log, user=_unprivileged(), start_new_session=True, cwd=self.folder
        )
        for _ in range(6000):
            if self._process.poll() is not None:
                break
            with contextlib.suppress(psycopg.OperationalError), self._connected():
                return
            time.sleep(0.05)
        raise RuntimeError(f"the server did not start:\n{(self.folder / 'log').read_text()[-3000:]}")

    def kill(self) -> None:
        """kill -9 of the server and all its processes."""
        if self._process is None:
            return
        with contextlib.suppress(ProcessLookupError):
            os.kill(self._process.pid, signal.SIGSTOP)  # it starts no further process from here on
        children = _children(self._process.pid)
        for process in [*children, self._process.pid]:
            with contextlib.suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
        self._process.wait()
        for _ in range(2000):  # one that is not gone yet holds the memory they share, and no other server starts
            if not any(map(_is_there, children)):
                break
            time.sleep(0.05)
        self._process = None
        (self.data / "postmaster.pid").unlink(missing_ok=True)

    def processor_time(self) -> float:
        """What the server and all its processes, ended ones too, have used so far [s]."""
        if self._process is None:
            return 0.0
        ticks = sum(_ticks(self._process.pid, 4)) + sum(sum(_ticks(child, 2)) for child in _children(self._process.pid))
        return ticks / os.sysconf("SC_CLK_TCK")

    def database(self, encoding: str = "UTF8") -> str:
        """A new empty database; its address."""
        name = f"shop{next(self._names)}"
        with self._connected() as connection:  # by the program `createdb` it took four times as long
            copied = "strategy file_copy" if connection.info.server_version >= 150_000 else ""
            connection.execute(
                f"create database {name} template template0 encoding '{encoding}' lc_collate 'C' lc_ctype 'C' {copied}"
            )
        return self._address_of(name)

    def _address_of(self, database: str) -> str:
        return f"postgresql://{USER}@/{database}?host={self.folder}"

    def _connected(self) -> contextlib.closing[psycopg.Connection]:
        return contextlib.closing(psycopg.connect(self._address_of("postgres"), autocommit=True))

    def _make_data(self) -> None:
        """By copy: of the six data folders of a whole run, one is made by initdb."""
        if not _EMPTY:
            made = Path(tempfile.mkdtemp(prefix="gb-pg-empty-", dir=self.folder.parent))
            atexit.register(shutil.rmtree, made, ignore_errors=True)
            if user := _unprivileged():
                shutil.chown(made, user)
            how = ("-U", USER, "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "-N")
            self._run("initdb", "-D", str(made / "data"), *how)
            _EMPTY.append(made / "data")
        subprocess.run(["cp", "-a", _EMPTY[0], self.data], check=True, user=_unprivileged(), cwd=self.folder)

    def _run(self, program: str, *arguments: str) -> None:
        command = [str(self._programs / program), *arguments]
        done = subprocess.run(command, stdout=self._log, stderr=self._log, user=_unprivileged(), cwd=self.folder)
        if done.returncode:
            raise RuntimeError(f"{program} failed:\n{(self.folder / 'log').read_text()[-3000:]}")


class SpreadClusters:
    """Servers of their own for a spread shop: one in front, and the parts behind it.

    settings : further settings of those behind
    """

    def __init__(self, settings: dict[str, str] | None = None, parts: int = 2) -> None:
        self.front = Cluster()
        self.behind = [Cluster(settings) for _ in range(parts)]
        self.all = [*self.behind, self.front]

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for cluster in self.all:
            cluster.__exit__(kind, error, trace)

    def start(self) -> None:
        for cluster in self.all:
            cluster.start()

    def kill(self) -> None:
        for cluster in self.all:
            cluster.kill()

    def processor_time(self) -> float:
        """What all of them have used so far [s]."""
        return sum(cluster.processor_time() for cluster in self.all)

    def database(self) -> str:
        """A new empty shop spread over all parts; the address of the database in front."""
        address = self.front.database()
        shard_shop(address, [cluster.database() for cluster in self.behind])
        return address


Servers = Cluster | SpreadClusters


def _unprivileged() -> str | None:
    """The user a server runs as: this one, or another when this is root."""
    if os.geteuid() != 0:
        return None
    known = {entry.pw_name for entry in pwd.getpwall()}
    return next((name for name in ("postgres", "nobody") if name in known), None)


def _is_there(process: int) -> bool:
    """Whether a process still holds what it had (proc(5), field 3 of stat: a zombie holds nothing)."""
    with contextlib.suppress(OSError):
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] not in ("Z", "X")
    return False


def _children(process: int) -> list[int]:
    """Processes started by another (proc(5), field 4 of stat)."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            if int(path.read_text().rpartition(")")[2].split()[1]) == process:
                found.append(int(path.parent.name))
    return found


def _ticks(process: int, count: int) -> list[int]:
    """User and system time of a process, then those of its ended children (proc(5), fields 14 to 17)."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except FileNotFoundError:
        return []
    return [int(field) for field in fields[11 : 11 + count]]
