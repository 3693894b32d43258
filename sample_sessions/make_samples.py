"""Make the logs of the sample sessions, and the statement of what is true in them.

    python sample_sessions/make_samples.py

Each sample's ``session.toml`` is written by hand; it names the devices and the phases. The modules
in ``make/``, one for each sample, add what only the simulator knows (batteries, powers, gauges,
the real minute of every power-off), let an operator read the row, and give ``log.csv`` and the
truth. Seeds are fixed: running it again gives the same bytes, and a test holds that.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from make import after_midnight, autumn_check, full_day, minute_log, replicates, scorecard
from make.readme import readme

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from kit.simulate import Truth

HERE = Path(__file__).resolve().parent

SAMPLES: Mapping[str, tuple[str, Callable[[], tuple[Truth, str]]]] = {
    "full-day": ("log.csv", full_day.make),
    "autumn-check": ("log.csv", autumn_check.make),
    "scorecard": ("scorecard.csv", scorecard.make),
    "minute-log": ("log.csv", minute_log.make),
    "replicates": ("log.csv", replicates.make),
    "after-midnight": ("log.csv", after_midnight.make),
}
"""Folder → name of the log, and what makes it."""


def truth_csv(truth: Truth) -> str:
    """Return what is true of each device in each phase, as CSV.

    Columns: ``length_h`` of the phase, ``exposure_h`` (how long the device was on in it),
    ``completed`` (on until its end), charge left at its start and end (%), drain of charge and
    of the gauge before it rounds (pp), energy used (Wh).
    """
    table = truth.drains.drop(columns=["start_shown_pct", "end_shown_pct"])
    text: str = table.to_csv(index=False, float_format="%.3f", lineterminator="\n")
    return text


def make_all() -> dict[str, bytes]:
    """Return path (below this folder) → bytes of everything the script makes."""
    texts: dict[str, str] = {}
    truths: dict[str, Truth] = {}
    for folder, (log, make) in SAMPLES.items():
        truths[folder], texts[f"{folder}/{log}"] = make()
        texts[f"truth/{folder}.csv"] = truth_csv(truths[folder])
    texts["README.md"] = readme(truths)
    return {name: text.encode("utf-8") for name, text in texts.items()}


def main() -> None:
    """Write all files."""
    for name, content in make_all().items():
        path = HERE / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


if __name__ == "__main__":
    main()
