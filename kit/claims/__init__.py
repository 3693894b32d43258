"""Claims: sentences people want to say, and whether the record bears them out.

``claims`` is the table. The rest is for `kit.claims.load_bearing`, which asks what would change it.
"""

from kit.claims.candidates import candidates
from kit.claims.evidence import Evidence, evidence
from kit.claims.table import claims
from kit.claims.verdicts import VERDICTS, Claim, verdicts

__all__ = ["VERDICTS", "Claim", "Evidence", "candidates", "claims", "evidence", "verdicts"]
