"""Kernels for pages: one kept warm, so many at most, and none for which nobody is there.

A page that opens takes the warm kernel, in which the notebooks' imports have run, and the next one
is made ready meanwhile. A kernel ends when no browser came for it, soon after its page was closed,
and when its page was left untouched for long; pages come back by themselves, for what they show is
in the archive.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from typing import Any

from jupyter_client.kernelspec import KernelSpecManager
from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager
from jupyter_server.utils import ApiPath
from tornado.ioloop import PeriodicCallback
from tornado.web import HTTPError
from traitlets import Float, Integer, List, Unicode, default

__all__ = ["OwnKernelSpecs", "PageKernels"]


class OwnKernelSpecs(KernelSpecManager):
    """Knows this very Python and no other that happens to be called the same."""

    @default("kernel_dirs")
    def _no_folders(self) -> list[str]:
        return []


class PageKernels(AsyncMappingKernelManager):
    """Kernels of pages, each of one page."""

    most = Integer(16, config=True, help="Pages at a time.")
    unclaimed = Float(30.0, config=True, help="Seconds a kernel waits for its page.")
    closed = Float(180.0, config=True, help="Seconds a kernel outlives its page.")
    untouched = Float(3600.0, config=True, help="Seconds a page may be left untouched.")
    imports = List(Unicode(), config=True, help="Lines run in a kernel kept warm.")

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        self._warm: asyncio.Task[str] | None = None
        self._left: dict[str, float] = {}  # when the page was last there; since the start if never
        self._came: set[str] = set()
        self._sweeping = PeriodicCallback(self.sweep, 1000 * min(5.0, self.unclaimed / 4))

    @property
    def pages(self) -> list[str]:
        """Kernels that were given to a page."""
        return [kernel for kernel in self._left if kernel in self]

    async def warm(self) -> None:
        """Make a kernel ready for the next page."""
        if self._warm is None:
            self._warm = asyncio.ensure_future(self._heat())
            self._sweeping.start()

    async def _heat(self) -> str:
        lines = [f"--IPKernelApp.exec_lines={line}" for line in self.imports]
        return await super()._async_start_kernel(path=ApiPath(""), extra_arguments=lines)

    async def start_kernel(self, **_: Any) -> str:  # type: ignore[override]
        """Give a page the warm kernel."""
        await self.sweep()
        if len(self.pages) >= self.most:
            # Whoever turns many pages needs none of those they left.
            closed = [k for k in self.pages if k in self._came and not self.connected(k)]
            if not closed:
                raise HTTPError(503, reason="Too many pages are open")
            await self._end(min(closed, key=self._left.__getitem__))
        ready, self._warm = self._warm or asyncio.ensure_future(self._heat()), None
        kernel = await ready
        if not await self.is_alive(kernel):  # it died while it waited
            self.remove_kernel(kernel)
            kernel = await self._heat()
        self._left[kernel] = time.monotonic()
        # The next is made when this page has had the machine to itself.
        asyncio.get_running_loop().call_later(5.0, lambda: asyncio.ensure_future(self.warm()))
        return kernel

    def notify_connect(self, kernel_id: str) -> None:
        """Note that a page came."""
        super().notify_connect(kernel_id)
        self._came.add(kernel_id)

    def notify_disconnect(self, kernel_id: str) -> None:
        """Note that a page went."""
        super().notify_disconnect(kernel_id)
        self._left[kernel_id] = time.monotonic()

    async def alive(self, kernel_id: str) -> bool:
        """Return whether a page's kernel is there and runs."""
        return kernel_id in self._left and kernel_id in self and await self.is_alive(kernel_id)

    def connected(self, kernel_id: str) -> bool:
        """Return whether a page listens to it."""
        return bool(self._kernel_connections.get(kernel_id, 0))

    async def sweep(self) -> None:
        """End the kernels for which nobody is there."""
        for kernel in list(self._left):
            if kernel not in self or self._needless(kernel) or not await self.is_alive(kernel):
                await self._end(kernel)

    async def _end(self, kernel: str) -> None:
        self._left.pop(kernel, None)
        self._came.discard(kernel)
        if kernel in self:
            with contextlib.suppress(Exception):  # it may be ending by itself
                await self.shutdown_kernel(kernel, now=True)

    def _needless(self, kernel: str) -> bool:
        away = time.monotonic() - self._left[kernel]
        if not self.connected(kernel):
            return away > (self.closed if kernel in self._came else self.unclaimed)
        manager: Any = self.get_kernel(kernel)
        idle = time.time() - manager.last_activity.timestamp()
        return bool(manager.execution_state != "busy" and idle > self.untouched)
