"""Run a report notebook by papermill in a kernel of its own, and clean what comes out.

The kernel is started first (`start_kernel`), so that it boots and loads its libraries while this
process loads papermill and nbconvert; `run_notebook` then hands it the cells. The executed
notebook is stripped of times, paths and random ids: the same record gives the same bytes.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import sysconfig
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from kit.errors import NotebookError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping
    from types import ModuleType

    from jupyter_client.manager import AsyncKernelManager
    from nbformat import NotebookNode

    from kit.render.warm import WarmKernel

__all__ = [
    "kernel_environment",
    "notebook_text",
    "run_notebook",
    "start_kernel",
    "without_slow_grammar",
]

Parameter = str | int | float | bool

START_TIMEOUT_S = 120
KERNELSPEC = {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}
FIXED = {"PYTHONHASHSEED": "0"}
# a sum shared out among threads is rounded as the number of processors has it, and the matrices
# of a session are too small to be worth sharing
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
_ANSI = re.compile(r"\x1b\[[0-9;]*[A-Za-z]")
_HEADING = re.compile(r"^#+\s+(.+?)\s*$", re.MULTILINE)
# papermill's mark on the cells in which it shows an error
_ERROR_CELL = "papermill-error-cell-tag"
_TRACE_LINE = re.compile(r"^-+> *\d+ (.*)$", re.MULTILINE)


@contextmanager
def without_slow_grammar() -> Iterator[None]:
    """Keep ``rfc3987_syntax`` from being imported inside the block.

    With JupyterLab installed, ``import nbformat`` leads through jupyter-events and jsonschema to
    that package, which builds a grammar for about a second. All that is lost without it is
    jsonschema's check of the formats ``iri`` and ``iri-reference``, which no notebook schema
    uses. The kernel imports neither.
    """
    name = "rfc3987_syntax"
    if name in sys.modules:
        yield
        return
    # None in sys.modules makes the import fail like that of a package that is not installed
    sys.modules[name] = cast("ModuleType", None)
    try:
        yield
    finally:
        sys.modules.pop(name, None)


def kernel_environment(environment: Mapping[str, str]) -> dict[str, str]:
    """Return the environment of a process that runs notebooks.

    It finds this ``kit`` whatever folder it works in, hashes alike every time, and does its
    linear algebra on one processor, unless the user says otherwise.
    """
    environment = dict(environment)
    package_root = str(Path(__file__).resolve().parents[2])
    stated = environment.get("PYTHONPATH", "")
    # the process works in another folder: what is relative here must mean the same there
    paths = [str(Path(entry).absolute()) for entry in stated.split(os.pathsep)] if stated else []
    if package_root not in (sysconfig.get_path("purelib"), sysconfig.get_path("platlib")):
        paths.insert(0, package_root)
    if paths:
        environment["PYTHONPATH"] = os.pathsep.join(paths)
    for name in THREADS:
        environment.setdefault(name, "1")
    return environment | FIXED


@contextmanager
def start_kernel(folder: Path, *, preload: Iterable[str] = ()) -> Iterator[AsyncKernelManager]:
    """Start a kernel in ``folder``; end it, whatever happens, with the block.

    The kernel is this interpreter, whatever kernels are installed for the user; it reads no
    start-up file of the user and does not import modules from ``folder``.

    Parameters
    ----------
    folder
        Working folder of the kernel: a relative path in a parameter is relative to it.
    preload
        Modules that the kernel imports while it starts.
    """
    with without_slow_grammar():
        from jupyter_client.kernelspec import KernelSpec, KernelSpecManager
        from jupyter_client.manager import AsyncKernelManager
        from jupyter_core.utils import run_sync

    class ThisInterpreter(KernelSpecManager):
        def get_kernel_spec(self, kernel_name: str) -> KernelSpec:
            command = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
            return KernelSpec(argv=command, display_name=kernel_name, language="python")

    class Manager(AsyncKernelManager):
        """A manager that closes its client's channels, which nbclient leaves open."""

        clients: tuple[Any, ...] = ()

        def client(self, **options: Any) -> Any:
            made = super().client(**options)
            self.clients = (*self.clients, made)
            return made

    lines = [f"--IPKernelApp.exec_lines=__import__({name!r})" for name in preload]
    arguments = ["--HistoryManager.enabled=False", "--IPKernelApp.ignore_cwd=True", *lines]
    with tempfile.TemporaryDirectory(prefix="rundown-kernel-") as scratch:
        manager = Manager(kernel_name="python3", kernel_spec_manager=ThisInterpreter())
        with Path(scratch, "kernel.log").open("wb") as log:
            run_sync(manager.start_kernel)(
                extra_arguments=arguments,
                cwd=str(folder),
                env=kernel_environment(os.environ) | {"IPYTHONDIR": str(Path(scratch, "ipython"))},
                stdout=log,
                stderr=subprocess.STDOUT,
            )
            try:
                yield manager
            finally:
                for made in manager.clients:
                    made.stop_channels()
                run_sync(manager.shutdown_kernel)(now=True)


def run_notebook(
    notebook: Path,
    parameters: Mapping[str, Parameter],
    *,
    kernel: AsyncKernelManager | WarmKernel,
    failed: Path,
    on_section: Callable[[str, float], None] | None = None,
) -> NotebookNode:
    """Execute a notebook in a started kernel and return it, cleaned.

    Parameters
    ----------
    notebook
        The template; it is not changed.
    parameters
        Values for names of its cell tagged ``parameters``.
    kernel
        From `start_kernel`, used up by this call; or a `kit.render.warm.WarmKernel` that has
        been told where to work.
    failed
        Where the notebook is kept, up to and with the failing cell, if it fails.
    on_section
        Called before each code cell with the nearest heading above it and the share of code
        cells done.

    Raises
    ------
    UsageError
        If the notebook does not declare a parameter, or a value is no plain scalar.
    NotebookError
        If a cell fails or the kernel ends; names the cell and the last line of the traceback.
    GaveUpError
        If a warm kernel left the notebook to one of its own.
    """
    from kit.render.warm import WarmKernel

    with without_slow_grammar():
        import nbformat
        from nbclient.exceptions import CellExecutionError, DeadKernelError
        from papermill.exceptions import PapermillExecutionError
        from papermill.execute import execute_notebook

    source = nbformat.read(notebook, as_version=4)
    # whatever kernel it was last saved with, or none: this interpreter runs it
    source.metadata["kernelspec"] = nbformat.from_dict(KERNELSPEC)
    _require_declared(source, parameters, notebook.name)
    seen: list[NotebookNode] = []
    hooks: dict[str, Any] = {"on_notebook_start": lambda notebook: seen.append(notebook)}
    if on_section is not None:
        hooks["on_cell_start"] = _announcer(source, on_section)
    if isinstance(kernel, WarmKernel):
        ready = execute_notebook(
            source, None, dict(parameters), kernel_name="python3", prepare_only=True
        )
        kernel.run(ready, on_cell_start=hooks.get("on_cell_start"))
        return cleaned(ready)
    try:
        # a node instead of a path: papermill formats paths, and a folder may be called {b}
        done = execute_notebook(
            source,
            None,
            dict(parameters),
            kernel_name="python3",
            progress_bar=False,
            request_save_on_cell_execute=False,
            autosave_cell_every=0,
            start_timeout=START_TIMEOUT_S,
            km=kernel,
            **hooks,
        )
    except PapermillExecutionError as error:
        _keep(seen, failed)
        raise NotebookError(_failure(error, cleaned(seen[0]).cells, failed)) from error
    except (DeadKernelError, CellExecutionError, TimeoutError, RuntimeError) as error:
        _keep(seen, failed)
        kept = f" What it had done is kept as {failed}." if seen else ""
        message = f"The notebook's kernel ended or did not start ({error}).{kept} Run it again."
        raise NotebookError(message) from error
    return cleaned(done)


def _require_declared(source: NotebookNode, parameters: Mapping[str, object], name: str) -> None:
    """Refuse a parameter that the notebook does not declare, or that papermill would misquote."""
    from papermill.inspection import inspect_notebook

    declared = sorted(inspect_notebook(source))
    for key, value in parameters.items():
        if key not in declared:
            known = ", ".join(declared) or "none"
            message = f"The notebook {name} has no parameter {key!r}; it has {known}."
            raise UsageError(message)
        if not isinstance(value, str | int | float | bool):
            message = f"Parameter {key!r} is a {type(value).__name__}; give text or a number."
            raise UsageError(message)


def _announcer(
    source: NotebookNode, on_section: Callable[[str, float], None]
) -> Callable[..., None]:
    """Return a hook that reports the nearest heading above a cell and the share done."""
    total = 1 + sum(cell.cell_type == "code" for cell in source.cells)
    heading = ""
    begun = 0

    def announce(cell: NotebookNode, cell_index: int) -> None:
        nonlocal heading, begun
        heading = _heading(cell) or heading
        if cell.cell_type == "code":
            on_section(heading, begun / total)
            begun += 1

    return announce


def _heading(cell: NotebookNode) -> str:
    """Return the last heading in a Markdown cell, or nothing."""
    found = _HEADING.findall(cell.source) if cell.cell_type == "markdown" else []
    return str(found[-1]) if found else ""


def _failure(error: Any, cells: Iterable[NotebookNode], failed: Path) -> str:
    """Return in words which cell failed, at which line, and why."""
    heading = ""
    for cell in cells:
        if cell.cell_type == "code" and cell.execution_count == error.exec_count:
            break
        heading = _heading(cell) or heading
    under = f", under the heading “{heading}”" if heading else ""
    trace = _ANSI.sub("", "\n".join(error.traceback))
    lines = _TRACE_LINE.findall(trace)
    at = f", at the line {lines[0].strip()!r}" if lines else ""
    reason = f"{error.ename}: {error.evalue}" if error.evalue else str(error.ename)
    return (
        f"The notebook failed in code cell [{error.exec_count}]{under}{at}.\n"
        f"  {reason}\n"
        f"The notebook up to there is kept as {failed}; the last good report is as it was."
    )


def _keep(seen: list[NotebookNode], failed: Path) -> None:
    """Write the notebook as far as it came."""
    if seen:
        failed.parent.mkdir(parents=True, exist_ok=True)
        failed.write_text(notebook_text(cleaned(seen[0])), encoding="utf-8")


def cleaned(notebook: NotebookNode) -> NotebookNode:
    """Return the notebook without times, paths and random ids.

    papermill notes start and end times, input and output paths in ``metadata.papermill`` of the
    notebook and its cells, nbclient times in ``metadata.execution``; the injected cell has a
    random id. None of it says anything about the session.
    """
    from copy import copy

    # what cells show is large, and shared with the notebook that was given
    notebook = copy(notebook)
    notebook.metadata = _without(notebook.metadata, "papermill")
    notebook.cells = [
        copy(c) for c in notebook.cells if _ERROR_CELL not in c.metadata.get("tags", [])
    ]
    for cell in notebook.cells:
        cell.metadata = _without(cell.metadata, "papermill", "execution")
        if "injected-parameters" in cell.metadata.get("tags", []):
            cell["id"] = "injected-parameters"
    return notebook


def _without(metadata: NotebookNode, *names: str) -> NotebookNode:
    from copy import copy

    kept = copy(metadata)
    for name in names:
        kept.pop(name, None)
    return kept


def notebook_text(notebook: NotebookNode) -> str:
    """Return the notebook as it is written to a file: sorted keys, one final line break."""
    with without_slow_grammar():
        import nbformat

    return str(nbformat.writes(notebook)).rstrip("\n") + "\n"
