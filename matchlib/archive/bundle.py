"""One zip of open formats with all of an archive: the backup, and the way to move it.

Inside are ``panels.csv`` (and ``readings.cgats``) for any other program, the records of every table
as lines of JSON, the attached files as they are, and ``manifest.json`` with the SHA-256 and size of
each. Restoring reads the records, so that history, deleted panels and order come back exactly.
Nothing is ever unpacked to the disk.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from matchlib import __version__
from matchlib.archive import schema
from matchlib.archive.attaching import MAX_BYTES
from matchlib.archive.checking import content_faults
from matchlib.archive.export import write_panels
from matchlib.archive.reading_out import hash_in, whole
from matchlib.archive.rows import TABLES, fill, stored_rows
from matchlib.archive.store import Archive
from matchlib.archive.stored import kept_in
from matchlib.archive.troubles import ConflictError
from matchlib.atomic import written_whole
from matchlib.errors import ArchiveError
from matchlib.plain import dump, load

__all__ = ["export_bundle", "import_bundle"]

FORMAT = "panel archive bundle"
# Columns of JSON in which a customer may be named.
_WITH_CUSTOMERS = {
    "panels": ("data",),
    "jobs": ("data",),
    "settings": ("value",),
    "history_items": ("before", "after"),
}
_MANIFEST = "manifest.json"
_MAX_TEXT = 1 << 30  # [byte]; a million panels with spectra
_MAX_TOTAL = 16 << 30
_MAX_MEMBERS = 200_000
_MAX_MANIFEST = 64 << 20
_TIME = (1980, 1, 1, 0, 0, 0)  # one content, one file: the zip itself holds no time of writing


def export_bundle(archive: Archive, path: str | Path, *, customers: bool = True) -> Path:
    """Write all of an archive into one zip, whole or not at all.

    Parameters
    ----------
    archive : Archive
        Open; others may go on writing to it.
    path : str or Path
        The zip.
    customers : bool
        Whether customers' names go with it; if not, they are blanked in the history as well.

    Returns
    -------
    Path
        The zip.

    Raises
    ------
    ArchiveError
        If the file cannot be written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive
    >>> from matchlib.demo import demo_panels
    >>> with TemporaryDirectory() as folder, Archive.open(f"{folder}/a.db", create=True) as archive:
    ...     _ = archive.add(demo_panels()[:3])
    ...     export_bundle(archive, f"{folder}/all.zip").name
    'all.zip'
    """
    members: dict[str, dict[str, Any]] = {}
    with (
        written_whole(path) as part,
        zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as bundle,
        archive.database.read() as connection,
    ):

        def put(name: str, data: bytes) -> None:
            info = zipfile.ZipInfo(name, _TIME)
            info.compress_type = zipfile.ZIP_DEFLATED
            bundle.writestr(info, data)
            members[name] = {"sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}

        for table in TABLES[:-1]:  # attachments as files of their own
            lines = [dump(row) for row in _rows(connection, table, customers)]
            put(f"records/{table.name}.jsonl", "".join(f"{line}\n" for line in lines).encode())
        files = []
        for row in stored_rows(connection, schema.attachments):
            data = row.pop("data")
            files.append({**row, "member": f"attachments/{row['id']}-{row['name']}"})
            put(files[-1]["member"], bytes(data))
        put("records/attachments.jsonl", "".join(f"{dump(f)}\n" for f in files).encode())
        # From the same view of the database as the records.
        in_use = schema.panels.c.deleted == sa.false()
        panels = tuple(k.panel for k in kept_in(connection, in_use))
        for name, data in write_panels(panels, customers=customers):
            put(name, data)
        manifest = {
            "format": FORMAT,
            "schema": schema.HEAD,
            "made by": f"matchlib {__version__}",
            "customers": customers,
            "content": hash_in(connection),
            "members": members,
        }
        info = zipfile.ZipInfo(_MANIFEST, _TIME)
        bundle.writestr(info, json.dumps(manifest, indent=1, ensure_ascii=False).encode())
    return Path(path)


def import_bundle(path: str | Path, archive: Archive) -> int:
    """Restore a bundle into an empty archive, exactly, in one transaction.

    Parameters
    ----------
    path : str or Path
        A zip that `export_bundle` wrote.
    archive : Archive
        Open and without panels.

    Returns
    -------
    int
        Panels restored, the deleted ones included.

    Raises
    ------
    ArchiveError
        If the archive holds panels already, or the bundle is damaged or no bundle; nothing is
        changed then.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive
    >>> from matchlib.archive import export_bundle
    >>> from matchlib.demo import demo_panels
    >>> with TemporaryDirectory() as folder:
    ...     with Archive.open(f"{folder}/a.db", create=True) as archive:
    ...         _ = archive.add(demo_panels()[:3])
    ...         bundle = export_bundle(archive, f"{folder}/all.zip")
    ...     with Archive.open(f"{folder}/b.db", create=True) as other:
    ...         _ = import_bundle(bundle, other)
    ...         len(other)
    3
    """
    where = str(path)
    try:
        with zipfile.ZipFile(path) as bundle:
            manifest = _manifest(bundle, where)
            _check_members(bundle, manifest, where)
            with archive.database.write() as connection:
                _restore(bundle, manifest, connection, where)
                found = hash_in(connection)
                faults = content_faults(connection)
                if found != manifest["content"] or faults:
                    raise _damaged(
                        where,
                        "the records do not give the content of the manifest",
                        expected=str(manifest["content"]),
                        got=found if not faults else faults[0],
                    )
                count = sa.select(sa.func.count()).select_from(schema.panels)
                return int(connection.execute(count).scalar_one())
    except ConflictError as error:
        raise _damaged(where, "its records contradict each other", got=error.got) from error
    except (zipfile.BadZipFile, EOFError, NotImplementedError) as error:
        raise _damaged(where, "it is no whole zip file", got=str(error)) from error
    except OSError as error:
        raise ArchiveError(
            "This bundle cannot be read.",
            got=error.strerror or str(error),
            where=where,
            remedy="check the path.",
        ) from error


def _rows(connection: sa.Connection, table: sa.Table, customers: bool) -> Iterator[dict[str, Any]]:
    for row in stored_rows(connection, table):
        if not customers:
            for column in _WITH_CUSTOMERS.get(table.name, ()):
                if row[column]:
                    row[column] = dump(_nameless(whole(load, row[column])))
            if table is schema.jobs:
                row["customer"] = ""
        yield row


def _nameless(value: Any) -> Any:
    """What is remembered, without any field for a customer's name."""
    if isinstance(value, dict):
        return {
            key: _nameless(held)
            for key, held in value.items()
            if key.rpartition(".")[2] != "customer"
        }
    return [_nameless(held) for held in value] if isinstance(value, list) else value


def _manifest(bundle: zipfile.ZipFile, where: str) -> dict[str, Any]:
    names = bundle.namelist()
    if _MANIFEST not in names:
        raise ArchiveError(
            "This zip is not a backup of an archive.",
            expected=f"a {_MANIFEST} in it",
            got=", ".join(names[:5]) or "an empty zip",
            where=where,
            remedy="give a zip that 'workbook export' wrote.",
        )
    data = _bounded(bundle, _MANIFEST, _MAX_MANIFEST, where)
    try:
        manifest = load(data)
        good = manifest["format"] == FORMAT and all(
            isinstance(m["sha256"], str) and isinstance(m["bytes"], int)
            for m in manifest["members"].values()
        )
        version, _ = manifest["schema"], manifest["content"]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise _damaged(where, f"its {_MANIFEST} cannot be read", got=str(error)) from error
    if not good or version != schema.HEAD:
        raise ArchiveError(
            "This backup cannot be restored by this version of the tool.",
            expected=f"'{FORMAT}' of schema version {schema.HEAD}",
            got=f"'{manifest['format']}' of schema version {version}",
            where=where,
            remedy="use the version of the tool that wrote it, or import its panels.csv.",
        )
    return dict(manifest)


def _check_members(bundle: zipfile.ZipFile, manifest: dict[str, Any], where: str) -> None:
    members = manifest["members"]
    names = bundle.namelist()
    held = set(names)
    strange = [
        n
        for n in names
        if n.startswith(("/", "\\")) or "\\" in n or ":" in n or ".." in Path(n).parts
    ]
    if strange:
        raise _damaged(where, "a member would leave the folder", got=repr(strange[0]))
    if len(held) < len(names) or len(names) > _MAX_MEMBERS:
        raise _damaged(where, "it holds a member twice, or too many members")
    extra = sorted(held - set(members) - {_MANIFEST})
    if extra:
        raise _damaged(where, f"the member {extra[0]} is not in the manifest")
    for name, stated in members.items():
        if name not in held:
            raise _damaged(where, f"the member {name} is missing")
        size = bundle.getinfo(name).file_size
        if size != stated["bytes"]:
            raise _damaged(
                where,
                f"the member {name} has another size",
                expected=f"{stated['bytes']} bytes",
                got=f"{size} bytes",
            )
    needed = [f"records/{t.name}.jsonl" for t in TABLES]
    lacking = [n for n in needed if n not in members]
    if lacking:
        raise _damaged(where, f"the member {lacking[0]} is missing")
    total = sum(stated["bytes"] for stated in members.values())
    if total > _MAX_TOTAL:
        raise _damaged(where, "it would unpack to more than any archive", got=f"{total} bytes")
    for name in members:  # all of them, the ones for other programs too
        limit = MAX_BYTES if name.startswith("attachments/") else _MAX_TEXT
        _member(bundle, manifest, name, where, limit=limit)


def _restore(
    bundle: zipfile.ZipFile, manifest: dict[str, Any], connection: sa.Connection, where: str
) -> None:
    if connection.execute(sa.select(schema.panels.c.id).limit(1)).first() is not None:
        raise ArchiveError(
            "A backup is restored into an empty archive only.",
            got="an archive that holds panels",
            where=where,
            remedy="restore it into a new archive; to merge, import the panels.csv inside the zip.",
        )

    def rows(table: sa.Table) -> Iterator[dict[str, Any]]:
        name = f"records/{table.name}.jsonl"
        data = _member(bundle, manifest, name, where, limit=_MAX_TEXT)
        columns = {c.name for c in table.c}
        if table is schema.attachments:
            columns ^= {"data", "member"}
        try:
            found = [load(line) for line in data.decode().split("\n") if line]
            if any(set(row) != columns for row in found):
                raise ValueError("a line has other fields")
        except (ValueError, TypeError) as error:
            raise _damaged(where, f"the member {name} cannot be read", got=str(error)) from error
        for row in found:
            if table is schema.attachments:
                file = row.pop("member")
                if file not in manifest["members"]:
                    raise _damaged(where, f"the member {file} is missing")
                row["data"] = _member(bundle, manifest, file, where, limit=MAX_BYTES)
            yield row

    fill(connection, rows)


def _member(
    bundle: zipfile.ZipFile, manifest: dict[str, Any], name: str, where: str, *, limit: int
) -> bytes:
    stated = manifest["members"][name]
    data = _bounded(bundle, name, min(limit, stated["bytes"]), where)
    got = hashlib.sha256(data).hexdigest()
    if got != stated["sha256"]:
        raise _damaged(where, f"the member {name} is damaged", expected=stated["sha256"], got=got)
    return data


def _bounded(bundle: zipfile.ZipFile, name: str, limit: int, where: str) -> bytes:
    # What a zip says of its own sizes is not to be believed; read no more than is allowed.
    try:
        with bundle.open(name) as stream:
            data = stream.read(limit + 1)
    except (zipfile.BadZipFile, EOFError, RuntimeError, NotImplementedError, OSError) as error:
        raise _damaged(where, f"the member {name} is damaged", got=str(error)) from error
    except Exception as error:  # the decompressors have errors of their own
        if type(error).__module__ not in {"zlib", "lzma", "bz2", "_lzma"}:
            raise
        raise _damaged(where, f"the member {name} is damaged", got=str(error)) from error
    if len(data) > limit:
        raise _damaged(
            where, f"the member {name} is larger than it may be", expected=f"at most {limit} bytes"
        )
    return data


def _damaged(
    where: str, what: str, *, expected: str | None = None, got: str | None = None
) -> ArchiveError:
    return ArchiveError(
        f"This backup is damaged: {what}.",
        expected=expected,
        got=got,
        where=where,
        remedy="nothing was restored; copy the backup again from where it came, or use an older "
        "one.",
    )
