"""Print how fast the kit is here, as ratios of things measured in the same run.

    python tests/benchmarks/speed.py [--quick]

Nothing here is a test: machines differ and a busy one lies. Each ratio stands beside the limit
that it is held against when a change is judged.

- ``check``: the full-day sample against ``python -c "import pandas"``;
- ``report``: notebook, HTML and PDF of the full-day sample against papermill running a notebook
  that only imports the same libraries, and nbconvert making HTML of it;
- ``dense log``: seconds and peak memory to read, check and analyse 10⁶ readings;
- ``sessions``: ordinary sessions (six devices, eight phases) analysed one after the other in one
  process without Monte Carlo, as seconds for 10,000: the frames that a table of a season reads
  (drains, order, standings, runtimes, then verdicts too), the claims with their sentences, and all
  frames; with the milliseconds of those
  that take longest, each with what it needs and no frame before it had made; of three passes the
  quickest;
- ``draws``: Monte Carlo of such a session, 10⁵ and 10⁶ draws, with the peak memory: drains, rates,
  drain since the start, hours, energy, power, runtimes and hours on a mix.

Seconds of the last two are those of the processor, so that a busy machine lies less.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = str(ROOT / "sample_sessions" / "full-day")
PYTHON = sys.executable

# what the report's notebook imports, and nothing done with it
BASELINE = """
import json, sys, tempfile, pathlib
cells = [
    {"cell_type": "code", "metadata": {}, "source": line, "outputs": [], "execution_count": None,
     "id": f"c{i}"}
    for i, line in enumerate(["import numpy, pandas, scipy.stats", "import matplotlib.figure",
                              "import seaborn"])
]
book = {"cells": cells, "metadata": {"kernelspec": {"name": "python3", "display_name": "Python 3",
        "language": "python"}}, "nbformat": 4, "nbformat_minor": 5}
folder = pathlib.Path(tempfile.mkdtemp())
(folder / "in.ipynb").write_text(json.dumps(book))
import papermill
papermill.execute_notebook(str(folder / "in.ipynb"), str(folder / "out.ipynb"), progress_bar=False)
from nbconvert import HTMLExporter
body, _ = HTMLExporter().from_filename(str(folder / "out.ipynb"))
(folder / "out.html").write_text(body)
"""

DENSE = """
import resource, sys, time
begin = time.perf_counter()
from kit.analyse import analyse
from kit.checks import check_session
from kit.read.record import read_record
from kit.results import RESULT_COLUMNS, Settings
loaded = time.perf_counter()
session, met = read_record(sys.argv[1])
read = time.perf_counter()
findings = (*met, *check_session(session))
checked = time.perf_counter()
results = analyse(session, findings, Settings())
for name in RESULT_COLUMNS:  # a frame is made when it is first read
    results.extra[name] if name in results.extra else getattr(results, name)
done = time.perf_counter()
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(f"{len(session.readings)} readings: read {read-loaded:.2f} s, check {checked-read:.2f} s, "
      f"analyse {done-checked:.2f} s, together {done-loaded:.2f} s (limit 4 s); imports "
      f"{loaded-begin:.2f} s; peak {peak:.0f} MiB (limit 1024 MiB)")
"""


SESSIONS = """
import time
import numpy as np
from kit.analyse import analyse
from kit.results import RESULT_COLUMNS, Settings
from kit.simulate import Limits, random_day, simulate_day

NUMBERS = ("phase_drain", "drain_pairs", "standing", "runtimes", "runtime_pairs")
SEASON = (*NUMBERS, "verdicts")
SPOKEN = (*NUMBERS, "claims")
rng = np.random.default_rng(1)
days = [simulate_day(random_day(Limits(), rng), rng)[1] for _ in range(120)]
settings = Settings(draws=0)
took = {}

def read(day, names):
    results = analyse(day, (), settings)
    for name in names:
        begin = time.process_time()
        results.extra[name] if name in results.extra else getattr(results, name)
        took[name] = took.get(name, 0.0) + time.process_time() - begin

def each(names):
    took.clear()
    begin = time.process_time()
    for day in days[20:]:
        read(day, names)
    return (time.process_time() - begin) / (len(days) - 20) * 1e3, dict(took)

def told(title, names):
    for day in days[:20]:
        read(day, names)
    ms, least = min((each(names) for _ in range(3)), key=lambda one: one[0])
    parts = sorted(least.items(), key=lambda part: -part[1])[:6]
    print(f"10,000 sessions, {title}: {ms * 10:.0f} s = {ms / 6:.1f} x the limit of 60 s; "
          f"{ms:.1f} ms each: "
          + ", ".join(f"{name} {t / (len(days) - 20) * 1e3:.1f}" for name, t in parts))

told("drains, order, standings and runtimes", NUMBERS)
told("the same and the verdict on every claim", SEASON)
told("the same with figures, reason and sentence of every claim", SPOKEN)
told(f"all {len(RESULT_COLUMNS)} frames", RESULT_COLUMNS)
"""

DRAWS = """
import resource, time
from dataclasses import replace
import numpy as np
from kit.drain.phases import prepare
from kit.drain.segments import segments
from kit.drain.simulation import simulate
from kit.drain.usage_mix import chosen_mixes
from kit.results import Settings
from kit.simulate import Limits, random_day, simulate_day

rng = np.random.default_rng(1)
day = simulate_day(random_day(Limits(), rng), rng)[1]
day = replace(day, devices=tuple(replace(d, rated_energy_wh=30.0) for d in day.devices))
ready = prepare(day)
found = segments(ready)
given = {"seed": 1, "coverage": 0.95, "found": found,
         "mixes": chosen_mixes(day, Settings(), prepared=ready, found=found)}
simulate(ready, draws=1000, **given)
for draws, limit in ((100_000, 0.3), (1_000_000, 2.5)):
    times = []
    for _ in range(3):
        begin = time.process_time()
        simulate(ready, draws=draws, **given)
        times.append(time.process_time() - begin)
    took = sorted(times)[1]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{draws} draws {took:.2f} s = {took / limit:.2f} x the limit of {limit} s; peak "
          f"{peak:.0f} MiB (limit 400 MiB)")
"""


def seconds(command: list[str], repeats: int) -> float:
    """Return the median wall time of a command, after one run to warm the caches."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPATH"] = str(ROOT)
    times = []
    for _ in range(repeats + 1):
        begin = time.perf_counter()
        subprocess.run(command, check=True, env=environment, stdout=subprocess.DEVNULL,
                       stderr=subprocess.DEVNULL)  # fmt: skip
        times.append(time.perf_counter() - begin)
    return statistics.median(times[1:])


def ratio(name: str, ours: float, base: float, limit: float) -> None:
    """Print one line."""
    sys.stdout.write(
        f"{name:<10} {ours:6.2f} s / {base:6.2f} s = {ours / base:4.2f} (limit {limit})\n"
    )
    sys.stdout.flush()


def write_dense(path: Path, rows: int) -> None:
    """Write a log of a reading a second for four devices over one long phase."""
    import numpy as np

    per_device = rows // 4
    lines = ["event,phase,device,elapsed_min,soc_pct"]
    lines += ["phase_start,P1,,0,", f"phase_end,P1,,{per_device / 60:.4f},"]
    minutes = np.arange(per_device) / 60
    for number, days in enumerate((3.1, 3.3, 3.5, 3.7), start=1):
        soc = np.ceil(100 - minutes / (days * 14.4)).astype(int)
        lines += [f"reading,P1,D{number},{m:.4f},{s}" for m, s in zip(minutes, soc, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> None:
    """Measure and print."""
    repeats = 3 if "--quick" in sys.argv else 7
    ratio("check", seconds([PYTHON, "-m", "kit", "check", SAMPLE], repeats),
          seconds([PYTHON, "-c", "import pandas"], repeats), 1.5)  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        out = str(Path(folder) / "out")
        ratio("report", seconds([PYTHON, "-m", "kit", "report", SAMPLE, "-q", "-o", out], repeats),
              seconds([PYTHON, "-c", BASELINE], repeats), 1.4)  # fmt: skip
        dense = Path(folder) / "dense.csv"
        write_dense(dense, 1_000_000)
        subprocess.run([PYTHON, "-c", DENSE, str(dense)], check=True, cwd=ROOT)
    subprocess.run([PYTHON, "-c", SESSIONS], check=True, cwd=ROOT)
    subprocess.run([PYTHON, "-c", DRAWS], check=True, cwd=ROOT)
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    sys.stdout.write(f"largest child: {peak:.0f} MiB\n")


if __name__ == "__main__":
    main()
