"""How the floor reads and prints for programs. Nothing here writes."""

from typing import Any

from rest_framework import serializers

from labqueue.base.api import OffsetDateTimeField
from labqueue.production.models import LotInUse, Scan, WorkItem, WorkStep
from labqueue.production.reads import Line, Load, outlook_of
from labqueue.production.scan import ScanResult
from orders import teeth
from orders.models import Outlook


class LineRiskOut(serializers.Serializer[Outlook]):
    """The risk that the case misses its due date, an estimate as of `made_at`."""

    late = serializers.FloatField(allow_null=True)
    made_at = serializers.DateTimeField()


class PieceOut(serializers.Serializer[WorkItem]):
    """One piece on the floor."""

    code = serializers.CharField(help_text="Ten digits, the last a check digit (ISO/IEC 7064 MOD 11,10)")
    case = serializers.CharField(source="case.number")
    line = serializers.IntegerField()
    kind = serializers.CharField()
    tooth = serializers.SerializerMethodField(help_text="As the practice writes it")
    notation = serializers.CharField(source="case.practice.notation")
    tooth_fdi = serializers.CharField(source="tooth", help_text="By ISO 3950")
    tooth_words = serializers.SerializerMethodField()
    material = serializers.CharField()
    shade = serializers.CharField()
    state = serializers.CharField()

    def get_tooth(self, item: WorkItem) -> str:
        """In the practice's notation."""
        return teeth.sign(item.tooth, item.case.practice.notation)

    def get_tooth_words(self, item: WorkItem) -> str:
        """For people."""
        return teeth.words(item.tooth)


class StepOut(serializers.Serializer[WorkStep]):
    """One step of a piece as it stands. `attempt` counts how often it was taken up."""

    seq = serializers.IntegerField()
    name = serializers.CharField(source="plan.name")
    station = serializers.CharField(source="station.code")
    state = serializers.CharField()
    attempt = serializers.IntegerField()
    started_at = serializers.DateTimeField(allow_null=True)
    done_at = serializers.DateTimeField(allow_null=True)


class WorkItemOut(PieceOut):
    """One piece with its steps."""

    steps = StepOut(many=True)


class FloorStationOut(serializers.Serializer[Load]):
    """One station with the pieces that wait and that are in work there."""

    code = serializers.CharField(source="station.code")
    name = serializers.CharField(source="station.name")
    kind = serializers.CharField(source="station.kind")
    waiting = serializers.IntegerField()
    running = serializers.IntegerField()


class QueueLineOut(serializers.Serializer[Line]):
    """One piece in the queue of a station. `stopped` says why it cannot be worked on now, and is empty where it can."""

    piece = PieceOut(source="item")
    step = serializers.CharField(source="step.plan.name")
    running = serializers.BooleanField()
    stopped = serializers.CharField()
    due_at = serializers.DateTimeField(allow_null=True)
    risk = LineRiskOut(source="outlook", allow_null=True)


class ScanIn(serializers.Serializer[Any]):
    """One scan. The sender makes the key, once per trigger, and sends it again with every repetition."""

    key = serializers.UUIDField()
    code = serializers.CharField(max_length=40)
    station = serializers.CharField(max_length=20)
    action = serializers.ChoiceField(
        choices=Scan.Action.choices, required=False, allow_null=True, help_text="Without it: whichever of both is due"
    )
    occurred_at = OffsetDateTimeField(
        required=False, allow_null=True, help_text="When it happened by the device's clock, with offset; default now"
    )


class ScanOut(serializers.Serializer[ScanResult]):
    """What a scan did. `repeated`: it was counted before; nothing was written this time."""

    key = serializers.UUIDField(source="scan.key")
    repeated = serializers.BooleanField()
    piece = PieceOut(source="item")
    step = serializers.CharField(source="scan.step.plan.name")
    station = serializers.CharField(source="scan.station.code")
    action = serializers.CharField(source="scan.action")
    occurred_at = serializers.DateTimeField(source="scan.occurred_at")
    received_at = serializers.DateTimeField(source="scan.received_at")
    next_station = serializers.SerializerMethodField()
    due_at = serializers.DateTimeField(source="case.due_at", allow_null=True)
    risk = serializers.SerializerMethodField()

    def get_next_station(self, result: ScanResult) -> str | None:
        """The code of the station after this step; null after the last."""
        return result.then.code if result.then else None

    def get_risk(self, result: ScanResult) -> float | None:
        """The risk that the case misses its due date (0 to 1); null where there is no forecast."""
        outlook = outlook_of(result.case)
        return outlook.late if outlook else None


class LotIn(serializers.Serializer[Any]):
    """A lot to be put into use. `product`, and `expires` where the label says so, are needed for a lot seen first."""

    what = serializers.CharField(max_length=20, help_text="A material, `titanium_base` or `screw`")
    number = serializers.CharField(max_length=20)
    product = serializers.CharField(max_length=80, required=False, default="", allow_blank=True)
    expires = serializers.DateField(required=False, default=None, allow_null=True)


class LotInUseOut(serializers.Serializer[LotInUse]):
    """The lot in use at a station."""

    station = serializers.CharField(source="station.code")
    what = serializers.CharField()
    number = serializers.CharField(source="lot.number")
    product = serializers.CharField(source="lot.product")
    expires = serializers.DateField(source="lot.expires", allow_null=True)
    since = serializers.DateTimeField()
