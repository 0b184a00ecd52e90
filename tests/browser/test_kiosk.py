"""The kiosk page in a real browser: it works, but it runs no code and gives no file away."""

from __future__ import annotations

import json
import shutil
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser import harness
from tests.cli_shop import copied
from workbook.cli.serving import copy_notebooks, kiosk_command, notebooks_folder
from workbook.theme import jupyter_folder

pytestmark = pytest.mark.browser

BOOK = "match_a_sample.ipynb"
HIDDEN = "nobody must read this"

# Speaks to the page's own kernel as somebody with the browser's console could.
ASK_KERNEL = """
async ([code, kind]) => {
  const config = JSON.parse(document.getElementById('jupyter-config-data').textContent);
  const address = location.origin.replace(/^http/, 'ws') +
    `/api/kernels/${config.kernelId}/channels?session_id=intruder`;
  const socket = new WebSocket(address);
  const heard = [];
  socket.onmessage = (event) => {
    if (typeof event.data === 'string') heard.push(JSON.parse(event.data));
  };
  await new Promise((open, fail) => { socket.onopen = open; socket.onerror = fail; });
  const send = (type, content) => socket.send(JSON.stringify({
    header: { msg_id: `${type}-1`, username: '', session: 'intruder', msg_type: type,
              version: '5.3', date: new Date().toISOString() },
    parent_header: {}, metadata: {}, content, channel: 'shell', buffers: [] }));
  send(kind, { code, silent: false, store_history: false, user_expressions: {},
               allow_stdin: false, stop_on_error: false,
               cursor_pos: code.length, detail_level: 0 });
  // Answered by every kernel, so that silence means refusal and not a dead line.
  send('kernel_info_request', {});
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
    return tmp_path_factory.mktemp("kiosk")


@pytest.fixture(scope="module")
def archive(room: Path) -> Path:
    (room / "secret.txt").write_text(HIDDEN)
    return copied(room)


@pytest.fixture(scope="module")
def kiosk(room: Path, archive: Path) -> Iterator[harness.Served]:
    pages = room / "pages"
    copy_notebooks(notebooks_folder(), pages)
    shutil.copy(room / "secret.txt", pages / "secret.txt")
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = int(one.getsockname()[1])
    env = {"WORKBOOK_ARCHIVE": str(archive), "JUPYTER_PATH": str(jupyter_folder())}
    with harness.serve(
        kiosk_command(pages, port=port, browser=False),
        url=f"http://127.0.0.1:{port}/",
        ready="",
        room=room / "server",
        cwd=pages,
        env=env,
    ) as served:
        yield served


@pytest.fixture(scope="module")
def page(browser: Any, kiosk: harness.Served) -> Iterator[Any]:
    opened = browser.new_page(viewport={"width": 1024, "height": 768})
    watch = harness.Watch().on(opened)
    harness.open_in_voila(opened, kiosk, BOOK)
    opened.get_by_role("button", name="Use this target").wait_for(timeout=harness.PATIENCE)
    watch.check()
    yield opened
    opened.close()


def test_the_page_works_and_shows_no_code(page: Any) -> None:
    from playwright.sync_api import expect

    for name, value in (("L*", "30"), ("a*", "44"), ("b*", "27")):
        page.get_by_role("textbox", name=name, exact=True).fill(value)
    page.get_by_role("button", name="Use this target").click()
    glance = page.get_by_role("group", name="In hand")
    expect(glance).to_contain_text("L* 30.0  a* 44.0  b* 27.0", timeout=harness.PATIENCE)
    source = page.content()
    assert "import app" not in source
    assert page.locator(".cm-editor, .highlight, textarea").count() == 0


@pytest.mark.parametrize("kind", ["execute_request", "complete_request", "inspect_request"])
def test_code_sent_to_the_pages_kernel_is_not_run(page: Any, room: Path, kind: str) -> None:
    sign = room / f"{kind}.ran"
    code = f"open({str(sign)!r}, 'w').write('ran')"
    heard = page.evaluate(ASK_KERNEL, [code, kind])
    assert "kernel_info_reply" in heard, "the line was dead, so this shows nothing"
    assert not {"execute_reply", "execute_input", "complete_reply", "inspect_reply"} & set(heard)
    assert not sign.exists()


@pytest.mark.parametrize(
    "path",
    [
        "api/contents",
        "api/contents/match_a_sample.ipynb",
        "files/secret.txt",
        "files/../secret.txt",
        "voila/files/secret.txt",
        "voila/files/match_a_sample.ipynb",
        "voila/files/..%2Fsecret.txt",
        "voila/static/..%2F..%2Fsecret.txt",
        "voila/static/../../../../../../../../../../etc/passwd",
        "voila/static/..%2f..%2f..%2f..%2f..%2f..%2f..%2f..%2fetc%2fpasswd",
        "voila/static/%2e%2e/%2e%2e/%2e%2e/%2e%2e/%2e%2e/etc/passwd",
        "voila/templates/bench/static/..%2f..%2f..%2f..%2f..%2f..%2fetc%2fpasswd",
        "voila/render/..%2Fsecret.txt",
        "voila/render/secret.txt",
        "voila/render/%2Fetc%2Fpasswd",
        "nbextensions/..%2F..%2Fsecret.txt",
        "static/..%2f..%2f..%2fetc%2fpasswd",
        "lab",
        "tree",
        "edit/secret.txt",
        "terminals/1",
        "api/terminals",
    ],
)
def test_no_file_is_given_away(kiosk: harness.Served, path: str) -> None:
    status, body = raw(kiosk, "GET", path)
    assert status >= 300, f"{path} was answered: {body[:200]}"
    for held in (HIDDEN, "root:x:", "import app", "SQLite format"):
        assert held not in body


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("POST", "api/kernels"),
        ("POST", "api/sessions"),
        ("POST", "api/terminals"),
        ("PUT", "api/contents/x.ipynb"),
        ("DELETE", "api/contents/match_a_sample.ipynb"),
    ],
)
def test_nothing_is_started_or_written(
    kiosk: harness.Served, room: Path, method: str, path: str
) -> None:
    before = sorted(p.name for p in (room / "pages").iterdir())
    status, _ = raw(kiosk, method, path, json.dumps({"name": "python3"}))
    assert status >= 400
    assert sorted(p.name for p in (room / "pages").iterdir()) == before


def raw(served: harness.Served, method: str, path: str, body: str = "") -> tuple[int, str]:
    """Ask as written: no client may tidy the path away."""
    import http.client

    host = served.url.removeprefix("http://").rstrip("/")
    line = http.client.HTTPConnection(host, timeout=60)
    line.putrequest(method, f"/{path}", skip_accept_encoding=True)
    line.putheader("Content-Length", str(len(body)))
    line.endheaders(body.encode() or None)
    answer = line.getresponse()
    text = answer.read().decode("utf-8", "replace")
    line.close()
    return answer.status, text


def test_it_listens_to_this_machine_alone(kiosk: harness.Served) -> None:
    table = Path("/proc/net/tcp")
    if not table.exists():
        pytest.skip("asks Linux who listens")
    port = int(kiosk.url.rstrip("/").rsplit(":", maxsplit=1)[1])
    found = set()
    for name in ("/proc/net/tcp", "/proc/net/tcp6"):
        for row in Path(name).read_text().splitlines()[1:]:
            fields = row.split()
            address, own = fields[1].split(":")
            if fields[3] == "0A" and int(own, 16) == port:
                found.add(address)
    assert found == {"0100007F"}
