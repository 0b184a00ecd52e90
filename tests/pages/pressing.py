"""Pressing a page as a browser does, and what of it is read."""

from __future__ import annotations

import html
import re

from workbook.page import Press
from workbook.screen import BaseScreen


def press(
    screen: BaseScreen, do: str, value: object = "", content: bytes = b"", **fields: str
) -> str:
    """Press as a browser does; an error is kept by the screen, and the page drawn."""
    done = Press(do, str(value), {k.replace("_", " "): v for k, v in fields.items()}, content)
    try:
        screen.press(done)
    except Exception as error:  # as `Page.act` has it
        screen.wrong(error, done)
    return screen.draw()


def plain(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def words_before_folds(page: str) -> int:
    folded = r"<details.*?</details>|<option.*?</option>|<nav.*?</nav>|<svg.*?</svg>"
    shown = re.sub(folded, "", page, flags=re.S)
    shown = re.sub(r'<div class="wb-tiles">.*?</div>', "", shown, flags=re.S)
    return len(re.findall(r"[A-Za-zΔ]{2,}", plain(shown)))
