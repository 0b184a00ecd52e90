"""Who sprays today, from what, as the command line takes it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Annotated

from workbook.cli.common import note
from workbook.cli.options import Option

if TYPE_CHECKING:
    from workbook.session import Session

__all__ = ["TodayOptions"]


@dataclass(frozen=True, slots=True)
class TodayOptions:
    """Who sprays, from what, when, and what reads it; the archive's latest where nothing is said.

    `lot`, `batch`: such as ``cherry=L7``. `date`: such as ``2026-05-31``.
    """

    sprayer: Annotated[str | None, Option(help="Who sprays.  [default: who did last]")] = None
    lot: Annotated[
        list[str] | None,
        Option(
            help="Lot of a colour: cherry=L7, or L7 alone where the archive knows it; again for "
            "the next.  [default: the last]",
            metavar="COLOUR=LOT",
        ),
    ] = None
    batch: Annotated[
        list[str] | None, Option(help="Batch of a ground, likewise.", metavar="GROUND=BATCH")
    ] = None
    instrument: Annotated[str | None, Option(help="What reads the panel.  [default: the last]")] = (
        None
    )
    date: Annotated[
        str | None, Option(help="The day of spraying.  [default: the last]", metavar="DATE")
    ] = None

    def tell(self, session: Session) -> None:
        """Ask a session about panels sprayed so, and say what no panel of it shows.

        `session`: open; refused before its model is fitted.
        """
        given = {name: value for name, value in asdict(self).items() if value}
        if not given:
            return
        from workbook.session.conditions import Known, conditions_typed

        conditions, unseen = conditions_typed(Known.of(session.archive.panels()), **given)
        session.ask_under(conditions)
        for words in unseen:
            note(words)
