"""The publications a report relies on, and how far each was checked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kit.results import Results

__all__ = ["REFERENCES", "Reference", "references"]


@dataclass(frozen=True, kw_only=True)
class Reference:
    """One publication.

    Parameters
    ----------
    key
        Short name.
    text
        As it is cited, with clause.
    used_for
        What the report takes from it.
    checked
        How far it was checked: read, quoted elsewhere, recomputed, or cited from memory.
    """

    key: str
    text: str
    used_for: str
    checked: str


_MEMORY = "cited from memory; the text was not at hand"

REFERENCES: dict[str, Reference] = {
    r.key: r
    for r in (
        Reference(
            key="gum",
            text="JCGM 100:2008, Evaluation of measurement data: Guide to the expression of "
            "uncertainty in measurement (GUM), 4.3.7, 4.3.9, 7.2, E.4.3, F.2.2.1, G.4.1",
            used_for="standard uncertainty of a digital reading and of bounds, combination, "
            "expanded uncertainty, how figures are rounded",
            checked="F.2.2.1 as quoted elsewhere and recomputed; the other clauses cited from "
            "memory, their values recomputed in the tests",
        ),
        Reference(
            key="jcgm101",
            text="JCGM 101:2008, Supplement 1 to the GUM: Propagation of distributions using a "
            "Monte Carlo method, clauses 7 and 8",
            used_for="Monte Carlo intervals and their comparison with the closed form",
            checked=_MEMORY,
        ),
        Reference(
            key="acpi",
            text="Advanced Configuration and Power Interface Specification, battery gas gauge "
            "(3.9.3)",
            used_for="what a battery percentage is: remaining capacity / last full capacity; no "
            "rule of rounding was found there",
            checked="formula as quoted elsewhere and as seen in version 6.0",
        ),
        Reference(
            key="piepho",
            text="H.-P. Piepho (2004), An algorithm for a letter-based representation of "
            "all-pairwise comparisons, J. Comput. Graph. Stat. 13:456–466",
            used_for="how ties are grouped where being tied is not transitive",
            checked=_MEMORY,
        ),
        Reference(
            key="watt-hour",
            text="49 CFR 171.8, definition of “Watt-hour”",
            used_for="rated energy = rated capacity × nominal voltage",
            checked="read; a worked value (11.1 V × 4.4 Ah = 48.84 Wh) recomputed in the tests",
        ),
        Reference(
            key="tukey",
            text="NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.7.1, Tukey's method",
            used_for="all differences of mean runtimes judged together",
            checked="read in part; its example recomputed in the tests",
        ),
        Reference(
            key="signed-rank",
            text="F. Wilcoxon (1945), Individual comparisons by ranking methods, Biometrics "
            "Bulletin 1:80–83",
            used_for="mean runtimes of devices of which one was still on when a run was stopped",
            checked=f"{_MEMORY}; recomputed with another library in the tests",
        ),
        Reference(
            key="rank-sum",
            text="H. B. Mann and D. R. Whitney (1947), On a test of whether one of two random "
            "variables is stochastically larger than the other, Ann. Math. Stat. 18:50–60",
            used_for="the same where the devices did not run side by side",
            checked=f"{_MEMORY}; recomputed with another library in the tests",
        ),
        Reference(
            key="iso5725",
            text="ISO 5725-2 and ISO 5725-6, Accuracy (trueness and precision) of measurement "
            "methods and results",
            used_for="scatter between runs (repeatability) and between units",
            checked=_MEMORY,
        ),
    )
}


def references(results: Results) -> tuple[Reference, ...]:
    """Return the references that this report uses, in the order of their first use."""
    keys = ["gum", "jcgm101", "acpi", "piepho"]
    if any(d.rated_capacity_mah is not None for d in results.session.devices):
        keys.append("watt-hour")
    pairs = results.extra.get("replicate_pairs")
    tested = set() if pairs is None else set(pairs["method"])
    by_method = {"tukey": "tukey", "signed_rank": "signed-rank", "rank_sum": "rank-sum"}
    keys += [key for method, key in by_method.items() if method in tested]
    models = results.extra.get("replicate_models")
    if len(results.replicates) or (models is not None and len(models)):
        keys.append("iso5725")
    return tuple(REFERENCES[key] for key in keys)
