"""Serving the workbook: loopback only, a token, and pages that can neither run nor read more."""

from __future__ import annotations

import asyncio
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
from pathlib import Path

import pytest

from matchlib.errors import FileError
from tests.cli_shop import copied
from workbook.cli.serving import (
    copy_notebooks,
    kiosk_command,
    lab_command,
    notebooks_folder,
    work_folder,
)

ROOT = Path(__file__).resolve().parents[1]
PATIENCE = 120


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class Opened:
    """``workbook open`` running, and what it said."""

    def __init__(self, room: Path, *more: str) -> None:
        self.port = free_port()
        self.log = room / "said.txt"
        code = "import sys; sys.argv[0] = 'workbook'; from workbook.cli import main; main()"
        environment = {k: v for k, v in os.environ.items() if not k.startswith("JUPYTER")}
        environment |= {
            "PYTHONPATH": str(ROOT),
            "WORKBOOK_NO_BROWSER": "1",
            "HOME": str(room),
            "IPYTHONDIR": str(room / "ipython"),
        }
        with self.log.open("wb") as out:
            self.child = subprocess.Popen(
                [sys.executable, "-c", code, "open", "--port", str(self.port), *more],
                cwd=room,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    def ask(self, path: str, **headers: str) -> tuple[int, str]:
        request = urllib.request.Request(f"http://127.0.0.1:{self.port}{path}", headers=headers)
        try:
            with urllib.request.urlopen(request, timeout=20) as answer:  # noqa: S310  as above
                return answer.status, answer.read().decode("utf-8", "replace")
        except urllib.error.HTTPError as error:
            return error.code, error.read().decode("utf-8", "replace")

    def wait(self, path: str) -> tuple[int, str]:
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            assert self.child.poll() is None, self.log.read_text()
            try:
                return self.ask(path)
            except (urllib.error.URLError, OSError):
                time.sleep(0.3)
        raise AssertionError(self.log.read_text())

    def listens(self) -> set[str]:
        """Addresses on which its port is listened to, as the kernel says."""
        found = set()
        for table in ("/proc/net/tcp", "/proc/net/tcp6"):
            for line in Path(table).read_text().splitlines()[1:]:
                fields = line.split()
                address, port = fields[1].split(":")
                if fields[3] == "0A" and int(port, 16) == self.port:
                    found.add(address)
        return found

    def stop(self) -> int:
        os.killpg(self.child.pid, signal.SIGINT)
        time.sleep(0.5)
        if self.child.poll() is None:
            os.killpg(self.child.pid, signal.SIGTERM)
        try:
            return self.child.wait(20)
        except subprocess.TimeoutExpired:
            os.killpg(self.child.pid, signal.SIGKILL)
            return self.child.wait()


LOOPBACK = "0100007F"


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="asks Linux who listens")
def test_the_lab_listens_on_loopback_and_asks_for_its_token(tmp_path):
    archive = copied(tmp_path)
    opened = Opened(tmp_path, "--archive", str(archive))
    try:
        opened.wait("/api")
        assert opened.listens() == {LOOPBACK}
        assert opened.ask("/api/contents")[0] == 403
        said = opened.log.read_text()
        token = said.partition("token=")[2].split()[0]
        assert len(token) >= 32
        status, text = opened.ask("/api/contents", Authorization=f"token {token}")
        assert status == 200
        names = {item["name"] for item in json.loads(text)["content"]}
        assert names == {p.name for p in notebooks_folder().glob("*.ipynb")}
        # It opens on a page that is there, and asks nobody about news from the network.
        assert re.search(r"/lab/tree/([a-z_]+\.ipynb)\?token=", said)[1] in names
        about = "/lab/api/settings/@jupyterlab/apputils-extension:notification"
        status, text = opened.ask(about, Authorization=f"token {token}")
        assert status == 200
        asked = json.loads(text)["schema"]["properties"]
        assert asked["fetchNews"]["default"] == "false"
        assert asked["checkForUpdates"]["default"] is False
        commands = Path(f"/proc/{opened.child.pid}/cmdline").read_text()
        assert token not in commands
    finally:
        opened.stop()
    assert "Traceback" not in opened.log.read_text()
    assert (tmp_path / "notebooks" / ".shipped.json").exists()


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="asks Linux who listens")
def test_the_kiosk_serves_no_file_and_runs_no_code(tmp_path):
    archive = copied(tmp_path)
    opened = Opened(tmp_path, "--archive", str(archive), "--kiosk")
    try:
        opened.wait("/")
        assert opened.listens() == {LOOPBACK}
        book = min(notebooks_folder().glob("*.ipynb")).name
        for path in (
            f"/voila/files/{book}",
            "/voila/files/.shipped.json",
            "/voila/files/../panels.db",
            "/voila/files/%2e%2e/%2e%2e/etc/passwd",
            f"/files/{book}",
            "/api/contents",
            f"/api/contents/{book}",
            "/api/sessions",
            "/terminals",
            "/lab",
        ):
            status, text = opened.ask(path)
            assert status in (403, 404, 405), (path, status)
            assert "import" not in text
        request = urllib.request.Request(
            f"http://127.0.0.1:{opened.port}/api/kernels", data=b"{}", method="POST"
        )
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(request, timeout=20)  # noqa: S310  as above
        assert refused.value.code in (403, 404, 405)
        # The page's own kernel may be talked to by its controls, but does no one's bidding.
        status, page = opened.wait(f"/voila/render/{book}")
        assert status == 200
        kernel = re.search(r'"kernelId":\s*"([0-9a-f-]{36})"', page)
        assert kernel, page[:2000]
        mark = tmp_path / "was-run"
        answers = asyncio.run(
            talk(opened.port, kernel[1], f"open({str(mark)!r}, 'w').close()", seconds=8)
        )
        assert "kernel_info_reply" in answers, "the kernel did not answer at all"
        assert "execute_reply" not in answers
        assert "execute_result" not in answers
        assert not mark.exists()
    finally:
        opened.stop()


async def talk(port: int, kernel: str, code: str, *, seconds: float) -> set[str]:
    """Ask a kernel to run code, then for its name; returns the kinds of its answers."""
    from tornado.httpclient import HTTPRequest
    from tornado.websocket import websocket_connect

    address = f"ws://127.0.0.1:{port}/api/kernels/{kernel}/channels?session_id=test"
    origin = {"Origin": f"http://127.0.0.1:{port}"}
    socket_ = await websocket_connect(HTTPRequest(address, headers=origin))

    def message(kind: str, content: dict[str, object]) -> str:
        header = {
            "msg_id": kind,
            "msg_type": kind,
            "session": "test",
            "username": "x",
            "version": "5.3",
            "date": "2024-01-01T00:00:00Z",
        }
        whole = {"header": header, "parent_header": {}, "metadata": {}, "content": content}
        return json.dumps({**whole, "channel": "shell", "buffers": []})

    request = {"code": code, "silent": False, "store_history": True, "user_expressions": {}}
    await socket_.write_message(message("execute_request", request))
    await socket_.write_message(message("kernel_info_request", {}))
    answers: set[str] = set()
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            text = await asyncio.wait_for(socket_.read_message(), end - time.monotonic())
        except TimeoutError:
            break
        if text is None:
            break
        answers.add(json.loads(text)["msg_type"])
    socket_.close()
    return answers


def test_commands_never_listen_beyond_this_machine(tmp_path):
    lab = lab_command(tmp_path, port=1, browser=False)
    kiosk = kiosk_command(tmp_path, port=1, browser=False)
    assert "--ServerApp.ip=127.0.0.1" in lab
    assert "--Voila.ip=127.0.0.1" in kiosk
    assert "--VoilaConfiguration.strip_sources=True" in kiosk
    assert "--VoilaConfiguration.show_tracebacks=False" in kiosk
    assert "--no-browser" in lab
    assert "--LabApp.default_url=/lab/tree/match_a_sample.ipynb" in lab
    assert "--no-browser" not in kiosk_command(tmp_path, port=1, browser=True)


def test_notebooks_are_renewed_but_never_over_the_users_own(tmp_path):
    ours, theirs = tmp_path / "a", tmp_path / "b"
    ours.mkdir()
    (ours / "one.ipynb").write_text("first")
    (ours / "two.ipynb").write_text("first")
    assert copy_notebooks(ours, theirs) == []
    (theirs / "two.ipynb").write_text("mine")
    (ours / "one.ipynb").write_text("second")
    (ours / "two.ipynb").write_text("second")
    assert copy_notebooks(ours, theirs) == ["two.ipynb"]
    assert (theirs / "one.ipynb").read_text() == "second"
    assert (theirs / "two.ipynb").read_text() == "mine"
    (tmp_path / "file").write_text("")
    with pytest.raises(FileError):
        copy_notebooks(ours, tmp_path / "file")


def test_notebooks_lie_beside_the_archive(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert work_folder("panels.db", None) == tmp_path / "notebooks"
    assert work_folder("postgresql://server/db", None) == tmp_path / "notebooks"
    assert work_folder("panels.db", "mine") == tmp_path / "mine"
