"""The pages of a treatment: a part of the case's page, the evaluation, and the plan of the final."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from labqueue.base.errors import Fault, Refusal
from labqueue.base.pages import by_htmx, onto_form
from orders import reads
from orders.appointment import AppointmentForm, appointment_values
from orders.doors import case_for, own_case
from orders.models import Case, Evaluation
from orders.pages import who
from orders.treatment.evaluate import evaluate as keep_evaluation
from orders.treatment.forms import EvaluationForm
from orders.treatment.plan import plan as keep_plan
from orders.treatment.reads import treatment_of


@require_GET
def treatment(request: HttpRequest, number: str) -> HttpResponse:
    """What belongs together, and what can be done next: a part of the case's page, or a page of its own."""
    return show(request, reads.full_case(who(request), number))


def show(request: HttpRequest, case: Case, form: AppointmentForm | None = None) -> HttpResponse:
    """The treatment; 422 where the plan was refused."""
    plan_form = form or AppointmentForm(case.practice, initial=appointment_values(case.final_seat_at, case.practice))
    context = {"case": case, "treatment": treatment_of(case, who(request), timezone.now()), "form": plan_form}
    template = "treatment" if by_htmx(request) else "treatment_page"
    return render(request, f"orders/{template}.html", context, status=422 if form else 200)


@require_POST
def plan(request: HttpRequest, number: str) -> HttpResponse:
    """When the final is to be seated; an empty form takes the plan back."""
    case = reads.full_case(who(request), number)
    own_case(who(request), case)
    form = AppointmentForm(case.practice, request.POST)
    try:
        if form.is_valid():
            planned = keep_plan(who(request), case, form.seat_at)
            said = "The final is planned." if planned.final_seat_at else "The final is no longer planned."
            messages.success(request, said)
            return redirect("orders:case", case.number)
    except Refusal as refusal:
        onto_form(form, type(refusal)([at_day(fault) for fault in refusal.faults]))
    return show(request, case, form)


def at_day(fault: Fault) -> Fault:
    """A fault of the appointment, where the form shows it."""
    return Fault(fault.code, fault.message, "seat_day" if fault.field == "final_seat_at" else fault.field)


def after(found: Evaluation, case: Case) -> str:
    """Where to go on: to the order of the final where that was decided."""
    if found.decision == Evaluation.Decision.FINAL:
        return f"{reverse('orders:new')}?final_of={case.number}"
    return reverse("orders:case", args=[case.number])


@require_http_methods(["GET", "POST"])
def evaluate(request: HttpRequest, number: str) -> HttpResponse:
    """The short form on how the provisional did."""
    case = case_for(who(request), number)
    own_case(who(request), case)
    form = EvaluationForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            found = keep_evaluation(who(request), case, form.facts())
        except Refusal as refusal:
            onto_form(form, refusal)
        else:
            messages.success(request, f"The evaluation of case {case.number} is kept.")
            return redirect(after(found, case))
    context = {"case": case, "form": form}
    return render(request, "orders/evaluation.html", context, status=422 if form.errors else 200)
