"""What the cells of a report notebook call: one function a section, results in, pages out.

::

    from kit import report
    results = report.load(record, coverage=coverage, seed=seed, draws=draws)
    report.show(report.runtimes(results))

Every function but ``load`` and ``show`` returns a tuple of display objects and reads nothing but
its argument. A section without data holds one sentence that says why.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import kit
from kit.display import DataBundle, show
from kit.errors import UsageError
from kit.revise import page as revise_page
from kit.show import parts, pictures, tables, wording
from kit.show.cells import of_run, run_numbers, run_words
from kit.show.parts import heading, present, prose
from kit.show.references import references as _references
from kit.show.wording import sections
from kit.units import joined

if TYPE_CHECKING:
    from kit.results import Results
    from kit.revise.draft import Keep
    from kit.session import Session
    from kit.show.parts import Page

__all__ = [
    "cautions",
    "charge",
    "claims",
    "conditions",
    "data",
    "data_quality",
    "energy",
    "glance",
    "limits",
    "load",
    "phase_drain",
    "projections",
    "protocol",
    "readings_to_check",
    "references",
    "replicates",
    "reproduce",
    "revisions",
    "runtimes",
    "setup",
    "shared_phases",
    "show",
    "standing",
    "title_block",
    "uncertainty",
]

LEAST_DRAWS = 10_000
PACKAGES = ("numpy", "pandas", "scipy", "matplotlib", "seaborn", "papermill", "nbconvert", "typst")


def load(
    record: str,
    *,
    coverage: float = 0.95,
    seed: int = 20260516,
    draws: int = 100_000,
    digits: int = 1,
    mix: str = "",
    archive: str = "",
    keep: Keep = "revision",
) -> Results:
    """Read, check and analyse a record.

    Parameters
    ----------
    record
        A folder with ``session.toml`` and ``log.csv``, or a CSV file. A relative path is looked
        up from the working folder, then beside the package, where the samples are.
    coverage
        Coverage probability of the intervals, above 0.5 and below 1.
    seed, draws
        Seed and greatest number of draws of the Monte Carlo calculation.
    digits
        Significant digits of every standard uncertainty that the draws are to fix, 1 or 2.
    mix
        A usage mix to add to those of the setup file, such as ``"map 3, photo 2"``.
    archive
        Folder in which earlier revisions of the report are kept (`kit.revise.archive`), for the
        revision history; empty, or not there: none.
    keep
        ``"draft"``: what is shown says that it is a draft.

    Raises
    ------
    RecordError
        If the record did not pass; the message has one sentence for each fault.
    UsageError
        For a path or parameter that makes no sense.
    """
    import os
    from dataclasses import replace

    from kit.analyse import analyse
    from kit.checks import check_session
    from kit.errors import in_order
    from kit.read.record import read_record
    from kit.results import Settings
    from kit.revise.history import past_of, with_history

    if keep not in ("revision", "draft"):
        message = f"keep is {keep!r}; it is 'revision' or 'draft'"
        raise UsageError(message)
    if not 0.5 < coverage < 1.0:
        message = f"coverage is {coverage}; give a probability above 0.5 and below 1, such as 0.95"
        raise UsageError(message)
    if seed < 0:
        message = f"seed is {seed}; give a whole number from 0 on"
        raise UsageError(message)
    if draws < LEAST_DRAWS:
        message = f"draws is {draws}; give at least {LEAST_DRAWS}"
        raise UsageError(message)
    if digits not in (1, 2):
        message = f"digits is {digits}; give 1 or 2"
        raise UsageError(message)
    session, findings = read_record(_found(record))
    findings = in_order((*findings, *check_session(session)))
    past = past_of(session, archive, os.environ, keep=keep)
    session = replace(session, revision=past.number)
    settings = Settings(
        coverage=coverage, seed=seed, draws=draws, digits=digits, mix=_mix(mix, session)
    )
    return with_history(analyse(session, findings, settings), past)


def _mix(text: str, session: Session) -> str:
    """Return the text of a mix if it can be read and names activities of the session."""
    from kit.drain.usage_mix import mix_from_text

    if not text.strip():
        return ""
    try:
        asked = mix_from_text(text)
    except ValueError as error:
        message = f"mix: {error}"
        raise UsageError(message) from None
    known = {p.activity for p in session.phases} | {
        a for p in session.phases for a in p.parts or ()
    }
    unknown = sorted(set(asked) - known)
    if unknown:
        message = (
            f"mix: no phase has the activity {joined(unknown, 'or')}; "
            f"the session has {joined(sorted(known - {''}))}"
        )
        raise UsageError(message)
    return text.strip()


def _found(record: str) -> Path:
    """Return the first place where the record exists; the path as given if nowhere."""
    from kit.places import PACKAGE, samples_folder

    given = Path(record).expanduser()
    places = (given, PACKAGE.parent / given, samples_folder().parent / given)
    return next((place for place in places if place.exists()), given)


def title_block(results: Results) -> Page:
    """Return which session this is, and the fingerprint of its data."""
    return (tables.title_block(results, kit_version=kit.__version__),)


def glance(results: Results) -> Page:
    """Return the result in one sentence, the claims, what else to know, and who outlasted whom."""
    first, *rest = results.glance or wording.glance(results)
    runs = run_numbers(results)
    picture = pictures.pairs(results) if len(runs) == 1 else pictures.pairs_over_runs(results)
    return present(
        prose(first, kind="lead"),
        tables.interim(results),
        revise_page.revision_line(results),
        tables.claims_at_a_glance(results),
        prose(*rest, kind="bullet"),
        picture,
    )


def claims(results: Results) -> Page:
    """Return the sentences that people want to say, with verdict, margin and a true wording."""
    why = sections.NO_CLAIMS if "claims" in results.extra else sections.NOT_JUDGED
    return present(tables.claims(results) or prose(why))


def readings_to_check(results: Results) -> Page:
    """Return the readings to look at again before anything is published."""
    judged = "load_bearing" in results.extra
    why = sections.NO_LOAD_BEARING if judged else sections.NOT_JUDGED
    return present(tables.load_bearing(results) or prose(why), tables.robust_claims(results))


def setup(results: Results) -> Page:
    """Return which session this is, the devices and their percentage displays."""
    note = (
        ""
        if results.session.has_setup
        else (
            "There was no setup file: the devices are those that the log names, and nothing else "
            "about them was recorded."
        )
    )
    return present(
        title_block(results), prose(note), tables.devices(results), tables.gauges(results)
    )


def conditions(results: Results) -> Page:
    """Return the conditions, and what differed on single devices."""
    return (tables.conditions(results),)


def protocol(results: Results) -> Page:
    """Return the phases with planned and actual times, and what was done in them."""
    if not results.session.phases:
        return present(prose("The record names no phase."))
    times = tuple(tables.protocol(results, run) for run in run_numbers(results))
    notes = prose(results.session.notes.strip())
    return present(notes, times, tables.phase_details(results))


def data_quality(results: Results) -> Page:
    """Return what the checks found, and the time that no phase accounts for."""
    found = tables.data_quality(results)
    lost = [wording.unaccounted_min(results, run) for run in run_numbers(results)]
    return present(
        prose(
            "" if found else sections.NO_FINDINGS,
            sections.unaccounted_sentence(lost),
            sections.open_end_sentence(results),
        ),
        found,
        tables.elapsed_fit(results),
    )


def charge(results: Results) -> Page:
    """Return the state of charge over time, one figure a run."""
    seen = set(results.session.readings["run"].unique().tolist())
    if not seen:
        return present(prose(sections.NO_LOG_OF_CHARGE))
    return tuple(pictures.charge(results, run) for run in run_numbers(results) if run in seen)


def phase_drain(results: Results) -> Page:
    """Return drain and rate by phase: figure, tables, and which differences stand."""
    if not results.phase_drain["drain_pp_low"].notna().any():
        return present(prose(sections.NO_PHASES))
    several = len(results.session.devices) > 1
    page: list[Any] = []
    for run in run_numbers(results):
        page += [
            pictures.rates(results, run),
            tables.drain(results, run),
            tables.rate(results, run),
        ]
        if several:
            page += [
                heading(f"Between devices{run_words(results, run)}"),
                tables.rate(results, run, "true_charge"),
                tables.drain_order(results, run),
            ]
    return present(*page, parts.ticks(results), parts.within(results), parts.repeats(results))


def standing(results: Results) -> Page:
    """Return charge left and places after each phase."""
    if not results.standing["soc_pct"].notna().any():
        return present(prose(sections.NO_STANDING))
    return present(
        *((tables.standing(results, run), tables.total_drain(results, run))
          for run in run_numbers(results))
    )  # fmt: skip


def shared_phases(results: Results) -> Page:
    """Return crossover and rotation phases part by part."""
    if results.parts.empty:
        return present(prose(sections.NO_PARTS))
    runs = set(results.parts["run"].tolist())
    return tuple(tables.parts(results, run) for run in run_numbers(results) if run in runs)


def runtimes(results: Results) -> Page:
    """Return runtimes and order: figure, table, and the verdict on each pair."""
    if not results.runtimes["runtime_h_low"].notna().any():
        return present(prose(sections.NO_RUNTIMES))
    several = len(results.session.devices) > 1
    page: list[Any] = []
    for run in run_numbers(results):
        if not of_run(results.runtimes, run)["runtime_h_low"].notna().any():
            page.append(prose(f"{sections.NO_RUNTIMES.rstrip('.')}{run_words(results, run)}."))
            continue
        page += [pictures.runtimes(results, run), tables.runtimes(results, run)]
        if several and (of_run(results.runtime_pairs, run)["verdict"] == "unknown").all():
            page.append(prose(sections.NO_ORDER))
        elif several:
            page.append(tables.runtime_pairs(results, run))
    return present(*page, prose(wording.runtime_ticks_gained(results)))


def replicates(results: Results) -> Page:
    """Return means and scatter over the runs, and the same without a distribution."""
    if results.replicates.empty:
        return present(
            prose(sections.NO_REPLICATES), tables.replicate_models(results), parts.by_runs(results)
        )
    return present(
        pictures.replicates(results),
        tables.replicates(results),
        tables.replicate_models(results),
        tables.replicate_pairs(results),
        tables.run_effects(results),
        parts.by_runs(results),
    )


def uncertainty(results: Results) -> Page:
    """Return how the numbers were obtained, and the budget of their uncertainty."""
    return present(
        prose(*wording.methods(results)),
        tables.budget(results),
        tables.contributions(results),
        tables.shares(results),
        tables.mean_shares(results),
        tables.assumptions(results),
        tables.assumption_shifts(results),
        tables.agreement(results),
        tables.agreements(results),
    )


def projections(results: Results) -> Page:
    """Return hours from full to empty in one activity, and on mixes of activities."""
    if not results.projections["hours_low"].notna().any():
        return present(prose(sections.NO_PROJECTIONS))
    return present(
        *(tables.projections(results, run) for run in run_numbers(results)), parts.mixes(results)
    )


def energy(results: Results) -> Page:
    """Return energy and mean power where the battery's rated energy is known."""
    index = tables.endurance_index(results)
    if not results.energy["energy_wh"].notna().any():
        return present(prose(sections.no_energy(results)), index)
    page: list[Any] = [prose(sections.energy_left_out(results))]
    for run in run_numbers(results):
        page += [
            tables.energy(results, run),
            tables.power(results, run),
            tables.specific_power(results, run),
        ]
    return present(*page, index)


def cautions(results: Results) -> Page:
    """Return the cautions on heat and charging that this record calls for."""
    from kit.safety.cautions import cautions as found

    return present(*found(results))


def limits(results: Results) -> Page:
    """Return what this comparison cannot carry, and what was not computed and why."""
    missing = wording.not_computed(results)
    left_out = f"Not computed here: {'; '.join(missing)}." if missing else ""
    return present(prose(*wording.limits(results), kind="bullet"), prose(left_out))


def revisions(results: Results) -> Page:
    """Return what was corrected since the first report, and what that changed."""
    return revise_page.revisions(results)


def reproduce(results: Results) -> Page:
    """Return inputs with their SHA-256, parameters, versions and the command."""
    settings = results.settings
    command = (
        f"rundown report FOLDER --coverage {settings.coverage:g} --seed {settings.seed} "
        f"--draws {settings.draws}"
        + (f" --digits {settings.digits}" if settings.digits > 1 else "")
        + (f' --mix "{settings.mix}"' if settings.mix else "")
    )
    return present(
        prose(
            "The same files, parameters and versions give the same report, byte for byte. With "
            "the input files below in one folder, the command is:",
            command,
        ),
        tables.inputs(results),
        tables.parameters(results),
        tables.versions(_versions()),
    )


def _versions() -> dict[str, str]:
    """Return the versions of Python, the kit and the libraries that the numbers come from."""
    import platform
    from importlib.metadata import PackageNotFoundError, version

    found = {"Python": platform.python_version(), "rundown-kit": kit.__version__}
    for name in PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


def references(results: Results) -> Page:
    """Return the publications that this report relies on."""
    return (tables.reference_list(_references(results)),)


def data(results: Results) -> DataBundle:
    """Return everything for machines: session, settings, findings and all result tables."""
    from kit.show.results_data import results_data

    return DataBundle(results_data(results, kit_version=kit.__version__))
