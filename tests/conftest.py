"""Fixtures that several folders of tests use."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from tests.helpers.visit import launched

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A browser for the tests of one file; for system tests only."""
    with launched() as made:
        yield made
