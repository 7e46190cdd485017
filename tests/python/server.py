"""Runs the real server on a free port with an SQLite file of its own."""

import os
import signal
import subprocess
import time
from pathlib import Path

from contract import ROOT

WAIT_MAX_SECONDS = 60


def program() -> Path:
    """The server's binary: tests/run says where; else the development build."""
    folder = Path(os.environ.get("FORENOON_BIN_DIR", ROOT / "target" / "debug"))
    path = folder / "forenoon-server"
    if not path.is_file():
        raise SystemExit(f"{path} is not there: run tests/run, or cargo build --workspace")
    return path


class Server:
    """A running server. Used as a context, it is killed at the end if it has not ended."""

    def __init__(self, folder: Path) -> None:
        port_file = folder / "port"
        self.log = folder / "server.log"
        arguments = [
            str(program()),
            "--listen",
            "127.0.0.1:0",
            "--port-file",
            str(port_file),
            "--database",
            f"sqlite://{folder}/branch.db",
        ]
        with self.log.open("w") as log:
            self.process = subprocess.Popen(
                arguments,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                env={"PATH": os.environ["PATH"]},
            )
        try:
            self.address = f"127.0.0.1:{self._wait_for_port(port_file)}"
        except BaseException:
            self.kill()
            raise

    def _wait_for_port(self, port_file: Path) -> int:
        deadline = time.monotonic() + WAIT_MAX_SECONDS
        while time.monotonic() < deadline:
            if port_file.is_file():
                return int(port_file.read_text())
            if self.process.poll() is not None:
                raise SystemExit(f"the server ended at its start:\n{self.log.read_text()}")
            time.sleep(0.01)
        raise SystemExit(f"the server does not serve:\n{self.log.read_text()}")

    def end(self) -> int:
        """Asks it to end, as a service manager would, and answers with its exit code."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(WAIT_MAX_SECONDS)

    def kill(self) -> None:
        """Ends it at once where it still runs."""
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()

    def __enter__(self) -> "Server":
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()
