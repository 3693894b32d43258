"""Tables on which trust rests: no figure in them is larger than what it is about."""

from __future__ import annotations

import math

import pytest

from kit.show.tables import trust
from kit.units import MISSING
from tests.helpers.fake_results import fake_results, rows

PLAIN = {"gum_low": 11.12, "gum_high": 12.88, "mc_low": 11.16, "mc_high": 12.84, "agrees": True}


@pytest.mark.parametrize(
    ("other", "cells"),
    [
        # 12.88 is the largest result: a tolerance of 500 is none of it
        ({"gum_high": 14.0, "mc_high": 13.0, "tolerance_pp": 500.0}, ("1.000", "0.050")),
        # 5711 against 17, apart by more than 17; the tolerance is as it should be
        ({"gum_high": 5711.0, "mc_high": 17.0, "tolerance_pp": 0.5}, (MISSING, "0.050 to 0.500")),
    ],
)
def test_nothing_beyond_the_largest_result_is_stated(other, cells):
    browse = {"phase": "browse", "device": "limpet"}
    frame = rows("agreement", [browse | PLAIN | {"tolerance_pp": 0.05}, browse | PLAIN | other])
    table = trust.agreement(fake_results(agreement=frame))
    assert table.rows[0][3:5] == cells
    assert table.notes[-1] == trust.BEYOND


def test_a_result_without_end_is_no_measure():
    """Both upper ends open: the lower ends are compared, and nothing is left out."""
    open_ended = PLAIN | {"gum_high": math.inf, "mc_high": math.inf, "tolerance_pp": 0.05}
    frame = rows("agreement", [{"phase": "browse", "device": "limpet"} | open_ended])
    table = trust.agreement(fake_results(agreement=frame))
    assert table.rows[0][3:5] == ("0.040", "0.050")
    assert trust.BEYOND not in table.notes
