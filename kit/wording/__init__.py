"""What the report says in words, made from the results alone. Pure.

Every sentence is one that the figures support; what they do not support is said to be open.
"""

from __future__ import annotations

from kit.wording.alt import alt_charge, alt_pairs, alt_rates, alt_replicates, alt_runtimes

__all__ = [
    "alt_charge",
    "alt_pairs",
    "alt_rates",
    "alt_replicates",
    "alt_runtimes",
]
