"""Print how fast a batch is here: seconds per session, for one process and for two.

    python tests/benchmarks/batch.py [--sessions 12] [--workers 1,2] [--scheduler ADDRESS]

Nothing here is a test: machines differ and a busy one lies. The sessions are full days of five
devices and nine phases, each another day with other numbers. Printed for each number of processes:

- seconds per session (limit 1.2 s with two), from a cold start to the last file;
- efficiency: the time of one process over the time of n processes and n (limit 0.85);
- processor seconds per session, of all processes, and the share of one processor that is left for
  others: where it is large, something else than the work was limiting;
- resident memory of the processes after the first, a middle and the last session (flat);
- seconds of a second run over the same sessions, all unchanged.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_sessions"


def write_sessions(folder: Path, number: int) -> None:
    """Write full days like the sample, each with its own powers, readings and power-offs."""
    import numpy as np

    from kit.simulate import simulate_day
    from kit.simulate.record import csv_text, log_rows

    sys.path.insert(0, str(SAMPLES))  # where the script's own modules are
    samples: Any = importlib.import_module("make_samples")
    day = samples.full_day.scenario()
    setup = (SAMPLES / "full-day" / "session.toml").read_text(encoding="utf-8")
    for k in range(number):
        rng = np.random.default_rng(k)
        devices = tuple(
            replace(d, power_w={a: w * rng.uniform(0.94, 1.06) for a, w in d.power_w.items()})
            for d in day.devices
        )
        _, session = simulate_day(replace(day, devices=devices), rng)
        place = folder / f"day-{k:03d}"
        place.mkdir(parents=True)
        log = csv_text(log_rows(session), samples.full_day.COLUMNS)
        place.joinpath("log.csv").write_text(log, encoding="utf-8")
        text = setup.replace("saltmarsh-2026-05-16", f"saltmarsh-{k:03d}")
        text = text.replace("Five field tablets", f"Day {k}: five field tablets")
        place.joinpath("session.toml").write_text(text, encoding="utf-8")


def run(folder: Path, out: Path, workers: int, *more: str) -> tuple[float, float, dict[str, Any]]:
    """Return wall seconds, processor seconds of all processes, and the summary."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPATH"] = str(ROOT)
    command = [sys.executable, "-m", "kit", "batch", str(folder), "-o", str(out), "--json",
               "--jobs", str(workers), *more]  # fmt: skip
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begin = time.perf_counter()
    done = subprocess.run(command, env=environment, check=False, stdout=subprocess.PIPE)
    wall = time.perf_counter() - begin
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return wall, spent, json.loads(done.stdout)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sessions", type=int, default=12)
    parser.add_argument("--workers", default="1,2")
    parser.add_argument("--scheduler")
    asked = parser.parse_args()
    more = ["--scheduler", asked.scheduler] if asked.scheduler else []
    n = asked.sessions
    alone = 0.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "days"
        write_sessions(folder, n)
        sys.stdout.write(f"{n} sessions, {os.cpu_count()} processors\n")
        for workers in (int(part) for part in asked.workers.split(",")):
            out = Path(name) / f"out-{workers}"
            wall, spent, summary = run(folder, out, workers, *more)
            alone = alone or wall * workers
            memory = [s["memory_mib"] for s in summary["sessions"]]
            again, _, second = run(folder, out, workers, *more)
            sys.stdout.write(
                f"{workers} at once: {wall / n:.2f} s per session ({wall:.1f} s in all, "
                f"{summary['counts']['made']} made), efficiency {alone / wall / workers:.2f}; "
                f"processor {spent / n:.2f} s per session, busy {spent / wall / workers:.0%}; "
                f"memory {memory[0]:.0f}, {memory[n // 2]:.0f}, {memory[-1]:.0f}, at most "
                f"{max(memory):.0f} MiB a process; again, unchanged: {again:.1f} s "
                f"({second['counts']['unchanged']} unchanged)\n"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main()
