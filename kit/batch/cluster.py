"""Jobs on a Dask scheduler: one that runs already, or one started here for the time of a batch.

A task makes one report, in a warm process beside its worker (`kit.batch.process`): a session that
ends its process does not end the worker. A worker that is lost gives its tasks back to the
scheduler; making a report twice gives the same bytes, so that is harmless.
"""

from __future__ import annotations

import atexit
import threading
import time
import warnings
from contextlib import suppress
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import kit
from kit.batch.elsewhere import REMEDY, needed
from kit.batch.jobs import Job, Outcome
from kit.batch.make import BUSY_S, TakenError, make
from kit.batch.pool import left
from kit.batch.process import WarmProcess
from kit.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = ["run_on", "task"]

LOCAL = "local"
REACHED_S = 15
"""Seconds to wait for a scheduler at an address. Chosen, no source."""
RETRIES = 2
"""How often a task that failed outside the session's own work is given to another worker."""
PAUSE_S = 1.0

_processes: dict[int, WarmProcess] = {}
_lock = threading.Lock()


def task(job: dict[str, Any], version: str) -> dict[str, Any]:
    """Do one job on a worker; jobs and outcomes travel as plain data.

    Parameters
    ----------
    job
        Fields of `kit.batch.jobs.Job`.
    version
        Of the kit that asks; another one here would give other bytes.
    """
    if version != kit.__version__:
        message = (
            f"This worker has rundown-kit {kit.__version__}, the batch {version}. "
            "Install the same version on all workers."
        )
        return asdict(_failed(Job(**job), message))
    process = _process_of_this_thread()
    until = time.monotonic() + BUSY_S
    while True:
        try:
            return asdict(make(Job(**job), process))
        except TakenError as error:
            if time.monotonic() > until:
                return asdict(_failed(Job(**job), str(error)))
            time.sleep(PAUSE_S)


def _process_of_this_thread() -> WarmProcess:
    """Return the warm process of the worker's thread; it stays from task to task."""
    with _lock:
        if not _processes:
            atexit.register(_end_processes)
        return _processes.setdefault(threading.get_ident(), WarmProcess())


def _end_processes() -> None:
    for process in _processes.values():
        process.end(wait_s=1.0)


def _failed(job: Job, why: str) -> Outcome:
    return Outcome(
        name=job.name, record=job.record, out=job.out, status="failed", why=why,
        exit_code=int(ExitCode.RENDER),
    )  # fmt: skip


def run_on(
    scheduler: str,
    jobs: Sequence[Job],
    *,
    workers: int,
    on_outcome: Callable[[Outcome], None],
    on_interrupt: Callable[[], None],
) -> tuple[Outcome, ...]:
    """Do the jobs on a scheduler; return their outcomes in the order of the jobs.

    Parameters
    ----------
    scheduler
        Address (``tcp://host:8786``), or ``"local"`` for a cluster of processes on this computer.
    jobs
        What is to be done; a path must mean the same folder on every worker.
    workers
        Processes of a local cluster.
    on_outcome, on_interrupt
        As in `kit.batch.pool.run_here`.

    Raises
    ------
    UsageError
        If Dask is not installed, or no scheduler answers at the address.
    """
    distributed = needed("distributed", why="--scheduler")
    done: dict[str, Outcome] = {}
    with warnings.catch_warnings():
        # the cluster's remarks on versions and on a dashboard are none of the report's business
        warnings.simplefilter("ignore")
        with _client(distributed, scheduler, min(workers, len(jobs))) as client:
            futures = {
                client.submit(
                    task, asdict(job), kit.__version__,
                    key=f"rundown-{number}-{client.id}", pure=False, retries=RETRIES,
                ): job
                for number, job in enumerate(jobs)
            }  # fmt: skip
            try:
                for future in distributed.as_completed(list(futures), loop=client.loop):
                    job = futures.pop(future)
                    outcome = _outcome(future, job)
                    done[job.record] = outcome
                    on_outcome(outcome)
                    future.release()
            except KeyboardInterrupt:
                on_interrupt()
                with suppress(Exception):
                    client.cancel(list(futures), force=True)
    return tuple(done.get(job.record) or left(job) for job in jobs)


def _client(distributed: Any, scheduler: str, workers: int) -> Any:
    """Return a client of the scheduler; ends with a local cluster's end."""
    if scheduler == LOCAL:
        return _local(distributed, workers)
    try:
        return distributed.Client(scheduler, timeout=REACHED_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        message = (
            f"No Dask scheduler answers at {scheduler} ({error}). Give the address that it printed "
            f"when it was started, such as tcp://host:8786, or '{LOCAL}'."
        )
        raise UsageError(message) from error


class _local:  # noqa: N801 (a context manager used like a function)
    """A cluster on this computer and a client of it, for the time of a batch."""

    def __init__(self, distributed: Any, workers: int) -> None:
        self.cluster = distributed.LocalCluster(
            n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None
        )
        self.client = distributed.Client(self.cluster, set_as_default=False)

    def __enter__(self) -> Any:
        return self.client

    def __exit__(self, *exception: object) -> None:
        self.client.close()
        self.cluster.close()


def _outcome(future: Any, job: Job) -> Outcome:
    """Return the outcome of a task that ended; in words if it is none of ours."""
    if future.status == "finished":
        return Outcome(**future.result())
    error = future.exception()
    if isinstance(error, ModuleNotFoundError):
        return _failed(job, f"A worker lacks a package ({error}). {REMEDY} on every worker.")
    return _failed(job, f"No worker could make it ({type(error).__name__}: {error}).")
