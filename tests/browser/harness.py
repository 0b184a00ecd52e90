"""Open the workbook on loopback and use it in Chromium, as a person would.

A server runs with a home, settings and kernels' files of its own in a temporary folder, so that
nothing of the developer's reaches a test. `Watch` keeps what must not happen on a page: errors on
the console, and any request that leaves the machine.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

__all__ = [
    "Served",
    "Watch",
    "ask",
    "kernels_of",
    "open_in_voila",
    "open_workbook",
    "serious",
    "shoot",
]

ROOT = Path(__file__).resolve().parents[2]
PATIENCE = 120_000  # ms; two cores may be busy with the rest of the tests
LOCAL = re.compile(r"^(https?|wss?)://(127\.0\.0\.1|localhost)(:\d+)?(/|$)|^(data|blob|about):")

# Not of our making: each with its reason.
NOISE = [
    re.compile(r"Failed to load resource.*40[34]"),  # JupyterLab asks for settings not yet saved
    re.compile(r"favicon"),
]


@dataclass
class Served:
    """A running server: its address with a slash at the end, what lets a browser in, its log."""

    url: str
    token: str
    log: Path
    child: subprocess.Popen[bytes]

    @property
    def port(self) -> int:
        """On which it listens."""
        return int(self.url.rstrip("/").rpartition(":")[2])


@dataclass
class Watch:
    """What happened on a page that should not have."""

    errors: list[str] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)
    seen: int = 0

    def on(self, page: Any) -> Watch:
        """Listen to a page from now on."""
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.errors.append(f"uncaught: {error}"))
        page.on("request", lambda request: self._request(request.url))
        page.on("websocket", lambda sock: self._request(sock.url))
        return self

    def _console(self, message: Any) -> None:
        if message.type == "error" and not any(n.search(message.text) for n in NOISE):
            self.errors.append(message.text)

    def _request(self, url: str) -> None:
        self.seen += 1
        if not LOCAL.match(url):
            self.outside.append(url)

    def check(self) -> None:
        """Fail on a request that left the machine or an error on the console."""
        assert self.seen > 0, "the watch saw no request at all"
        assert not self.outside, f"asked outside: {self.outside}"
        assert not self.errors, f"console errors: {self.errors}"


def _free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def _environment(room: Path, extra: dict[str, str] | None) -> dict[str, str]:
    for name in ("home", "config/labconfig", "data", "runtime", "ipython"):
        (room / name).mkdir(parents=True, exist_ok=True)
    # JupyterLab would ask on first start whether to fetch news from outside.
    quiet = {"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": True}}
    (room / "config/labconfig/page_config.json").write_text(json.dumps(quiet))
    # The whole notebook is kept in the page, so that a picture of it is whole.
    settings = room / "config/lab/user-settings/@jupyterlab/notebook-extension"
    settings.mkdir(parents=True, exist_ok=True)
    whole = {"windowingMode": "none", "scrollPastEnd": False}
    (settings / "tracker.jupyterlab-settings").write_text(json.dumps(whole))
    return {
        **{k: v for k, v in os.environ.items() if not k.startswith("JUPYTER")},
        "HOME": str(room / "home"),
        "JUPYTER_CONFIG_DIR": str(room / "config"),
        "JUPYTER_DATA_DIR": str(room / "data"),
        "JUPYTER_RUNTIME_DIR": str(room / "runtime"),
        "IPYTHONDIR": str(room / "ipython"),
        "WORKBOOK_NO_BROWSER": "1",
        # Kernels run in the notebook's folder and must find this checkout, installed or not.
        "PYTHONPATH": os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH")])),
        **(extra or {}),
    }


def _wait(server: subprocess.Popen[bytes], url: str, log: Path) -> None:
    end = time.monotonic() + PATIENCE / 1000
    while time.monotonic() < end:
        if server.poll() is not None:
            raise RuntimeError(f"the server stopped: {log.read_text()[-3000:]}")
        try:
            with urllib.request.urlopen(url, timeout=5):  # noqa: S310  our own http address
                return
        except urllib.error.HTTPError:
            return  # it answers, if only to refuse
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise RuntimeError(f"the server did not answer: {log.read_text()[-3000:]}")


@contextlib.contextmanager
def open_workbook(
    room: Path, *more: str, port: int = 0, env: dict[str, str] | None = None
) -> Iterator[Served]:
    """Run ``workbook open`` in a folder until the block ends, and its kernels with it."""
    port = port or _free_port()
    code = "import sys; sys.argv[0] = 'workbook'; from workbook.cli import main; main()"
    room.mkdir(parents=True, exist_ok=True)
    log, url = room / "server.log", f"http://127.0.0.1:{port}/"
    with log.open("wb") as out:
        server = subprocess.Popen(
            [sys.executable, "-c", code, "open", "--port", str(port), *more],
            cwd=room,
            env=_environment(room, env),
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        try:
            _wait(server, f"{url}login", log)
            token = log.read_text().partition("token=")[2].split()[0]
            yield Served(url, token, log, server)
        finally:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(server.pid, signal.SIGTERM)
            try:
                server.wait(15)
            except subprocess.TimeoutExpired:
                os.killpg(server.pid, signal.SIGKILL)
                server.wait()


def open_in_voila(page: Any, served: Served, notebook: str) -> None:
    """Open a notebook's page and wait until its controls are drawn."""
    page.goto(f"{served.url}voila/render/{notebook}?token={served.token}", timeout=PATIENCE)
    _controls(page, served)


def _controls(page: Any, served: Served) -> None:
    """Wait for the first control; say what the page and the server say when none comes."""
    from playwright.sync_api import TimeoutError as TooLong

    try:
        page.locator(".wb h1").first.wait_for(state="attached", timeout=PATIENCE)
    except TooLong:
        text = page.locator("body").inner_text()[-2000:]
        raise AssertionError(f"{text}\n{served.log.read_text()[-2000:]}") from None


def shoot(page: Any, folder: Path, name: str, *, most: int = 6000) -> Path:
    """Keep a picture of the whole page for a person to look at, at most so many pixels tall."""
    before = page.viewport_size
    # Both faces scroll inside the page, so the window itself is made as tall as what scrolls.
    tall = page.evaluate(
        """() => {
             const rows = [...document.querySelectorAll('*')].filter((e) => {
               const flow = getComputedStyle(e).overflowY;
               return (flow === 'auto' || flow === 'scroll') && e.clientWidth > 500;
             });
             rows.forEach((e) => { e.scrollTop = 0; });
             return Math.max(0, ...rows.map((e) => e.scrollHeight - e.clientHeight));
           }"""
    )
    page.set_viewport_size({"width": before["width"], "height": min(most, before["height"] + tall)})
    page.wait_for_timeout(300)
    place = folder / f"{name}.png"
    page.screenshot(path=place, full_page=True)
    page.set_viewport_size(before)
    return place


def serious(page: Any, within: str = "body") -> list[str]:
    """What axe-core calls serious or critical inside a part of the page, in words.

    Parameters
    ----------
    page : playwright page
        Fully drawn.
    within : str
        CSS selector: in JupyterLab, the notebook's outputs, since the rest is not ours.

    Returns
    -------
    list of str
        Empty when all is well.
    """
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page, context={"include": [[within]]}).response
    assert found["passes"], f"axe-core looked at nothing in {within}"
    return [
        f"{v['id']} ({v['impact']}): {v['help']}: {[n['html'][:160] for n in v['nodes'][:4]]}"
        for v in found["violations"]
        if v["impact"] in {"serious", "critical"}
    ]


def ask(
    served: Served, method: str, path: str, *, body: str = "", **headers: str
) -> tuple[int, str, dict[str, str]]:
    """Ask as written: no client may tidy the path or the Host away."""
    port = served.port
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    line.putrequest(method, path, skip_accept_encoding=True, skip_host=True)
    for name, value in {"Host": f"127.0.0.1:{port}", **headers}.items():
        line.putheader(name.replace("_", "-"), value)
    line.putheader("Content-Length", str(len(body)))
    line.endheaders(body.encode() or None)
    answer = line.getresponse()
    text = answer.read().decode("utf-8", "replace")
    line.close()
    return answer.status, text, dict(answer.getheaders())


def kernels_of(served: Served) -> set[int]:
    """The kernels' processes."""
    asked = ["pgrep", "-f", "-P", str(served.child.pid), "ipykernel"]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    return {int(pid) for pid in done.stdout.split()}
