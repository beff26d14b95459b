"""The pages of cases: fetch by the door, parse, call the verb, show."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from labqueue.base.models import User
from orders import acceptance, hold, reads, reasons, seal, signoff, words
from orders.actions import actions_for
from orders.cancel import cancel as cancel_case
from orders.check import examine_draft, weighed
from orders.doors import case_for, cases_for
from orders.findings import Severity
from orders.lifecycle import CHANGEABLE
from orders.models import Case, Practice, Prescription
from orders.packs import PACKS, kept_until
from orders.patients import tidy
from orders.trail import trail_of
from orders.versions import differences, said, text_of

PAGE_SIZE = 50
# A scanned code: the digits of the case, two of the piece, a check digit.
CASE_DIGITS, CODE_DIGITS = 7, 10
View = Callable[[HttpRequest, str], HttpResponse]
Verb = Callable[[User, Case, QueryDict], object]


def who(request: HttpRequest) -> User:
    """Who is signed in; the gate lets nobody else through."""
    assert isinstance(request.user, User)
    return request.user


@require_http_methods(["GET", "POST"])
def cases(request: HttpRequest) -> HttpResponse:
    """The list. A case number leads to its case; a patient reference is sent as POST, so that it is in no address."""
    if number := request.GET.get("number", "").strip():
        return redirect("orders:case", case_for(who(request), number_in(number)).number)
    state, reference = request.GET.get("state", reads.OPEN), tidy(request.POST.get("patient_ref", ""))
    found = reads.listed(who(request), state)
    if request.method == "POST":
        found = reads.with_versions(cases_for(who(request)).filter(patient_ref=reference))
    page = Paginator(found, PAGE_SIZE).get_page(request.GET.get("page"))
    count = page.paginator.count
    order = "by the day on which they leave" if who(request).works_here else "by appointment"
    listed = f"{count} case{'' if count == 1 else 's'}, {order}"
    context = {"page": page, "state": state, "states": reads.CHOICES, "reference": reference, "listed": listed}
    return render(request, "orders/cases.html", context)


def number_in(text: str) -> str:
    """The case's number out of what was typed or scanned: itself, or the code of the case or of one of its pieces."""
    digits = text.replace(" ", "")
    return digits[:CASE_DIGITS] if len(digits) == CODE_DIGITS and digits.isdigit() else text


@require_GET
def case(request: HttpRequest, number: str) -> HttpResponse:
    """Everything about one case."""
    found = reads.full_case(who(request), number)
    return render(request, "orders/case.html", case_context(who(request), found))


def case_context(user: User, found: Case) -> dict[str, Any]:
    """What the page of a case shows. The laboratory does not read what is not signed."""
    versions = [one for one in found.prescriptions.all() if one.signed_at or not user.works_here]
    # A change that was begun and can no longer be signed is not what was made; it is not shown as the case.
    draft = found.draft if found.current_id is None or found.state in CHANGEABLE else None
    counts = draft if draft in versions else found.shown
    assert counts is not None
    unusual = weighed(found, counts)
    return {
        "case": found,
        "draft": draft,
        "shown": counts,
        "promise": reads.promise_of(found, counts),
        "mark": seal.mark(found, counts),
        "weighed": unusual,
        "asked": reasons.asked(unusual, counts.items.all()),
        "actions": actions_for(user, found),
        "versions": with_changes(versions, found.practice),
        "trail": trail_of(found, user),
        "law": law_of(found, counts),
        "holds": holds_of(found, draft) if draft and counts == draft else [],
        "order": said(counts, seal.ORDER_FIELDS),
        "pieces": text_of(counts),
    }


def holds_of(found: Case, draft: Prescription) -> list[str]:
    """What the case would stand still for, were the draft signed as it is."""
    examined = examine_draft(found, draft)
    return words.findings(examined.findings, Severity.HOLD, examined.pieces, found.practice)


def law_of(found: Case, shown: Prescription) -> dict[str, Any]:
    """What the law of the practice's place asks for, of these pieces."""
    pack, kinds = PACKS[found.practice.pack], [item.kind for item in shown.items.all()]
    until = kept_until(pack, kinds, found.shipped_at) if found.shipped_at else None
    return {"gives_back": pack.gives_back, "years": pack.years(kinds), "kept_until": until}


def with_changes(versions: list[Prescription], practice: Practice) -> list[tuple[Prescription, list[str]]]:
    """The versions, the latest first, each with what it changed of the one before."""
    before = [None, *versions[:-1]]
    pairs = [(new, differences(old, new, practice) if old else []) for old, new in zip(before, versions, strict=True)]
    return pairs[::-1]


def verb(do: Verb, said: str, then: str = "orders:case") -> View:
    """The page of a verb: do it, say so, show the case."""

    @require_POST
    def view(request: HttpRequest, number: str) -> HttpResponse:
        found = case_for(who(request), number)
        do(who(request), found, request.POST)
        messages.success(request, f"Case {found.number} {said}.")
        return redirect(then, found.number)

    return view


sign = verb(
    lambda actor, found, sent: signoff.sign(actor, found, seen=sent.get("seen", ""), reasons=reasons.sent(sent)),
    "is signed",
)
amend = verb(lambda actor, found, sent: signoff.amend(actor, found), "can be changed below", then="orders:edit")
discard = verb(lambda actor, found, sent: signoff.discard(actor, found), "stays as it was signed")
cancel = verb(lambda actor, found, sent: cancel_case(actor, found, sent.get("reason", "")), "is cancelled")
accept = verb(lambda actor, found, sent: acceptance.accept(actor, found), "is accepted")
put_on_hold = verb(lambda actor, found, sent: hold.hold(actor, found, sent.get("reason", "")), "is on hold")
resume = verb(lambda actor, found, sent: hold.resume(actor, found), "goes on")
