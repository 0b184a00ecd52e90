"""The workbook in JupyterLab, for who wants its cells; to this machine alone."""

from __future__ import annotations

import json
import os
import signal
import threading
from collections.abc import Callable
from pathlib import Path
from types import FrameType

from workbook.serving.address import ENDING, Address
from workbook.serving.notebooks import first_page

__all__ = ["serve_lab"]

_PATIENCE = 5.0  # seconds for JupyterLab to end by itself


def serve_lab(
    folder: Path,
    address: Address,
    room: Path,
    *,
    tell: Callable[[str], None],
    browser: bool,
) -> None:
    """Serve a folder in JupyterLab until it is stopped."""
    places = str(_settings(room, folder, address, browser)), os.environ.get("JUPYTER_CONFIG_PATH")
    os.environ["JUPYTER_CONFIG_PATH"] = os.pathsep.join(filter(None, places))
    from jupyterlab.labapp import LabApp

    page = f"{address.local}lab/tree/{first_page()}?token={address.secret}"
    tell(f"The workbook is at {page} on this machine. Ctrl-C stops it.")
    address.close()
    server = LabApp.initialize_server([])
    stop = signal.getsignal(signal.SIGTERM)

    def end(sign: int, frame: FrameType | None) -> None:
        # With a browser there it may wait for a kernel that waits for it. The kernels end when this
        # process does.
        late = threading.Timer(_PATIENCE, os._exit, [0])
        late.daemon = True
        late.start()
        stop(sign, frame)  # type: ignore[operator,misc]  # its own handler

    for sign in ENDING:
        signal.signal(sign, end)
    server.start()


def _settings(room: Path, notebooks: Path, address: Address, browser: bool) -> Path:
    """Write what JupyterLab is told: in files, for other users can read commands."""
    server = {
        "IdentityProvider": {"token": address.secret},
        "ServerApp": {
            "ip": "127.0.0.1",
            "port": address.port,
            "port_retries": 0,
            "root_dir": str(notebooks),
            "allow_remote_access": False,
            "allow_root": True,
            "answer_yes": True,
            "open_browser": browser,
            "log_level": "ERROR",
        },
        "LabApp": {
            "check_for_updates_class": "jupyterlab.NeverCheckForUpdate",
            "news_url": None,
            "default_url": f"/lab/tree/{first_page()}",
            "extension_manager": "readonly",
            "log_level": "ERROR",
        },
        # A kernel that died is not started again under a page that does not know of it.
        "KernelRestarter": {"restart_limit": 0, "time_to_dead": 1.0},
        "KernelManager": {"transport": "ipc" if os.name == "posix" else "tcp"},
    }
    lab = {
        # Controls answer over one lasting channel: with a subshell for each, a page that is loaded
        # again finds them gone.
        "@jupyterlab/apputils-extension:kernels-settings": {"commsOverSubshells": "disabled"},
        # No network is asked for news or updates, so neither is whoever opens the workbook.
        "@jupyterlab/apputils-extension:notification": {
            "checkForUpdates": False,
            "fetchNews": "false",
        },
    }
    folder = room / "config" / "labconfig"
    folder.mkdir(parents=True)
    for name, content in (
        ("jupyter_server_config.json", server),
        ("labconfig/default_setting_overrides.json", lab),
        # Nothing is ever built, so nothing is looked through for it; that is slow.
        ("labconfig/page_config.json", {"buildAvailable": False, "buildCheck": False}),
    ):
        place = folder.parent / name
        place.touch(0o600)
        place.write_text(json.dumps(content), "utf-8")
    return folder.parent
