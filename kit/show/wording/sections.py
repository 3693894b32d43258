"""One sentence for a section that has no data: why there is nothing to show."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.labels import device_names
from kit.runtime.elapsed import OPEN_END
from kit.units import count, duration, joined

if TYPE_CHECKING:
    from kit.results import Results
    from kit.session import Device

__all__ = [
    "NOT_JUDGED",
    "NO_CLAIMS",
    "NO_FINDINGS",
    "NO_LOAD_BEARING",
    "NO_LOG_OF_CHARGE",
    "NO_ORDER",
    "NO_PARTS",
    "NO_PHASES",
    "NO_PROJECTIONS",
    "NO_REPLICATES",
    "NO_RUNTIMES",
    "NO_STANDING",
    "energy_left_out",
    "no_energy",
    "open_end_sentence",
    "unaccounted_sentence",
]

NOT_JUDGED = "The analysis that made these results judged no sentences."
NO_CLAIMS = "There is no sentence to judge: nothing was compared."
NO_LOAD_BEARING = "No single reading, if it was misread, would change a verdict."
NO_FINDINGS = "The checks found nothing to remark."
NO_LOG_OF_CHARGE = "No percentage was noted with a time, so there is no course to draw."
NO_PHASES = "No drain could be computed: no phase has a reading at both its ends."
NO_STANDING = "No percentage was read at the end of a phase, so there is no standing."
NO_PARTS = "In no phase did the devices do different things at the same time."
NO_RUNTIMES = "No power-off was recorded, and no device was noted as still on."
NO_REPLICATES = "Every device ran once, so there is nothing to average and no scatter to state."
NO_ORDER = "No pair of devices can be put in order, because no power-off was seen."
NO_PROJECTIONS = "No phase gives a rate from which hours could be projected."


def no_energy(results: Results) -> str:
    """Return why there is no energy at all."""
    if not any(_rated(device) for device in results.session.devices):
        return (
            "The rated energy of no battery was recorded, so percentages cannot be turned into "
            "watt-hours."
        )
    return "No phase gives both a drain and a rated energy, so there is no energy to state."


def energy_left_out(results: Results) -> str:
    """Return which devices have no energy for want of a rating; empty if none."""
    names = device_names(results.session)
    left = [names[device.id] for device in results.session.devices if not _rated(device)]
    if not left:
        return ""
    return (
        "Neither rated energy nor rated capacity and voltage were recorded, and so left out here: "
        f"{joined(left)}."
    )


def _rated(device: Device) -> bool:
    """Return whether the rated energy is given or follows from capacity and voltage."""
    from_capacity = device.rated_capacity_mah is not None and device.nominal_voltage_v is not None
    return device.rated_energy_wh is not None or from_capacity


def unaccounted_sentence(lost: list[float]) -> str:
    """Return how much time no phase accounts for, run by run; empty if less than a minute."""
    if max(lost, default=0.0) < 1.0:
        return ""
    if len(lost) == 1:
        return f"Time between the phases that no phase accounts for: {duration(lost[0])}."
    listed = joined(f"{duration(minutes)} in run {k}" for k, minutes in enumerate(lost, start=1))
    return (
        f"Time between the phases that no phase accounts for, over {count(len(lost), 'run')}: "
        f"{listed}."
    )


def open_end_sentence(results: Results) -> str:
    """Return that stated and summed time cannot differ, where the last phase fills up the rest."""
    frame = results.extra.get("elapsed_fit")
    if frame is None or frame.empty or not (frame["reason"] == OPEN_END).all():
        return ""
    return (
        f"The stated elapsed time cannot be held against the sum of the phases: {OPEN_END}. Noting "
        "the clock at the start of the last phase would tell."
    )
