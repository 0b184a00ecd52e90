"""The trade's words, troubles and reading protocol: whole, linked once, and nothing that shouts."""

from __future__ import annotations

import html
import itertools
import re
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib.trade import GLOSSARY, PROTOCOL, TROUBLES, first_places
from matchlib.trade.protocol import readings_needed
from workbook.figures import glossary_list, linked, protocol_list, trouble_list


def test_the_words_that_must_be_there() -> None:
    words = {t.word for t in GLOSSARY}
    assert words >= {
        "ground coat", "carrier", "let-down", "flash-off", "mottle", "value", "flop",
        "candy apple", "overlap", "pot life", "tack cloth", "recoat window",
    }  # fmt: skip
    assert len(words) == len(GLOSSARY)
    spellings = [w.casefold() for t in GLOSSARY for w in (t.word, *t.also)]
    assert len(set(spellings)) == len(spellings)


@pytest.mark.parametrize("term", GLOSSARY, ids=lambda t: t.word)
def test_each_word_has_one_sentence_and_a_swatch(term) -> None:
    assert term.meaning.endswith(".")
    assert not re.search(r"[.!?] [A-Z]", term.meaning)
    assert 1 <= len(term.labs) <= 4
    assert all(0 <= lab[0] <= 100 for lab in term.labs)


def test_candy_apple_is_candy_over_gold() -> None:
    meaning = next(t.meaning for t in GLOSSARY if t.word == "candy apple")
    assert "over gold" in meaning


@given(st.text(max_size=60), st.lists(st.sampled_from(GLOSSARY), max_size=6))
def test_each_word_is_linked_once_and_the_text_stays(start: str, terms) -> None:
    text = start + " " + " and ".join(t.word for t in (*terms, *terms))
    places = first_places(text)
    assert len({t.word for _, _, t in places}) == len(places)
    assert all(a[1] <= b[0] for a, b in itertools.pairwise(places))
    for begin, end, term in places:
        assert text[begin:end].casefold() in {w.casefold() for w in (term.word, *term.also)}
    drawn = linked(f"<p>{html.escape(text)}</p>")
    assert drawn.count("<a ") == len(places)
    assert html.unescape(re.sub(r"<[^>]+>", "", drawn)) == text


def test_a_word_is_linked_where_it_first_stands_and_in_each_fold_that_lacks_it() -> None:
    fold = "<details><summary>the flop</summary><p>a flop of flake</p></details>"
    above = linked(f"<p>a flop and a flop</p>{fold}{fold}")
    assert above.count(">flop</a>") == 1
    assert above.count(">flake</a>") == 2, "folds beside each other have their own first words"
    assert linked(fold).count(">flop</a>") == 1, "and not in what is pressed"


@pytest.mark.parametrize("kept", ["<b>{}</b>", '<a href="x">{}</a>', "<table><td>{}</td></table>"])
def test_names_presses_and_figures_are_left_alone(kept: str) -> None:
    page = f"<p>{kept.format('gold flake')}</p>"
    assert linked(page) == page
    assert ">flake</a>" in linked(f"{page}<p>Flake, or flake.</p>").casefold()


def test_what_went_wrong_and_the_glossary_itself_are_left_alone() -> None:
    assert "<a" not in linked('<p role="alert">No ground.</p>')
    assert "<a" not in linked(f"<section>{glossary_list()}</section>")


def test_a_link_leads_to_its_word() -> None:
    there = set(re.findall(r'id="([^"]+)"', glossary_list()))
    assert len(there) == len(GLOSSARY)
    for drawn in (trouble_list(), protocol_list(), "<p>The flash-off of a ground coat.</p>"):
        led = set(re.findall(r'words&amp;word=([^"]+)" title="[^"]', linked(drawn)))
        assert led
        assert led <= there


@pytest.mark.parametrize(
    "key", ["stripes", "mottle", "dry", "spit", "edges", "drop", "recoat", "tack"]
)
def test_each_trouble_says_what_to_check_first(key: str) -> None:
    trouble = next(t for t in TROUBLES if t.key == key)
    assert len(trouble.check) >= 2
    assert trouble.rescue


def test_the_protocol_covers_what_makes_readings_differ() -> None:
    assert [s.key for s in PROTOCOL][:2] == ["white", "dry"]
    assert {s.key for s in PROTOCOL} >= {
        "clear",
        "temperature",
        "places",
        "turn",
        "light",
        "face-flop",
    }
    assert all(s.ask and s.source for s in PROTOCOL)


@given(st.floats(0.01, 5), st.floats(0.02, 5), st.floats(0.5, 0.99))
def test_so_many_readings_hold_the_mean_and_one_fewer_does_not(
    sd: float, within: float, confidence: float
) -> None:
    n = readings_needed(sd, within=within, confidence=confidence)

    def held(count: int) -> float:
        return 2 * NormalDist().cdf(within * count**0.5 / sd) - 1

    assert held(n) >= confidence - 1e-6
    if n > 3:
        assert held(n - 1) < confidence + 1e-6
