"""The conversation on a case: a part of its page, and a page of its own without script."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from labqueue.base.errors import Refusal
from labqueue.base.forms import HouseForm
from labqueue.base.pages import onto_form
from orders.doors import case_for
from orders.models import Case, Message
from orders.pages import who
from orders.talk.answer import answer as answer_it
from orders.talk.forms import TextForm
from orders.talk.reads import Line, may_write, message_of, talk_of
from orders.talk.write import write as write_it

NOTE, ANSWER = "Note", "Your answer"


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
        "asked": [(line, answer_form(line, refused)) for line in talk.open],
        "note_form": refused if is_at(refused, "note") else TextForm("note", NOTE),
        "may_write": may_write(who(request)),
    }
    template = "talk" if request.headers.get("HX-Request") else "talk_page"
    return render(request, f"orders/{template}.html", context, status=422 if refused else 200)


def is_at(form: HouseForm | None, at: str) -> bool:
    """Whether a form that was refused belongs to that place."""
    return form is not None and getattr(form, "at", "") == at


def answer_form(line: Line, refused: HouseForm | None) -> HouseForm:
    """The form under a question, with what was typed where it was refused."""
    at = str(line.message.pk)
    return refused if refused is not None and is_at(refused, at) else TextForm(at, ANSWER)


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
    form = TextForm(str(pk), ANSWER, request.POST)
    return sent(request, case, form, lambda said: answer_it(who(request), case, asked, said["text"]))


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
        onto_form(form, refusal)
    return show(request, case, form)


def how_it_goes(case: Case) -> str:
    """After an answer."""
    return "still waits for an answer" if case.on_hold else "goes on"
