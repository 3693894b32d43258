"""A process that makes reports, seen from the one that started it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import threading
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from kit.render.notebook_run import kernel_environment

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import IO

__all__ = ["EndedError", "WarmProcess"]

LARGEST_MIB = 1024.0
"""Resident memory above which a process is replaced by a new one: a session with a dense log may
take much, and not all of it comes back. Chosen, no source."""
END_S = 10.0
"""How long a process may take to end once it is told to."""


class EndedError(Exception):
    """The process ended, or was ended, before it answered; the message says how."""


class WarmProcess:
    """A process that makes reports one after the other; started when it is first asked.

    One thread asks at a time. It is started as any program (not forked), so it is the same on
    every system, and may be started from a process that may have no children of Python's own.
    """

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None
        self._said: IO[bytes] | None = None

    @property
    def pid(self) -> int | None:
        """Return the id of the process, if it runs."""
        return None if self._process is None else self._process.pid

    def ask(self, job: Mapping[str, Any], *, timeout_s: float) -> dict[str, Any]:
        """Have one report made; return the answer of `kit.batch.worker.answer`.

        Raises
        ------
        EndedError
            If the process ended meanwhile or took longer; the next call starts another one.
        """
        process = self._started()
        stdin, stdout = process.stdin, process.stdout
        if stdin is None or stdout is None:
            message = "it has no pipes"
            raise EndedError(message)
        late = threading.Event()

        def give_up() -> None:
            late.set()
            process.kill()

        timer = threading.Timer(timeout_s, give_up)
        timer.daemon = True
        timer.start()
        try:
            stdin.write(json.dumps(dict(job)) + "\n")
            stdin.flush()
            line = stdout.readline()
        except (OSError, ValueError):
            line = ""
        finally:
            timer.cancel()
        if line.endswith("\n"):
            answer: dict[str, Any] = json.loads(line)
            if answer.get("memory_mib", 0.0) > LARGEST_MIB:
                self.end()
            return answer
        self._end(END_S)
        status = process.returncode
        if late.is_set():
            message = f"took longer than {timeout_s:g} s"
        elif status is not None and status < 0:
            message = f"the process that made it was ended by signal {-status}"
        else:
            message = f"the process that made it ended with status {status}{self._last_words()}"
        raise EndedError(message)

    def _last_words(self) -> str:
        """Return the last line that the process wrote to its standard error, in brackets."""
        if self._said is None:
            return ""
        self._said.seek(0)
        lines = self._said.read().decode("utf-8", "replace").split("\n")
        said = [line.strip() for line in lines if line.strip()]
        return f" ({said[-1]})" if said else ""

    def end(self, *, wait_s: float = END_S) -> None:
        """End the process: it finishes the report it is making, unless that takes too long."""
        self._end(wait_s)
        if self._said is not None:
            self._said.close()
            self._said = None

    def _end(self, wait_s: float) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        with suppress(OSError):
            if process.stdin is not None:
                process.stdin.close()
        try:
            process.wait(wait_s)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        if process.stdout is not None:
            process.stdout.close()

    def kill(self) -> None:
        """End the process at once."""
        if self._process is not None:
            self._process.kill()

    def _started(self) -> subprocess.Popen[str]:
        if self._process is None or self._process.poll() is not None:
            self.end(wait_s=0.0)
            # closed by `end`
            self._said = tempfile.TemporaryFile(prefix="rundown-worker-")  # noqa: SIM115
            self._process = subprocess.Popen(
                [sys.executable, "-m", "kit.batch.worker"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._said,
                env={**kernel_environment(os.environ), "RAYON_NUM_THREADS": "1"},
                encoding="utf-8",
            )
        return self._process
