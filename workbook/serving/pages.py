"""Notebooks served as pages: no code to be seen, none taken from a browser, no file given away.

Voilà runs them. What is added here decides who is answered: requests addressed to this server by
its own names, from a browser that has the secret (as a cookie once it has been let in), from a page
of this server. A page may send what its controls send and nothing else.
"""

from __future__ import annotations

import logging
import os
import re
import secrets
import signal
import threading
import webbrowser
from pathlib import Path
from typing import Any

import nbformat
from jupyter_core.utils import run_sync
from jupyter_server.auth.decorator import allow_unauthenticated
from jupyter_server.auth.identity import IdentityProvider, User
from jupyter_server.base.handlers import APIHandler, JupyterHandler
from tornado.httpserver import HTTPServer
from tornado.ioloop import IOLoop
from tornado.web import Application, RequestHandler, authenticated
from traitlets.config import Config
from voila.app import Voila
from voila.exporter import VoilaExporter
from voila.static_file_handler import MultiStaticFileHandler
from voila.tornado.handler import TornadoVoilaHandler
from voila.tornado.kernel_websocket_handler import VoilaKernelWebsocketHandler

from workbook.serving.address import ENDING, Address
from workbook.serving.kernels import OwnKernelSpecs, PageKernels
from workbook.serving.notebooks import first_page
from workbook.theme import VOILA_TEMPLATE, watch_script

__all__ = ["PageServer"]

_SPOKEN = ["comm_open", "comm_close", "comm_msg", "comm_info_request", "kernel_info_request"]
_KERNEL = r"(?P<kernel_id>[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})"
_REFUSED = (
    "This browser is not known here. Open the address that the workbook showed when it was "
    "started, or scan its code."
)
_FULL = "As many pages are open as this machine can hold. Close one, then load this page again."
_BACK = '<a href="/">Back to the jobs</a>'
_LOST = "Nothing is kept at this address. The workbook begins at /."


def _plain(handler: RequestHandler, status: int, words: str) -> None:
    handler.set_status(status)
    handler.set_header("Content-Type", "text/html; charset=utf-8")
    handler.finish(
        '<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>Workbook</title>'
        '<meta name="viewport" content="width=device-width">'
        "<style>html{color-scheme:light dark}body{font:20px/1.5 system-ui;margin:15vh auto;"
        f"max-width:32em;padding:0 1em}}</style><p>{words}</p>"
    )


class _Identity(IdentityProvider):
    """Knows a browser by the secret in the address, and by a cookie from then on."""

    ticket = ""

    async def get_user_token(self, handler: Any) -> User | None:
        # This machine's browser is opened with a ticket that is good once, since other users can
        # read how it was started.
        if self.ticket and secrets.compare_digest(handler.get_argument("token", ""), self.ticket):
            self.ticket = ""
            return self.generate_anonymous_user(handler)
        return await super().get_user_token(handler)

    def get_handlers(self) -> list[tuple[str, Any]]:
        return [(r"/login", _Refused)]


class _Refused(JupyterHandler):
    @allow_unauthenticated
    def get(self) -> None:
        _plain(self, 403, _REFUSED)


class _Lost(RequestHandler):
    def prepare(self) -> None:
        _plain(self, 404, _LOST)


class _Start(JupyterHandler):
    """Leads to the first page, and takes the secret out of the address on the way."""

    @authenticated
    def get(self) -> None:
        self.redirect(f"/voila/render/{first_page()}")


class _PageHandler(TornadoVoilaHandler):
    """A notebook's page."""

    def write_error(self, status_code: int, **given: Any) -> None:
        _plain(self, status_code, _FULL if status_code == 503 else _LOST)


class _Alive(APIHandler):
    """Tells a page whether its kernel runs and hears it."""

    @authenticated
    async def get(self, kernel_id: str) -> None:
        kernels: Any = self.kernel_manager  # `PageKernels`
        self.finish(
            {
                "alive": await kernels.alive(kernel_id),
                "connected": kernels.connected(kernel_id),
            }
        )


class _Script(MultiStaticFileHandler):
    """Voilà's own scripts, which stay in the browser while somebody goes from page to page."""

    def get_cache_time(self, *_: Any) -> int:
        return 3600


class _Kernel(APIHandler):
    """Describes a kernel to the page that runs in it, and does nothing else with it."""

    @authenticated
    def get(self, kernel_id: str) -> None:
        self.finish(self.kernel_manager.kernel_model(kernel_id))


class _Left(APIHandler):
    """Told by a page that it goes; its kernel ends if the page does not come back."""

    @authenticated
    async def post(self, kernel_id: str) -> None:
        self.set_status(204)


class _Tablet(JupyterHandler):
    """The code to scan, for a machine that is to join."""

    def initialize(self, address: Address) -> None:
        self.address = address

    @authenticated
    def get(self) -> None:
        if not self.address.shared:
            return _plain(
                self,
                200,
                "Only this machine is served. To let the shop's network in, stop the workbook and "
                "start it with <code>workbook open --share</code>.</p><p>" + _BACK,
            )
        picture = self.address.code(svg=True)
        words = "Scan this with the tablet, in the shop's own network."
        _plain(self, 200, f"{words}</p>{picture}<p>{_BACK}")


class PageServer(Voila):
    """Serves a folder of notebooks until it is stopped.

    `folder`: with nothing but the notebooks. `address`: already listened to. `room`: folder of the
    user's own, for the kernels' sockets. `about`: which archive it is, for the bar. `demo`: whether
    it is the demonstration, which is told apart at every moment. `browser`: whether to open one.
    """

    def __init__(
        self,
        folder: Path,
        address: Address,
        room: Path,
        *,
        about: str,
        demo: bool,
        browser: bool,
    ) -> None:
        self.address = address
        self.connection_dir = str(room)
        every = {
            book.name: nbformat.read(book, as_version=4) for book in sorted(folder.glob("*.ipynb"))
        }
        # The others are for JupyterLab alone.
        books = {
            name: book
            for name, book in every.items()
            if book.metadata.get("workbook", {}).get("page")
        }
        self.books = tuple(books)
        order = lambda book: book[1].metadata["workbook"].get("place", 9)  # noqa: E731
        settings = Config()
        settings.VoilaConfiguration = Config(
            template=VOILA_TEMPLATE,
            theme="light",
            strip_sources=True,
            show_tracebacks=False,
            # Files of the folder are served where a pattern allows them: none does.
            file_allowlist=["(?!)"],
            file_denylist=[".*"],
            allow_template_override="NO",
            allow_theme_override="NO",
            multi_kernel_manager_class=PageKernels,
            kernel_spec_manager_class=OwnKernelSpecs,
            resources={
                "pages": [
                    {"file": name, "title": book.metadata.get("title", name)}
                    for name, book in sorted(books.items(), key=order)
                ],
                "about": about,
                "demo": demo,
                "watch": watch_script(),
            },
        )
        settings.PageKernels.imports = _imports(books.values())
        # A kernel that died is not started again under a page that does not know of it.
        settings.KernelManager.autorestart = False
        if os.name == "posix":
            # Sockets in a folder of this user's own, which no other user can listen to.
            settings.KernelManager.transport = "ipc"
        settings.IdentityProvider.cookie_name = f"workbook-{address.derive('name').hex()[:8]}"
        # Not Strict: the first request comes from a scanned code or a mail.
        settings.IdentityProvider.cookie_options = {"samesite": "Lax"}
        super().__init__(
            config=settings,
            config_file_paths=[],
            identity_provider_class=_Identity,
            token=address.secret,
            cookie_secret=address.derive("cookies"),
            open_browser=browser,
            log_level="ERROR",
        )
        self.initialize([str(folder)])
        # What Voilà imports at the first page, imported before there is one.
        exporter = VoilaExporter(template_paths=self.template_paths, template_name=VOILA_TEMPLATE)
        exporter.template  # noqa: B018  compiled when asked for

    def init_handlers(self) -> list[tuple[Any, ...]]:
        """Return what is answered: Voilà's, less what no page of ours needs."""
        page = {
            "template_paths": self.template_paths,
            "config": self.config,
            "voila_configuration": self.voila_configuration,
        }
        needed = ("/voila/templates/", "/voila/api/themes/", "/login")
        return [
            (r"/", _Start),
            (r"/tablet", _Tablet, {"address": self.address}),
            (rf"/alive/{_KERNEL}", _Alive),
            (rf"/api/kernels/{_KERNEL}", _Kernel),
            (rf"/voila/api/shutdown/{_KERNEL}", _Left),
            (rf"/api/kernels/{_KERNEL}/channels", VoilaKernelWebsocketHandler),
            (r"/voila/static/(.*)", _Script, {"paths": self.static_paths}),
            (rf"/voila/render/({'|'.join(map(re.escape, self.books))})", _PageHandler, page),
            *(
                one
                for one in super().init_handlers()
                if one[0].startswith((*needed, "/voila/labextensions/"))
            ),
        ]

    def start(self) -> None:
        """Open a browser if one is wanted, serve until told to stop, and end the kernels."""
        logging.getLogger("tornado.access").setLevel(logging.ERROR)
        settings = {
            **self.init_settings(),
            "default_handler_class": _Lost,
            "ws_ping_interval": 10_000,
        }
        self.kernel_manager.allowed_message_types = _SPOKEN
        self.identity_provider.ticket = ticket = secrets.token_urlsafe(16)
        self.app = Application(**settings)
        # A name that others can point at this machine is not one of its own.
        own = "|".join(name.replace(".", r"\.") for name in self.address.hosts)
        self.app.add_handlers(rf"(?i:{own})$", self.init_handlers())
        server = HTTPServer(self.app)
        server.add_sockets(self.address.sockets)
        self.ioloop = IOLoop.current()
        for sign in ENDING:
            signal.signal(sign, self._handle_signal_stop)
        self.ioloop.add_callback(self.kernel_manager.warm)
        if self.open_browser:
            page = f"{self.address.local}?token={ticket}"
            threading.Thread(target=webbrowser.open, args=[page], daemon=True).start()
        try:
            self.ioloop.start()
        finally:
            self.stop()

    def stop(self) -> None:
        """End the kernels."""
        run_sync(self.kernel_manager.shutdown_all)(now=True)


def _imports(books: Any) -> list[str]:
    """Lines of the notebooks that import, to be run in a kernel beforehand."""
    lines = [
        line
        for book in books
        for cell in book.cells
        if cell.cell_type == "code"
        for line in cell.source.splitlines()
        if line.startswith(("from workbook", "import workbook"))
    ]
    # Opening an archive imports what every page needs.
    first = (
        "from workbook.session.opening import is_missing, open_named; import os; "
        "is_missing(os.environ.get('WORKBOOK_ARCHIVE', '.')) or open_named().close()"
    )
    return [*dict.fromkeys(lines), first]
