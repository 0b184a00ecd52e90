"""What is wanted, as the command line takes it: a target, what passes, and the shop's limits."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Annotated, Any

import click

from workbook.cli.common import (
    FileOptions,
    LabOption,
    LightOptions,
    listed,
    named_numbers,
    note,
)
from workbook.cli.options import Option

if TYPE_CHECKING:
    from matchlib.colorimetry import Tolerance
    from matchlib.domain import Reading
    from matchlib.mixing import Limits
    from matchlib.target import Target
    from workbook.session import Session

__all__ = [
    "KeptOptions",
    "OrderOptions",
    "SampleOptions",
    "SearchOptions",
    "ShelfOptions",
    "TargetOptions",
    "labs_at",
    "tell_fit",
]


@dataclass(frozen=True, slots=True)
class SampleOptions:
    """A colour to match that is no panel of the archive.

    `lab_at`: typed at angles, such as ``45as15=40,-20,10``. `reading`, `sample`: file, and the
    sample in it.
    """

    lab: LabOption = None
    lab_at: Annotated[
        list[str] | None,
        Option(
            help="Instead of --lab, the colour at one angle: 45as15=40,-20,10; again for the next "
            "makes a target that is met at all of them.",
            metavar="ANGLE=L,a,b",
        ),
    ] = None
    reading: Annotated[
        str | None,
        Option(
            help="File with the target's reading, or a photograph of it beside a chart; rows "
            "at several angles (45as15, 45as110) make a target that is met at all of them.",
            metavar="FILE",
        ),
    ] = None
    sample: Annotated[
        str | None, Option(help="Which sample in that file, where it has several.")
    ] = None

    @property
    def given(self) -> bool:
        """Whether there is a target."""
        return any(way is not None for way in self._ways)

    @property
    def _ways(self) -> tuple[Any, ...]:
        """What was given in each way; where one may be given, a panel of the archive last."""
        return self.lab, self.lab_at or None, self.reading, getattr(self, "panel", None)

    def readings(
        self, session: Session, light: LightOptions, file: FileOptions
    ) -> tuple[Reading, ...]:
        """Return the target that was given."""
        from matchlib.domain import Viewing
        from workbook.session.targets import angles_of_file, angles_of_panel, reading_of_lab

        if sum(way is not None for way in self._ways) != 1:
            raise click.BadParameter(
                "give one target: --lab L a b, --lab-at ANGLE=L,a,b, --reading FILE or --panel CODE"
            )
        if self.lab is not None:
            view = Viewing(light.illuminant, light.observer, session.geometry)
            return (reading_of_lab(self.lab, view),)
        if self.lab_at:
            return labs_at(self.lab_at, light)
        if self.reading is not None:
            return angles_of_file(self.reading, panel=self.sample, **file.declared)
        return angles_of_panel(session.archive, self._ways[-1])


def labs_at(given: list[str], light: LightOptions) -> tuple[Reading, ...]:
    """Return readings that were typed at angles.

    `given`: such as ``45as15=40,-20,10``.
    """
    from workbook.session.targets import typed_readings

    such = "a colour at an angle is such as 45as15=40,-20,10"
    rows = [named_numbers(text, 3, such) for text in given]
    return typed_readings(rows, illuminant=light.illuminant, observer=light.observer)


@dataclass(frozen=True, slots=True)
class TargetOptions(SampleOptions):
    """A colour to match.

    `panel`: panel of the archive.
    """

    panel: Annotated[
        str | None, Option(help="A panel of the archive to match.", metavar="CODE")
    ] = None


@dataclass(frozen=True, slots=True)
class OrderOptions:
    """What passes.

    `box`, `box_lch`: a limit for each axis instead. `angle_weight`: such as ``45as15=2``.
    """

    tolerance: Annotated[
        float | None,
        Option(help="Difference that passes, in ΔE00 or as --difference says.  [default: 1]"),
    ] = None
    difference: Annotated[
        str | None,
        Option(
            help="The difference that the order names: de00, cmc2:1 or cmc1:1.  [default: de00]",
            metavar="KIND",
        ),
    ] = None
    box: Annotated[
        tuple[float, float, float] | None,
        Option(
            help="Instead of one number: the greatest ΔL*, Δa* and Δb* that pass, either way.",
            metavar="DL Da Db",
        ),
    ] = None
    box_lch: Annotated[
        tuple[float, float, float] | None,
        Option(help="The same for ΔL*, ΔC* and ΔH*.", metavar="DL DC DH"),
    ] = None
    angle_weight: Annotated[
        list[str] | None,
        Option(
            help="How often a difference counts at one of the target's angles: 45as15=2; again "
            "for the next.  [default: 1 each]",
            metavar="ANGLE=NUMBER",
        ),
    ] = None

    def __post_init__(self) -> None:
        _ = self.order, self.weights  # what is wrong is said before anything is opened

    def aim(self, readings: tuple[Reading, ...]) -> Target:
        """Return a target of readings, met where these pass."""
        from workbook.session.order import aim_of

        return aim_of(readings, self.order, self.weights)

    def without_target(self) -> None:
        """Refuse what only a target can have."""
        if self.angle_weight:
            raise click.BadParameter("--angle-weight needs a target read at that angle")

    @property
    def tolerance_given(self) -> bool:
        """Whether anything was said of what passes."""
        given = (self.tolerance, self.difference, self.box, self.box_lch)
        return any(value is not None for value in given)

    @property
    def order(self) -> Tolerance:
        """What passes: ΔE00 at most 1 where nothing was given."""
        from workbook.session.order import tolerance_of

        if self.box is not None and self.box_lch is not None:
            raise click.BadParameter(
                "give --box or --box-lch, not both: an order names one of them"
            )
        sides = self.box or self.box_lch
        if sides is None:
            value = 1.0 if self.tolerance is None else self.tolerance
            return tolerance_of(self.difference or "de00", value)
        name = "box" if self.box is not None else "box-lch"
        for option, given in (("--tolerance", self.tolerance), ("--difference", self.difference)):
            if given is not None:
                raise click.BadParameter(
                    f"--{name} says what passes on each axis, {option} says it in one number: give "
                    "the one that the order names"
                )
        return tolerance_of(name, box=sides)

    @property
    def weights(self) -> dict[str, float]:
        """How much each angle counts, by geometry; empty where nothing was given."""
        found: dict[str, float] = {}
        for text in self.angle_weight or []:
            such = "a weight is such as 45as15=2"
            name, (weight,) = named_numbers(text, 1, such)
            if not name:
                raise click.BadParameter(f"{such}, not {text!r}")
            if name in found:
                raise click.BadParameter(f"{name} has two weights")
            found[name] = weight
        return found


@dataclass(frozen=True, slots=True)
class ShelfOptions:
    """What may be used.

    `min_ratio`, `max_ratio`: ends of the mix ratio.
    """

    grounds: Annotated[
        list[str] | None, Option(help="Only these grounds: 'silver, pale gold'.", metavar="NAMES")
    ] = None
    colours: Annotated[list[str] | None, Option(help="Only these colours.", metavar="NAMES")] = None
    max_coats: Annotated[int | None, Option(help="Most coats of colour.  [default: 6]")] = None
    min_ratio: Annotated[
        str | None, Option(help="One end of the mix ratio, such as 2:1.", metavar="RATIO")
    ] = None
    max_ratio: Annotated[
        str | None, Option(help="The other end, such as 10:1.", metavar="RATIO")
    ] = None

    def limits(self) -> dict[str, Any]:
        """Return the limits that were given, by field of `Limits`."""
        given = {field.name: getattr(self, field.name) for field in fields(self)}
        given |= {name: listed(given[name]) for name in ("grounds", "colours")}
        return {name: value for name, value in given.items() if value is not None}


@dataclass(frozen=True, slots=True)
class SearchOptions(ShelfOptions):
    """What may be used, and how it may be put together.

    `ratio_step`: parts of carrier. `blends`, `step_ups`, `ground_blends`, `layers`: whether recipes
    may have them. `max_unevenness`: most that 10 percent of film may show.
    """

    min_coats: Annotated[int | None, Option(help="Fewest coats of colour.  [default: 1]")] = None
    ratio_step: Annotated[
        float | None, Option(help="Parts of carrier a cup can tell apart.  [default: 0.5]")
    ] = None
    blends: Annotated[bool | None, Option(help="Two colours in a pot.  [default: blends]")] = None
    step_ups: Annotated[
        bool | None, Option(help="A stronger ratio later on.  [default: step-ups]")
    ] = None
    ground_blends: Annotated[
        bool | None, Option(help="Grounds mixed of two.  [default: ground-blends]")
    ] = None
    layers: Annotated[
        bool | None,
        Option(
            help="One neat colour over another, each from a pot of its own.  [default: no-layers]"
        ),
    ] = None
    clear: Annotated[
        str | None,
        Option(help="Clear coat: yes, no or a name.  [default: as the archive mostly has]"),
    ] = None
    max_unevenness: Annotated[
        float | None,
        Option(
            help="Most that 10 percent more or less film may show, in ΔE00 or as --difference "
            "says, at every angle; for this search, not remembered."
        ),
    ] = None


@dataclass(frozen=True, slots=True)
class KeptOptions:
    """Limits that are kept with the archive, and what its paint shelf has enough of."""

    remember: Annotated[bool, Option(help="Keep these limits with the archive.")] = False
    forget: Annotated[bool, Option(help="Forget the limits kept with the archive first.")] = False
    in_stock: Annotated[
        tuple[str, str] | None,
        Option(
            help="Only what the shelf has paint for: an area or a usual job, and what a coat takes "
            "on a square metre, such as --in-stock door '60 ml'; of what is not listed there is "
            "enough.",
            metavar="WORK A-COAT",
        ),
    ] = None

    @property
    def write(self) -> bool:
        """Whether the archive is written to."""
        return self.remember or self.forget

    def limits(self, session: Session, given: dict[str, Any]) -> Limits:
        """Return the limits of a search; keep or forget them first, as was asked.

        `given`: those typed, by field of `Limits`.
        """
        from workbook.session.shelf import keep_shelf, shelf_of
        from workbook.session.stock import stock_limits

        if self.forget:
            keep_shelf(session.archive, None)
        held = {}
        if self.in_stock is not None:
            work, a_coat = self.in_stock
            held = stock_limits(session.archive, work=work, a_coat=a_coat)
        limits = session.limits(**given, **held)
        if self.remember:
            keep_shelf(session.archive, {**shelf_of(session.archive), **given})
        return limits


def tell_fit(session: Session) -> None:
    """Load or fit the model, say so where it took time, and what it cannot hold for."""
    outcome = session.fit()
    if outcome.fitted:
        note(outcome.text)
    if outcome.model.unusual_:
        from matchlib.regression import unusual_words

        note(unusual_words(outcome.model.unusual_))
