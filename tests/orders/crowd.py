"""Very many cases at once, written in bulk as copies of one that the real verbs made."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from django.db.models import Model

from orders.models import Case, Item, Outlook, Prescription


def copies(case: Case, times: int, first: int) -> list[Case]:
    """So many signed cases more like `case`, numbered from `first` on.

    Each is seated and due an hour after the one before, and has its prescription with its pieces, and its outlook where
    `case` has one.
    """
    made = [Case(**{**columns(case), **place(case, n, first + n), "state": "draft"}) for n in range(times)]
    Case.objects.bulk_create([_without_current(copy) for copy in made])
    assert case.current is not None
    signed = columns(case.current)
    versions = Prescription.objects.bulk_create([Prescription(case=copy, version=signed["version"]) for copy in made])
    items = [columns(item) for item in case.current.items.all()]
    Item.objects.bulk_create([Item(**{**item, "prescription_id": one.pk}) for one in versions for item in items])
    signature = {
        name: signed[name] for name in ("seat_at", "note", "signed_by_id", "licence_number", "signed_at", "hash")
    }
    Prescription.objects.filter(pk__in=[one.pk for one in versions]).update(**signature)
    for copy, version in zip(made, versions, strict=True):
        copy.current, copy.state = version, case.state
    Case.objects.bulk_update(made, ["current", "state"], batch_size=400)
    _outlooks(case, made)
    return made


def place(case: Case, n: int, number: int) -> dict[str, Any]:
    """Where one of many copies stands: its own number and its own dates."""
    assert case.seat_at is not None
    assert case.due_at is not None
    later = timedelta(hours=n)
    return {"number": f"{number:07d}", "seat_at": case.seat_at + later, "due_at": case.due_at + later}


def columns(row: Model) -> dict[str, Any]:
    """The columns of a row but its id."""
    return {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields if not field.primary_key}


def _without_current(copy: Case) -> Case:
    copy.current = None
    return copy


def _outlooks(case: Case, made: Sequence[Case]) -> None:
    found = Outlook.objects.filter(case=case).first()
    if found:
        Outlook.objects.bulk_create([Outlook(**{**columns(found), "case_id": copy.pk}) for copy in made])
