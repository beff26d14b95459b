"""The page on which somebody of a practice says where notices go."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from labqueue.base.errors import Refusal
from labqueue.base.forms import HouseForm
from labqueue.base.pages import onto_form
from orders.doors import member_of
from orders.pages import who
from orders.talk.set_notices import set_notices


class NoticesForm(HouseForm):
    """The own address. The verb says what an address is."""

    email = forms.CharField(
        label="Your e-mail address",
        required=False,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )
    wanted = forms.BooleanField(label="Send me mail when the laboratory asks something", required=False)


@require_http_methods(["GET", "POST"])
def notices(request: HttpRequest) -> HttpResponse:
    """Show it, or keep what was sent."""
    member = member_of(who(request))
    now = {"email": member.user.email, "wanted": member.notices}
    form = NoticesForm(request.POST if request.method == "POST" else None, initial=now)
    if request.method == "POST" and form.is_valid():
        try:
            set_notices(who(request), form.cleaned_data["email"], form.cleaned_data["wanted"])
        except Refusal as refusal:
            onto_form(form, refusal)
        else:
            messages.success(request, "Your notices are set.")
            return redirect("orders:notices")
    return render(request, "orders/notices.html", {"form": form}, status=422 if form.errors else 200)
