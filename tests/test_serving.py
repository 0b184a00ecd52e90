"""Where the workbook is served, whose kernels run, and which notebooks: without a browser."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import socket
import stat
import tempfile
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from matchlib.errors import FileError
from tests.cli_shop import copied, fails, run
from workbook.serving import Address, claim, copy_notebooks, work_folder


@contextlib.contextmanager
def claimed(*args: Any, **given: Any) -> Iterator[Address]:
    address = claim(*args, **given)
    try:
        yield address
    finally:
        address.close()


def test_an_archive_keeps_its_address(home: Path) -> None:
    with claimed("a.db") as one:
        assert len(one.secret) >= 32
        assert one.sockets[0].getsockname()[0] == "127.0.0.1"
        assert one.announced == f"http://127.0.0.1:{one.port}/?token={one.secret}"
    with claimed("a.db") as again, claimed("b.db") as other:
        assert (again.port, again.secret) == (one.port, one.secret)
        assert other.secret != one.secret
        assert other.port != one.port
    kept = list((home / "data").rglob("*.json"))
    assert len(kept) == 2
    assert {stat.S_IMODE(p.stat().st_mode) for p in kept} == {0o600}
    with claimed("a.db", renew=True) as renewed:
        assert renewed.secret != one.secret
        assert renewed.derive("cookies") != one.derive("cookies")


def test_a_memory_that_cannot_be_read_or_written_is_done_without(home: Path) -> None:
    with claimed("a.db"):
        pass
    (kept,) = (home / "data").rglob("*.json")
    for damage in ("", "[1]", '{"secret": 5, "port": "x"}', '{"secret": "short", "port": 99999}'):
        kept.write_text(damage)
        with claimed("a.db") as address:
            assert len(address.secret) >= 32
    kept.unlink()
    kept.parent.rmdir()
    kept.parent.write_text("no folder")
    with claimed("a.db") as address:
        assert len(address.secret) >= 32


def test_a_taken_port_is_said_before_any_address(home: Path) -> None:
    copied(home)
    with claimed("x.db") as held:
        with pytest.raises(FileError, match=f"Port {held.port} cannot be had"):
            claim("y.db", port=held.port)
        words = fails(run("open", "--port", held.port, cwd=home), 1)
        assert "leave --port out" in words
        assert "http" not in words
        # An archive's own port that is taken now is not insisted on.
        with claimed("x.db") as other:
            assert other.port != held.port


@pytest.mark.parametrize("port", ["-1", "65536", "70000", "1.5", "x", "99999999999999999999"])
def test_a_port_that_cannot_be_is_refused_at_once(home: Path, port: str) -> None:
    copied(home)
    assert "--port" in fails(run("open", "--port", port, cwd=home), 2)


def test_the_lab_is_never_shared(home: Path) -> None:
    copied(home)
    assert "runs code" in fails(run("open", "--lab", "--share", cwd=home), 2)


def test_shared_it_is_told_by_the_networks_name_and_as_a_code(home: Path) -> None:
    with claimed("a.db", share=True) as address:
        assert address.sockets[0].getsockname()[0] == "0.0.0.0"  # noqa: S104  that is the question
        assert {"127.0.0.1", "localhost", socket.gethostname().lower()} <= set(address.hosts)
        assert address.secret in address.announced
        assert not address.announced.startswith("http://127.")
        assert "█" in address.code() or "▄" in address.code()
        assert address.code(svg=True).startswith("<svg")
        assert address.secret not in address.code(svg=True)


# Kernels


def with_kernels(work: Callable[[Any], Awaitable[None]], **given: Any) -> None:
    from workbook.serving.kernels import OwnKernelSpecs, PageKernels

    async def main(room: str) -> None:
        specs = OwnKernelSpecs()
        kernels = PageKernels(kernel_spec_manager=specs, connection_dir=room, **given)
        try:
            await work(kernels)
        finally:
            if kernels._warm is not None:
                await kernels._warm
            await kernels.shutdown_all(now=True)
            # Left to the garbage collector it would wait for ever for words nobody reads any more.
            kernels.context.destroy(linger=0)

    with tempfile.TemporaryDirectory() as room:
        asyncio.run(main(room))


def test_a_page_takes_the_warm_kernel_and_no_more_than_there_may_be() -> None:
    from tornado.web import HTTPError

    async def work(kernels: Any) -> None:
        await kernels.warm()
        warm = await kernels._warm
        assert not await kernels.alive(warm), "nobody's kernel answers no page"
        assert await kernels.start_kernel() == warm
        second = await kernels.start_kernel()
        assert second != warm
        assert await kernels.alive(second)
        with pytest.raises(HTTPError, match="503"):
            await kernels.start_kernel()
        kernels.notify_connect(warm)
        kernels.notify_disconnect(warm)
        kernels.closed = 0.0
        await asyncio.sleep(0.05)
        third = await kernels.start_kernel()  # the page that went made room
        assert warm not in kernels
        assert sorted(kernels.pages) == sorted([second, third])

    with_kernels(work, most=2)


def test_where_as_many_pages_are_held_as_may_be_the_longest_left_makes_room() -> None:
    async def work(kernels: Any) -> None:
        first, second, third = [await kernels.start_kernel() for _ in range(3)]
        for kernel in (first, second, third):
            kernels.notify_connect(kernel)
        for kernel in (second, first):  # a person going from page to page, well within `closed`
            kernels.notify_disconnect(kernel)
        fourth = await kernels.start_kernel()
        assert second not in kernels
        assert sorted(kernels.pages) == sorted([first, third, fourth])

    with_kernels(work, most=3)


def test_a_kernel_for_which_nobody_comes_ends() -> None:
    async def work(kernels: Any) -> None:
        left, held = await kernels.start_kernel(), await kernels.start_kernel()
        kernels.notify_connect(held)
        await asyncio.sleep(0.3)
        await kernels.sweep()
        assert left not in kernels
        assert await kernels.alive(held)
        kernels.untouched = 0.0
        await kernels.sweep()
        assert held not in kernels

    with_kernels(work, unclaimed=0.2)


def test_a_kernel_that_died_is_told_of() -> None:
    async def work(kernels: Any) -> None:
        kernel = await kernels.start_kernel()
        os.kill(kernels.get_kernel(kernel).provisioner.pid, 9)
        for _ in range(50):
            if not await kernels.alive(kernel):
                break
            await asyncio.sleep(0.05)
        assert not await kernels.alive(kernel)
        await kernels.sweep()
        assert kernel not in kernels

    with_kernels(work)


def test_a_warm_kernel_that_died_is_given_to_no_page() -> None:
    async def work(kernels: Any) -> None:
        await kernels.warm()
        warm = await kernels._warm
        os.kill(kernels.get_kernel(warm).provisioner.pid, 9)
        await asyncio.sleep(0.3)
        kernel = await kernels.start_kernel()
        assert kernel != warm
        assert await kernels.alive(kernel)
        assert warm not in kernels

    with_kernels(work)


# Notebooks


def book(text: str, outputs: tuple[str, ...] = ()) -> str:
    return json.dumps({"cells": [{"cell_type": "code", "source": [text], "outputs": outputs}]})


def test_notebooks_are_renewed_but_never_over_the_users_own(tmp_path: Path) -> None:
    ours, theirs = tmp_path / "a", tmp_path / "b"
    ours.mkdir()
    for name in ("one", "two", "run"):
        (ours / f"{name}.ipynb").write_text(book("first"))
    assert copy_notebooks(ours, theirs) == []
    (theirs / "two.ipynb").write_text(book("mine"))
    (theirs / "run.ipynb").write_text(book("first", ("an output",)))
    for name in ("one", "two", "run"):
        (ours / f"{name}.ipynb").write_text(book("second"))
    assert copy_notebooks(ours, theirs) == ["two.ipynb"]
    assert (theirs / "one.ipynb").read_text() == book("second")
    assert (theirs / "two.ipynb").read_text() == book("mine")
    assert (theirs / "run.ipynb").read_text() == book("second"), "outputs are no change"
    (tmp_path / "file").write_text("")
    with pytest.raises(FileError):
        copy_notebooks(ours, tmp_path / "file")


def test_notebooks_lie_beside_the_archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert work_folder("panels.db", None) == tmp_path / "notebooks"
    assert work_folder("postgresql://server/db", None) == tmp_path / "notebooks"
    assert work_folder("panels.db", "mine") == tmp_path / "mine"
