"""Claims: sentences people want to say, and whether the record bears them out.

``claims`` is the table. The rest is for `kit.claims.load_bearing`, which asks what would change it.

* One run: ``evidence`` (what it lets be said of every pair, by ``pair_tables`` and ``activities``),
  ``candidates`` (the sentences, and what each needs), ``verdicts``, ``judge`` (how urgent each is).
* Over runs: ``mean_claims``. Kinds of device: ``kinds``, with ``kind_scatter`` about them,
  and ``kinds_compared``.
* In words: ``words``, ``unlike`` (what was not alike), ``level_claims``,
  ``runtime_claims``, ``kind_words``, ``mix_words``; all of them together in ``table``.
* If a number had been another one: ``misreadings`` (the slips there are), ``doubts`` (the numbers
  in question), ``conclusions`` (what is asked again), ``doubted_runs``, ``doubted_means`` and
  ``doubted_mixes`` (the verdicts then), ``load_bearing`` (what of it a report lists).
* If an assumption had been another one: ``assumption_shifts``.
"""

from kit.claims.candidates import candidates
from kit.claims.evidence import Evidence, evidence
from kit.claims.table import claim_verdicts, claims
from kit.claims.verdicts import VERDICTS, Claim, verdicts

__all__ = [
    "VERDICTS",
    "Claim",
    "Evidence",
    "candidates",
    "claim_verdicts",
    "claims",
    "evidence",
    "verdicts",
]
