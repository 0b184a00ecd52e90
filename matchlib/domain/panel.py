"""A recipe, and the panel that was sprayed by it."""

from __future__ import annotations

import datetime as dt
import math
import unicodedata
from dataclasses import dataclass

from matchlib.domain.blend import Colour, Ground
from matchlib.domain.parts import clean_name
from matchlib.domain.reading import Reading
from matchlib.domain.schedule import CoatSchedule
from matchlib.errors import DomainError

__all__ = ["Panel", "Recipe"]

_MAX_TEXT = 10_000
_NO_CLEAR = {"", "no", "none", "n", "0", "false"}
_SOME_CLEAR = {"yes", "y", "1", "true"}


@dataclass(frozen=True, slots=True)
class Recipe:
    """What was, or would be, sprayed.

    Parameters
    ----------
    ground : Ground
        The opaque coat below.
    colour : Colour, optional
        The transparent colour; None for a bare ground.
    schedule : CoatSchedule, optional
        The colour coats; None for a bare ground.
    clear : str, optional
        ``yes`` or the clear coat's name; None for no clear coat.
    """

    ground: Ground
    colour: Colour | None = None
    schedule: CoatSchedule | None = None
    clear: str | None = None

    def __post_init__(self) -> None:
        if (self.colour is None) != (self.schedule is None):
            raise DomainError(
                "A recipe has a colour and coats, or neither.",
                expected="both, or neither for a bare ground",
                got="coats without a colour" if self.colour is None else "a colour without coats",
                remedy="fill in what is missing.",
            )
        clear = " ".join(str(self.clear or "").split())
        if clear.casefold() in _NO_CLEAR:
            object.__setattr__(self, "clear", None)
        elif clear.casefold() in _SOME_CLEAR:
            object.__setattr__(self, "clear", "yes")
        else:
            object.__setattr__(self, "clear", clean_name(clear, "clear coat"))

    @property
    def bare(self) -> bool:
        """Whether it is a ground without colour."""
        return self.colour is None

    @property
    def words(self) -> str:
        """The recipe in words, for the back of the panel."""
        clear = "" if self.clear is None else ", under clear coat"
        if self.clear not in (None, "yes"):
            clear += f" {self.clear}"
        if self.colour is None or self.schedule is None:
            return f"{self.ground}, bare{clear}"
        return f"{self.colour} over {self.ground}: {self.schedule.words}{clear}"

    def __str__(self) -> str:
        if self.colour is None:
            return f"{self.ground}, bare"
        return f"{self.colour} over {self.ground}, {self.schedule}"


@dataclass(frozen=True, slots=True)
class Panel:
    """A sprayed panel: its code, its recipe as written on the back, its readings.

    Parameters
    ----------
    code : str
        The panel's own code.
    recipe : Recipe
        As written on the back.
    readings : tuple of Reading
        Repeat readings stay repeats.
    date : datetime.date, optional
        Sprayed on.
    sprayer, lot, note, customer : str
        As written on the back, without outer blanks; empty where not.
    temperature : float, optional
        Booth air [°C].
    humidity : float, optional
        Booth relative humidity [%].
    extra : tuple of (str, str)
        Columns of the file that have no meaning here, kept as they came: by name, in the
        order of names, empty ones left out.
    """

    code: str
    recipe: Recipe
    readings: tuple[Reading, ...] = ()
    date: dt.date | None = None
    sprayer: str = ""
    lot: str = ""
    note: str = ""
    customer: str = ""
    temperature: float | None = None
    humidity: float | None = None
    extra: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        code = " ".join(str(self.code).split())
        if not code or len(code) > 80 or not code.isprintable():
            raise DomainError(
                "This is not a usable panel code.",
                expected="1 to 80 printable characters",
                got=repr(str(self.code)[:100]),
                remedy="give the panel the code written on its back.",
            )
        object.__setattr__(self, "code", code)
        for what in ("sprayer", "lot", "note", "customer"):
            object.__setattr__(self, what, _clean_text(getattr(self, what), what))
        extra = {
            " ".join(_clean_text(k, "column name").split()): _clean_text(v, k)
            for k, v in self.extra
        }
        kept = tuple(sorted((k, v) for k, v in extra.items() if k and v))
        object.__setattr__(self, "extra", kept)
        for what, value, low, high in (
            ("temperature", self.temperature, -20.0, 70.0),
            ("humidity", self.humidity, 0.0, 100.0),
        ):
            if value is not None and not (math.isfinite(value) and low <= value <= high):
                raise DomainError(
                    f"This booth {what} is not possible.",
                    expected=f"{low:g} to {high:g}",
                    got=f"{value:g}",
                    remedy="leave it empty if it was not read.",
                )


def _clean_text(text: object, what: str) -> str:
    # One form of free text, so that a panel comes back from a file or an archive as it went in.
    clean = str(text).replace("\r\n", "\n").replace("\r", "\n").strip()
    odd = [c for c in clean if unicodedata.category(c) in ("Cc", "Cs") and c not in "\n\t"]
    odd += [c for c in clean if c in "\x85\u2028\u2029\ufffe\uffff"]
    if odd or len(clean) > _MAX_TEXT:
        raise DomainError(
            f"The {what[:80]} of this panel is not plain text.",
            expected=f"at most {_MAX_TEXT} characters, none of them a control character",
            got=f"{len(clean)} characters" + (f" with {odd[0]!r}" if odd else ""),
            remedy="write it again in plain words.",
        )
    return clean
