"""Fixtures that several folders of tests use."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

from tests.helpers.visit import launched

if TYPE_CHECKING:
    from collections.abc import Iterator

# how long one case takes says how busy the machine is, and nothing of the code
settings.register_profile("kit", deadline=None)
settings.load_profile("kit")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A browser for the tests of one file; for system tests only."""
    with launched() as made:
        yield made
