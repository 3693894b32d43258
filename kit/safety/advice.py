"""Advice on charging and damaged cells that every report carries, with where it comes from.

Paraphrased from public pages of fire services and safety bodies. Nothing here replaces the
maker's instructions, local codes or qualified people.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ALWAYS", "DEFER", "SOURCES", "Advice"]

SOURCES: dict[str, str] = {
    "nfpa": "NFPA, tip sheet on lithium-ion battery safety, as reproduced publicly",
    "usfa": "US Fire Administration, battery fire safety, citing NFPA "
    "(https://www.usfa.fema.gov/prevention/home-fires/prevent-fires/batteries/)",
    "seattle": "Seattle Fire Department, lithium-ion battery safety "
    "(https://www.seattle.gov/fire/safety-and-community/lithium-ion-battery-safety)",
    "south-wales": "South Wales Fire and Rescue Service, lithium-ion batteries "
    "(https://www.southwales-fire.gov.uk/your-safety-wellbeing/in-business/lithium-ion-batteries/)",
    "humberside": "Humberside Fire and Rescue Service, batteries "
    "(https://humbersidefire.gov.uk/your-safety/safety-in-the-home-advice/batteries)",
    "cpsc": "US Consumer Product Safety Commission, as quoted on a consumer page on battery safety "
    "(https://www.ctia.org/consumer-tips/wireless-battery-safety)",
    "practice": "common practice, no source",
}
"""Where advice comes from: key → page, each read unless it says otherwise."""


@dataclass(frozen=True, kw_only=True)
class Advice:
    """One piece of advice in plain text, and the keys of ``SOURCES`` it follows."""

    text: str
    sources: tuple[str, ...]


def _advice(text: str, *sources: str) -> Advice:
    return Advice(text=text, sources=sources)


DEFER = _advice(
    "The maker's instructions come first, then local codes, and the judgement of qualified people "
    "before anything said here.",
    "nfpa", "cpsc",
)  # fmt: skip

ALWAYS: tuple[Advice, ...] = (
    DEFER,
    _advice(
        "Charge with somebody in the room and awake, never while asleep or away from home, away "
        "from the way out, with a working smoke alarm.",
        "seattle", "south-wales", "humberside",
    ),
    _advice(
        "Charge on a hard, flat, stable surface that does not burn; never on a bed or a couch, "
        "never under a pillow.",
        "nfpa", "south-wales", "humberside", "practice",
    ),
    _advice(
        "Use the charger and the cable that came with the device or that its maker names for it.",
        "nfpa", "cpsc",
    ),
    _advice(
        "A row of devices is a row of heaters: leave space between them, let the air of the room "
        "pass, never stack or cover them, and keep them out of the sun and of hot vehicles.",
        "south-wales", "usfa", "seattle", "practice",
    ),
    _advice(
        "After a rundown let a warm device cool to the temperature of the room before it is "
        "charged; do not leave it on the charger once it is full for longer than the protocol "
        "needs.",
        "nfpa", "practice",
    ),
    _advice(
        "Stop at once at swelling, a smell, a change of colour, leaking, hissing or another odd "
        "noise, smoke, or more heat than usual. Only if it is safe, switch off the charger and "
        "move the device away from things that burn; move away yourself, get everybody out, stay "
        "out, and call the local emergency number.",
        "nfpa", "usfa", "seattle", "south-wales",
    ),
    _advice(
        "Do not use or charge again a device that is swollen, or was crushed, pierced, dropped "
        "hard, wet or overheated, and do not open or press it; ask its maker or a qualified "
        "person.",
        "south-wales", "cpsc",
    ),
    _advice(
        "Batteries and devices do not go into household waste: take them to a collection point. A "
        "damaged one needs advice from the collector first.",
        "usfa", "seattle", "practice",
    ),
)  # fmt: skip
"""Advice that every report carries, whatever its record says."""
