"""What makes means over runs, and means of kinds of device, uncertain, source by source."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from kit.frames import result_frame
from kit.results import RESULT_COLUMNS
from kit.runtime.replicates import DRAIN_PREFIX, RUNTIME

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import pandas as pd

__all__ = ["MEAN_QUANTITIES", "with_means"]

MEAN_QUANTITIES = (
    "mean_runtime",
    "mean_drain",
    "mean_runtime_of_kind",
    "mean_drain_of_kind",
)
"""Results that have a budget here: of a device over its runs, and of a kind over its units."""

_TYPES = {"run": np.int64, "u": np.float64, "u_source": np.float64, "share": np.float64}
"""Types of the columns of a budget that are no texts."""


class _Mean(NamedTuple):
    """A mean with the u that each source makes: empty where it is a bound or is not there."""

    name: str
    quantity: str
    unit: str
    u: float
    between: dict[str, float]
    of_kind: str = ""

    @classmethod
    def of_device(cls, row: Mapping[Any, Any]) -> _Mean:
        """Return the mean of a device over its runs."""
        scatter = row["s_r"] / float(np.sqrt(row["runs"])) if row["runs"] else 0.0
        between = {"between_runs": scatter}
        return cls(row["device"], row["quantity"], row["unit_symbol"], row["mean_u"], between)

    @classmethod
    def of_units(cls, row: Mapping[Any, Any]) -> _Mean:
        """Return the mean of a kind over its units."""
        between = {"between_units": row["mean_u_units"], "between_runs": row["mean_u_runs"]}
        return cls(
            row["model"], row["quantity"], row["unit_symbol"], row["mean_u"], between, "_of_kind"
        )

    def rows(self) -> Iterator[tuple[object, ...]]:
        """Yield the rows of the budget, in the order of its columns."""
        known = {source: u for source, u in self.between.items() if u > 0.0}
        own = self.u**2 - sum(u**2 for u in known.values())
        # what is left is of one run: at least its resolution, or nothing but the last digits
        if own > 1e-12 * self.u**2:
            known["each_run"] = float(np.sqrt(own))
        of = RUNTIME if self.quantity == RUNTIME else "drain"
        phase = "" if of == RUNTIME else self.quantity.removeprefix(DRAIN_PREFIX)
        for source, u in known.items():
            yield (
                0, phase, "", "", self.name, f"mean_{of}{self.of_kind}", self.unit, self.u, source,
                u, u**2 / self.u**2,
            )  # fmt: skip


def with_means(budgets: pd.DataFrame, means: pd.DataFrame, of_kinds: pd.DataFrame) -> pd.DataFrame:
    """Return the budgets of single results and, below them, those of means.

    Parameters
    ----------
    budgets
        Frame of `kit.drain.shares.budgets`.
    means, of_kinds
        Frames of `kit.runtime.replicates.replicates` and
        `kit.runtime.replicates.replicate_models`.

    Returns
    -------
    DataFrame
        Columns ``RESULT_COLUMNS["budgets"]``. The new rows have run 0, over all runs, and the
        name of the kind in place of a device. Sources: ``between_units``, ``between_runs`` (of a
        kind: what its units shared of the runs) and ``each_run`` (window or resolution of one
        result, which nothing averages out); their squares add up to that of ``mean_u``.

    Examples
    --------
    Three runs with s = 0.3 h, windows with u = 0.1 h: 0.3/√3 = 0.173, and 0.03 of 0.04 h² are the
    scatter's:

    >>> nothing = result_frame("budgets", {name: [] for name in RESULT_COLUMNS["budgets"]})
    >>> mean = {"device": ["a"], "quantity": ["runtime"], "runs": [3], "s_r": [0.3],
    ...         "mean_u": [0.2], "unit_symbol": ["h"]}
    >>> columns = RESULT_COLUMNS["replicates"]
    >>> means = result_frame("replicates", {**{name: [0.0] for name in columns}, **mean})
    >>> none = result_frame("replicate_models", {n: [] for n in RESULT_COLUMNS["replicate_models"]})
    >>> found = with_means(nothing, means, none)
    >>> found["source"].tolist(), found["u_source"].round(3).tolist()
    (['between_runs', 'each_run'], [0.173, 0.1])
    >>> found["share"].round(2).tolist()
    [0.75, 0.25]
    """
    found = [
        *(_Mean.of_device(row) for row in means.to_dict("records")),
        *(_Mean.of_units(row) for row in of_kinds.to_dict("records")),
    ]
    rows = [row for mean in found if mean.u > 0.0 for row in mean.rows()]
    if not rows:
        return budgets
    order = {name: place for place, name in enumerate(MEAN_QUANTITIES)}
    names = RESULT_COLUMNS["budgets"]
    rows.sort(key=lambda row: order[str(row[names.index("quantity")])])
    added = dict(zip(names, zip(*rows, strict=True), strict=True))
    return result_frame(
        "budgets",
        {
            name: np.concatenate(
                [budgets[name].to_numpy(), np.array(added[name], dtype=_TYPES.get(name, object))]
            )
            for name in names
        },
    )
