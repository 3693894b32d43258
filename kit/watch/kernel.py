"""One kernel that is used for one notebook after the other.

Starting a kernel and loading its libraries takes longer than a report, and the first report in it
longer than the next. Between two notebooks it forgets what the last one defined and counts its
cells from 1 again, so that a notebook comes out as in a new kernel, to the byte.
"""

from __future__ import annotations

from contextlib import ExitStack
from typing import TYPE_CHECKING

from kit.render.notebook_run import start_kernel, without_slow_grammar
from kit.render.report import PRELOAD

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType

    from jupyter_client.manager import AsyncKernelManager

__all__ = ["LastingKernel"]

FORGET = "get_ipython().reset(new_session=True)"
FORGET_TIMEOUT_S = 30
USES = 100
"""A kernel is ended after so many notebooks, whatever its libraries kept (common practice, no
source)."""


class LastingKernel:
    """A context that hands out a kernel as good as new, and ends it."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._open = ExitStack()
        self._kernel: AsyncKernelManager | None = None
        self._uses = 0

    def __enter__(self) -> LastingKernel:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.end()

    def get(self, folder: Path) -> AsyncKernelManager:
        """Return the kernel, working in a folder; it is started if there is none."""
        if self._kernel is not None and folder != self._folder:
            move = f"__import__('os').chdir({str(folder)!r})"
            if not _does(self._kernel, move):
                self.end()
        if self._kernel is None:
            self._kernel = self._open.enter_context(start_kernel(folder, preload=PRELOAD))
            self._uses = 0
        self._folder = folder
        self._uses += 1
        return self._kernel

    def end(self) -> None:
        """End the kernel; the next `get` starts another."""
        self._kernel = None
        self._open.close()
        self._open = ExitStack()

    def forget(self) -> None:
        """Make the kernel forget the last notebook; one that cannot is ended."""
        if self._kernel is None:
            return
        if self._uses >= USES or not _does(self._kernel, FORGET):
            self.end()


def _does(kernel: AsyncKernelManager, code: str) -> bool:
    """Let a kernel do something that no notebook sees; return whether it did so."""
    with without_slow_grammar():
        from jupyter_client.blocking.client import BlockingKernelClient

    for used in getattr(kernel, "clients", ()):
        used.stop_channels()
    kernel.clients = ()
    client = BlockingKernelClient()
    client.load_connection_file(kernel.connection_file)
    client.start_channels()
    try:
        client.wait_for_ready(timeout=FORGET_TIMEOUT_S)
        reply = client.execute(
            code, silent=True, store_history=False, reply=True, timeout=FORGET_TIMEOUT_S
        )
    except (RuntimeError, TimeoutError):
        return False
    finally:
        client.stop_channels()
    return isinstance(reply, dict) and reply["content"]["status"] == "ok"
