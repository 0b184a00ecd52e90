"""Cautions name their sources, defer, and never call an exposure safe."""

import re

import pytest

from matchlib.cautions import BOOTH_PROMPTS, CAUTIONS, DEFERENCE, STEPS, cautions_at
from matchlib.errors import DomainError
from matchlib.mixing import ACTIVATED


def test_what_must_be_covered():
    assert {c.key for c in CAUTIONS} >= {
        "isocyanates",
        "respirators",
        "ventilation",
        "ignition",
        "waste",
        "eyes-skin",
        "symptoms",
        "dust",
        "training",
    }
    assert {p.key for p in BOOTH_PROMPTS} >= {"stir", "strain", "gun", "overlap", "flash"}


@pytest.mark.parametrize("step", STEPS)
def test_each_step_has_its_cautions(step):
    there = {c.key for c in cautions_at(step)}
    assert there
    wanted = {"mix": "eyes-skin", "spray": "isocyanates", "sand": "dust", "clean": "waste"}
    assert wanted[step] in there
    assert all(c.first.count(".") >= 1 and c.text.startswith(c.first[:-1]) for c in CAUTIONS)
    with pytest.raises(DomainError):
        cautions_at("dance")


def test_activated_paint_is_the_exception_to_closed_containers():
    waste = next(c for c in CAUTIONS if c.key == "waste")
    assert "vented" in waste.text
    assert "seal" in ACTIVATED


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda c: c.key)
def test_each_caution_has_a_public_source(caution):
    assert any(re.search(r"CFR|HSE|NIOSH|OSHA", s) for s in caution.sources)


@pytest.mark.parametrize(
    "source",
    ["1910.94(c)", "1910.107", "1910.134", "HHHHHH", "HSE", "NIOSH", "2020/1149", "COSHH"],
)
def test_each_agency_source_is_named(source):
    assert any(source in s for c in CAUTIONS for s in c.sources)


def test_nothing_is_called_safe():
    words = " ".join([*(c.text for c in CAUTIONS), *(p.text for p in BOOTH_PROMPTS)])
    assert not re.search(r"\b(is|are) safe\b|\bsafe (level|limit|exposure)\b", words)
    assert "safety data sheet" in DEFERENCE
    assert "local codes" in DEFERENCE
    assert "licensed" in DEFERENCE


def test_prompts_ask_and_do_not_command():
    assert all("?" in p.text and p.source for p in BOOTH_PROMPTS)
