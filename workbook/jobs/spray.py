"""Step 3, spray: the pot, then coat by coat with what it should look like, logged in one press."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

from matchlib.cautions import DEFERENCE, cautions_at
from matchlib.explain import clear_change
from matchlib.steering import SANDING
from workbook.figures import Raw, esc, trouble_list
from workbook.jobs.pot import pot_part
from workbook.page.fields import button, check, chips, field, fold, problem
from workbook.page.pictures import read_as, spaced
from workbook.session.typed import number_typed
from workbook.session.work import Coat, Work

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from workbook.jobs.app import JobsScreen
    from workbook.page.page import Press

__all__ = ["booth_of", "draw", "keep_booth", "noted"]

BOOTH = "booth today"
_BOOTH = {
    "sprayer": ("Sprayer", ""),
    "lot": ("Lot of the colour", ""),
    "temperature": ("Booth, °C", "from the booth's own thermometer"),
    "humidity": ("Booth, % humidity", ""),
    "flash": ("Flash-off, minutes", "from the product's data sheet; the clock counts down from it"),
}
_READY = ("stirred", "stood", "strained")


def booth_of(archive: Archive) -> dict[str, str]:
    """Return what holds for the coats of today, as typed."""
    kept = archive.setting(BOOTH, {})
    return {name: str(kept.get(name, "")) for name in _BOOTH}


def keep_booth(archive: Archive, done: Press) -> None:
    """Keep what holds for the coats of today."""
    typed = {n: done.fields.get(f"booth_{n}", "").strip() for n in _BOOTH}
    noted(typed)  # refuses what no booth has
    archive.set_setting(BOOTH, typed)


def noted(booth: dict[str, str]) -> dict[str, Any]:
    """Return what is noted of a coat, checked."""
    from matchlib.domain.stage import check_booth

    found: dict[str, Any] = {n: booth[n] for n in ("sprayer", "lot") if booth[n]}
    for name in ("temperature", "humidity", "flash"):
        number = number_typed(booth[name], f"'{_BOOTH[name][0]}'")
        if number is not None:
            found[name] = number
    found.pop("flash", None)
    check_booth(found.get("temperature"), found.get("humidity"))
    return found


def draw(screen: JobsScreen, work: Work) -> tuple[str, str, str]:
    """Return the step: its title, its HTML, and how to go on."""
    plan, archive, wrong = work.job.plan, work.archive, screen.error
    at_pot = wrong if screen.at in ("pot", "stock", "unstock", "takepot") else None
    recipe, pot = work.pot_recipe, Raw("")
    if recipe:
        opened = screen.address.get("tool") == "pot"
        pot = pot_part(archive, recipe, at_pot, opened=opened, pot=work.pot_words)
    count = recipe.coats if recipe else 0
    ticked = screen.last.ticked("ready") if screen.last else []
    ready = chips("Before the gun", [check(k, "ready", k, k in ticked) for k in _READY])
    head = f"Pot for {count}{' more' * bool(work.begun)} coat{'s' * (count != 1)}"
    on, card = "", work.built_on
    if card is not None and card.under_clear and work.next_coat:
        on = f'<p class="wb-caution">{esc(SANDING)}</p>'
    booth = booth_of(archive)
    conditions = " · ".join(
        filter(
            None,
            [
                booth["temperature"] and f"{booth['temperature']} °C",
                booth["humidity"] and f"{booth['humidity']} %",
                booth["lot"] and f"lot {booth['lot']}",
                booth["sprayer"] and f"sprayer {booth['sprayer']}",
                booth["flash"] and f"flash-off {booth['flash']} min",
            ],
        )
    )
    fields = "".join(
        field(label, f"booth_{n}", booth[n], help=help_) for n, (label, help_) in _BOOTH.items()
    )
    at_booth = wrong if screen.at == "booth" else None
    words = "Card, booth, lot and sprayer"
    if plan is not None and not plan.on:
        fields = field("Code of the card", "code", work.next_code) + fields
    today = fold(
        f"Booth and card: {conditions}" if conditions else words,
        f'<div class="wb-fields" data-enter="booth">{fields}</div>{problem(at_booth)}'
        + button("Keep for the next coats", "booth", quiet=True),
        ident="booth",
        open_=at_booth is not None,
    )
    rest = wrong if wrong is not None and at_pot is None and at_booth is None else None
    troubles = trouble_list()
    mind = cautions_at("spray")
    first = f"The data sheet decides flash and recoat times. {mind[0].first}"
    safety = "".join(f"<p>{esc(words)}</p>" for words in (*(c.text for c in mind), DEFERENCE))
    body = (
        f'{problem(rest)}<section class="wb-card" aria-label="Pot">'
        f'<div class="wb-recrow"><h2>{esc(head)}</h2>{ready}</div>{on}{pot}</section>'
        f'{_table(work, booth)}<div class="wb-folds">{today}'
        f"{fold('When it goes wrong', troubles, ident='troubles')}</div>"
        f'<div class="wb-caution">{fold(first, safety, ident="safety")}</div>'
    )
    coat = work.next_coat
    if coat is not None and not work.due_reading:
        forward = button(f"Next: coat {coat.number} sprayed", "coat", coat.number, go=True)
    elif work.to_clear and not work.due_reading:
        forward = button("Next: clear laid", "clear", go=True)
    elif work.panel is None:  # a bare ground has no coat that makes its card
        forward = button("Next: another recipe", "step", "recipe", go=True)
    else:
        forward = button("Next: read it", "step", "read", go=True)
    return f"Spray card {plan.on if plan and plan.on else work.next_code}", body, forward


def _table(work: Work, booth: dict[str, str]) -> str:
    plan = work.job.plan
    if plan is None:
        return ""
    begun = work.begun
    *labs, whole = work.ahead
    ahead, read_due = work.next_coat, work.due_reading
    rows = []
    try:
        flash = float(booth["flash"].replace(",", ".")) * 60
    except ValueError:
        flash = 0.0
    laid = [c for c in work.coats if c.laid]
    several = len(plan.recipe.layers) > 1
    if begun:
        which = f"1 to {begun}" if begun > 1 else "1"
        rows.append(
            f'<tr class="wb-gone"><th scope="row">{which}</th><td></td>'
            "<td colspan=2>on the card</td><td></td></tr>"
        )
    for coat, lab in zip(work.coats[begun:], labs, strict=True):
        last = bool(laid) and coat is laid[-1]
        rows.append(_coat(coat, lab, press=coat is ahead and not read_due,
                          clock=last, flash=flash, after=laid, several=several))  # fmt: skip
        if coat.read:
            now = read_due == coat.number
            press = button("Read it now", "step", "read", go=True) if now else ""
            done = any(not c.laid for c in work.coats if c.number <= coat.number)
            state = "dry; the reading decides what follows" if now or done else "read"
            rows.append(
                f'<tr data-key="read{coat.number}"><th scope="row">read</th><td></td>'
                f"<td colspan=2>{esc(state)}</td>"
                f"<td>{press}</td></tr>"
            )
    if plan.recipe.clear is not None:
        card = work.built_on
        laid_clear = card is not None and not work.next_coat and card.recipe.clear is not None
        state = "laid" if laid_clear else "last, by its data sheet"
        if labs and not laid_clear:
            state = f"makes it {clear_change(labs[-1], whole)}"
        press = button("Clear laid", "clear", go=not read_due) if work.to_clear else ""
        rows.append(
            f'<tr class="{"wb-gone" if laid_clear else ""}"><th scope="row">clear</th>'
            f"<td>{read_as(whole)}</td><td colspan=2>{state}</td><td>{press}</td></tr>"
        )
    return (
        '<div class="wb-scroll" tabindex="0" role="region" aria-label="Coats"><table><thead><tr>'
        "<th>coat</th><th>should read</th><th>as sprayed</th><th>flash</th><th></th></tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def _coat(
    coat: Coat,
    lab: Any,
    *,
    press: bool,
    clock: bool,
    flash: float,
    after: list[Coat],
    several: bool,
) -> str:
    ratio = f"{coat.colour} at " * several + spaced(coat.ratio)
    at = coat.log.at if coat.log is not None else None
    when = f"{at:%H:%M}" if at is not None else "laid" if coat.laid else ""
    since = ""
    if at is not None and clock and time.time() - at.timestamp() < 12 * 3600:
        since = (
            f'<span class="wb-clock" data-since="{at.timestamp():.0f}" '
            f'data-wait="{flash:.0f}"></span> '
            f"<span data-clock-words>{'' if flash else 'since this coat'}</span>"
        )
        left, gone = f"left of {flash / 60:g} min", "since this coat"
        since = since.replace("data-since", f'data-left="{left}" data-gone="{gone}" data-since')
    elif at is not None:
        nxt = next((c for c in after if c.number == coat.number + 1), None)
        if nxt is not None and nxt.log is not None and nxt.log.at is not None:
            since = f"{(nxt.log.at - at).total_seconds() / 60:.0f} min"
    do = button(f"Coat {coat.number} sprayed", "coat", coat.number, go=True) if press else ""
    lot = f" · lot {coat.log.lot}" if coat.log is not None and coat.log.lot else ""
    return (
        f'<tr class="{"wb-gone" if coat.laid else ""}" data-key="coat{coat.number}">'
        f'<th scope="row">{coat.number} · {esc(ratio)}</th><td>{read_as(lab)}</td>'
        f"<td>{esc(when + lot)}</td><td>{since}</td><td>{do}</td></tr>"
    )
