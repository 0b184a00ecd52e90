"""What of photographs is kept with an archive: readings, small pictures, how a phone reads."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from matchlib.errors import DomainError, MatchlibError
from matchlib.plain import from_plain, to_plain
from matchlib.plural import counted

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.readings.photo import Profile
    from workbook.session.photos import Photographed

__all__ = [
    "KIND",
    "keep_photographs",
    "keep_picture",
    "learn_phone",
    "phone_profile",
    "picture_name",
]

KIND = "phone"
"""Of a profile in the archive."""


def phone_profile(archive: Archive, name: str) -> Profile:
    """Return how a phone with its chart has read before.

    Returned: an empty one for a phone that is new.
    """
    from matchlib.readings.photo import Profile

    return from_plain(Profile, {**archive.profiles(KIND).get(name, {}), "name": name})


def learn_phone(
    archive: Archive,
    phone: str,
    done: Sequence[Photographed],
    lab: Sequence[float],
    *,
    light: str = "",
    who: str = "",
) -> str:
    """Let a phone's profile learn from a panel that an instrument has read too.

    `light`: what light the photographs were taken in; the day where empty.
    """
    readings = [d.reading for d in done if d.reading is not None]
    if len(readings) != 1:
        raise DomainError(
            "A phone learns from one panel at a time.",
            expected="photographs of one panel that can be read",
            got=f"{len(readings)}",
            remedy="give the photographs of one panel, and the instrument's reading of that panel.",
        )
    when = light or dt.datetime.now(tz=dt.UTC).date().isoformat()
    learnt = phone_profile(archive, phone).learnt(readings[0], lab, light=when)
    archive.keep_profile(KIND, learnt.name, to_plain(learnt), who=who)
    panels = counted(len(learnt.pairs), "panel")
    lights = counted(len({p.light for p in learnt.pairs}), "light")
    return f"{learnt.name} has now learnt from {panels} under {lights}."


def picture_name(picture: bytes) -> str:
    """Return the name under which a small picture is kept with its panel."""
    return f"photo-{hashlib.sha256(picture).hexdigest()[:12]}.jpg"


def keep_picture(archive: Archive, code: str, picture: bytes, *, who: str = "") -> str:
    """Keep a small picture with a panel.

    Returned: its name; nothing is kept of nothing.
    """
    if not picture:
        return ""
    name = picture_name(picture)
    archive.attach(code, name, picture, who=who)
    return name


def keep_photographs(
    archive: Archive, done: Sequence[Photographed], *, phone: str = "", who: str = ""
) -> list[str]:
    """Keep readings, all in one change, and small pictures with the panels of the archive.

    Returned: what became of each, in words; one that cannot be kept does not take the others with
    it.
    """
    lines, panels = [], []
    for each in done:
        if each.reading is None:
            lines.append(
                f"{each.code or 'The panel'}: nothing to keep, the photograph was refused."
            )
            continue
        try:
            panel = archive.panel(each.code)
            name = keep_picture(archive, each.code, each.picture, who=who)
            reading = replace(each.reading.reading, instrument=phone, picture=name)
            if reading in panel.readings:
                lines.append(f"{panel.code}: this reading of the photograph is kept already.")
                continue
            panels.append(panel.having(readings=(*panel.readings, reading)))
        except MatchlibError as error:
            lines.append(f"{each.code or 'The panel'}: not kept. {error}")
    if not panels:
        return lines
    result = archive.add(panels, who=who, on_duplicate="skip")
    lines += [f"{code}: not kept. {why}" for code, why in result.refused]
    return [f"{', '.join(p.code for p in panels)}: {result.words}", *lines]
