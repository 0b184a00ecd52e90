"""What is wanted, as the command line takes it: a target, and the shop's limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from workbook.cli.common import listed, note

if TYPE_CHECKING:
    from matchlib.domain import Reading
    from matchlib.suggest import Tolerance
    from workbook.session import Session

__all__ = [
    "AngleWeightOption",
    "BoxLchOption",
    "BoxOption",
    "ColoursOption",
    "DifferenceOption",
    "GroundsOption",
    "MaxCoatsOption",
    "MaxRatioOption",
    "MinRatioOption",
    "PanelOption",
    "PassingOption",
    "ReadingOption",
    "SampleOption",
    "order_of",
    "shelf_options",
    "target_of",
    "tell_fit",
    "weights_of",
]

ReadingOption = Annotated[
    str | None,
    typer.Option(
        "--reading",
        help="File with the target's reading; rows at several angles (45as15, 45as110) make a "
        "target that is met at all of them.",
        metavar="FILE",
    ),
]
SampleOption = Annotated[
    str | None, typer.Option("--sample", help="Which sample in that file, where it has several.")
]
PanelOption = Annotated[
    str | None,
    typer.Option("--panel", help="A panel of the archive to match.", metavar="CODE"),
]
PassingOption = Annotated[
    float | None,
    typer.Option(
        "--tolerance",
        help="Difference that passes, in ΔE00 or as --difference says.  [default: 1]",
    ),
]
DifferenceOption = Annotated[
    str | None,
    typer.Option(
        "--difference",
        help="The difference that the order names: de00, cmc2:1 or cmc1:1.  [default: de00]",
        metavar="KIND",
    ),
]
BoxOption = Annotated[
    tuple[float, float, float] | None,
    typer.Option(
        "--box",
        help="Instead of one number: the greatest ΔL*, Δa* and Δb* that pass, either way.",
        metavar="DL Da Db",
    ),
]
BoxLchOption = Annotated[
    tuple[float, float, float] | None,
    typer.Option("--box-lch", help="The same for ΔL*, ΔC* and ΔH*.", metavar="DL DC DH"),
]
AngleWeightOption = Annotated[
    list[str] | None,
    typer.Option(
        "--angle-weight",
        help="How often a difference counts at one of the target's angles: 45as15=2; again for "
        "the next.  [default: 1 each]",
        metavar="ANGLE=NUMBER",
    ),
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


def order_of(
    tolerance: float | None,
    difference: str | None,
    box: tuple[float, float, float] | None,
    box_lch: tuple[float, float, float] | None,
) -> Tolerance:
    """Return what passes.

    Parameters
    ----------
    tolerance : float or None
        Greatest difference.
    difference : str or None
        Which difference.
    box, box_lch : tuple of 3 float or None
        A limit for each axis instead.

    Returns
    -------
    Tolerance
        ΔE00 at most 1 where nothing was given.

    Raises
    ------
    typer.BadParameter
        If they contradict each other.
    TargetError
        If it is no tolerance.
    """
    from workbook.session.order import tolerance_of

    sides = box or box_lch
    if box is not None and box_lch is not None:
        raise typer.BadParameter("give --box or --box-lch, not both: an order names one of them")
    if sides is not None:
        name = "--box" if box is not None else "--box-lch"
        for option, given in (("--tolerance", tolerance), ("--difference", difference)):
            if given is not None:
                raise typer.BadParameter(
                    f"{name} says what passes on each axis, {option} says it in one number: give "
                    "the one that the order names"
                )
        return tolerance_of("box" if box is not None else "box-lch", box=sides)
    return tolerance_of(difference or "de00", 1.0 if tolerance is None else tolerance)


def weights_of(given: list[str] | None) -> dict[str, float]:
    """Return the weights of angles.

    Parameters
    ----------
    given : list of str or None
        Such as ``45as15=2``.

    Returns
    -------
    dict
        Geometry to weight.

    Raises
    ------
    typer.BadParameter
        If one cannot be read, or an angle has two.
    """
    found: dict[str, float] = {}
    for text in given or []:
        name, sign, number = (part.strip() for part in text.partition("="))
        try:
            weight = float(number)
        except ValueError:
            sign = ""
        if not (sign and name):
            raise typer.BadParameter(f"a weight is such as 45as15=2, not {text!r}")
        if name in found:
            raise typer.BadParameter(f"{name} has two weights")
        found[name] = weight
    return found


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
) -> tuple[Reading, ...]:
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
    tuple of Reading
        What is to be matched, one reading a geometry.

    Raises
    ------
    typer.BadParameter
        If none or more than one was given.
    """
    if sum(given is not None for given in (lab, reading, panel)) != 1:
        raise typer.BadParameter("give one target: --lab L a b, --reading FILE or --panel CODE")
    if lab is not None:
        return (session.typed_target(lab, illuminant=light[0], observer=light[1]),)
    if reading is not None:
        return session.angles_of_file(reading, panel=sample, decimal=decimal, scale=scale)
    return session.angles_of_panel(str(panel))
