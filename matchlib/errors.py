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
        What would have been right, and what came instead.
    remedy : str, optional
        What to do now.
    where : str, optional
        File and row, or the field, in which it was found.
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
        if self.got:
            text += f" Got {self.got}."
        if self.remedy:
            text += f" What to do: {self.remedy}"
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
    """A value that cannot exist: a ratio without colour, minus two coats, L* of 140."""


class FileError(MatchlibError):
    """A file that cannot be read as what it was said to be."""


class ImportRefused(FileError):
    """An import with refused rows, of which nothing was kept.

    The import's report is in `report`.
    """

    report: object = None


class ArchiveError(MatchlibError):
    """An archive that cannot be opened, trusted or written."""


class FitError(MatchlibError):
    """Readings from which no regression can be had."""


class UnknownName(MatchlibError):
    """A ground or colour that no panel in the archive shows."""


class TargetError(MatchlibError):
    """A target that is no physical colour, or that cannot be read."""
