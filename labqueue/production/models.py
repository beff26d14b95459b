"""The floor: stations, what serves them, routes, the work items and every scan."""

from django.db import models
from django.db.models import F, Q

from labqueue.base.models import User
from orders.makes import Make
from orders.materials import Kind, Material
from orders.models import Case


class Station(models.Model):
    """A place where work waits."""

    class Kind(models.TextChoices):
        BENCH = "bench", "Bench"
        MILL = "mill", "Mill"
        SINTERING = "sintering", "Sintering furnace"
        CRYSTALLISATION = "crystallisation", "Crystallisation oven"
        QUALITY = "quality", "Quality check"
        PACKING = "packing", "Packing"

    code = models.SlugField(max_length=20, unique=True)
    name = models.CharField(max_length=40)
    kind = models.CharField(max_length=16, choices=Kind.choices, default=Kind.BENCH)
    position = models.PositiveSmallIntegerField()
    rule = models.CharField(max_length=10, default="edd")

    class Meta:
        ordering = ["position"]

    def __str__(self) -> str:
        return self.name


class Shift(models.Model):
    """Working hours: `week` maps mon…sun to spans such as [["08:00", "12:00"]]; `always` is around the clock."""

    name = models.CharField(max_length=40, unique=True)
    always = models.BooleanField(default=False)
    week = models.JSONField(default=dict)

    def __str__(self) -> str:
        return self.name


class Resource(models.Model):
    """People or machines that work at stations; `count` alike share one row. A load resource fires many at once."""

    name = models.CharField(max_length=60, unique=True)
    stations = models.ManyToManyField(Station, related_name="resources")
    shift = models.ForeignKey(Shift, on_delete=models.PROTECT, related_name="resources")
    count = models.PositiveSmallIntegerField(default=1)
    # Whether work stops when the shift closes (people) or runs to its end once started (machines).
    pauses = models.BooleanField(default=True)
    load_capacity = models.PositiveSmallIntegerField(null=True, blank=True)
    load_wait_minutes = models.PositiveIntegerField(null=True, blank=True)
    load_start_at = models.JSONField(default=list, blank=True)

    def __str__(self) -> str:
        return self.name


class Absence(models.Model):
    """A time for which a resource is away."""

    resource = models.ForeignKey(Resource, on_delete=models.CASCADE, related_name="absences")
    start = models.DateTimeField()
    end = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(end__gt=F("start")), name="absence_ends_after_start")]


class Route(models.Model):
    """The steps by which one make is made. A case keeps the version under which it was released."""

    make = models.CharField(max_length=24, choices=Make.choices)
    version = models.PositiveSmallIntegerField(default=1)
    active = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["make", "version"], name="route_version_once"),
            models.UniqueConstraint(fields=["make"], condition=Q(active=True), name="one_active_route"),
        ]

    def __str__(self) -> str:
        return f"{self.get_make_display()} v{self.version}"


class RouteStep(models.Model):
    """One step of a route at one station. Times are minutes as distributions of the engine, such as {"fixed": 12}."""

    route = models.ForeignKey(Route, on_delete=models.PROTECT, related_name="steps")
    seq = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=40)
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="+")
    minutes = models.JSONField()
    # Pure waiting before the step can start (drying, curing); None for none.
    wait = models.JSONField(null=True, blank=True)
    fail_probability = models.FloatField(default=0)
    back_to = models.PositiveSmallIntegerField(null=True, blank=True)
    # A crown's step that needs the finished abutment of its tooth.
    joins = models.BooleanField(default=False)
    # What the step takes from a lot: `material` for the item's own, or a `Part`.
    takes = models.CharField(max_length=20, blank=True)

    class Meta:
        ordering = ["route_id", "seq"]
        constraints = [
            models.UniqueConstraint(fields=["route", "seq"], name="route_seq_once"),
            models.CheckConstraint(
                condition=Q(fail_probability__gte=0, fail_probability__lt=1), name="fail_is_a_probability"
            ),
        ]


class WorkItem(models.Model):
    """One piece on the floor, under its own code, with the facts of the signed item that the bench needs.

    The signed item is the one of `prescription` with the same tooth and kind. `line` numbers the pieces of a case and
    is part of the code: it is never used again, so a piece that is made anew takes the next number.
    """

    class State(models.TextChoices):
        OPEN = "open", "In work"
        DONE = "done", "Packed"
        WITHDRAWN = "withdrawn", "Withdrawn"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="work_items")
    line = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=10, unique=True)
    route = models.ForeignKey(Route, on_delete=models.PROTECT, related_name="+")
    prescription = models.ForeignKey("orders.Prescription", on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    tooth = models.PositiveSmallIntegerField()
    material = models.CharField(max_length=20, choices=Material.choices)
    shade = models.CharField(max_length=20, blank=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    released_at = models.DateTimeField()

    class Meta:
        ordering = ["case_id", "line"]
        constraints = [
            models.UniqueConstraint(fields=["case", "line"], name="work_item_line_once"),
            models.UniqueConstraint(
                fields=["case", "tooth", "kind"], condition=~Q(state="withdrawn"), name="one_work_item_per_piece"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.code}"


class WorkStep(models.Model):
    """One step of one work item as it stands: waiting, running, done. `attempt` counts how often it was taken up."""

    class State(models.TextChoices):
        WAITING = "waiting", "Waits"
        RUNNING = "running", "In work"
        DONE = "done", "Done"

    item = models.ForeignKey(WorkItem, on_delete=models.PROTECT, related_name="steps")
    plan = models.ForeignKey(RouteStep, on_delete=models.PROTECT, related_name="+")
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="work_steps")
    seq = models.PositiveSmallIntegerField()
    attempt = models.PositiveSmallIntegerField(default=1)
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    started_at = models.DateTimeField(null=True, blank=True)
    started_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["item_id", "seq"]
        constraints = [
            models.UniqueConstraint(fields=["item", "seq"], name="work_step_once"),
            models.CheckConstraint(
                condition=Q(state="waiting", started_at__isnull=True, done_at__isnull=True)
                | Q(state="running", started_at__isnull=False, done_at__isnull=True)
                | Q(state="done", started_at__isnull=False, done_at__isnull=False),
                name="work_step_times_fit_state",
            ),
        ]
        indexes = [models.Index(fields=["station", "state"], name="work_step_queue")]


class Scan(models.Model):
    """One scan that counted. `key` is made by the device, so a scan that is sent twice counts once. Append-only."""

    class Action(models.TextChoices):
        START = "start", "Start"
        DONE = "done", "Done"

    key = models.UUIDField(unique=True)
    item = models.ForeignKey(WorkItem, on_delete=models.PROTECT, related_name="scans")
    step = models.ForeignKey(WorkStep, on_delete=models.PROTECT, related_name="scans")
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="scans")
    attempt = models.PositiveSmallIntegerField()
    action = models.CharField(max_length=5, choices=Action.choices)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    occurred_at = models.DateTimeField()
    received_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["item", "id"], name="scan_of_item")]
        constraints = [models.UniqueConstraint(fields=["step", "attempt", "action"], name="scan_once_per_attempt")]


class ScanKey(models.Model):
    """A key that was used: a scan's own, or that of its second trigger. It means that scan for ever. Append-only.

    All keys stand in this one table, so that of two scans at once under one key only one can be written.
    """

    key = models.UUIDField(unique=True)
    scan = models.ForeignKey(Scan, on_delete=models.PROTECT, related_name="keys")


class Part(models.TextChoices):
    """Bought parts that go into a piece under a lot of their own."""

    TITANIUM_BASE = "titanium_base", "Titanium base"
    SCREW = "screw", "Clinical screw"


class Lot(models.Model):
    """A batch of a material (`what` is a `Material`) or of a part (`what` is a `Part`) from its maker."""

    what = models.CharField(max_length=20)
    number = models.CharField(max_length=20)
    product = models.CharField(max_length=80)
    expires = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["what", "number"], name="lot_once")]

    def __str__(self) -> str:
        return f"{self.product}, lot {self.number}"


class LotInUse(models.Model):
    """The lot of a material that is mounted at a station now; what is made there inherits it."""

    station = models.ForeignKey(Station, on_delete=models.CASCADE, related_name="lots_in_use")
    what = models.CharField(max_length=20)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+")
    since = models.DateTimeField()
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["station", "what"], name="one_lot_in_use")]


class LotUse(models.Model):
    """That a lot went into a work item at a step. Append-only: a recall asks this table."""

    item = models.ForeignKey(WorkItem, on_delete=models.PROTECT, related_name="lot_uses")
    step = models.ForeignKey(WorkStep, on_delete=models.PROTECT, related_name="+")
    attempt = models.PositiveSmallIntegerField()
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="uses")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["step", "attempt", "lot"], name="lot_use_once")]
