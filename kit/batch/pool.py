"""Jobs made on this computer by several processes, each with a thread here that hands it work."""

from __future__ import annotations

import queue
import threading
import time
from collections import deque
from typing import TYPE_CHECKING

from kit.batch.jobs import Outcome
from kit.batch.make import BUSY_S, TakenError, make
from kit.batch.process import WarmProcess
from kit.errors import ExitCode

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from kit.batch.jobs import Job

__all__ = ["left", "run_here"]

PAUSE_S = 0.2
"""How long to wait before looking again whether anything has ended, or is free again."""


class _Queue:
    """Jobs to be done; those that another run is making come again later."""

    def __init__(self, jobs: Sequence[Job]) -> None:
        self._jobs = deque((job, 0.0) for job in jobs)
        self._first_tried: dict[str, float] = {}
        self._lock = threading.Lock()

    def next(self) -> Job | float | None:
        """Return a job; seconds to wait if none is due yet; ``None`` when all are done."""
        with self._lock:
            for _ in range(len(self._jobs)):
                job, due = self._jobs.popleft()
                if due <= time.monotonic():
                    return job
                self._jobs.append((job, due))
            return PAUSE_S if self._jobs else None

    def later(self, job: Job) -> bool:
        """Put a job back; ``False`` if it has been waited for long enough."""
        with self._lock:
            now = time.monotonic()
            if now - self._first_tried.setdefault(job.record, now) > BUSY_S:
                return False
            self._jobs.append((job, now + PAUSE_S))
            return True


def left(job: Job) -> Outcome:
    """Return the outcome of a job that was not begun."""
    return Outcome(
        name=job.name,
        record=job.record,
        out=job.out,
        status="left",
        why="the batch was interrupted before it",
    )


def run_here(
    jobs: Sequence[Job],
    *,
    workers: int,
    on_outcome: Callable[[Outcome], None],
    on_interrupt: Callable[[], None],
) -> tuple[Outcome, ...]:
    """Do the jobs; return their outcomes in the order of the jobs.

    The first Ctrl-C lets the sessions under way end and begins no other; the second ends them.

    Parameters
    ----------
    jobs
        What is to be done.
    workers
        How many processes work at once.
    on_outcome
        Called with each outcome as it comes.
    on_interrupt
        Called at the first Ctrl-C.
    """
    waiting = _Queue(jobs)
    ended: queue.SimpleQueue[Outcome] = queue.SimpleQueue()
    stop = threading.Event()
    processes = [WarmProcess() for _ in range(min(workers, len(jobs)))]
    threads = [
        threading.Thread(target=_work, args=(waiting, ended, stop, process), daemon=True)
        for process in processes
    ]
    for thread in threads:
        thread.start()
    outcomes: dict[str, Outcome] = {}
    while len(outcomes) < len(jobs):
        try:
            alive = any(thread.is_alive() for thread in threads)
            outcome = ended.get(timeout=PAUSE_S)
            outcomes[outcome.record] = outcome
            on_outcome(outcome)
        except queue.Empty:
            if not alive:
                break
        except KeyboardInterrupt:
            if stop.is_set():
                for process in processes:
                    process.kill()
            else:
                stop.set()
                on_interrupt()
    for thread in threads:
        thread.join()
    return tuple(outcomes.get(job.record) or left(job) for job in jobs)


def _work(
    waiting: _Queue,
    ended: queue.SimpleQueue[Outcome],
    stop: threading.Event,
    process: WarmProcess,
) -> None:
    try:
        while not stop.is_set():
            job = waiting.next()
            if job is None:
                return
            if isinstance(job, float):
                time.sleep(job)
                continue
            outcome = _outcome(job, waiting, process)
            if outcome is not None and not (stop.is_set() and outcome.status == "failed"):
                ended.put(outcome)
    finally:
        process.end()


def _outcome(job: Job, waiting: _Queue, process: WarmProcess) -> Outcome | None:
    """Return what becomes of a job; nothing if it is to come again."""
    try:
        return make(job, process)
    except TakenError as error:
        if waiting.later(job):
            return None
        why, code = str(error), ExitCode.RENDER
    except Exception as error:
        # whatever it was, it was this session's; the others go on
        why, code = f"{type(error).__name__}: {error}", ExitCode.RENDER
    return Outcome(
        name=job.name, record=job.record, out=job.out, status="failed", why=why,
        exit_code=int(code),
    )  # fmt: skip
