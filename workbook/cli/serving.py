"""The workbook served to this machine: JupyterLab with a token, or pages without code.

Only loopback is listened on. The notebooks are copied into a folder of the user's, so that theirs
may be changed and an update of the tool brings new ones only where they were not.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from matchlib.errors import FileError

__all__ = [
    "copy_notebooks",
    "kiosk_command",
    "lab_command",
    "notebooks_folder",
    "serve_workbook",
    "work_folder",
]

_SHIPPED = ".shipped.json"
_LOOPBACK = "127.0.0.1"
_FIRST_PAGE = "match_a_sample.ipynb"


def notebooks_folder() -> Path:
    """Return where the notebooks came with the tool.

    Returns
    -------
    Path
        In the installed package, or in the checkout.

    Raises
    ------
    FileError
        If there are none.
    """
    import workbook

    package = Path(workbook.__file__).resolve().parent
    for place in (package / "notebooks", package.parent / "notebooks"):
        if any(place.glob("*.ipynb")):
            return place
    raise FileError(
        "The notebooks did not come with this installation.",
        expected=f"notebooks in {package / 'notebooks'}",
        remedy="install the tool again.",
    )


def work_folder(archive: str, work: str | None) -> Path:
    """Return the folder for the user's copies.

    Parameters
    ----------
    archive : str
        File or URL.
    work : str, optional
        The folder, where the user named one.

    Returns
    -------
    Path
        Beside the archive's file; for a URL under the present folder.
    """
    if work is not None:
        return Path(work).absolute()
    home = Path.cwd() if "://" in archive else Path(archive).absolute().parent
    return home / "notebooks"


def copy_notebooks(source: Path, target: Path) -> list[str]:
    """Bring the notebooks into a folder, leaving alone what was changed there.

    Parameters
    ----------
    source, target : Path
        From and to.

    Returns
    -------
    list of str
        Names of the notebooks that were changed there and so were kept.

    Raises
    ------
    FileError
        If the folder cannot be written.
    """
    kept = []
    try:
        target.mkdir(parents=True, exist_ok=True)
        record = target / _SHIPPED
        shipped = json.loads(record.read_text("utf-8")) if record.is_file() else {}
        for book in sorted(source.glob("*.ipynb")):
            there = target / book.name
            known = shipped.get(book.name)
            if there.exists() and known != _digest(there) != _digest(book):
                kept.append(book.name)
                continue
            shutil.copyfile(book, there)
            shipped[book.name] = _digest(book)
        record.write_text(json.dumps(shipped, indent=1), "utf-8")
    except (OSError, ValueError) as error:
        raise FileError(
            f"The notebooks cannot be copied: {error}.",
            where=str(target),
            remedy="name a folder that you can write to with --work.",
        ) from error
    return kept


def lab_command(folder: Path, *, port: int, browser: bool) -> list[str]:
    """Return the command that serves a folder in JupyterLab.

    Parameters
    ----------
    folder : Path
        With the notebooks.
    port : int
        On loopback.
    browser : bool
        Whether it opens one.

    Returns
    -------
    list of str
        The token is not in it, for other users of the machine can read commands; see
        `serve_workbook`.
    """
    command = [
        *(sys.executable, "-m", "jupyterlab", f"--ServerApp.ip={_LOOPBACK}"),
        *(f"--ServerApp.port={port}", "--ServerApp.port_retries=0"),
        f"--ServerApp.root_dir={folder}",
        "--ServerApp.allow_remote_access=False",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.news_url=None",
        f"--LabApp.default_url=/lab/tree/{_FIRST_PAGE}",
        "--LabApp.extension_manager=readonly",
    ]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    return command if browser else [*command, "--no-browser"]


def kiosk_command(folder: Path, *, port: int, browser: bool) -> list[str]:
    """Return the command that serves a folder as pages without code.

    Parameters
    ----------
    folder : Path
        With nothing but the notebooks.
    port : int
        On loopback.
    browser : bool
        Whether it opens one.

    Returns
    -------
    list of str
        Sources stripped, no tracebacks, no file of the folder served.
    """
    from workbook.theme import VOILA_TEMPLATE

    command = [
        *(sys.executable, "-m", "voila", str(folder), f"--Voila.ip={_LOOPBACK}"),
        *(f"--port={port}", "--Voila.port_retries=0", f"--template={VOILA_TEMPLATE}"),
        "--VoilaConfiguration.strip_sources=True",
        "--VoilaConfiguration.show_tracebacks=False",
        # Files of the folder are served where a pattern allows them: none does.
        "--VoilaConfiguration.file_allowlist=['(?!)']",
        "--VoilaConfiguration.file_denylist=['.*']",
        "--MappingKernelManager.cull_idle_timeout=7200",
    ]
    return command if browser else [*command, "--no-browser"]


def serve_workbook(
    archive: str,
    *,
    kiosk: bool = False,
    port: int = 0,
    work: str | None = None,
    browser: bool = True,
    tell: Callable[[str], None],
) -> int:
    """Serve the workbook until it is stopped.

    Parameters
    ----------
    archive : str
        File or URL; goes to the notebooks in the environment.
    kiosk : bool
        Pages without code.
    port : int
        On loopback; 0 takes a free one.
    work : str, optional
        Folder for the user's copies.
    browser : bool
        Whether to open one.
    tell : callable
        Takes what should be said.

    Returns
    -------
    int
        The server's exit code; 0 when it was stopped by the user.
    """
    from workbook.theme import jupyter_folder

    source = notebooks_folder()
    port = port or _free_port()
    file = archive if "://" in archive else str(Path(archive).absolute())
    paths = [str(jupyter_folder()), os.environ.get("JUPYTER_PATH", "")]
    environment = {
        **os.environ,
        "WORKBOOK_ARCHIVE": file,
        "JUPYTER_PATH": os.pathsep.join(filter(None, paths)),
    }
    with tempfile.TemporaryDirectory() as room:
        if kiosk:
            # Pages come from a folder in which there is nothing else to be read.
            folder = Path(room, "pages")
            copy_notebooks(source, folder)
            (folder / _SHIPPED).unlink()
            command = kiosk_command(folder, port=port, browser=browser)
            tell(f"The workbook is at http://{_LOOPBACK}:{port}/ on this machine. Ctrl-C stops it.")
        else:
            folder = work_folder(archive, work)
            for name in copy_notebooks(source, folder):
                tell(f"{name} was changed in {folder}, so yours is used.")
            token = secrets.token_hex(24)
            environment["JUPYTER_TOKEN"] = token
            settings = [str(_lab_settings(Path(room))), os.environ.get("JUPYTER_CONFIG_PATH", "")]
            environment["JUPYTER_CONFIG_PATH"] = os.pathsep.join(filter(None, settings))
            command = lab_command(folder, port=port, browser=browser)
            page = f"http://{_LOOPBACK}:{port}/lab/tree/{_FIRST_PAGE}?token={token}"
            tell(f"The workbook is at {page} on this machine. Ctrl-C stops it.")
            tell("Its pages start with the menu Run, Run All Cells.")
        server = subprocess.Popen(command, env=environment, cwd=folder)  # noqa: S603  our own command
        try:
            return server.wait()
        except KeyboardInterrupt:
            # The server has had the same Ctrl-C; a second one ends its question.
            server.terminate()
            server.wait()
            return 0


def _lab_settings(room: Path) -> Path:
    # Controls answer over one lasting channel: with a subshell for each, a page that is loaded
    # again finds them gone.
    settings = {
        "@jupyterlab/apputils-extension:kernels-settings": {"commsOverSubshells": "disabled"},
        # No network is asked for news or updates, so neither is whoever opens the workbook.
        "@jupyterlab/apputils-extension:notification": {
            "checkForUpdates": False,
            "fetchNews": "false",
        },
    }
    folder = room / "config" / "labconfig"
    folder.mkdir(parents=True)
    (folder / "default_setting_overrides.json").write_text(json.dumps(settings), "utf-8")
    return folder.parent


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _free_port() -> int:
    with socket.socket() as one:
        one.bind((_LOOPBACK, 0))
        return int(one.getsockname()[1])
