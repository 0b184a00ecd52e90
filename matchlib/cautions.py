"""Safety cautions and booth prompts: what public agencies publish, and what the trade asks itself.

Data only. Nothing in this project computes, or may be read to say, that an exposure is safe: the
safety data sheet of the product, the local code and a licensed or qualified person decide. The
texts are our own words for what the named source says; where a thing rests on no source, it says
so.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["BOOTH_PROMPTS", "CAUTIONS", "DEFERENCE", "BoothPrompt", "Caution"]

#: Stands above every list of cautions.
DEFERENCE = (
    "Follow the product's safety data sheet and technical data sheet, your local codes, and the "
    "advice of licensed or qualified people; where they differ from this sheet, they are right. "
    "This sheet does not say that any exposure is safe."
)


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution and where it comes from.

    Parameters
    ----------
    key : str
        Short stable name.
    title : str
        What it is about.
    text : str
        The caution, in plain words.
    sources : tuple of str
        Public agency documents.
    """

    key: str
    title: str
    text: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BoothPrompt:
    """Something to ask oneself at the booth: a prompt, not a command.

    Parameters
    ----------
    key : str
        Short stable name.
    text : str
        The prompt.
    source : str
        Where it comes from, or that it has no source.
    """

    key: str
    text: str
    source: str


# Paragraph (c) of 1910.107 (hot surfaces, earthing) was compared with a printed summary; that (e)
# and (g) hold the shift's supply, rags, residue and non-sparking tools is from memory.
CAUTIONS = (
    Caution(
        "isocyanates",
        "Isocyanates in hardeners and two-part clear coats",
        "Spraying them can cause asthma that stays for life, and they give no warning by smell. "
        "Filtering respirators are not suitable for spraying them: air-fed breathing apparatus is. "
        "Keep it on, visor down, until the booth's clearance time, measured and displayed, is "
        "over. Skin contact counts too. Those exposed need health surveillance.",
        (
            "HSE (UK), isocyanate paint spraying: respiratory protective equipment; RR1064, "
            "raising the visor",
            "NIOSH Publication 96-111, Preventing Asthma and Death from Diisocyanate Exposure",
            "OSHA interpretation of 6 May 1982 (archived): poor odour warning properties",
        ),
    ),
    Caution(
        "respirators",
        "Respirators",
        "A respirator works only as part of a written programme: the right kind for the substance, "
        "medical evaluation, fit test, training, clean breathing air, upkeep.",
        ("29 CFR 1910.134, Respiratory protection",),
    ),
    Caution(
        "ventilation",
        "Ventilation",
        "Spray in an extracted booth or room that is running and maintained, with clean make-up "
        "air, and let it run on afterwards. The air speeds in the fire rules are meant against "
        "fire; they do not show that the air may be breathed.",
        (
            "29 CFR 1910.94(c), Ventilation: spray finishing operations",
            "29 CFR 1910.107(d), Ventilation",
            "HSE (UK), HSG258, Controlling airborne contaminants at work",
        ),
    ),
    Caution(
        "ignition",
        "Fire and sources of ignition",
        "Vapour, mist, overspray dust and residue burn. No open flame, spark, smoking, hot surface "
        "or unrated electrical equipment in or near the spraying area; metal parts earthed; "
        "residue kept cleared away with tools that do not spark.",
        ("29 CFR 1910.107(c), Electrical and other sources of ignition", "29 CFR 1910.107(g)"),
    ),
    Caution(
        "waste",
        "Storage, rags and waste",
        "Keep no more flammable liquid at the booth than the shift needs, in closed containers. "
        "Soaked rags and residue go into closed metal containers, emptied each shift. Leftover "
        "mix, cleaning solvent and filters are waste to be handed over as local rules say, never "
        "poured away; activated two-part paint heats up as it cures.",
        (
            "29 CFR 1910.107(e), Flammable and combustible liquids: storage and handling",
            "29 CFR 1910.107(g), Operations and maintenance",
            "40 CFR 262, Standards Applicable to Generators of Hazardous Waste",
            "self-heating of activated paint: common practice, no source",
        ),
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
    ),
)

_TRADE = "common practice, no source"
_SHEET = "the product's technical data sheet"

BOOTH_PROMPTS = (
    BoothPrompt("stir", "Carrier and colour stirred through, and stirred again before each "
                "filling?", _TRADE),
    BoothPrompt("stand", "Left to stand as long as the data sheet says, so that bubbles rise?",
                _SHEET),
    BoothPrompt("strain", "Strained into the cup? 120 mesh is 125 µm, 200 mesh is 74 µm; a "
                "strainer too fine holds back flake and pearl.", "ASTM E11; " + _TRADE),
    BoothPrompt("viscosity", "Drain time taken with the cup the data sheet names, near 25 °C?",
                "ASTM D4212, ASTM D1200"),
    BoothPrompt("gun", "Fan, fluid and air pressure as on the test panel, and tried on paper?",
                _TRADE),
    BoothPrompt("overlap", "Same overlap, distance and speed for every coat? Evenness of a "
                "transparent colour is evenness of its film.", _TRADE),
    BoothPrompt("flash", "Flash-off between coats as the data sheet says? Warmer and drier air is "
                "faster, cooler and damper slower; there is no general law.", _SHEET),
    BoothPrompt("air", "Booth temperature and humidity written down with the panel?", _TRADE),
    BoothPrompt("panel", "A test panel of the same ground sprayed beside the work, and read dry "
                "and under the same clear coat?", _TRADE),
)  # fmt: skip
