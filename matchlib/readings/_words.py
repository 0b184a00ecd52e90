"""The names that shops and instruments give to columns, and the words of light and geometry."""

from __future__ import annotations

import re
import unicodedata
from difflib import get_close_matches
from functools import lru_cache

from matchlib.domain.reading import ILLUMINANTS
from matchlib.readings._rows import ALWAYS, RARE

__all__ = [
    "FACTS",
    "LIGHT_NAMES",
    "is_note",
    "known_name",
    "meaning_of",
    "near_meaning",
    "plain",
    "scale_of",
    "settings_in",
    "viewing_words",
    "wavelength",
]

_KNOWN = (  # columns of the table of readings, as our own files name them
    *(*ALWAYS, *RARE, "ratio", "coats", "tile"),
    *("L", "a", "b", "X", "Y", "Z", "scale", "sd"),
)

_SPELT = {
    "panel": "panel no|panel nr|panel number|panel id|panel code|panel name|panel #|card|card no"
    "|card #|card code|chip|chip no|chip id|sample|sample no|sample #|sample id|sample name"
    "|sample code|code|id|no|nr|number|#|ref|plate|spray out|sprayout|spray out card|swatch|name"
    "|test panel|panel ref|sample number|reading name|measurement name|measurement|probe|muster",
    "ground": "ground coat|groundcoat|base|base coat|basecoat|undercoat|under coat|sprayed over"
    "|over|base colour|base color|ground colour|ground color|base used|basecoat used|underbase",
    "colour": "color|candy|candy colour|candy color|dye|toner|tint|mid coat|midcoat|transparent"
    "|transparent colour|colorant|colourant|colour coat|color coat|colour name|color name|shade"
    "|candy coat|intermix|paint|paint colour|paint color|candy name|candy used|paint used",
    "ratio": "mix|mix ratio|mixing ratio|ratio carrier colour|carrier colour|mixed|mixture"
    "|carrier to colour|base to dye|let down|letdown|mix rate|colour %|color %|% colour|% color"
    "|dye %|% dye|candy %|% candy|toner %|% toner|percent colour|percent color|colour percent",
    "coats": "no of coats|number of coats|# coats|coat|passes|layers|nr of coats|num coats"
    "|coat count|colour coats|color coats|candy coats|# of coats|no coats|coats no|coats sprayed",
    "schedule": "coats and ratio|coats ratio|application|spray schedule|sprayed as|recipe"
    "|what was sprayed|back|coats mix|mix and coats|coats and mix|build",
    "clear": "clear coat|clearcoat|lacquer|top clear|cleared|clear used|topcoat|top coat|varnish",
    "source": "how read|read with|read by|measured with|method|read how|taken with",
    "instrument": "device|meter|spectro|spectrophotometer|instrument name|instrument no"
    "|instrument serial|serial no",
    "illuminant": "light|light source|ill|illum|viewing|illuminant observer|ill obs|light observer"
    "|illuminant angle|light obs|observer illuminant|condition|light and observer",
    "observer": "obs|field|observer angle|standard observer",
    "geometry": "geo|aspecular|aspecular angle|specular|specular mode|specular component|mode"
    "|measuring mode|measurement mode|measurement geometry|sci sce|angle|gloss",
    "sprayed": "sprayed on|date sprayed|spray date|date of spraying|spraying date",
    "date": "day|when|datum|date read|read on|measured on|date measured|reading date",
    "sprayer": "who|painter|technician|tech|sprayed by|by|operator|initials|painted by|hand",
    "stage": "stage no|stage number",
    "batch": "ground batch|ground lot|batch no|base batch|base lot|batch number",
    "state": "condition of the panel|cleared or not",
    "lot": "lot no|colour lot|color lot|lot number|lot #",
    "note": "notes|remark|remarks|comment|comments|memo",
    "customer": "client|cust|customer name|job|owner|car",
    "temperature": "temp|booth temp|booth temperature|air temp|temperature c|temp c|temp f",
    "humidity": "rh|% rh|rh %|humidity %|rel humidity|relative humidity|booth humidity|hum",
    "scale": "reflectance scale",
    "sd": "uncertainty|std dev|standard deviation|stdev",
    "tile": "reference tile",
    "carrier parts": "carrier|carrier oz|carrier ml|carrier g|parts carrier|carrier amount"
    "|binder|reducer|intercoat|intercoat clear|binder ml|binder parts|carrier vol",
    "colour parts": "color parts|dye parts|parts colour|parts color|colour oz|color oz|colour ml"
    "|color ml|dye ml|dye oz|colour amount|concentrate|concentrate ml|toner ml|toner parts",
}
FACTS = (
    *("illuminant", "observer", "geometry", "scale", "source", "instrument", "ground", "colour"),
    *("clear", "customer", "sprayer"),
)
"""What may stand once above a table and hold for all its rows."""
LIGHT_NAMES = {n.casefold(): n for n in ILLUMINANTS}
"""Illuminants as they are named, by their names without capitals."""

_OWN = {n.casefold(): n for n in _KNOWN if n not in "XYZ"}
_COLOURS = {
    **{
        f"{p}{n.casefold()}{s}": n
        for n in "Lab"
        for p in ("", "lab ", "cielab ", "cie ")
        for s in ("", "*")
    },
    **{f"xyz {n}": n.upper() for n in "xyz"},
}
_SCALES = {
    **dict.fromkeys(("unit", "0-1", "0–1", "0..1", "0 to 1", "decimal", "dec", "0...1"), "unit"),
    **dict.fromkeys(("percent", "%", "pct", "0-100", "0–100", "per cent", "%r", "r%"), "percent"),
}
_SPECTRAL = re.compile(
    r"(?P<word>(?:spectral|spec|refl(?:ectance)?|rfl|nm|r|%r|r%)?[\s_]*(?:nm|dec|pct|r)?)"
    r"[\s_@]*(?P<nm>[0-9]{1,5}(?:\.[0-9]{1,15})?)[\s_]*(?P<unit>nm|µm|μm|um|å)?\s*"
    r"(?P<scale>[(\[]?\s*(?:%\s*r?|percent|pct|0\s?[-–]\s?1)\s*[)\]]?)?",
    re.IGNORECASE,
)
_LIGHT = re.compile(
    r"(?<![\w.])(D ?65|D ?50|F ?2|F ?11|LED-B3|A(?=\s*/\s*(?:10|2)(?!\d)))(?![\w.])", re.I
)
_FIELD = re.compile(
    r"(?<![\d.])(?P<deg>10|2)\s*(?:°|º|deg\b|degrees?\b|-degree)"
    r"|[/,-]\s*(?P<bare>10|2)(?![\d.])(?=\s*(?:$|[\s),;\]]))",
    re.I,
)
_NEAR_FLOP = re.compile(
    r"(?:45\s*as\s*|as\s*|Δ\s*)(-?\d{1,3})\b|(?<![\d.:/])(-?\d{2,3})\s*(?:°|º|deg\b)", re.I
)
_ASPECULAR = {-15, 15, 20, 25, 30, 45, 60, 65, 70, 75, 80, 100, 110}


def plain(name: str) -> str:
    """Return a name without accents, capitals, and signs that shops put between words."""
    bare = unicodedata.normalize("NFKD", name)
    bare = "".join(c for c in bare if not unicodedata.combining(c)).casefold()
    return " ".join(re.sub(r"[_\-./:,;()\[\]&|?!'\"]+", " ", bare).split())


_MEANINGS = {plain(word): meaning for meaning, spelt in _SPELT.items() for word in spelt.split("|")}


@lru_cache(maxsize=4096)
def known_name(header: str) -> str | None:
    """Return which column of our own table a header names, in our own spelling."""
    folded = "_".join(header.casefold().split())
    spaced = folded.replace("_", " ")
    return _OWN.get(folded) or _COLOURS.get(spaced) or {"color": "colour"}.get(folded)


def is_note(header: str) -> bool:
    """Whether a column of our own table with this name would be a note."""
    return known_name(header) is None and wavelength(header) is None


@lru_cache(maxsize=4096)
def meaning_of(header: str) -> str | None:
    """Return what a column holds, by our own names and by those of shops; None if not known."""
    if own := known_name(header):
        return own
    if len(header) > 80:
        return None
    text = plain(header)
    if found := _MEANINGS.get(text) or _OWN.get(text):
        return found
    without = plain(re.sub(r"[(\[][^)\]]*[)\]]", " ", header))
    if without and without != text:
        return _MEANINGS.get(without) or _OWN.get(without) or _COLOURS.get(without)
    return None


@lru_cache(maxsize=4096)
def near_meaning(header: str) -> str | None:
    """Return what a misspelt name of a column may stand for."""
    text = plain(header)
    if not 4 <= len(text) <= 40 or text in _COLOURS or any(c.isdigit() for c in text):
        return None
    names = {**_MEANINGS, **_OWN}
    best = get_close_matches(text, [n for n in names if len(n) >= 4], 1, cutoff=0.82)
    return names[best[0]] if best else None


@lru_cache(maxsize=8192)
def wavelength(header: str) -> tuple[float, str | None, bool] | None:
    """Return wavelength [nm], declared scale, and whether it is in nm; None for another column."""
    match = _SPECTRAL.fullmatch(header) if len(header) <= 40 else None
    if match is None:
        return None
    nm, word = float(match["nm"]), match["word"].casefold()
    in_nm = (match["unit"] or "nm").casefold() == "nm" and 300 <= nm <= 900
    # R1, R2 … are some other numbering; bare 0.4 or 4000 look like wavelengths all the same
    letter = word.strip("_ ") == "r"
    counts = letter or (word == "" and (nm < 0.3 or 1 <= nm < 300))
    if counts and not in_nm and not match["unit"]:
        return None
    scale = "unit" if "dec" in word else "percent" if "pct" in word or "%" in word else None
    if match["scale"]:
        scale = scale_of(match["scale"]) or scale
    return nm, scale, in_nm


def scale_of(text: str) -> str | None:
    """Return ``unit`` or ``percent`` for the words of a reflectance scale."""
    folded = " ".join(text.casefold().split()).strip("()[] ").replace(" - ", "-")
    return _SCALES.get(folded) or _SCALES.get(folded.replace(" ", ""))


@lru_cache(maxsize=4096)
def viewing_words(text: str) -> dict[str, str]:
    """Return illuminant, observer and geometry as a text has them: ``D50/2°``, ``SCI``, ``15°``."""
    found: dict[str, str] = {}
    if len(text) > 200:
        return found
    rest = text
    if match := re.search(r"(?<!\d)(45|0)\s*°?\s*[:/]\s*(0|45)\s*°?(?![\d:/])\w?", rest):
        if match[1] != match[2]:
            found["geometry"] = f"{match[1]}:{match[2]}"
            rest = rest.replace(match[0], " ")
    elif match := re.search(r"\b(d[ie]?|[08])\s*°?\s*[:/]\s*(d[ie]?|[08])\s*°?", rest, re.I):
        pair = (match[1].lower(), match[2].lower())
        if pair[0].isdigit() != pair[1].isdigit():
            found["geometry"] = ":".join(pair)
            rest = rest.replace(match[0], " ")
    if mode := re.search(
        r"\b(sci|rsin|spin|spec(?:ular)?\.?[ _-]*incl?(?:uded)?)\b|"
        r"\b(sce|rsex|spex|spec(?:ular)?\.?[ _-]*excl?(?:uded)?)\b",
        rest,
        re.I,
    ):
        ends = found.get("geometry", "d:8").replace("i", "").replace("e", "")
        found["geometry"] = ends.replace("d", "di" if mode[1] else "de")
        rest = rest.replace(mode[0], " ")
    if light := _LIGHT.search(rest) or re.fullmatch(r"\s*(A)\s*", rest):
        found["illuminant"] = LIGHT_NAMES[light[1].replace(" ", "").casefold()]
    if field := _FIELD.search(rest):
        found["observer"] = field["deg"] or field["bare"]
    if "geometry" not in found and (angle := _NEAR_FLOP.search(rest)):
        value = int(angle[1] or angle[2])
        if angle[1] or value in _ASPECULAR:
            found["geometry"] = f"45as{value}"
    return found


def settings_in(text: str) -> dict[str, str]:
    """Return the words of light and geometry in a title: a light counts only with its observer."""
    found = viewing_words(text)
    if ("illuminant" in found) != ("observer" in found):
        return {k: v for k, v in found.items() if k == "geometry"}
    return found
