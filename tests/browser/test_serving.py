"""The workbook opened as people open it: who gets in, what is refused, what comes back."""

from __future__ import annotations

import json
import os
import signal
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser import harness
from tests.cli_shop import copied
from workbook.serving.notebooks import notebooks_folder

FIRST_PAGE = "match_a_sample.ipynb"
pytestmark = pytest.mark.browser

HIDDEN = "nobody must read this"

# Speaks to the page's own kernel as somebody with the browser's console could.
ASK_KERNEL = """
async ([code, kinds]) => {
  const config = JSON.parse(document.getElementById('jupyter-config-data').textContent);
  const address = location.origin.replace(/^http/, 'ws') +
    `/api/kernels/${config.kernelId}/channels?session_id=intruder`;
  const socket = new WebSocket(address);
  const heard = [];
  socket.onmessage = (event) => {
    if (typeof event.data === 'string') heard.push(JSON.parse(event.data));
  };
  await new Promise((open, fail) => { socket.onopen = open; socket.onerror = fail; });
  const send = (type, content, channel) => socket.send(JSON.stringify({
    header: { msg_id: `${type}-1`, username: '', session: 'intruder', msg_type: type,
              version: '5.3', date: new Date().toISOString() },
    parent_header: {}, metadata: {}, content, channel, buffers: [] }));
  for (const [kind, channel] of kinds)
    send(kind, { code, silent: false, store_history: false, user_expressions: {}, restart: false,
                 allow_stdin: false, stop_on_error: false, seq: 1, type: 'request',
                 hist_access_type: 'tail', n: 9, raw: true, output: false, command: 'evaluate',
                 arguments: { expression: code }, cursor_pos: 1, detail_level: 0 }, channel);
  // Answered by every kernel, so that silence means refusal and not a dead line.
  send('kernel_info_request', {}, 'shell');
  for (let i = 0; i < 300 && !heard.some((m) => m.msg_type === 'kernel_info_reply'); i++)
    await new Promise((later) => setTimeout(later, 100));
  await new Promise((later) => setTimeout(later, 1000));
  socket.close();
  return heard.filter((m) => (m.parent_header?.msg_id ?? '').endsWith('-1'))
              .map((m) => m.msg_type);
}
"""


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("opened")
    (folder / "secret.txt").write_text(HIDDEN)
    copied(folder)
    return folder


@pytest.fixture(scope="module")
def shared(room: Path) -> Iterator[harness.Served]:
    """The workbook as a shop's network sees it."""
    with harness.open_workbook(room, "--share") as served:
        yield served


@pytest.fixture(scope="module")
def page(browser: Any, shared: harness.Served) -> Iterator[Any]:
    opened = browser.new_page(viewport={"width": 1280, "height": 800})
    opened.goto(f"{shared.url}?token={shared.token}", timeout=harness.PATIENCE)
    opened.locator(".wb h1").first.wait_for(timeout=harness.PATIENCE)
    yield opened
    opened.close()


def cookie(served: harness.Served) -> str:
    """What a browser that was let in sends from then on."""
    status, _, headers = harness.ask(served, "GET", f"/?token={served.token}")
    assert status == 302
    assert "HttpOnly" in headers["Set-Cookie"]
    assert "SameSite=Lax" in headers["Set-Cookie"]
    return headers["Set-Cookie"].partition(";")[0]


def runs(pid: int) -> bool:
    """Whether a process is there, and no mere entry of one that ended."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def until(true: Any, seconds: float = 20.0) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.1)
    return bool(true())


# The door


def test_it_leads_to_the_running_page_with_nothing_to_press(
    page: Any, shared: harness.Served, artifacts: Path
) -> None:
    from playwright.sync_api import expect

    assert page.url == f"{shared.url}voila/render/{FIRST_PAGE}", "the secret stays in no address"
    expect(page.get_by_role("button", name="New job")).to_be_visible(timeout=harness.PATIENCE)
    source = page.content()
    assert "import app" not in source
    assert page.locator(".cm-editor, .highlight").count() == 0
    links = page.get_by_role("navigation", name="Pages").get_by_role("link")
    books = {p.name for p in notebooks_folder().glob("*.ipynb")}
    addresses = {link.get_attribute("href") for link in links.all()}
    assert books - addresses == {"how_it_predicts.ipynb", "use_from_python.ipynb"}
    expect(page.locator("[aria-current=page]")).to_have_text("Jobs")
    expect(page.get_by_text("archive: panels")).to_be_visible()
    assert harness.serious(page, "nav") == []
    harness.shoot(page, artifacts, "serving-page")
    page.emulate_media(color_scheme="dark")
    expect(page.locator("body")).to_have_attribute("data-jp-theme-light", "false")
    page.emulate_media(color_scheme="light")
    expect(page.locator("body")).to_have_attribute("data-jp-theme-light", "true")


def test_the_code_to_scan_is_on_a_page_of_its_own(
    browser: Any, shared: harness.Served, artifacts: Path
) -> None:
    tab = browser.new_page()
    tab.goto(f"{shared.url}tablet?token={shared.token}")
    assert tab.locator("svg").bounding_box()["width"] > 200
    harness.shoot(tab, artifacts, "serving-code")
    tab.close()
    assert "█" in shared.log.read_text() or "▄" in shared.log.read_text()


def test_a_browser_is_opened_with_a_ticket_that_is_good_once(room: Path, tmp_path: Path) -> None:
    seen, fake = tmp_path / "seen", tmp_path / "browse"
    fake.write_text(f'#!/bin/sh\necho "$1" > {seen}.part && mv {seen}.part {seen}\n')
    fake.chmod(0o755)
    env = {"BROWSER": str(fake), "WORKBOOK_NO_BROWSER": ""}
    with harness.open_workbook(room, env=env) as served:
        assert until(seen.exists)
        url = seen.read_text().strip()
        assert served.token not in url
        path = f"/?{url.partition('?')[2]}"
        status, _, headers = harness.ask(served, "GET", path)
        assert (status, headers["Location"]) == (302, f"/voila/render/{FIRST_PAGE}")
        assert "Set-Cookie" in headers
        assert harness.ask(served, "GET", path)[2]["Location"].startswith("/login")
        if Path("/proc/net/tcp").exists():
            assert listens_at(served) == {"0100007F"}, "the network was not asked for"
            assert served.token not in Path(f"/proc/{served.child.pid}/cmdline").read_text()


# What a stranger cannot do, and what a page cannot


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/tablet",
        f"/voila/render/{FIRST_PAGE}",
        "/alive/00000000-0000-0000-0000-000000000000",
        "/api/kernels/00000000-0000-0000-0000-000000000000",
        "/api/kernels/00000000-0000-0000-0000-000000000000/channels",
    ],
)
def test_without_the_secret_nothing_is_shown_and_no_kernel_starts(
    shared: harness.Served, path: str
) -> None:
    before = harness.kernels_of(shared)
    for headers in ({}, {"Authorization": "token wrong"}, {"Cookie": "workbook-0=1"}):
        status, text, returned = harness.ask(shared, "GET", path, **headers)
        assert status in (302, 403), text
        assert status != 302 or returned["Location"].startswith("/login")
        assert shared.token not in text
    assert harness.kernels_of(shared) <= before
    status, text, _ = harness.ask(shared, "GET", "/login")
    assert status == 403
    assert "scan its code" in text


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "192.0.2.7", ""])
def test_other_names_are_not_answered_even_with_the_secret(
    shared: harness.Served, host: str
) -> None:
    token = f"?token={shared.token}"
    for path in ("/", f"/voila/render/{FIRST_PAGE}", "/tablet", "/voila/static/voila.js"):
        status, text, _ = harness.ask(shared, "GET", path + token, Host=host)
        assert status in (400, 404)
        assert shared.token not in text


def test_a_socket_needs_the_secret_and_the_origin(page: Any, shared: harness.Served) -> None:
    kernel = page.evaluate(
        "() => JSON.parse(document.getElementById('jupyter-config-data').textContent).kernelId"
    )
    path = f"/api/kernels/{kernel}/channels?session_id=x"
    upgrade = {
        "Upgrade": "websocket",
        "Connection": "Upgrade",
        "Sec_WebSocket_Version": "13",
        "Sec_WebSocket_Key": "dGhlIHNhbXBsZSBub25jZQ==",
    }

    def joins(**headers: str) -> int:
        port = shared.port
        with socket.create_connection(("127.0.0.1", port), 20) as line:
            given = {"Host": f"127.0.0.1:{port}", **upgrade, **headers}
            lines = [f"{name.replace('_', '-')}: {value}" for name, value in given.items()]
            line.sendall("\r\n".join([f"GET {path} HTTP/1.1", *lines, "", ""]).encode())
            return int(line.recv(100).split()[1])

    own, let_in = shared.url.rstrip("/"), cookie(shared)
    assert joins(Origin=own, Cookie=let_in) == 101
    assert joins(Origin=own) == 403
    assert joins(Origin="http://evil.example", Cookie=let_in) == 403
    assert joins(Origin=own.replace("http", "https") + "0", Cookie=let_in) == 403
    assert joins(Origin=own, Cookie=let_in, Host="evil.example") == 404


KINDS = [
    ("execute_request", "shell"),
    ("execute_request", "control"),
    ("complete_request", "shell"),
    ("inspect_request", "shell"),
    ("history_request", "shell"),
    ("is_complete_request", "shell"),
    ("debug_request", "control"),
    ("interrupt_request", "control"),
    ("shutdown_request", "shell"),
    ("shutdown_request", "control"),
    ("create_subshell_request", "control"),
    ("input_reply", "stdin"),
]


def test_what_no_control_sends_is_not_passed_on(page: Any, room: Path) -> None:
    code = f"open({str(room / 'ran')!r}, 'w').write('ran')"
    heard = page.evaluate(ASK_KERNEL, [code, KINDS])
    assert "kernel_info_reply" in heard, "the line was dead, so this shows nothing"
    assert {name for name in heard if name.endswith("_reply")} == {"kernel_info_reply"}
    assert not (room / "ran").exists()


@pytest.mark.parametrize(
    "path",
    [
        "api/contents",
        f"api/contents/{FIRST_PAGE}",
        "api/kernels",
        "api/sessions",
        "api/kernelspecs",
        "files/secret.txt",
        "files/../secret.txt",
        "voila/files/secret.txt",
        f"voila/files/{FIRST_PAGE}",
        "voila/files/..%2Fsecret.txt",
        "voila/tree",
        "voila/api/contents/",
        "voila/static/..%2F..%2Fsecret.txt",
        "voila/static/../../../../../../../../../../etc/passwd",
        "voila/static/..%2f..%2f..%2f..%2f..%2f..%2f..%2f..%2fetc%2fpasswd",
        "voila/static/%2e%2e/%2e%2e/%2e%2e/%2e%2e/%2e%2e/etc/passwd",
        "voila/templates/workbook/static/..%2f..%2f..%2f..%2f..%2f..%2fetc%2fpasswd",
        "voila/labextensions/..%2f..%2f..%2f..%2f..%2f..%2fetc%2fpasswd",
        "voila/render/..%2Fsecret.txt",
        "voila/render/secret.txt",
        "voila/render/none.ipynb",
        "voila/render/how_it_predicts.ipynb",
        "voila/render/%2Fetc%2Fpasswd",
        "static/..%2f..%2f..%2fetc%2fpasswd",
        "lab",
        "tree",
        "edit/secret.txt",
        "terminals/1",
        "api/terminals",
    ],
)
def test_no_file_is_given_away_to_who_has_the_secret(shared: harness.Served, path: str) -> None:
    status, body, _ = harness.ask(shared, "GET", f"/{path}", Cookie=cookie(shared))
    assert status >= 400, f"{path} was answered: {body[:200]}"
    for held in (HIDDEN, "root:x:", "import app", "SQLite format"):
        assert held not in body


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("POST", "/api/kernels"),
        ("POST", "/api/sessions"),
        ("POST", "/api/terminals"),
        ("PUT", "/api/contents/x.ipynb"),
        ("DELETE", f"/api/contents/{FIRST_PAGE}"),
        ("DELETE", "/api/kernels/KERNEL"),
        ("POST", "/api/kernels/KERNEL/interrupt"),
        ("POST", "/api/kernels/KERNEL/restart"),
        ("POST", "/voila/api/shutdown/KERNEL"),
    ],
)
def test_nothing_is_started_written_or_ended(
    page: Any, shared: harness.Served, method: str, path: str
) -> None:
    kernel = page.evaluate(
        "() => JSON.parse(document.getElementById('jupyter-config-data').textContent).kernelId"
    )
    before = harness.kernels_of(shared)
    path = path.replace("KERNEL", kernel)
    status, _, _ = harness.ask(
        shared, method, path, body=json.dumps({"name": "python3"}), Cookie=cookie(shared)
    )
    assert status >= 400
    assert before <= harness.kernels_of(shared)


def listens_at(served: harness.Served) -> set[str]:
    """The addresses at which a server is to be reached, as Linux writes them."""
    rows = [
        row.split()
        for table in ("/proc/net/tcp", "/proc/net/tcp6")
        for row in Path(table).read_text().splitlines()[1:]
    ]
    ends = [row[1].split(":") for row in rows if row[3] == "0A"]
    return {address for address, port in ends if int(port, 16) == served.port}


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="asks Linux who listens")
def test_the_network_is_listened_to_when_asked_for(shared: harness.Served) -> None:
    assert listens_at(shared) == {"00000000"}
    assert shared.token not in Path(f"/proc/{shared.child.pid}/cmdline").read_text()


# The end of it


@pytest.mark.parametrize(
    ("sign", "lab"),
    [
        (signal.SIGTERM, False),
        (signal.SIGHUP, False),
        (signal.SIGINT, False),
        (signal.SIGKILL, False),
        (signal.SIGINT, True),
        (signal.SIGKILL, True),
    ],
)
def test_whatever_ends_it_ends_its_kernels(
    browser: Any, room: Path, sign: signal.Signals, lab: bool
) -> None:
    with harness.open_workbook(room, *(["--lab"] if lab else [])) as served:
        tab = browser.new_page()
        tab.goto(f"{served.url}?token={served.token}", timeout=harness.PATIENCE)
        assert until(lambda: harness.kernels_of(served), 60)
        pids = {served.child.pid, *harness.kernels_of(served)}
        os.kill(served.child.pid, sign)
        assert until(lambda: served.child.poll() is not None and not any(map(runs, pids)), 60)
        if sign is not signal.SIGKILL:
            assert served.child.returncode == 0
        # JupyterLab interrupts a kernel that has not quite started, and the kernel tells of it.
        assert lab or "Traceback" not in served.log.read_text()
        tab.close()
