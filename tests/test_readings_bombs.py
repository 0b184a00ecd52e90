"""Zipped files that inflate to too much, or lie about it: refused in words, in little memory."""

from __future__ import annotations

import io
import struct
import subprocess
import sys
import zipfile

import pytest

READ = """
import sys
from matchlib.errors import MatchlibError
from matchlib.readings import read_recipes, read_target, understand
for read in [understand, read_recipes, read_target][: int(sys.argv[2])]:
    try:
        read(sys.argv[1])
    except MatchlibError as error:
        print(read.__name__, "refused:", error)
# Of this process alone: getrusage would count what the one that started it held.
with open("/proc/self/status") as status:
    print(next(int(line.split()[1]) for line in status if line.startswith("VmHWM")) // 1024)
"""
MOST = 200  # MiB
CONTENT = {"XLSX": "xl/worksheets/sheet1.xml", "ODS": "content.xml"}
PIECES = {
    "rows": b"<row><c/></row>" * 70_000,
    "cells of one row": b"<c r='A1'/>" * 95_000,
    "noise": bytes(2**20),
}


def bomb(kind: str, piece: bytes, times: int, said: int | None) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as made:
        if kind == "ODS":
            info = zipfile.ZipInfo("mimetype")
            made.writestr(info, "application/vnd.oasis.opendocument.spreadsheet")
        else:
            made.writestr("[Content_Types].xml", "<Types/>")
        with made.open(CONTENT[kind], "w") as part:
            for _ in range(times):
                part.write(piece)
    data = bytearray(stream.getvalue())
    if said is not None:  # in the directory, and before the part itself
        directory = data.rfind(b"PK\x01\x02")
        struct.pack_into("<I", data, directory + 24, said)
        struct.pack_into("<I", data, data.rfind(b"PK\x03\x04", 0, directory) + 22, said)
    return bytes(data)


def refused_by(readers, path):
    return subprocess.run(
        [sys.executable, "-c", READ, str(path), str(readers)],
        capture_output=True,
        text=True,
        check=True,
    )


# One bound stands before every reader and both kinds: the slow bombs are read once each. Whether a
# size is a lie matters to what is refused for its size alone.
@pytest.mark.parametrize(
    ("kind", "piece", "said", "readers"),
    [
        ("XLSX", "rows", None, 3),
        ("ODS", "rows", None, 3),
        ("XLSX", "cells of one row", None, 1),
        ("XLSX", "noise", None, 1),
        ("ODS", "noise", 1_000, 1),
    ],
)
def test_a_bomb_is_refused_by_the_bytes_really_read(tmp_path, kind, piece, said, readers):
    path = tmp_path / "bomb"
    path.write_bytes(bomb(kind, PIECES[piece], 150, said))
    assert path.stat().st_size < 2**20
    done = refused_by(readers, path)
    *words, memory = done.stdout.splitlines()
    assert [w.split()[0] for w in words] == ["understand", "read_recipes", "read_target"][:readers]
    assert all(f"This {kind} file" in w for w in words)
    assert int(memory) < MOST
    assert done.stderr == ""


def test_a_small_part_that_lies_about_its_size_is_refused(tmp_path):
    path = tmp_path / "lying.xlsx"
    path.write_bytes(bomb("XLSX", b"<row/>", 10, 7))
    done = refused_by(3, path)
    assert "says that a part has 7 bytes, but it has 60" in done.stdout
