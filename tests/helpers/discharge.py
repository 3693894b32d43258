"""The discharge curves of two cells, as tests/fixtures/make_discharge_curves.py has made them."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import numpy as np

from tests.helpers.files import FIXTURES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def curve(cell: str) -> tuple[Floats, Floats]:
    """Return charge left and time left to empty at constant power (%), both rising."""
    with (FIXTURES / "discharge_curves.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["cell"] == cell]
    charge, time = (
        np.array([float(row[name]) for row in rows]) for name in ("charge_pct", "time_left_pct")
    )
    return charge[::-1], time[::-1]
