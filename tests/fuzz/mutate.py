"""Seeds for every reader, and the ways in which they are broken."""

from __future__ import annotations

import io
import random
import re
import zipfile

from openpyxl import Workbook

from tests.tools.hostile_pictures import seeds as pictures

__all__ = ["READERS", "mutated", "seeds_of"]

READERS = ("table", "shop", "recipes", "target", "cgats", "xlsx", "ods", "cxf", "photo", "raw")
_PICTURES = ("photo", "raw")
_BINARY = ("xlsx", "ods", *_PICTURES)

_NM = list(range(400, 701, 20))
_TABLE = """panel,ground,colour,schedule,ratio,coats,clear,source,illuminant,observer,geometry,\
L,a,b,date,sd,bay
P1,silver,,,,,yes,spectrophotometer,D65,10,45:0,80,0,1,2025-01-02,0.2,x
P1,silver,,,,,yes,,D65,10,45:0,80.2,0,1,2025-01-02,,y
P2,silver 3 + black 1,teal,4@6:1,6:1,4,no,photo,A,2,45as15,40,-20,-20.5,,,"=1+1"
P3,gold,teal 2 + violet 1,2@6:1 2@2.5:1,,,satin,,F11,10,di:8,40,-20,-20,,,"two
lines"
"""
_SPECTRA = (
    "panel,ground,colour,ratio,coats,scale,"
    + ",".join(map(str, _NM))
    + "\nQ1,gold,red,3:1,2,0-1,"
    + ",".join(f"{0.1 + i / 50:.3f}" for i in range(16))
    + "\ntile:white,,,,,percent,"
    + ",".join("95.5" for _ in _NM)
    + "\n"
)
_ROWS = "wavelength (nm),A,B\nground,silver,gold\n" + "".join(f"{w},0.2,0.3\n" for w in _NM)
_RECIPES = """ground;colour;ratio;coats;panel;schedule
gold;teal;6:1;4;R1;
silver 3 + black 1;teal 2 + violet 1;;;R2;2@6:1 2@3:1
gold;;;;R3;
"""
_TARGET = "L\ta\tb\tilluminant\tobserver\n40\t1\t2\tD65\t10\n41\t1\t2\tD65\t10\n"
_CGATS = """CGATS.17
ORIGINATOR "someone" # comment
KEYWORD "GROUND"
GROUND "silver"
WEIGHTING_FUNCTION "ILLUMINANT, D50"
WEIGHTING_FUNCTION "OBSERVER, 2 degree"
NUMBER_OF_FIELDS 7
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B COLOUR SCHEDULE
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
1 P1 45 2 3 "" ""
2 P2 45 2 3 "teal 2 + violet 1" 4@6:1
END_DATA
BEGIN_DATA_FORMAT
SAMPLE_ID XYZ_X XYZ_Y XYZ_Z
END_DATA_FORMAT
BEGIN_DATA
S0 41 43 35
END_DATA
"""
_CGATS_SPECTRA = (
    'CGATS.17\nSCALE "0-1"\nGROUND gold\nBEGIN_DATA_FORMAT\nSAMPLE_ID '
    + " ".join(f"SPECTRAL_NM{w}" for w in _NM)
    + "\nEND_DATA_FORMAT\nBEGIN_DATA\nS1 "
    + " ".join("0.25" for _ in _NM)
    + "\nEND_DATA\n"
)
_CGATS_PAIRS = (
    "CGATS.17\r\nGROUND gold\r\nBEGIN_DATA_FORMAT\r\nSAMPLE_ID "
    + "SPECTRAL_NM SPECTRAL_PCT " * 16
    + "\r\nEND_DATA_FORMAT\r\nBEGIN_DATA\r\nS1 "
    + " ".join(f"{w} 25" for w in _NM)
    + "\r\nEND_DATA\r\n"
)
_CXF = """<?xml version="1.0" encoding="UTF-8"?>
<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core">
<cc:FileInformation><cc:Creator>me</cc:Creator></cc:FileInformation>
<cc:Resources><cc:ObjectCollection>
<cc:Object ObjectType="Standard" Name="P1" Id="1"><cc:ColorValues>
<cc:ColorCIELab ColorSpecification="C"><cc:L>50</cc:L><cc:A>1</cc:A><cc:B>2</cc:B></cc:ColorCIELab>
<cc:ReflectanceSpectrum StartWL="400" ColorSpecification="C">{values}</cc:ReflectanceSpectrum>
</cc:ColorValues><cc:TagCollection Name="r"><cc:Tag Name="Ground" Value="silver"/>
<cc:Tag Name="Colour" Value="teal"/><cc:Tag Name="Schedule" Value="4@6:1"/></cc:TagCollection>
</cc:Object></cc:ObjectCollection><cc:ColorSpecificationCollection><cc:ColorSpecification Id="C">
<cc:TristimulusSpec><cc:Illuminant>D50</cc:Illuminant><cc:Observer>2_Degree</cc:Observer>
</cc:TristimulusSpec><cc:MeasurementSpec><cc:GeometryChoice><cc:SingleAngle>
<cc:SingleAngleConfiguration>Annular</cc:SingleAngleConfiguration>
<cc:IlluminationAngle>45</cc:IlluminationAngle><cc:MeasurementAngle>0</cc:MeasurementAngle>
</cc:SingleAngle></cc:GeometryChoice><cc:WavelengthRange StartWL="400" Increment="20"/>
</cc:MeasurementSpec></cc:ColorSpecification></cc:ColorSpecificationCollection>
</cc:Resources></cc:CxF>
""".format(values=" ".join("0.25" for _ in _NM))

_SHOP = """Export of the bench;;;
Instrument: sphere;;;
Illuminant: D65;;;
Observer;10°;;
Mode;SCE;;

Card;Base;Candy;Mix;Coats;L*;a*;b*;Sprayed;Temp;Who
A1;silver;red;6 to 1;4;41,5;38,2;21,0;03.04.2025;22;JK
A2;;red;4 oz in 40;3;39,9;41,7;25,3;28.04.2025;21;JK
A3;slver;red;2c 6:1 + 1c 3:1;;38,9;41,7;25,3;28.04.2025;21;JK
A4;gold;;;;71,2;3,4;28,9;28.04.2025;75;MB
All panels cleared the next day;;;
"""
_ANGLES = """Panel,Base,Mix and coats,Dye,15°,,,45°,,
,,,,L*,a*,b*,L*,a*,b*
B1,silver,6:1 x3 then 3:1 x2,teal,80,-20,-20,40,-30,-30
B1,silver,6:1 x3 then 3:1 x2,teal,80,-20,-20,40,-30,-30
"""
_DOWN = (
    "Card;P7;P8\nBase;silver;white\nCandy;;violet\nSprayed as;;4c 5:1\nMode;SCI;SCI\n"
    + "".join(f"{w} nm;{20 + w / 50};{10 + w / 40}\n" for w in _NM)
)

_NASTY = [
    "", " ", "nan", "inf", "-inf", "1e999", "-1e-999", "-0", "1e308", "0x10", "1_000", "٣", "４",
    "99999999999999999999999999", "-1", "0", "101", "4.5", "45,3", "1.234,5", "½", "²", "1e5",
    "6:1", "06:01", "6:01:00", "1:0", "0:0", "0:1", "9999999:1", "1 colour : 6 carrier", ":", "@",
    "4@6:1", "@6:1", "4@", "-2@6:1", "61@6:1", "2@6:1 2@", "4@6:1" * 50, "silver +", "+",
    "a 0 + b 1", "a 1 + a 1", "=1+1", "'=1", "'", '"', '""', "\x00", "\ufeff", "\ud7ff", "\u202e",
    "é", "\x85", "2025-13-45", "03/04/2025", "0000-00-00", "D65", "d50", "F12", "10", "2°",
    "45as15", "45as999", "none", "photo", "percent", "0-1", "%", "white", "tile:", "400", "400nm",
    "4000", "0.4", "R400", "BEGIN_DATA", "END_DATA", "BEGIN_DATA_FORMAT", "END_DATA_FORMAT",
    "NUMBER_OF_SETS 3", "#", "SPECTRAL_NM", "SPECTRAL_PCT", "NUMBER_OF_FIELDS -1", "KEYWORD",
    "LAB_L", "XYZ_X", "NEWLINE", "<", "&", "&amp;", "&x;", "<!DOCTYPE a>", "]]>", "<a/>",
    "</cc:Object>", "A" * 5000, "\n", "\r", "Base", "Mix", "Card", "4 to 1", "4-1", "8/1",
    "4 oz in 40", "4c 5:1", "6:1 x3 then 3:1 x2", "1:1:1", "2c", "x", "10%", "6-Jan", "25/04/2025",
    "April 3", "D50/2°", "SCI", "15°", "d:8", "1048576", "16384", "99999999",
    'table:number-columns-repeated="9999"', "R400 [%]", "0,5", "panel", "ground", "L", "l*",
    "scale", ",", ";", "\t", "sep=;", "\r\n\r\n", "1" * 400, "\\",
]  # fmt: skip
_TOKENS = re.compile(r"([,;\t \n\r\"<>=]+)")


def _xlsx() -> list[bytes]:
    found = []
    for text in (_TABLE, _SPECTRA):
        book = Workbook()
        sheet = book.active
        for line in text.splitlines():
            sheet.append([_number(c) for c in line.split(",")])
        stream = io.BytesIO()
        book.save(stream)
        found.append(stream.getvalue())
    return found


def _ods() -> list[bytes]:
    found = []
    for text, delimiter in ((_SPECTRA, ","), (_SHOP, ";")):
        rows = []
        for line in text.splitlines():
            cells = []
            for cell in line.split(delimiter):
                number = isinstance(_number(cell), float)
                kind = f'float" office:value="{cell}' if number else "string"
                stated = cell.replace("&", "&amp;").replace("<", "&lt;")
                cells.append(
                    f'<table:table-cell office:value-type="{kind}"><text:p>{stated}</text:p>'
                    "</table:table-cell>"
                )
            rows.append(f"<table:table-row>{''.join(cells)}</table:table-row>")
        names = "".join(
            f' xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"'
            for n in ("office", "table", "text", "style")
        )
        body = (
            f'<?xml version="1.0"?><office:document-content{names}><office:body>'
            f'<office:spreadsheet><table:table table:name="one">{"".join(rows)}'
            '<table:table-row table:number-rows-repeated="1048000"><table:table-cell '
            'table:number-columns-repeated="16384"/></table:table-row></table:table>'
            "</office:spreadsheet></office:body></office:document-content>"
        )
        stream = io.BytesIO()
        with zipfile.ZipFile(stream, "w") as made:
            made.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
            made.writestr("content.xml", body)
        found.append(stream.getvalue())
    return found


def _number(text: str) -> str | float:
    try:
        return float(text)
    except ValueError:
        return text


def seeds_of(reader: str) -> list[bytes]:
    """Return well-formed inputs of a reader."""
    texts = {
        "table": [_TABLE, _SPECTRA, _ROWS, _TABLE.replace(",", ";").replace(".", ",")],
        "recipes": [_RECIPES, _TABLE],
        "target": [_TARGET, _ROWS, _SPECTRA, _TABLE],
        "cgats": [_CGATS, _CGATS_SPECTRA, _CGATS_PAIRS],
        "cxf": [_CXF],
        "shop": [_SHOP, _ANGLES, _DOWN],
    }
    if reader == "xlsx":
        return _xlsx()
    if reader == "ods":
        return _ods()
    if reader in _PICTURES:  # a raw file is known by its ending
        return [d for n, d in pictures().items() if n.endswith(".dng") == (reader == "raw")]
    return [t.encode() for t in texts[reader]]


def mutated(seed: bytes, reader: str, rng: random.Random) -> bytes:
    """Return a seed broken in one to six places."""
    if reader in ("xlsx", "ods") and rng.random() < 0.8:
        return _mutated_parts(seed, rng)
    data = seed
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        if reader in _PICTURES:  # headers do most harm, and hold few of the bytes
            data = _by_byte(data, rng, within=rng.choice((32, 256, 1024, len(data))))
            continue
        text_like = reader not in _BINARY and rng.random() < 0.75
        data = _by_token(data, rng) if text_like else _by_byte(data, rng)
    if reader not in _BINARY and rng.random() < 0.03:
        data = data.decode("utf-8", "replace").encode(
            rng.choice(("utf-16", "utf-16-le", "utf-8-sig"))
        )
    return data


def _by_token(data: bytes, rng: random.Random) -> bytes:
    tokens = _TOKENS.split(data.decode("utf-8", "surrogateescape"))
    i = rng.randrange(len(tokens))
    move = rng.randrange(6)
    if move <= 2:
        tokens[i] = rng.choice(_NASTY)
    elif move == 3:
        tokens.insert(i, rng.choice(_NASTY))
    elif move == 4:
        j = rng.randrange(len(tokens))
        tokens[i], tokens[j] = tokens[j], tokens[i]
    else:
        del tokens[i : i + rng.randrange(1, 9)]
    return "".join(tokens).encode("utf-8", "surrogateescape")


def _by_byte(data: bytes, rng: random.Random, *, within: int | None = None) -> bytes:
    if not data:
        return rng.randbytes(rng.randrange(64))
    i = rng.randrange(min(len(data), within or len(data)))
    move = rng.randrange(5)
    if move == 0:
        return data[:i] + bytes([rng.randrange(256)]) + data[i + 1 :]
    if move == 1:
        return data[:i] + rng.randbytes(rng.randrange(1, 9)) + data[i:]
    if move == 2:
        return data[:i]
    if move == 3:
        return data[:i] + data[i + rng.randrange(1, 99) :]
    return data[:i] + data[i : i + rng.randrange(1, 200)] * rng.randrange(2, 9) + data[i:]


def _mutated_parts(seed: bytes, rng: random.Random) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(seed)) as old, zipfile.ZipFile(stream, "w") as new:
        names = old.namelist()
        # the sheet itself most often: it is where the cells are
        victim = rng.choice(
            [*names, *[n for n in names if "sheet1" in n or "shared" in n or "cont" in n] * 4]
        )
        for name in names:
            part = old.read(name)
            if name == victim:
                for _ in range(rng.choice((1, 1, 2, 4))):
                    part = _by_token(part, rng) if rng.random() < 0.8 else _by_byte(part, rng)
            new.writestr(name, part)
    return stream.getvalue()
