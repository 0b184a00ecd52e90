"""What is wanted, as the command line takes it: a target, and the shop's limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from workbook.cli.common import listed, note

if TYPE_CHECKING:
    from matchlib.domain import Reading
    from workbook.session import Session

__all__ = [
    "ColoursOption",
    "GroundsOption",
    "MaxCoatsOption",
    "MaxRatioOption",
    "MinRatioOption",
    "PanelOption",
    "ReadingOption",
    "SampleOption",
    "shelf_options",
    "target_of",
    "tell_fit",
]

ReadingOption = Annotated[
    str | None,
    typer.Option("--reading", help="File with the target's reading.", metavar="FILE"),
]
SampleOption = Annotated[
    str | None, typer.Option("--sample", help="Which sample in that file, where it has several.")
]
PanelOption = Annotated[
    str | None,
    typer.Option("--panel", help="A panel of the archive to match.", metavar="CODE"),
]
GroundsOption = Annotated[
    list[str] | None,
    typer.Option("--grounds", help="Only these grounds: 'silver, pale gold'.", metavar="NAMES"),
]
ColoursOption = Annotated[
    list[str] | None, typer.Option("--colours", help="Only these colours.", metavar="NAMES")
]
MaxCoatsOption = Annotated[
    int | None, typer.Option("--max-coats", help="Most coats of colour.  [default: 6]")
]
MinRatioOption = Annotated[
    str | None,
    typer.Option("--min-ratio", help="One end of the mix ratio, such as 2:1.", metavar="RATIO"),
]
MaxRatioOption = Annotated[
    str | None,
    typer.Option("--max-ratio", help="The other end, such as 10:1.", metavar="RATIO"),
]


def shelf_options(
    grounds: list[str] | None,
    colours: list[str] | None,
    max_coats: int | None,
    min_ratio: str | None,
    max_ratio: str | None,
) -> dict[str, Any]:
    """Return limits as the session takes them.

    Parameters
    ----------
    grounds, colours : list of str or None
        As given.
    max_coats : int or None
        Most coats.
    min_ratio, max_ratio : str or None
        Ends of the mix ratio.

    Returns
    -------
    dict
        By field of the limits; None where not given.
    """
    return {
        "grounds": listed(grounds),
        "colours": listed(colours),
        "max_coats": max_coats,
        "min_ratio": min_ratio,
        "max_ratio": max_ratio,
    }


def tell_fit(session: Session) -> None:
    """Load or fit the model, and say so where it took time.

    Parameters
    ----------
    session : Session
        Open.
    """
    outcome = session.fit()
    if outcome.fitted:
        note(outcome.text)


def target_of(
    session: Session,
    *,
    lab: tuple[float, float, float] | None,
    reading: str | None,
    sample: str | None,
    panel: str | None,
    light: tuple[str, str] = ("D65", "10"),
    decimal: str = ".",
    scale: str | None = None,
) -> Reading:
    """Return the target that was given.

    Parameters
    ----------
    session : Session
        Open.
    lab : tuple of 3 float, optional
        Typed.
    reading, sample : str, optional
        File, and the sample in it.
    panel : str, optional
        Panel of the archive.
    light : tuple of str
        Illuminant and observer of typed Lab.
    decimal : str
        Decimal sign of the file.
    scale : str, optional
        Reflectance scale of the file.

    Returns
    -------
    Reading
        What is to be matched.

    Raises
    ------
    typer.BadParameter
        If none or more than one was given.
    """
    if sum(given is not None for given in (lab, reading, panel)) != 1:
        raise typer.BadParameter("give one target: --lab L a b, --reading FILE or --panel CODE")
    if lab is not None:
        return session.typed_target(lab, illuminant=light[0], observer=light[1])
    if reading is not None:
        return session.target_of_file(reading, panel=sample, decimal=decimal, scale=scale)
    return session.target_of_panel(str(panel))
