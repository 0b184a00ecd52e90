"""Zipped formats, inflated under a bound that counts the bytes really read.

What a zip says of its own sizes is not to be believed, and an unpacker that believes it inflates a
whole chunk before it looks. So every part is inflated here first, piece by piece, and a part that
is not what its directory says is refused; a library may then open the file. A document type
declaration, without which no XML entity can be expanded, is refused wherever it stands (see OWASP,
"XML External Entity Prevention").
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Iterator

from matchlib.errors import FileError, MatchlibError

__all__ = ["Parts", "has_doctype"]

_MAX_UNPACKED = 128 * 2**20
_MAX_PARTS = 2_000
_PIECE = 2**18
# A parser keeps something of the shortest element, cleared or not: 8 million in all, and
# between the beginnings of two rows (or shared texts), where nothing is cleared, far fewer.
_MOST_TAGS, _MOST_ROWS, _MOST_IN_ROW = 8_000_000, 1_100_000, 400_000
_ROW = re.compile(rb"<(?:\w+:)?(?:row|table-row|si)[\s/>]")


def has_doctype(data: bytes) -> bool:
    """Whether XML text, in any encoding of XML, declares a document type or an entity."""
    plain = data.translate(None, b"\x00").upper()  # UTF-16 becomes ASCII
    return b"<!DOCTYPE" in plain or b"<!ENTITY" in plain


class Parts:
    """The parts of a zip file, each found to be what the zip says, all together within a bound.

    `what` the file should be (``XLSX``, ``ODS``) is for the errors. A file that is no whole zip,
    lies about a size, inflates to more than 128 MiB, or holds XML entities is refused.
    """

    def __init__(self, data: bytes, what: str) -> None:
        self.what, self._seen = what, 0
        self._tags = self._rows = 0
        self._stream = io.BytesIO(data)
        self.formulas = False
        try:
            with zipfile.ZipFile(self._stream) as held:
                infos = held.infolist()
                if len(infos) > _MAX_PARTS or len({i.filename for i in infos}) < len(infos):
                    raise self._refused("has too many parts, or one part twice")
                self.names = tuple(i.filename for i in infos)
                for info in infos:
                    self._check(held, info)
        except MatchlibError:
            raise
        except (
            zipfile.BadZipFile,
            zlib.error,
            RuntimeError,
            OSError,
            EOFError,
            ValueError,
        ) as error:
            raise self._broken(error) from error

    def pieces(self, name: str) -> Iterator[bytes]:
        """Yield a part's bytes, a quarter of a mebibyte at a time."""
        with zipfile.ZipFile(self._stream) as held, held.open(name) as stream:
            while piece := stream.read(_PIECE):
                yield piece

    def _check(self, held: zipfile.ZipFile, info: zipfile.ZipInfo) -> None:
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise self._refused("is packed in a way that cannot be unpacked piece by piece")
        stated, left = info.file_size, _MAX_UNPACKED - self._seen
        # else the reader would stop, and look no further, where it says
        info.file_size = left + 4 * _PIECE
        real, last, in_row = 0, b"", 0
        with held.open(info) as stream:
            while piece := stream.read(_PIECE):
                real += len(piece)
                if real > left:
                    raise self._refused(f"unpacks to more than {_MAX_UNPACKED // 2**20} MiB")
                near = last + piece
                if has_doctype(near):
                    raise FileError(
                        f"This {self.what} file holds XML entities, which could fill the memory.",
                        expected="a spreadsheet as a spreadsheet program saves it",
                        remedy="do not trust the file; ask for it as CSV.",
                    )
                first, *others = _ROW.split(piece)
                longest = max([in_row + first.count(b"<"), *(o.count(b"<") for o in others)])
                in_row = others[-1].count(b"<") if others else longest
                self._tags += piece.count(b"<")
                self._rows += len(others)
                if self._tags > _MOST_TAGS or self._rows > _MOST_ROWS or longest > _MOST_IN_ROW:
                    raise self._refused("holds too many cells, or what are no cells at all")
                self.formulas |= any(tag in near for tag in (b"<f>", b"<f ", b"<f/>"))
                last = piece[-24:]
        if real != stated:
            raise self._refused(f"says that a part has {stated:,} bytes, but it has {real:,}")
        info.file_size = stated
        self._seen += real

    def _refused(self, why: str) -> FileError:
        return FileError(
            f"This {self.what} file {why}.",
            expected="a spreadsheet as a spreadsheet program saves it",
            remedy="do not trust the file; ask for the table alone, in a new file or as CSV.",
        )

    def _broken(self, error: Exception) -> FileError:
        return FileError(
            f"This is not a whole {self.what} file.",
            got=str(error)[:100] or type(error).__name__,
            remedy="copy or export it again; an old .xls file must be saved as .xlsx, and a "
            "password must be taken off.",
        )
