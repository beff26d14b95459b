"""Orders for tests, made by the real verbs. Practices and people are those of the cast."""

from datetime import datetime, time
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import timezone

from labqueue.base.models import User
from labqueue.base.workdays import Workdays, at
from orders.acceptance import accept
from orders.check import weighed
from orders.facts import ItemFacts, ReasonFacts, millimetres
from orders.implant.confirm import confirm
from orders.implant.reads import unconfirmed
from orders.intake import open_case
from orders.models import Case
from orders.signoff import sign
from orders.talk.answer import answer
from orders.talk.stops import open_stops
from tests import cast

# The usual shade and implant system of these orders.
SHADE, SYSTEM = "N2", "Averin C"
IMPLANT = {"system": SYSTEM, "connection": "conical", "platform": Decimal("4.3"), "level": "bone"}
# What else a laboratory must know before it begins.
COMPLETE: dict[str, Any] = {
    "impression": "open_tray",
    "analog": "laboratory",
    "opposing": "impression",
    "bite": "record",
    "enclosed": ["impression", "opposing", "bite"],
    "disinfected_with": "Peracetic acid",
    "disinfected_minutes": 10,
    "allergy": "none",
}


def abutment(tooth: str = "8", **facts: Any) -> ItemFacts:
    """A final titanium abutment on tooth 8 in Universal notation, the upper right central incisor."""
    given = {"notation": "universal", "material": "titanium", **IMPLANT, **facts}
    return ItemFacts(kind="abutment", tooth=tooth, **given)


def crown(tooth: str = "8", **facts: Any) -> ItemFacts:
    """A zirconia crown that goes on it."""
    given = {"notation": "universal", "material": "zirconia_4y", "shade": SHADE, **facts}
    return ItemFacts(kind="crown", tooth=tooth, **given)


def screw_crown(tooth: str = "8", **facts: Any) -> ItemFacts:
    """A one-piece zirconia crown on a titanium base."""
    given = {"notation": "universal", "material": "zirconia_4y", "shade": SHADE, **IMPLANT, **facts}
    return ItemFacts(kind="screw_crown", tooth=tooth, **given)


def seat_in(working_days: int, clock: time = time(14)) -> datetime:
    """An appointment that many working days from today, in the laboratory's zone."""
    day = Workdays().shift(timezone.localdate(), working_days)
    return at(day, clock, ZoneInfo(settings.TIME_ZONE))


def bare_order(**facts: Any) -> dict[str, Any]:
    """A final abutment with its crown, three weeks ahead, as `open_case` takes them, and nothing else said."""
    items = [abutment(), crown()]
    return {"patient_ref": "K-2041", "stage": "final", "seat_at": seat_in(15), "note": "", "items": items, **facts}


def order(**facts: Any) -> dict[str, Any]:
    """The same with all that a laboratory must know."""
    return bare_order(**{**COMPLETE, **facts})


def draft_case(actor: User | None = None, **facts: Any) -> Case:
    """A case that nobody has signed yet, opened by the assistant; of another patient than every case that is signed."""
    patient = {"patient_ref": f"K-{2041 + Case.objects.filter(current__isnull=False).count()}"}
    return open_case(actor or cast.assistant(), **order(**{**patient, **facts}))


def reasons_for(case: Case) -> list[ReasonFacts]:
    """A reason for everything that is unusual about the draft of a case."""
    assert case.draft is not None
    teeth = {item.line: str(item.tooth) for item in case.draft.items.all()}
    found = [one for one, _ in weighed(case, case.draft)]
    return [ReasonFacts(one.rule, "As discussed.", teeth.get(one.line, ""), "fdi") for one in found]


def signed_case(actor: User | None = None, **facts: Any) -> Case:
    """A case that a prescriber opened and signed, with a reason for everything that is unusual."""
    prescriber = actor or cast.prescriber()
    case = draft_case(prescriber, **facts)
    sign(prescriber, case, reasons=reasons_for(case))
    return case


def accepted_case(actor: User | None = None, **facts: Any) -> Case:
    """A signed case that the laboratory has taken on."""
    return accept(cast.manager(), signed_case(actor, **facts))


def confirm_all(case: Case, actor: User | None = None) -> Case:
    """The case with every implant read a second time, by a technician."""
    for item in unconfirmed(case):
        confirm(
            actor or cast.technician(),
            case,
            **{name: getattr(item, name) for name in ("kind", "system", "connection", "level")},
            platform=millimetres(item.platform),
            tooth=str(item.tooth),
            notation="fdi",
            source="both",
        )
    return case


def confirmed_case(actor: User | None = None, **facts: Any) -> Case:
    """An accepted case that may be released."""
    return confirm_all(accepted_case(actor, **facts))


def shipped_case(actor: User | None = None, **facts: Any) -> Case:
    """A case that has left, as a case; what the floor and the desk write about it is not there."""
    case = accepted_case(actor, **facts)
    Case.objects.filter(pk=case.pk).update(state=Case.State.SHIPPED, shipped_at=timezone.now())
    case.refresh_from_db()
    return case


def let_go_on(case: Case) -> Case:
    """A case for which everything that was open was answered to the laboratory by telephone."""
    for message in open_stops(case):
        answer(cast.technician(), case, message, "We do not know.")
    return case
