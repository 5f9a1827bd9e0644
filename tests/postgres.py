"""A PostgreSQL of the tests' own: in a temporary folder, on the loopback, gone afterwards."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

USER = "postgres"
"""The server refuses to run as root: then it runs as this user, where there is one."""

PASSWORD = "not-for-any-log-7381"


def programs() -> Path | None:
    """Return the folder of ``initdb``, ``pg_ctl`` and ``postgres``; None where there is none."""
    found = shutil.which("initdb")
    folders = [Path(found).resolve().parent] if found else []
    folders += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    for folder in folders:
        if all((folder / name).exists() for name in ("initdb", "pg_ctl", "postgres")):
            return folder
    return None


def missing() -> str:
    """Return why no server can be started here; blank where one can."""
    if programs() is None:
        return "no PostgreSQL server is installed here (initdb, pg_ctl)"
    if os.geteuid() == 0 and shutil.which("setpriv") is None:
        return "PostgreSQL does not run as root, and there is no setpriv"
    return ""


class Server:
    """A server whose socket lies in its folder; over TCP it wants passwords."""

    def __init__(self, folder: Path, bin_: Path) -> None:
        self.folder, self._bin = folder, bin_
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])

    def run(self, *command: str) -> None:
        """Run one of the server's programs as a user that it accepts."""
        as_user = []
        if os.geteuid() == 0:
            as_user = ["setpriv", f"--reuid={USER}", f"--regid={USER}", "--clear-groups"]
        done = subprocess.run(
            [*as_user, str(self._bin / command[0]), *command[1:]],
            cwd=self.folder, capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr

    def make(self) -> None:
        """Make the cluster: anybody over the socket, a password over TCP."""
        if os.geteuid() == 0:
            shutil.chown(self.folder, USER, USER)
        self.run("initdb", "-D", "data", "-U", "owner", "-A", "trust", "--no-sync", "-E", "UTF8")
        hba = "local all all trust\nhost all all 127.0.0.1/32 scram-sha-256\n"
        (self.folder / "data" / "pg_hba.conf").write_text(hba)

    def start(self, more: str = "-c fsync=off -c shared_buffers=16MB") -> None:
        """Start it, and wait until it answers; ``more`` are its settings."""
        options = (
            f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1 "
            f"-c max_connections=40 {more}"
        )
        self.run("pg_ctl", "-D", "data", "-w", "-s", "-l", "log", "-o", options, "start")

    def stop(self) -> None:
        """Stop it at once, as where the plug is pulled."""
        with suppress(AssertionError):
            self.run("pg_ctl", "-D", "data", "-w", "-s", "-m", "immediate", "stop")

    def url(self, user: str = "owner", database: str = "postgres") -> str:
        """Return the URL over the socket."""
        return f"postgresql://{user}@/{database}?host={self.folder}&port={self.port}"

    def log(self) -> str:
        """Return what it logged."""
        return (self.folder / "log").read_text()


@contextmanager
def server(more: str | None = None) -> Iterator[Server]:
    """Run a server; it is stopped and its folder removed whatever happens."""
    bin_ = programs()
    assert bin_ is not None
    folder = Path(tempfile.mkdtemp(prefix="qt-pg-"))
    folder.chmod(0o755)
    ours = Server(folder, bin_)
    try:
        ours.make()
        if more is None:
            ours.start()
        else:
            ours.start(more)
        yield ours
    finally:
        ours.stop()
        shutil.rmtree(folder, ignore_errors=True)
