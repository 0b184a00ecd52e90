"""Cautions name their sources, defer, and never call an exposure safe."""

import re

import pytest

from matchlib.cautions import BOOTH_PROMPTS, CAUTIONS, DEFERENCE


def test_what_must_be_covered():
    assert {c.key for c in CAUTIONS} >= {
        "isocyanates",
        "respirators",
        "ventilation",
        "ignition",
        "waste",
    }
    assert {p.key for p in BOOTH_PROMPTS} >= {"stir", "stand", "strain", "flash"}


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda c: c.key)
def test_each_caution_has_a_public_source(caution):
    assert any(re.search(r"CFR|HSE|NIOSH|OSHA", s) for s in caution.sources)


@pytest.mark.parametrize(
    "source",
    ["1910.94(c)", "1910.107", "1910.134", "HHHHHH", "HSE", "NIOSH"],
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
