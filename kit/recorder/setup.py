"""From the setup file of a session folder to what recording needs of it."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from kit.errors import Finding, RecordError, UsageError, in_order
from kit.read.setup_file import read_setup
from kit.recorder.day import Protocol

if TYPE_CHECKING:
    from datetime import tzinfo
    from pathlib import Path

    from kit.read.setup_file import RunSetup, Setup

__all__ = ["SETUP_NAME", "protocol_of", "setup_in"]

SETUP_NAME = "session.toml"


def setup_in(folder: Path) -> Setup:
    """Return the setup file of a folder, with devices and phases.

    Raises
    ------
    UsageError
        If it cannot be read.
    RecordError
        If it is faulty, or names no devices or phases.
    """
    path = folder / SETUP_NAME
    try:
        data = path.read_bytes()
    except OSError as error:
        message = (
            f"{path} cannot be read ({error.strerror}). The recorder needs to know the devices and "
            "phases; rundown new makes such a folder from a plan."
        )
        raise UsageError(message) from error
    setup, findings = read_setup(data, SETUP_NAME)
    if any(f.severity == "error" for f in findings):
        raise RecordError(findings, subject="setup file")
    lacks = [n for n, v in (("devices", setup.devices), ("phases", setup.phases)) if not v]
    if lacks:
        raise RecordError(
            in_order(
                Finding(
                    rule="record-setup",
                    severity="error",
                    file=SETUP_NAME,
                    column=name,
                    found=f"no [[{name}]]",
                    expected=f"the {name} of the session, so that the recorder can ask for them",
                    remedy=f"Write a table [[{name}]] for each of them.",
                )
                for name in lacks
            ),
            subject="setup file",
        )
    return setup


def protocol_of(setup: Setup, *, title: str, run: int | None, local: tzinfo) -> Protocol:
    """Return what a setup file says of the day.

    Parameters
    ----------
    run
        Number of the run; ``None``: the only one.
    local
        Zone of the computer, for a session that names none.

    Raises
    ------
    UsageError
        If there is no such run, or it must be said which.
    """
    numbers = [r.number for r in setup.runs]
    if setup.numbered_runs and run not in numbers:
        message = (
            f"{title} has the runs {', '.join(map(str, numbers))}; say which with --run NUMBER."
        )
        raise UsageError(message)
    if not setup.numbered_runs and run not in (None, 1):
        message = f"{title} has one run only; add [[runs]] to {SETUP_NAME} for more."
        raise UsageError(message)
    said = next((r for r in setup.runs if r.number == run), setup.runs[0])
    zone: tzinfo = ZoneInfo(setup.timezone) if setup.timezone else local
    if not setup.timezone and said.start is not None and said.start.offset_s is not None:
        zone = timezone(timedelta(seconds=said.start.offset_s))
    placed = all(d.position is not None for d in setup.devices)
    devices = sorted(setup.devices, key=lambda d: d.position or 0) if placed else setup.devices
    return Protocol(
        title=title,
        devices=tuple(devices),
        phases=setup.phases,
        zone=zone,
        zoned=bool(setup.timezone),
        start=_start(setup, said, zone),
        date=said.date or setup.date,
        run=said.number if setup.numbered_runs else None,
        look_every_min=setup.look_every_min or setup.assumptions.off_check_min,
    )


def _start(setup: Setup, said: RunSetup, zone: tzinfo) -> datetime | None:
    if said.start is None:
        return None
    day = said.start.day
    date = said.date or setup.date
    if day is None and date is not None:
        day = date.toordinal()
    if day is None:
        return None
    midnight = datetime.fromordinal(day)
    return (midnight + timedelta(seconds=said.start.second)).replace(tzinfo=zone)
