"""What went wrong, in words a technician can act on.

Every error that a user can cause is a `MatchlibError` and says four things where they apply: what
is the matter, what was expected, what came, and what to do; with the file and row when it came
from a file. Faces (command line, notebook) print ``str(error)`` and nothing else.
"""

from __future__ import annotations

__all__ = [
    "ArchiveError",
    "DomainError",
    "FileError",
    "FitError",
    "ImportRefused",
    "MatchlibError",
    "TargetError",
    "UnknownName",
]


class MatchlibError(ValueError):
    """The root of every error caused by what the user gave.

    Parameters
    ----------
    problem : str
        One sentence: what is the matter.
    expected, got : str, optional
        What would have been right, and what came instead; several lines stand apart.
    remedy : str, optional
        What to do now.
    where : str, optional
        File and row, or the field, in which it was found.

    Examples
    --------
    >>> error = MatchlibError("A coat is missing.", expected="at least one", remedy="add a coat.")
    >>> print(error)
    A coat is missing. Expected at least one. What to do: add a coat.
    """

    def __init__(
        self,
        problem: str,
        *,
        expected: str | None = None,
        got: str | None = None,
        remedy: str | None = None,
        where: str | None = None,
    ) -> None:
        self.problem = problem
        self.expected = expected
        self.got = got
        self.remedy = remedy
        self.where = where
        super().__init__(problem)

    def __str__(self) -> str:
        text = f"{self.where}: {self.problem}" if self.where else self.problem
        if self.expected:
            text += f" Expected {self.expected}."
        gap = " "
        if self.got and "\n" in self.got:  # what came, a line each
            text, gap = f"{text}\n{self.got.strip()}", "\n"
        elif self.got:
            text += f" Got {self.got}."
        if self.remedy:
            text += f"{gap}What to do: {self.remedy}"
            text += "" if text.endswith((".", "?", "!")) else "."
        return text

    def at(self, where: str) -> MatchlibError:
        """Return the same error with the place it was found in.

        Parameters
        ----------
        where : str
            File and row, or field; put before a place already known.

        Returns
        -------
        MatchlibError
            A new error of the same class.
        """
        copy = type(self).__new__(type(self))
        copy.__dict__.update(self.__dict__)
        copy.args = self.args
        copy.where = f"{where}, {self.where}" if self.where else where
        return copy

    def __reduce__(self) -> tuple[object, ...]:
        # Exceptions pickle by their positional arguments; ours live in keywords, and worker
        # processes must be able to send them back whole.
        return (_rebuild, (type(self), self.args, self.__dict__.copy()))


def _rebuild(
    cls: type[MatchlibError], args: tuple[object, ...], state: dict[str, object]
) -> MatchlibError:
    error = cls.__new__(cls)
    error.args = args
    error.__dict__.update(state)
    return error


class DomainError(MatchlibError):
    """A value that cannot exist: a ratio without colour, minus two coats, L* of 140.

    Examples
    --------
    >>> from matchlib import MixRatio
    >>> try:
    ...     MixRatio.parse("6:0")
    ... except DomainError as error:
    ...     print(error.problem)
    A mix ratio without colour is not a colour coat.
    """


class FileError(MatchlibError):
    """A file that cannot be read as what it was said to be.

    Examples
    --------
    >>> from matchlib import read_file
    >>> try:
    ...     read_file("no such file.csv")
    ... except FileError as error:
    ...     print(error.problem)
    This file cannot be read: No such file or directory.
    """


class ImportRefused(FileError):
    """An import with refused rows, of which nothing was kept.

    The import's report is in `report`.

    Examples
    --------
    >>> from matchlib.readings import ImportReport, Question, accepted
    >>> asked = Question("scale", "Do these reflectances go to 1 or to 100?", ())
    >>> try:
    ...     accepted(ImportReport("panels.csv", "", (), questions=(asked,)))
    ... except ImportRefused as error:
    ...     print(error.problem)
    This file leaves 1 question open, so nothing was taken.
    """

    report: object = None


class ArchiveError(MatchlibError):
    """An archive that cannot be opened, trusted or written.

    Examples
    --------
    >>> from matchlib import Archive
    >>> try:
    ...     Archive.open("no such archive.db")
    ... except ArchiveError as error:
    ...     print(error.problem)
    There is no archive here.
    """


class FitError(MatchlibError):
    """Readings from which no regression can be had.

    Examples
    --------
    >>> from matchlib import FilmRegressor
    >>> from matchlib.demo import demo_panels
    >>> from matchlib.regression import frames_of
    >>> try:
    ...     FilmRegressor().fit(*frames_of(demo_panels()[:1]))
    ... except FitError as error:
    ...     print(error.problem)
    There is nothing to learn a colour from.
    """


class UnknownName(MatchlibError):
    """A ground or colour that no panel in the archive shows.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> try:
    ...     demo_model().predict_recipes([Recipe.of("sea grey", "cherry", "3@6:1")])
    ... except UnknownName as error:
    ...     print(error.problem)
    No panel in the archive shows the ground 'sea grey'.
    """


class TargetError(MatchlibError):
    """A target that is no physical colour, or that cannot be read.

    Examples
    --------
    >>> from matchlib import Target
    >>> try:
    ...     Target.lab(50.0, 120.0, -100.0)
    ... except TargetError as error:
    ...     print(error.problem)
    No surface can have this colour.
    """
