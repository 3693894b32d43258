"""Who was charged during a run: its runtime and what it stands at are no longer of one charge."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from kit.session import Session

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]

__all__ = ["Charge", "charged_by", "charged_in_run", "charges_of"]


class Charge(NamedTuple):
    """One charge of a device; times in minutes since the start of the run, NaN: not noted.

    ``device`` and ``phase`` are positions in the session, ``phase`` −1: not said.
    """

    run: int
    device: int
    phase: int
    start: float
    end: float

    @property
    def begun(self) -> float:
        """Return the first moment that is known of it (min)."""
        return self.start if self.start == self.start else self.end


def charges_of(session: Session) -> Iterator[Charge]:
    """Yield the charges of a session, but for those that were over when the run began.

    Parameters
    ----------
    session
        A record that passed its checks.

    Examples
    --------
    a was charged from minute 61 to 91 of run 1; what ended before the start is no part of it:

    >>> from tests.helpers.builders import make_session
    >>> s = make_session(devices=["a"], charges=[
    ...     {"run": 1, "device": "a", "start_min": 61.0, "end_min": 91.0},
    ...     {"run": 1, "device": "a", "start_min": -90.0, "end_min": 0.0}])
    >>> [(c.run, c.device, c.start, c.end) for c in charges_of(s)]
    [(1, 0, 61.0, 91.0)]
    """
    frame = session.charges
    if not len(frame):
        return
    devices = {device.id: k for k, device in enumerate(session.devices)}
    phases = {phase.id: k for k, phase in enumerate(session.phases)}
    columns = (frame[c].tolist() for c in ("run", "device", "phase", "start_min", "end_min"))
    for run, device, phase, start, end in zip(*columns, strict=True):
        if device in devices and not end <= 0.0:
            yield Charge(int(run), devices[device], phases.get(phase, -1), start, end)


def charged_in_run(session: Session, run: int, high: Floats) -> Bools:
    """Return who was charged in a run before it was surely off, shape of ``high``.

    Parameters
    ----------
    session
        A record that passed its checks.
    run
        Number of the run.
    high
        Shape (…, n). Latest moments of the power-offs (min); inf or NaN: not seen off.

    Examples
    --------
    a was charged from minute 61 on and went off at 400; b was charged after it was off:

    >>> from tests.helpers.builders import make_session
    >>> s = make_session(devices=["a", "b"], charges=[
    ...     {"run": 1, "device": d, "start_min": t, "end_min": t + 30} for d, t in
    ...     (("a", 61.0), ("b", 500.0))])
    >>> charged_in_run(s, 1, np.array([400.0, 350.0])).tolist()
    [True, False]
    """
    found = np.zeros(high.shape, dtype=bool)
    for charge in charges_of(session):
        if charge.run == run:
            found[..., charge.device] |= ~(charge.begun >= high[..., charge.device])
    return found


def charged_by(session: Session, end_h: Floats) -> Bools:
    """Return who had been charged by the end of each phase, shape (K, P).

    Parameters
    ----------
    session
        A record that passed its checks.
    end_h
        Shape (K, P). Ends of the phases (h) of every unit of the record; one that is not known
        counts as later than any charge.

    Examples
    --------
    Two phases of an hour; a was charged in the second, from minute 61 on, b in a phase "p1":

    >>> from tests.helpers.builders import make_session
    >>> s = make_session(devices=["a", "b"], phases={"p1": 60, "p2": 60}, charges=[
    ...     {"run": 1, "device": "a", "start_min": 61.0, "end_min": 91.0},
    ...     {"run": 1, "device": "b", "phase": "p1"}])
    >>> charged_by(s, np.array([[1.0, 2.0], [1.0, 2.0]])).tolist()
    [[False, True], [True, True]]
    """
    found = np.zeros(end_h.shape, dtype=bool)
    runs = {run.number: k for k, run in enumerate(session.runs)}
    for charge in charges_of(session):
        if charge.run not in runs:
            continue
        unit = runs[charge.run] * len(session.devices) + charge.device
        if charge.begun != charge.begun:
            found[unit, max(charge.phase, 0) :] = True
        else:
            found[unit] |= ~(charge.begun >= end_h[unit] * 60.0)
    return found
