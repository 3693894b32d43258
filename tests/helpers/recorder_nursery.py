"""Raise recorders, kill each at a random moment, and see what is left.

Run as a program: ``recorder_nursery.py FOLDER SEED COUNT``; prints one JSON object. It is a
process of its own because it forks, which a process with threads must not.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from datetime import timedelta
from pathlib import Path

from kit.recorder.journal import JOURNAL_NAME, Entry, read_journal
from kit.recorder.recorder import Recorder
from kit.recorder.rows import effective_rows, log_bytes
from tests.helpers.recorder_day import HEADER, SetClock, empty_day

LITTER = 20
LONGEST_S = 0.09


def child(folder: Path, number: int, confirmed: int) -> None:
    """Record until killed; say the text of each entry once it is confirmed."""
    clock = SetClock()
    clock.now += timedelta(minutes=number)
    recorder = Recorder(folder, clock=clock)
    for count in range(10_000):
        text = f"n {number}-{count}"
        if recorder.submit(text).kind != "saved":
            os._exit(3)
        os.write(confirmed, f"{text}\n".encode())
    os._exit(4)


def raise_and_kill(folder: Path, number: int, wait_s: float) -> list[str]:
    """Return what a recorder had confirmed when it was killed."""
    out, into = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(out)
        try:
            child(folder, number, into)
        finally:
            os._exit(5)
    os.close(into)
    time.sleep(wait_s)
    os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    parts = []
    while part := os.read(out, 65536):
        parts.append(part)
    os.close(out)
    if not os.WIFSIGNALED(status):
        message = f"recorder {number} ended by itself: {os.WEXITSTATUS(status)}"
        raise SystemExit(message)
    return b"".join(parts).decode().splitlines()


def main() -> None:
    """Kill COUNT recorders and report."""
    base, seed, count = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    draw = random.Random(seed)
    found = {"killed": 0, "confirmed": 0, "lost": 0, "more": 0, "bad_log": 0, "late_log": 0}
    said: list[str] = []
    folder = base
    for number in range(count):
        if number % LITTER == 0:
            folder, said = empty_day(base / f"day{number}"), []
        confirmed = raise_and_kill(folder, number, draw.uniform(0.0, LONGEST_S))
        path = folder / JOURNAL_NAME
        text = read_journal(path.read_bytes() if path.exists() else b"", JOURNAL_NAME)
        kept = [e.said for e in text.entries if e.kind == "enter"]
        wanted = [*said, *confirmed]
        found["killed"] += 1
        found["confirmed"] += len(confirmed)
        found["lost"] += kept[: len(wanted)] != wanted
        found["more"] = max(found["more"], len(kept) - len(wanted))
        log = (folder / "log.csv").read_bytes()
        found["bad_log"] += not is_of_some_moment(log, text.entries)
        if number % LITTER == LITTER - 1:
            Recorder(folder, clock=SetClock("18:00:00")).close()
            now = read_journal(path.read_bytes(), JOURNAL_NAME).entries
            found["late_log"] += (folder / "log.csv").read_bytes() != log_bytes(effective_rows(now))
        said = kept
    print(json.dumps(found))  # noqa: T201 (a program)


def is_of_some_moment(log: bytes, entries: tuple[Entry, ...]) -> bool:
    """Whether a log is complete as of some entry: of the last one or, killed sooner, before."""
    for end in range(len(entries), 0, -1):
        if log == log_bytes(effective_rows(entries[:end])):
            return True
    return log == HEADER.encode() and not effective_rows(entries)


if __name__ == "__main__":
    main()
