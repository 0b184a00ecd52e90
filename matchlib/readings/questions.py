"""What a file leaves open, asked once for the file, with what each answer would mean.

What is known of a file before it is read is `Stated`.

Whoever reads a file calls `Asking.answer` where it needs to know. An answer that was given (typed,
from a file of answers, or from the profile of an earlier file of the kind) is returned; without
one the question is kept with the rows that wait for it, and `Undecided` leaves that row aside.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from matchlib.domain import Panel
from matchlib.errors import FileError

__all__ = ["Asking", "Choice", "Question", "Stated", "Undecided", "read_answers"]

_MOST_ROWS = 1_000
_MOST_QUESTIONS = 200


class Undecided(Exception):  # noqa: N818  a row waiting for an answer is no error
    """A row cannot be read before the question of this key is answered."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One possible answer."""

    SHOWN: ClassVar = (("answer", "key"), "text", "means")

    key: str  # what is given as the answer
    text: str  # in words
    means: str = ""  # what it would make of the first row that waits for it; may be empty


@dataclass(slots=True)
class Question:
    """What a file leaves open.

    Parameters
    ----------
    key : str
        By which it is answered: ``light``, ``order``, ``name:ground:slver`` …
    text : str
        The question, with what in the file raises it.
    choices : sequence of Choice
        The possible answers, at least one.
    default : str, optional
        What holds without an answer, where that changes no colour; None where one must answer.
    rows : list of int
        The rows that it touches, as their user counts; at most 1,000 are listed.
    answer : str, optional
        The answer that was given.

    Examples
    --------
    >>> asked = Question("decimal", "Which sign parts the decimals?", (Choice(".", "a point"),))
    >>> asked.open
    True
    """

    SHOWN: ClassVar = (
        *("key", ("question", "text"), "choices"),
        *(("rows", lambda q: dict.fromkeys(q.rows).keys()), ("assumed", "default"), "answer"),
    )

    key: str
    text: str
    choices: Sequence[Choice]
    default: str | None = None
    rows: list[int] = field(default_factory=list)
    answer: str | None = None

    @property
    def open(self) -> bool:
        """Whether nothing can be taken before it is answered."""
        return self.answer is None and self.default is None

    def words(self) -> str:
        """Return the question in plain words, a line a choice.

        Returns
        -------
        str
            Without a line end at the last line.
        """
        lines = [f"[{self.key}] {self.text}"]
        for choice in self.choices:
            mark = " (taken unless you say otherwise)" if choice.key == self.default else ""
            means = f" – {choice.means}" if choice.means else ""
            lines.append(f"    --answer '{self.key}={choice.key}': {choice.text}{means}{mark}")
        return "\n".join(lines)


@dataclass(frozen=True, slots=True)
class Stated:
    """What the caller says of a file.

    Parameters
    ----------
    facts : mapping of str to str
        What holds where the file says nothing: ``illuminant``, ``observer``, ``geometry``,
        ``source``, ``instrument``.
    decimal : str, optional
        Decimal sign, ``.`` or ``,``; None to find it in the file.
    scale : str, optional
        Reflectance scale, ``unit`` or ``percent``; None to find it or ask.
    names : mapping of str to iterable of str
        Names known already, by ``ground`` and ``colour``.
    panels : mapping of str to Panel
        Panels known already, by code: readings without a back may be of one of them.

    Examples
    --------
    >>> Stated(facts={"illuminant": "D65"}, decimal=",").decimal
    ','
    """

    facts: Mapping[str, str] = field(default_factory=dict)
    decimal: str | None = None
    scale: str | None = None
    names: Mapping[str, Iterable[str]] = field(default_factory=dict)
    panels: Mapping[str, Panel] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.decimal not in (".", ",", None):
            raise FileError(
                "This decimal sign is not known.",
                expected=". or ,",
                got=repr(self.decimal),
                remedy="declare what the file has.",
            )


class Asking:
    """The questions of one file, and the answers given so far.

    Parameters
    ----------
    answers : mapping of str to str, optional
        Answer by key of question; those that the file does not ask are not looked at.
    """

    def __init__(self, answers: Mapping[str, str] | None = None) -> None:
        self.answers = dict(answers or {})
        self._asked: dict[str, Question] = {}

    @property
    def questions(self) -> tuple[Question, ...]:
        """All that was asked, in order; those that are open come first."""
        return tuple(sorted(self._asked.values(), key=lambda q: not q.open))

    def answer(self, question: Question, row: int | None = None) -> str:
        """Return the answer to a question, or what holds without one; it is asked but once."""
        key = question.key
        if key in self._asked:
            question = self._asked[key]
        else:
            if len(self._asked) >= _MOST_QUESTIONS:
                raise FileError(
                    "This file leaves too much open.",
                    expected=f"at most {_MOST_QUESTIONS} questions",
                    remedy="clean it up in a spreadsheet first.",
                )
            given = self.answers.get(key)
            if given is not None:
                question.answer = _chosen(question, str(given))
            self._asked[key] = question
        if row is not None and len(question.rows) < _MOST_ROWS:
            question.rows.append(row)
        found = question.answer or question.default
        if found is None:
            raise Undecided(key)
        return found

    def settled(self, key: str) -> str | None:
        """Return what was answered or holds for a question that was asked, else None."""
        question = self._asked.get(key)
        return (question.answer or question.default) if question else None


def read_answers(text: str, where: str) -> dict[str, str]:
    """Read a file of answers.

    Parameters
    ----------
    text : str
        A JSON object of answers by key of question.
    where : str
        Its name, for the error.

    Returns
    -------
    dict of str to str
        The answers.

    Raises
    ------
    FileError
        If it is anything else.

    Examples
    --------
    >>> read_answers('{"light": "D65/10"}', "answers.json")
    {'light': 'D65/10'}
    """
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict) or not all(isinstance(v, str) for v in found.values()):
        raise FileError(
            "This is not a file of answers.",
            expected='a JSON object such as {"light": "D65/10", "order": "carrier"}',
            remedy="see the keys and answers that import --dry-run --json lists under unsure.",
            where=where,
        )
    return {str(k): v for k, v in found.items()}


def _chosen(question: Question, given: str) -> str:
    for choice in question.choices:
        if choice.key.casefold() == given.strip().casefold():
            return choice.key
    raise FileError(
        f"This is no answer to the question {question.key!r}: {question.text}",
        expected=" or ".join(c.key for c in question.choices)[:300],
        got=repr(given[:60]),
        remedy="give one of these.",
    )
