"""Which survival curves a report shows, and of what their runs are."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.frames import no_rows
from kit.labels import TABLE_WIDTH, full_name, shorten
from kit.show.cells import Names

if TYPE_CHECKING:
    import pandas as pd

    from kit.results import Results
    from kit.show.cells import Row

__all__ = ["curves_drawn", "whose"]

RUNS_FOR_A_CURVE = 5
"""With fewer runs of a device the figure of all runs shows as much as a curve does."""


def whose(results: Results, row: Row, width: int = TABLE_WIDTH) -> str:
    """Return of what the runs of a curve are: the device, ``every X`` (a kind), ``all in “Y”``."""
    if row.of == "device":
        return Names.of(results.session, width).device[row.device]
    name = shorten(full_name(row.name, row.name), width)
    return f"every {name}" if row.of == "model" else f"all in “{name}”"


def curves_drawn(results: Results) -> pd.DataFrame:
    """Return the rows of the curves of a figure: of devices, else of kinds with runs enough.

    None where neither has `RUNS_FOR_A_CURVE` runs.
    """
    frame, means = (results.extra.get(name) for name in ("survival", "restricted_means"))
    if frame is None or frame.empty or means is None:
        return no_rows("survival")
    for of in ("device", "model"):
        if (means.loc[means["of"] == of, "runs"] >= RUNS_FOR_A_CURVE).any():
            return frame[frame["of"] == of]
    return no_rows("survival")
