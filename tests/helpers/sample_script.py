"""The script that makes the sample sessions, which lies outside every package."""

from __future__ import annotations

import importlib
import sys
from typing import TYPE_CHECKING

from tests.helpers.files import SAMPLES

if TYPE_CHECKING:
    from types import ModuleType

__all__ = ["sample_script"]


def sample_script() -> ModuleType:
    """Return the module ``make_samples``, imported as it imports when it is run."""
    sys.path.insert(0, str(SAMPLES))
    try:
        return importlib.import_module("make_samples")
    finally:
        sys.path.remove(str(SAMPLES))
