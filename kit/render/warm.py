"""A notebook run inside this process, for those who make many reports one after the other.

Starting a kernel and loading its libraries takes longer than a report. `WarmKernel` hands the
cells to one IPython shell of this process, which stays loaded from notebook to notebook and
forgets after each what it defined. papermill puts the parameters in as ever.

It does one thing only, and that to the byte as a kernel would: cells that run through and show
something. As soon as a cell does anything else (fails, warns, prints, ends in a bare value,
changes an output that is there already) it gives up, and the notebook is run anew in a kernel of
its own (`kit.render.notebook_run.start_kernel`), whose word counts.

Only for processes that do nothing else meanwhile: the working folder, the environment and the
streams belong to the whole process.
"""

from __future__ import annotations

import atexit
import io
import json
import os
import shutil
import tempfile
import warnings
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from nbformat import NotebookNode

__all__ = ["GaveUpError", "WarmKernel"]

LEFT_ALONE = "skip-execution"
"""Tag of cells that nbclient does not run either."""

Shown = tuple[dict[str, Any], dict[str, Any]]


class GaveUpError(Exception):
    """A notebook did what only a kernel of its own can do."""


class WarmKernel:
    """One IPython shell of this process, used for one notebook after the other.

    Parameters
    ----------
    preload
        Modules to load now.
    """

    def __init__(self, *, preload: Iterable[str] = ()) -> None:
        for name in preload:
            import_module(name)
        self._shown: list[Shown | None] = []
        # IPython wants a folder of its own; that of the user is not touched
        self._home = tempfile.mkdtemp(prefix="rundown-shell-")
        atexit.register(self.close)
        self._shell = _shell(self._shown, self._home)

    def close(self) -> None:
        """Give the process back; a process has one warm kernel at a time."""
        self._shell.restore_sys_module_state()
        type(self._shell).clear_instance()
        shutil.rmtree(self._home, ignore_errors=True)
        atexit.unregister(self.close)

    @contextmanager
    def notebook(self, folder: Path) -> Iterator[None]:
        """Begin anew in ``folder``; leave the process afterwards as it was."""
        import matplotlib as mpl

        environment = dict(os.environ)
        place = os.getcwd()  # noqa: PTH109 (to go back there, whatever becomes of it)
        os.chdir(folder)
        try:
            # entering also forgets which warnings were shown: each notebook gets its own
            with mpl.rc_context(), warnings.catch_warnings(record=True) as self._warned:
                yield
        finally:
            self._shell.reset()
            self._shown.clear()
            os.chdir(place)
            for name in os.environ.keys() - environment.keys():
                del os.environ[name]
            os.environ.update(environment)

    def run(
        self, notebook: NotebookNode, *, on_cell_start: Callable[..., None] | None = None
    ) -> None:
        """Run the cells of a notebook one after the other, inside the block of `notebook`.

        Parameters
        ----------
        notebook
            With its parameters put in; cells get their numbers and what they show.
        on_cell_start
            Called before each cell with ``cell`` and ``cell_index``.

        Raises
        ------
        GaveUpError
            If a cell did anything but show things.
        """
        from ipykernel.ipkernel import IPythonKernel

        for index, cell in enumerate(notebook.cells):
            if on_cell_start is not None:
                on_cell_start(cell=cell, cell_index=index)
            if cell.cell_type == "code":
                cell.execution_count, cell.outputs = None, []
                self._run(cell)
        notebook.metadata["language_info"] = dict(IPythonKernel.language_info)

    def _run(self, cell: NotebookNode) -> None:
        from nbformat import NotebookNode

        if not cell.source.strip() or LEFT_ALONE in cell.metadata.get("tags", ()):
            return
        self._shown.clear()
        said = io.StringIO()
        count = self._shell.execution_count
        with redirect_stdout(said), redirect_stderr(said):
            done = self._shell.run_cell(cell.source, store_history=True)
        if not done.success or done.result is not None or said.tell() or self._warned:
            message = f"code cell [{count}] does more than show things"
            raise GaveUpError(message)
        cell.execution_count = count
        cell.outputs = [
            NotebookNode(output_type="display_data", metadata=metadata, data=data)
            for data, metadata in map(_sent, self._shown)
        ]


def _sent(shown: Shown | None) -> Shown:
    """Return what is left of it once it has been sent from a kernel as JSON."""
    if shown is None:
        message = "a cell changes what is shown already"
        raise GaveUpError(message)
    try:
        text = json.dumps(shown, ensure_ascii=False, allow_nan=False)
        text.encode("utf-8")
    except (TypeError, ValueError) as error:
        message = f"a cell shows what is no plain JSON ({error})"
        raise GaveUpError(message) from error
    data, metadata = json.loads(text)
    return data, metadata


def _shell(shown: list[Shown | None], home: str) -> Any:
    """Return the shell of this process, which puts into the list what is shown."""
    from IPython.core.displaypub import DisplayPublisher
    from IPython.core.interactiveshell import InteractiveShell
    from traitlets import Type
    from traitlets.config import Config

    class Publisher(DisplayPublisher):
        def publish(self, data: Any, metadata: Any = None, *_: Any, **options: Any) -> None:
            plain = not any(options.get(name) for name in ("update", "transient"))
            shown.append((data, metadata or {}) if plain else None)

        def clear_output(self, wait: bool = False) -> None:  # noqa: FBT001, FBT002 (IPython's)
            shown.append(None)

    class Shell(InteractiveShell):
        """A shell that leaves it to a kernel to say what went wrong."""

        display_pub_class = Type(Publisher)

        def showtraceback(self, *_: Any, **__: Any) -> None:
            pass

        def showsyntaxerror(self, *_: Any, **__: Any) -> None:
            pass

    config = Config()
    config.HistoryManager.enabled = False
    return Shell.instance(config=config, ipython_dir=home)
