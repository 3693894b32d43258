"""Sentences of a comparison: at a glance, how it was made, what it cannot carry."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.claims.verdicts import SUPPORTED
from kit.compare.network import ENOUGH_DOF
from kit.compare.order import leading
from kit.show.references import REFERENCES, Reference
from kit.units import NO_BREAK, count, joined, number, percent

if TYPE_CHECKING:
    from kit.compare.analysis import Comparison

__all__ = ["glance", "limits", "methods", "references", "scatter_sentence"]

_MEMORY = "cited from memory; the text was not at hand"
OWN_REFERENCES = (
    Reference(
        key="aitken",
        text="A. C. Aitken (1936), On least squares and linear combination of observations, Proc. "
        "R. Soc. Edinb. 55:42–48",
        used_for="generalised least squares, by which devices are linked through common ones",
        checked=f"{_MEMORY}; recomputed with another library in the tests",
    ),
    Reference(
        key="bucher",
        text="H. C. Bucher, G. H. Guyatt, L. E. Griffith, S. D. Walter (1997), The results of "
        "direct and indirect treatment comparisons, J. Clin. Epidemiol. 50:683–691",
        used_for="differences through a common comparator",
        checked=_MEMORY,
    ),
    Reference(
        key="searle",
        text="S. R. Searle, G. Casella, C. E. McCulloch (1992), Variance Components, Wiley",
        used_for="components of variance by moments, and estimates below zero",
        checked=_MEMORY,
    ),
)


def glance(found: Comparison) -> tuple[str, ...]:
    """Return three to five plain sentences, most important first."""
    said = found.claims
    leads = [c.wording for c in said if c.code == "leads"]
    first = leads[0] if leads else "No two devices of these sessions can be put in an order."
    parts = [first]
    ahead = _ahead(found)
    if ahead:
        parts.append(ahead)
    parts += leads[1:2]
    changed = [c for c in said if c.code.startswith("changed") and c.verdict == SUPPORTED]
    if changed:
        parts += [c.wording for c in changed[:2]]
    elif found.changes:
        parts.append(
            "No device that returned can be shown to have changed its runtime beyond the scatter."
        )
    apart = sum(p.ties.tie == "apart" for p in found.standing.pairs)
    if apart:
        parts.append(
            f"{count(apart, 'pair').capitalize()} of {len(found.standing.pairs)} cannot be "
            "compared: a condition differed, or nothing links them."
        )
    return tuple(parts)


def _ahead(found: Comparison) -> str:
    """Return over whom the first of the order is surely ahead; empty where over nobody or all."""
    places = found.standing.places
    if not places:
        return ""
    names = found.standing.field.entries
    lead = leading(found.standing, places[0].league)
    if lead.verdict == SUPPORTED:
        return ""
    group = [p.entry for p in places if p.league == places[0].league]
    behind = [names[k].name for k in group if k not in (lead.entry, *lead.level)]
    if not behind:
        return ""
    return f"{names[lead.entry].name} runs longer than {joined(behind)}."


def scatter_sentence(found: Comparison) -> str:
    """Return what the scatter from session to session is, and what it rests on."""
    scatter = found.standing.field.network.scatter
    what = (
        "How much longer or shorter a device runs from one session to another, beside the same "
        "others, "
    )
    if scatter.basis == "estimated":
        return (
            f"{what}was taken from the devices that took part in several: a relative standard "
            f"deviation of {number(100.0 * scatter.s, 1)}{NO_BREAK}% with "
            f"{count(scatter.residual_dof, 'degree')} of freedom."
        )
    source = "as a setup file states" if found.stated else "the kit's default"
    few = (
        f"The common devices are too few to show it ({count(scatter.residual_dof, 'degree')} of "
        f"freedom, {count(ENOUGH_DOF, 'are', 'are')} needed)"
    )
    if scatter.basis == "raised":
        return (
            f"{what}is an assumption: {percent(found.assumed)}, {source}. {few}, but they scatter "
            f"more than that, and {number(100.0 * scatter.s, 1)}{NO_BREAK}% was used."
        )
    return f"{what}is an assumption: {percent(found.assumed)}, {source}. {few}."


def methods(found: Comparison) -> tuple[str, ...]:
    """Return how the figures were obtained, a paragraph each."""
    settings = found.settings
    across = (
        "Devices that no chain of common devices links are not compared."
        if settings.session_cv is None
        else "Devices that no chain of common devices links are compared on the assumption that a "
        f"whole session adds or takes {percent(settings.session_cv)} (one standard deviation)."
    )
    return (
        "Runtimes are compared as ratios, by their logarithms: what a day does to all devices it "
        "does in proportion. Each runtime is device + session + scatter; what a session did to the "
        "whole row drops out where a device took part in both sessions unchanged. With one common "
        "device C, A against B is (A − C) − (B − C), four runtimes with the scatter of four. Any "
        "network of sessions is solved by generalised least squares with the windows of the "
        "power-offs, the scatter between runs and that between sessions as weights.",
        scatter_sentence(found),
        "A runtime that was not seen to its end takes no part in any estimate. What the network "
        "says of it is a lower bound of its device, and is shown as one.",
        "A device counts as the same as long as its hardware, software and battery health are "
        "recorded alike (health within twice the standard uncertainty of the difference), and as "
        "long as the conditions that decide a runtime were alike: phases by activity and length "
        f"(within {number(settings.length_tolerance_pct)}{NO_BREAK}%), network, brightness, "
        f"refresh rate, power saver, dimming, room temperature (within 3{NO_BREAK}°C), charge at "
        "the start, volume and notifications. What was not recorded is taken as alike, and listed.",
        f"All pairs are judged together, so that with {percent(settings.coverage)} nothing false "
        "is called supported among them (Bonferroni); the returns of devices are a family of their "
        f"own, and so are the matched phases. {across}",
    )


def limits(found: Comparison) -> tuple[str, ...]:
    """Return what the comparison cannot carry."""
    unknown = dict.fromkeys(
        c.label.lower()
        for two in found.beside
        for c in two.contrasts
        if c.status == "unknown" and c.decides
    )
    parts = [
        "The order is of these units. Another unit of the same model may do better or worse; only "
        "several units of a model in the sessions say how much.",
        "A link through common devices holds as far as they changed as the others did from session "
        "to session. A device that minds the cold more than its control is not caught by it.",
    ]
    if unknown:
        parts.append(
            f"Not recorded in all sessions, and taken as alike: {joined(unknown)}. A difference in "
            "any of them would be counted as a difference between devices."
        )
    if found.settings.accept:
        parts.append(
            f"Differences in {joined(sorted(found.settings.accept))} were accepted: what they did "
            "to a runtime is in the figures."
        )
    if found.standing.field.network.scatter.basis != "estimated":
        parts.append(
            "The width of every interval rests on the assumed scatter from session to session. "
            "Two more devices that take part in every session would put it on a measurement."
        )
    declared = [m.said for m in found.members if m.session.declared_comparison]
    if declared:
        parts.append(
            f"The comparison declared in the setup file of {joined(declared)} was declared for "
            "the data of that day. Here it is judged together with all other pairs; alone, it is "
            "judged in the report of its session."
        )
    return tuple(parts)


def references() -> tuple[Reference, ...]:
    """Return the publications that a comparison relies on."""
    return (*(REFERENCES[k] for k in ("gum", "iso5725")), *OWN_REFERENCES)
