"""The conversation on a case: a part of its page, and a page of its own without script."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from labqueue.base.errors import Fault, Refusal
from labqueue.base.forms import HouseForm
from labqueue.base.models import User
from labqueue.base.pages import by_htmx, onto_form
from orders.doors import case_for
from orders.hold import HOLDABLE
from orders.models import Case, Message
from orders.pages import who
from orders.talk.answer import answer as answer_it
from orders.talk.approve import CHANGE, decide
from orders.talk.ask_approval import ask_approval as show_design
from orders.talk.ask_approval import shown_to
from orders.talk.forms import DesignForm, TextForm
from orders.talk.reads import Line, Talk, may_approve, may_write, message_of, talk_of
from orders.talk.write import write as write_it

NOTE, ANSWER, TOLD, CHANGES = "Note", "Your answer", "What the practice said", "What is to be changed"


@require_GET
def talk(request: HttpRequest, number: str) -> HttpResponse:
    """Everything that was said, what is open first."""
    return show(request, case_for(who(request), number))


def show(request: HttpRequest, case: Case, refused: HouseForm | None = None) -> HttpResponse:
    """The conversation; 422 with the form that was refused in its place."""
    talk = talk_of(case, who(request))
    context = {
        "case": case,
        "talk": talk,
        "asked": [(line, answer_form(who(request), line, refused)) for line in talk.open],
        "note_form": refused if is_at(refused, "note") else TextForm("note", NOTE),
        "may_write": may_write(who(request)),
        "may_approve": may_approve(who(request)),
        "design_form": design_form(who(request), case, talk, refused),
    }
    template = "talk" if by_htmx(request) else "talk_page"
    return render(request, f"orders/{template}.html", context, status=422 if refused else 200)


def is_at(form: HouseForm | None, at: str) -> bool:
    """Whether a form that was refused belongs to that place."""
    return form is not None and getattr(form, "at", "") == at


def answer_form(user: User, line: Line, refused: HouseForm | None) -> HouseForm:
    """The form under a question, with what was typed where it was refused."""
    at = str(line.message.pk)
    answers = TOLD if user.works_here else ANSWER
    label = CHANGES if line.message.kind == Message.Kind.APPROVAL else answers
    return refused if refused is not None and is_at(refused, at) else TextForm(at, label)


def design_form(user: User, case: Case, talk: Talk, refused: HouseForm | None) -> HouseForm | None:
    """The form that shows a design, where the laboratory can show one now."""
    if refused is not None and is_at(refused, "design"):
        return refused
    asked = any(line.message.kind == Message.Kind.APPROVAL for line in talk.open)
    possible = user.works_here and may_write(user) and case.state in HOLDABLE and not asked and shown_to(case).exists()
    return DesignForm(case) if possible else None


@require_POST
def write(request: HttpRequest, number: str) -> HttpResponse:
    """A note."""
    case = case_for(who(request), number)
    form = TextForm("note", NOTE, request.POST)
    return sent(request, case, form, lambda said: write_it(who(request), case, said["text"]), "is noted")


@require_POST
def answer(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """The answer to a question."""
    case = case_for(who(request), number)
    asked = message_of(case, pk)
    form = TextForm(str(pk), TOLD if who(request).works_here else ANSWER, request.POST)
    return sent(request, case, form, lambda said: answer_it(who(request), case, asked, said["text"]))


@require_POST
def approve(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """A decision about a design: it is made so, or it is changed."""
    case = case_for(who(request), number)
    shown = message_of(case, pk)
    if request.POST.get("decision") != CHANGE:
        decide(who(request), case, shown, request.POST.get("decision", ""))
        messages.success(request, f"The design of case {case.number} is approved under your name.")
        return redirect("orders:case", case.number)
    form = TextForm(str(pk), CHANGES, request.POST)
    return sent(request, case, form, lambda said: decide(who(request), case, shown, CHANGE, said["text"]))


@require_POST
def ask_approval(request: HttpRequest, number: str) -> HttpResponse:
    """A design for the practice."""
    case = case_for(who(request), number)
    form = DesignForm(case, request.POST)

    def show_it(said: dict[str, Any]) -> Message:
        return show_design(who(request), case, said["text"], said["attachment"], said["line"], form.figures)

    return sent(request, case, form, show_it, "waits for the approval of its design")


def sent(
    request: HttpRequest, case: Case, form: HouseForm, verb: Callable[[dict[str, Any]], Message], so: str = ""
) -> HttpResponse:
    """Do it and show the case, or show the form again with what is wrong."""
    try:
        if form.is_valid():
            verb(form.cleaned_data)
            messages.success(request, f"Case {case.number} {so or how_it_goes(case)}.")
            return redirect("orders:case", case.number)
    except Refusal as refusal:
        if refusal.status != Refusal.status:
            raise
        onto_form(form, type(refusal)([at_figure(fault) for fault in refusal.faults]))
    return show(request, case, form)


def at_figure(fault: Fault) -> Fault:
    """A fault of a figure, where the form shows it."""
    return replace(fault, field=fault.field.removeprefix("figures."))


def how_it_goes(case: Case) -> str:
    """After an answer."""
    return "still waits for an answer" if case.on_hold else "goes on"
