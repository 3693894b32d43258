"""The page that describes the samples and states what is true in them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.simulate import (
    CHARGE_SHAPE,
    Scenario,
    TrueDevice,
)
from kit.simulate.record import number_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from kit.simulate import Truth

__all__ = ["readme"]

README_HEAD = """\
# Sample sessions

The volunteers of the Saltmarsh tide-pool survey are choosing field tablets. Everything here is
invented: survey, people, tablets, numbers. The logs come from a simulator whose truth is known
and stated below, so that what a report says of a sample can be held against it.

- `full-day/`: five tablets through eight phases of 60 to 120 minutes, with a crossover, a rotation
  in which one turn was broken off, two power-offs too close to call, a power-off between two
  phases, a survivor, forty minutes that no phase accounts for, a stated run time that leaves
  them out, a missing reading, and an older software whose saver stayed on.
- `autumn-check/`: two new tablets beside one of the full day, five months later and in the same
  phases: to be compared with it (`rundown compare`).
- `scorecard/`: three tablets in a wide table from a spreadsheet with European settings
  (semicolons, decimal commas, CRLF line ends, byte-order mark), with a very small setup file.
- `minute-log/`: a reading a minute, with a gauge that counts charge, a power saver nobody knew
  of, and a gauge that is not straight.
- `replicates/`: three runs of two units of one model and one unit of another.
- `after-midnight/`: a night across midnight and the end of summer time, with dates, full times
  and elapsed minutes mixed, and display changes noted to the minute.

Each folder is one record: `session.toml` (written by hand) and a log. To look at one:

    rundown check sample_sessions/full-day
    rundown report sample_sessions/full-day

To make the logs, `truth/` and this page again, byte for byte:

    python sample_sessions/make_samples.py

Temperatures, notes and footage timecodes are invented beside the simulation; there is no heat in
it.

# What is true

Energy is what the tablet can use from full to power-off. Power is constant while an activity
lasts, so the true drain of a phase is power × time / energy. A gauge that *counts energy* and has
no deviation shows just that before it rounds. "Deviation" lists (level %, shown minus true in pp),
straight in between. "Charge shape" is a cell whose voltage falls as it empties: at constant power
its charge falls 8 % slower than on average when full, 13 % faster when nearly empty; a gauge that
counts charge shows it. What each device lost in each phase is in `truth/FOLDER.csv`.
"""


def _gauge_words(device: TrueDevice) -> str:
    gauge = device.gauge
    words = [{"nearest": "nearest", "truncated": "truncated", "rounded_up": "rounded up"}[
        gauge.rounding
    ]]  # fmt: skip
    if gauge.step_pct != 1.0:
        words.append(f"steps of {number_text(gauge.step_pct)} %")
    words.append(f"counts {gauge.counts}")
    if device.shape == CHARGE_SHAPE:
        words.append("charge shape")
    if gauge.deviation:
        nodes = ", ".join(f"({number_text(a)}, {number_text(b)})" for a, b in gauge.deviation)
        words.append(f"deviation {nodes}".replace("-", "−"))
    return "; ".join(words)


def _saver_words(device: TrueDevice) -> str:
    if device.saver_at_pct is None:
        return "none"
    return f"−{100 * device.saver_cut:.0f} % power from {number_text(device.saver_at_pct)} % down"


def _hours(minutes: float) -> str:
    seconds = round(minutes * 60.0)
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    return [f"| {' | '.join(line)} |" for line in (head, ["---"] * len(head), *rows)]


def _truth_section(folder: str, truth: Truth) -> str:
    devices = truth.scenario.devices
    ends: dict[str, list[str]] = {d.id: [] for d in devices}
    for device, off_min, still_on in truth.runtimes[["device", "off_min", "still_on"]].to_numpy():
        ends[device].append(_hours(off_min) + (" (after the stop)" if still_on else ""))
    activities = list(devices[0].power_w)
    lines = [f"## {folder}", ""]
    lines += _table(
        ["device", "energy (Wh)", "true runtime (h:mm:ss)", "gauge", "saver"],
        [
            [d.label or d.id, f"{d.capacity_wh:.2f}", ", ".join(ends[d.id]), _gauge_words(d),
             _saver_words(d)]
            for d in devices
        ],
    )  # fmt: skip
    lines += ["", "Power (W) in each activity:" + _between_runs(truth.scenario), ""]
    lines += _table(
        ["device", *activities],
        [[d.label or d.id, *(f"{d.power_w[a]:.2f}" for a in activities)] for d in devices],
    )
    return "\n".join(lines) + "\n"


def _between_runs(scenario: Scenario) -> str:
    if scenario.runs == 1:
        return ""
    return (
        f" (mean over runs; each run has all powers of a device times 1 + a normal deviate of "
        f"standard deviation {scenario.run_cv:.2f})"
    )


def readme(truths: Mapping[str, Truth]) -> str:
    """Return the page that describes the samples and states their truth."""
    sections = [_truth_section(folder, truth) for folder, truth in truths.items()]
    return "\n".join([README_HEAD, *sections])
