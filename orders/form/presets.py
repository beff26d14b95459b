"""What a practice says on most of its orders: as on its last one."""

from dataclasses import replace

from orders.facts import OrderFacts
from orders.form.order import AS_USUAL
from orders.models import Practice, Prescription


def last_order(practice: Practice) -> Prescription | None:
    """The prescription that the practice signed last."""
    signed = Prescription.objects.filter(case__practice=practice, signed_at__isnull=False)
    return signed.order_by("-signed_at").first()


def with_presets(order: OrderFacts | None, practice: Practice) -> OrderFacts:
    """The order with how things come as on the last one, where it says nothing of that itself."""
    order, last = order or OrderFacts(patient_ref="", stage=""), last_order(practice)
    if last is None:
        return order
    said = {name: getattr(last, name) for name in AS_USUAL if not getattr(order, name)}
    return replace(order, **said)
