"""What was held becomes an open question; what was signed was complete; who signs may approve."""

from django.db import migrations
from django.db.models import Min


def ask(apps, editor):
    """A case on hold waits for the answer to a question, which nobody's name is on any more."""
    Case, Message = apps.get_model("orders", "Case"), apps.get_model("orders", "Message")
    held = Case.objects.filter(held_since__isnull=False).order_by("pk")
    Message.objects.bulk_create(
        Message(case=case, kind="question", text=case.hold_reason, at=case.held_since, stops=True) for case in held
    )


def complete(apps, editor):
    """Until now nothing could be signed that was not complete."""
    Case, Prescription = apps.get_model("orders", "Case"), apps.get_model("orders", "Prescription")
    signed = Prescription.objects.filter(signed_at__isnull=False).order_by()
    first = list(signed.values("case_id").annotate(at=Min("signed_at")).values_list("case_id", "at"))
    Case.objects.bulk_update([Case(pk=pk, complete_at=at) for pk, at in first], ["complete_at"], batch_size=200)


def approve(apps, editor):
    """As for people who are added from now on."""
    apps.get_model("orders", "Member").objects.filter(may_sign=True).update(may_approve=True)


class Migration(migrations.Migration):

    dependencies = [
        ('orders', '0003_talk_files_treatment'),
    ]

    operations = [
        migrations.RunPython(ask, migrations.RunPython.noop),
        migrations.RunPython(complete, migrations.RunPython.noop),
        migrations.RunPython(approve, migrations.RunPython.noop),
    ]
