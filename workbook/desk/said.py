"""Plain words beside what was pressed, also where something went wrong."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Iterator

from matchlib.errors import MatchlibError
from workbook.controls import HtmlView
from workbook.figures import esc

__all__ = ["UNFORESEEN", "Said", "saying"]

UNFORESEEN = (
    "Something went wrong inside the workbook and nothing was changed. Please try again; if it "
    "happens again, tell whoever looks after the workbook what you pressed"
)

_LOG = logging.getLogger(__name__)


def saying(error: BaseException) -> str:
    """Return an error in words, never a traceback.

    Parameters
    ----------
    error : BaseException
        Caught.

    Returns
    -------
    str
        The user's own error as it says itself, any other by its kind.
    """
    if isinstance(error, MatchlibError):
        return str(error)
    # Printed it would appear on the page, so it goes to whoever listens to the log.
    _LOG.debug("unforeseen", exc_info=error)
    return f"{UNFORESEEN} ({type(error).__name__})."


class Said(HtmlView):
    """Plain words that a screen reader speaks when they change.

    Parameters
    ----------
    label : str
        What they belong to.
    live : {"polite", "assertive"}
        Whether they wait until the reader has ended its sentence.
    """

    def __init__(self, label: str = "Message", *, live: str = "polite") -> None:
        super().__init__(live=live, label=label)

    def tell(self, words: str) -> None:
        """Say what was done.

        Parameters
        ----------
        words : str
            Plain text; nothing is shown if empty.
        """
        lines = "".join(f"<p>{esc(line)}</p>" for line in words.splitlines() if line.strip())
        self.html = lines

    def warn(self, words: str) -> None:
        """Say what stands in the way, where nothing was tried yet.

        Parameters
        ----------
        words : str
            Plain text; nothing is shown if empty.
        """
        lines = "<br>".join(str(esc(line)) for line in words.splitlines() if line.strip())
        self.html = f'<p class="cpw-warn"><strong>{lines}</strong></p>' if lines else ""

    def complain(self, error: BaseException) -> None:
        """Say what went wrong.

        Parameters
        ----------
        error : BaseException
            In the user's words if it is one of ours.
        """
        words = esc(saying(error))
        self.html = f'<p class="cpw-warn"><strong>Not done.</strong> {words}</p>'

    @contextlib.contextmanager
    def guard(self) -> Iterator[None]:
        """Turn an error inside the block into words."""
        try:
            yield
        except Exception as error:
            self.complain(error)
