"""CxF3: what is read of it, and what is not let in."""

from __future__ import annotations

import builtins
import sys
from functools import partial

import pytest

from matchlib.domain import CoatSchedule, Viewing
from matchlib.errors import FileError, MatchlibError
from matchlib.readings import cxf, read_file, read_target
from tests.fuzz.mutate import seeds_of

SAMPLE = seeds_of("cxf")[0].decode()


@pytest.fixture
def made(table):
    return partial(table, name="t.cxf")


def test_a_recipe_rides_along_in_tags(made):
    (panel,) = read_file(made(SAMPLE.replace('"Colour"', '"Color"'))).panels
    assert panel.recipe.words.startswith("teal over silver")
    assert panel.recipe.schedule == CoatSchedule.parse("4@6:1")
    (reading,) = panel.readings
    assert reading.viewing == Viewing("D50", "2", "45:0")
    assert reading.wavelengths == tuple(map(float, range(400, 701, 20)))
    assert set(reading.reflectance) == {0.25}


def test_other_tags_are_kept_as_notes(made):
    text = SAMPLE.replace(
        "</cc:TagCollection>", '<cc:Tag Name="Bay" Value="=4"/></cc:TagCollection>'
    )
    assert read_file(made(text)).panels[0].extra == (("Bay", "=4"),)


def test_several_readings_of_one_name_are_repeats(made):
    one = SAMPLE[SAMPLE.index("<cc:Object ") : SAMPLE.index("</cc:ObjectCollection>")]
    text = SAMPLE.replace(
        "</cc:ObjectCollection>", one.replace('Id="1"', 'Id="2"') + "</cc:ObjectCollection>"
    )
    assert len(read_file(made(text)).panels[0].readings) == 2
    assert len(read_target(made(text))) == 2


def geometry(inner):
    start, end = SAMPLE.index("<cc:SingleAngle>"), SAMPLE.index("</cc:GeometryChoice>")
    return SAMPLE[:start] + inner + SAMPLE[end:]


ANGLE = (
    '<cc:BRDFAngle Notation="{n}"><cc:IlluminationAngle>45</cc:IlluminationAngle>'
    "<cc:Aspecular>{a}</cc:Aspecular></cc:BRDFAngle>"
)


@pytest.mark.parametrize(
    ("inner", "wanted"),
    [
        ("<cc:SphereGeometry>Specular_Included</cc:SphereGeometry>", "di:8"),
        ("<cc:SphereGeometry>Specular_Excluded</cc:SphereGeometry>", "de:8"),
        (f"<cc:MultiAngle>{ANGLE.format(n='x', a=15)}</cc:MultiAngle>", "45as15"),
        (f"<cc:MultiAngle>{ANGLE.format(n='x', a=-15)}</cc:MultiAngle>", "45as-15"),
    ],
)
def test_geometries(made, inner, wanted):
    assert read_target(made(geometry(inner)))[0].viewing.geometry == wanted


def test_angles_are_told_apart_by_their_notation(made):
    text = geometry(
        f"<cc:MultiAngle>{ANGLE.format(n='near', a=15)}{ANGLE.format(n='far', a=75)}"
        "</cc:MultiAngle>"
    )
    with pytest.raises(MatchlibError, match="geometry is not known"):
        read_target(made(text))
    named = text.replace('StartWL="400" ColorS', 'Name="far" StartWL="400" ColorS')
    named = named.replace("<cc:ColorCIELab C", '<cc:ColorCIELab Name="far" C')
    assert read_target(made(named))[0].viewing.geometry == "45as75"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda t: t.replace('Increment="20"', ""), "does not state"),
        (lambda t: t.replace("0.25 ", "25 "), "look like percent"),
        (lambda t: t.replace("0.25 ", "x "), "not a number"),
        (lambda t: t.replace("0.25 ", "NaN "), "not a number"),
        (lambda t: t.replace('"silver"', '""'), "no column ground"),
        (lambda t: t[:900], "not a CxF3 file"),
        (lambda t: "<html></html>", "holds no reflectance"),
        (
            lambda t: t.replace("ReflectanceSpectrum", "EmissiveSpectrum").replace(
                "CIELab", "CIELuv"
            ),
            "CxF",
        ),
    ],
)
def test_what_is_wrong_is_said(made, change, words):
    with pytest.raises(MatchlibError, match=words):
        read_file(made(change(SAMPLE)))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize(
    "declaration",
    [
        '<!DOCTYPE x [<!ENTITY f SYSTEM "{secret}">]>',
        '<!DOCTYPE x SYSTEM "http://localhost/x.dtd">',
        '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY f "&a;&a;&a;&a;">]>',
    ],
)
def test_no_entity_gets_in(made, tmp_path, monkeypatch, encoding, declaration):
    secret = tmp_path / "secret.txt"
    secret.write_text("silver")
    text = SAMPLE.replace('encoding="UTF-8"', f'encoding="{encoding}"')
    text = text.replace("?>\n", "?>\n" + declaration.format(secret=secret), 1)
    path = made(text.replace(">me<", ">&f;<").encode(encoding))
    monkeypatch.setattr(cxf, "_parse", lambda data: pytest.fail("the parser saw the file"))
    with pytest.raises(FileError, match="document type"):
        read_file(path)


def test_a_large_file_is_refused_unparsed(made, monkeypatch):
    monkeypatch.setattr(cxf, "_parse", lambda data: pytest.fail("the parser saw the file"))
    with pytest.raises(FileError, match="too large"):
        read_file(made(SAMPLE + " " * cxf.MAX_CXF_BYTES))


def test_without_the_extra_the_remedy_is_named(made, monkeypatch):
    real = builtins.__import__

    def refuse(name, *rest):
        if name.startswith("colour_cxf"):
            raise ImportError(name)
        return real(name, *rest)

    for name in [n for n in sys.modules if n.startswith("colour_cxf")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.raises(FileError, match=r"candy-panel-workbook\[cxf\]"):
        read_file(made(SAMPLE))
