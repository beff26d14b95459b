"""The doors to papers and invoices: who may see the case may see them; for everybody else they do not exist."""

from django.db.models import Prefetch, QuerySet

from labqueue.base.errors import NotFound, refuse
from labqueue.base.models import User
from orders.doors import cases_for
from orders.models import Case
from shipping.models import Delivery, Invoice, Paper
from shipping.tasks import with_fate


def paper_for(user: User, paper_id: int) -> Paper:
    """The paper of that id. Raises NotFound for unknown and foreign ones alike."""
    papers = with_fate().filter(delivery__case__in=cases_for(user)).select_related("delivery__case")
    paper = papers.filter(pk=paper_id).first()
    if paper is None:
        raise refuse("paper", "There is no such paper for you.", "paper", kind=NotFound)
    return paper


def papers_of(case: Case) -> "QuerySet[Paper]":
    """The papers of a case that came through its own door, the slip first."""
    return with_fate().filter(delivery__case=case).select_related("delivery__case").order_by("id")


def delivery_of(case: Case) -> Delivery | None:
    """The box of a case that came through its own door, with its invoice; None while it is not packed."""
    related = ("packed_by", "shipped_by", "invoice")
    return Delivery.objects.filter(case=case).select_related(*related).first()


def invoices_for(user: User) -> "QuerySet[Invoice]":
    """The invoices that `user` may see, newest first, with their case, their lines and their paper."""
    found = Invoice.objects.filter(delivery__case__in=cases_for(user)).order_by("-id")
    papers = Prefetch("delivery__papers", with_fate())
    return found.select_related("practice", "delivery__case").prefetch_related("lines", papers)
