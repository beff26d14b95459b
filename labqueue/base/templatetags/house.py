"""Template tags and filters that every page may use without loading them."""

from datetime import date, datetime, timedelta

from django import template
from django.utils import timezone

register = template.Library()

# From which probability of being late on a case is called what, and shown in which tone.
RISK_STEPS = (
    (0.50, "late likely", "late"),
    (0.25, "at risk", "risk"),
    (0.10, "watch", "watch"),
    (0.0, "on track", "good"),
)


@register.filter
def moment(at: datetime | None) -> str:
    """An instant in the laboratory's zone with its weekday, and its year where needed: `Tue 24 Nov, 16:30`."""
    return f"{day(at)}, {timezone.localtime(at):%H:%M}" if at else "—"


@register.filter
def day(on: date | None) -> str:
    """A date with its weekday, and with its year where that is not this year: `Tue 24 Nov`."""
    if on is None:
        return "—"
    local = local_day(on)
    return local.strftime("%a %-d %b" if local.year == timezone.localdate().year else "%a %-d %b %Y")


@register.filter
def countdown(on: date) -> str:
    """How far a due date is, in calendar days of the laboratory: `in 3 days`, `today`, `1 day late`.

    An instant of today that is past is `2 h late`.
    """
    days = days_until(on)
    if days < 0:
        return f"{-days} day{'' if days == -1 else 's'} late"
    if isinstance(on, datetime) and is_past(on):
        return f"{in_one_unit(timezone.now() - on)} late"
    return {0: "today", 1: "tomorrow"}.get(days, f"in {days} days")


@register.filter
def countdown_tone(on: date) -> str:
    """The tone of a due date: `late` once it is past, `watch` on the day and the day before, `quiet` otherwise."""
    return "late" if is_past(on) else "watch" if days_until(on) < 2 else "quiet"


@register.filter
def age(at: datetime | None) -> str:
    """How old something is, in one unit: `3 min`."""
    return "never" if at is None else in_one_unit(timezone.now() - at)


@register.filter
def duration(span: timedelta | None) -> str:
    """A span of time in one unit: `15 min`."""
    return "—" if span is None else in_one_unit(span)


@register.filter
def percent(share: float | None) -> str:
    """A probability for people: `12 %`; never 0 or 100 where it is not sure."""
    if share is None:
        return "—"
    if 0 < share < 0.01:
        return "< 1 %"
    if 0.99 < share < 1:
        return "> 99 %"
    return f"{share * 100:.0f} %"


@register.filter
def chance(share: float | None) -> str:
    """An estimated probability for people: never 0 or 100 %, for a thousand futures cannot know that."""
    if share is None:
        return "—"
    return "< 1 %" if share < 0.01 else "> 99 %" if share > 0.99 else percent(share)


@register.filter
def out_of_100(share: float) -> str:
    """A share from 0 to 1 as a length in a drawing that is 100 wide; held inside it."""
    return f"{min(max(share, 0.0), 1.0) * 100:.1f}"


@register.filter
def risk_word(late: float) -> str:
    """A probability of being late as a word: `on track`, `watch`, `at risk`, `late likely`."""
    return risk_step(late)[1]


@register.filter
def risk_tone(late: float) -> str:
    """The tone that goes with the word."""
    return risk_step(late)[2]


@register.filter
def risk_level(late: float) -> int:
    """The word as a number from 0 (on track) to 3 (late likely)."""
    return len(RISK_STEPS) - 1 - RISK_STEPS.index(risk_step(late))


def risk_step(late: float) -> tuple[float, str, str]:
    """The step of `RISK_STEPS` that a probability is on."""
    return next(step for step in RISK_STEPS if late >= step[0])


def local_day(on: date) -> date:
    """The date itself, or the laboratory's date at that instant."""
    return timezone.localtime(on).date() if isinstance(on, datetime) else on


def days_until(on: date) -> int:
    """Calendar days from today to the date, both in the laboratory's zone; negative once it is past."""
    return (local_day(on) - timezone.localdate()).days


def is_past(on: date) -> bool:
    """Whether the instant, or the whole day, is over."""
    return on < timezone.now() if isinstance(on, datetime) else on < timezone.localdate()


def in_one_unit(span: timedelta) -> str:
    """Whole days, hours, minutes or seconds, the largest that is not zero; a negative span counts as none."""
    seconds = max(0, int(span.total_seconds()))
    for size, unit in ((86_400, "d"), (3_600, "h"), (60, "min")):
        if seconds >= size:
            return f"{seconds // size} {unit}"
    return f"{seconds} s"
