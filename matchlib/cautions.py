"""Safety cautions by the step where they matter, and booth prompts.

Data only. Nothing in this project computes, or may be read to say, that an exposure is safe: the
safety data sheet of the product, the local code and a licensed or qualified person decide. The
texts are our own words for what the named source says; where a thing rests on no source, it says
so.
"""

from __future__ import annotations

from dataclasses import dataclass

from matchlib.errors import DomainError

__all__ = [
    "BOOTH_PROMPTS",
    "CAUTIONS",
    "DEFERENCE",
    "IN_SHORT",
    "STEPS",
    "cautions_at",
]

STEPS = ("mix", "spray", "sand", "clean")
"""The steps of the work at which a caution may stand."""

DEFERENCE = (
    "Follow the product's safety data sheet and technical data sheet, your local codes, and the "
    "advice of licensed or qualified people; where they differ from what is said here, they are "
    "right. Nothing here says that any exposure is safe."
)
"""Stands above every list of cautions."""

IN_SHORT = (
    "Gloves, goggles, extraction; air-fed breathing apparatus for what has hardener in it. The "
    "data sheets decide."
)
"""Where cards are to be sprayed, and there is room for no list."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution and where it comes from."""

    key: str  # short stable name
    title: str  # what it is about
    text: str  # the caution, in plain words
    sources: tuple[str, ...]  # public agency documents
    steps: tuple[str, ...]  # those of `STEPS` at which it matters

    @property
    def first(self) -> str:
        """Its first sentence, where there is room for no more."""
        return self.text.partition(". ")[0].rstrip(".") + "."


@dataclass(frozen=True, slots=True)
class BoothPrompt:
    """Something to ask oneself at the booth: a prompt, not a command."""

    key: str  # short stable name
    text: str  # the prompt
    source: str  # where it comes from, or that it has no source


# Paragraph (c) of 1910.107 (hot surfaces, earthing) was compared with a printed summary, and what
# Regulation (EU) 2020/1149 asks with copies of it. From memory: that 1910.107(e) and (g) hold the
# shift's supply, rags, residue and non-sparking tools; what 1910.133, .138 and .1200 are about.
CAUTIONS = (
    Caution(
        "isocyanates",
        "Isocyanates in hardeners and two-part paint",
        "Sprayed isocyanates take air-fed breathing apparatus, not a filtering respirator. They "
        "can cause asthma for life, and no smell warns of them. Keep the apparatus on, visor down, "
        "until the booth's clearance time, measured and displayed, is over. Flushing the gun makes "
        "mist too. Those exposed need health surveillance.",
        (
            "HSE (UK), isocyanate paint spraying: respiratory protective equipment; RR1064, "
            "raising the visor",
            "NIOSH Publication 96-111, Preventing Asthma and Death from Diisocyanate Exposure",
            "OSHA interpretation of 6 May 1982 (archived): poor odour warning properties",
        ),
        ("spray", "clean"),
    ),
    Caution(
        "eyes-skin",
        "Eyes and skin, from the first tin opened",
        "Goggles or visor, and the gloves that the data sheet names for this hardener and solvent: "
        "thin throwaway gloves may let both through in minutes. Sleeves down. Isocyanates "
        "sensitise through the skin as well. In the eyes: rinse with water at once, and get help.",
        (
            "29 CFR 1910.133, Eye and face protection; 29 CFR 1910.138, Hand protection",
            "HSE (UK), Working with isocyanate paints",
            "how fast thin gloves fail: common practice, no source",
        ),
        ("mix", "spray", "clean"),
    ),
    Caution(
        "symptoms",
        "Signs not to work through",
        "Wheeze, tight chest, a cough that comes at night or at the weekend, runny or sore eyes, a "
        "rash: stop, leave the work, and tell the employer and a doctor that isocyanates are used. "
        "Once sensitised, a trace is enough.",
        (
            "HSE (UK), Asthma in motor vehicle repair",
            "NIOSH Publication 96-111, Preventing Asthma and Death from Diisocyanate Exposure",
        ),
        ("spray",),
    ),
    Caution(
        "training",
        "Training before the work",
        "In the EU nobody may use a product with 0.1% or more of diisocyanates by weight at work "
        "without passing a training, on record and renewed every five years. In the UK the "
        "employer trains and checks health under COSHH; in the USA the hazard communication rule "
        "asks for training and for data sheets at hand.",
        (
            "Regulation (EU) 2020/1149, REACH Annex XVII entry 74, in force for users since 24 "
            "August 2023",
            "COSHH Regulations 2002 (UK), regulations 11 and 12; HSE",
            "29 CFR 1910.1200, Hazard communication",
        ),
        ("mix",),
    ),
    Caution(
        "respirators",
        "Respirators",
        "A respirator works only as part of a written programme: the right kind for the substance, "
        "medical evaluation, fit test, training, clean breathing air, upkeep.",
        ("29 CFR 1910.134, Respiratory protection",),
        ("spray",),
    ),
    Caution(
        "ventilation",
        "Ventilation",
        "Mix and spray with extraction running, in a booth or room that is maintained and has "
        "clean make-up air, and let it run on afterwards. The air speeds in the fire rules are "
        "meant against fire; they do not show that the air may be breathed.",
        (
            "29 CFR 1910.94(c), Ventilation: spray finishing operations",
            "29 CFR 1910.107(d), Ventilation",
            "HSE (UK), HSG258, Controlling airborne contaminants at work; HSG276, spray booths",
        ),
        ("mix", "spray"),
    ),
    Caution(
        "dust",
        "Sanding",
        "Dust of two-part paint not cured through still holds isocyanate; dust of old paint and "
        "metallic grounds may hold lead, chromium or cadmium. Extract at the tool, damp down, wear "
        "what the data sheet names; never blow it off with air. Dust with metal flake burns.",
        (
            "HSE (UK), COSHH essentials for motor vehicle repair",
            "29 CFR 1910.1000, Air contaminants; 40 CFR 63 subpart HHHHHH",
        ),
        ("sand",),
    ),
    Caution(
        "ignition",
        "Fire and sources of ignition",
        "Vapour, mist, overspray dust and residue burn. No open flame, spark, smoking, hot surface "
        "or unrated electrical equipment in or near the spraying area; metal parts earthed; "
        "residue kept cleared away with tools that do not spark.",
        ("29 CFR 1910.107(c), Electrical and other sources of ignition", "29 CFR 1910.107(g)"),
        ("mix", "spray", "clean"),
    ),
    Caution(
        "waste",
        "Storage, rags and waste",
        "Keep no more flammable liquid at the booth than the shift needs, in closed containers. "
        "Soaked rags and residue go into closed metal containers, emptied each shift. Activated "
        "paint is the exception: it warms as it cures and its gas can burst a tight lid, so it is "
        "left to cure in a vented container, outdoors or extracted. All of it is waste to be "
        "handed over as local rules say, never poured away.",
        (
            "29 CFR 1910.107(e), Flammable and combustible liquids: storage and handling",
            "29 CFR 1910.107(g), Operations and maintenance",
            "40 CFR 262, Standards Applicable to Generators of Hazardous Waste",
            "activated paint in tight containers: common practice, no source; the data sheet "
            "decides",
        ),
        ("mix", "clean"),
    ),
    Caution(
        "air-rules",
        "Rules on emissions, where they apply",
        "In the USA, spray coatings with compounds of chromium, lead, manganese, nickel or cadmium "
        "can bring a small shop under rules on trained painters, filtered enclosures, gun type and "
        "gun cleaning. Metallic grounds may hold such pigments: see the safety data sheet.",
        (
            "40 CFR 63 subpart HHHHHH, Paint Stripping and Miscellaneous Surface Coating "
            "Operations at Area Sources",
        ),
        ("spray",),
    ),
)


def cautions_at(step: str) -> tuple[Caution, ...]:
    """Return the cautions that matter at a step of the work.

    Parameters
    ----------
    step : str
        One of `STEPS`.

    Returns
    -------
    tuple of Caution
        In the order of `CAUTIONS`.

    Raises
    ------
    DomainError
        If there is no such step.

    Examples
    --------
    >>> [caution.key for caution in cautions_at("sand")]
    ['dust']
    """
    if step not in STEPS:
        raise DomainError(
            "There is no such step of the work.",
            expected=", ".join(STEPS),
            got=repr(step),
            remedy="choose one of them.",
        )
    return tuple(c for c in CAUTIONS if step in c.steps)


_TRADE = "common practice, no source"
_SHEET = "the product's technical data sheet"

BOOTH_PROMPTS = (
    BoothPrompt(
        "recoat",
        "Ground inside its recoat window, tacked off once, lightly, with a fresh cloth?",
        f"{_SHEET}; tack cloth: {_TRADE}",
    ),
    BoothPrompt(
        "stir",
        "Stirred through, left to stand as long as the data sheet says, and stirred again before "
        "each filling?",
        f"{_SHEET}; {_TRADE}",
    ),
    BoothPrompt(
        "strain",
        "Strained into the cup? 120 mesh is 125 µm, 200 mesh is 75 µm; a fine strainer holds back "
        "the flake of a ground.",
        f"ASTM E11; {_TRADE}",
    ),
    BoothPrompt(
        "viscosity",
        "Drain time taken with the cup the data sheet names, near 25 °C? ______ s",
        "ASTM D4212, ASTM D1200",
    ),
    BoothPrompt(
        "gun",
        "Fan, fluid and air as on the test panel, and tried on paper? Tip ______ mm, pressure "
        "______",
        _TRADE,
    ),
    BoothPrompt(
        "overlap",
        "Overlap ______ % (75 is usual for candy), distance ______, the same for every coat, "
        "strokes set off from the last?",
        _TRADE,
    ),
    BoothPrompt(
        "flash",
        "Flash-off between coats as the data sheet says? Warm and dry is faster, cool and damp "
        "slower.",
        _SHEET,
    ),
    BoothPrompt(
        "panel", "A test panel of the same ground sprayed beside the work, coat for coat?", _TRADE
    ),
)
"""What is to be ticked or written down before and while spraying."""
