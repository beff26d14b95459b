"""The demonstration's orders as rows: cases, signed prescriptions, pieces and scans, as they stand now."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from random import Random
from uuid import UUID

from labqueue.base.models import User
from labqueue.demo.demand import Order, Piece, Trace
from labqueue.demo.ledger import Change, Ledger
from labqueue.demo.people import Cast
from labqueue.demo.shop import Shop
from labqueue.production.models import Lot, LotUse, RouteStep, Scan, WorkItem, WorkStep
from labqueue.production.pieces import code_of
from orders import seal
from orders.models import Case, Item, Prescription
from shipping.contents import Content

S = Case.State


def moment(posix: float) -> datetime:
    """An instant in UTC, whole seconds."""
    return datetime.fromtimestamp(int(posix), UTC)


@dataclass
class Told:
    """What became of one order: its case, the changes of it, and what lies in the box once everything is packed."""

    case: Case
    changes: list[Change]
    inside: list[Content] = field(default_factory=list)
    boxed_at: datetime | None = None


class History:
    """Turns orders into rows, cut off at `now`."""

    def __init__(self, ledger: Ledger, cast: Cast, shop: Shop, now: datetime) -> None:
        self.ledger, self.cast, self.shop = ledger, cast, shop
        self.now = now.timestamp()
        self.rng = Random(4)  # noqa: S311 - a demonstration, not a secret

    def tell(self, order: Order, number: str) -> Told:
        """The rows of one order, and the changes of its case so far."""
        case = self._case(order, number)
        told = Told(case, [Change(case.created_at, "opened", case.created_by, stage=case.stage)])
        changes = told.changes
        draft, items = self._prescription(order, case)
        if order.signed <= self.now:
            self._sign(order, case, draft, items)
            changes.append(self._signature(case, draft))
        if order.cancelled <= self.now:
            case.state = S.CANCELLED
            changes.append(Change(moment(order.cancelled), "cancelled", case.created_by, state=S.CANCELLED))
        if case.state == S.SIGNED and order.accepted <= self.now:
            case.state, case.accepted_at = S.ACCEPTED, moment(order.accepted)
            changes.append(Change(case.accepted_at, "accepted", self.cast.manager, state=S.ACCEPTED))
        if case.state == S.ACCEPTED and order.released <= self.now:
            self._release(order, told, items)
        return told

    def _case(self, order: Order, number: str) -> Case:
        case = Case(number=number, practice=self.cast.practices[order.practice], patient_ref=order.patient_ref)
        case.stage, case.seat_at, case.created_at = order.stage, order.seat_at, moment(order.created)
        case.created_by = self.cast.preparers[order.practice]
        return self.ledger.add(case)

    def _prescription(self, order: Order, case: Case) -> tuple[Prescription, list[Item]]:
        draft = self.ledger.add(Prescription(case=case, version=1, seat_at=order.seat_at))
        items = [self._item(draft, case, line, piece) for line, piece in enumerate(order.pieces, start=1)]
        return draft, items

    def _item(self, draft: Prescription, case: Case, line: int, piece: Piece) -> Item:
        facts = {name: getattr(piece, name) for name in Piece.__dataclass_fields__}
        facts["platform"] = piece.platform or None
        return self.ledger.add(Item(prescription=draft, line=line, stage=case.stage, **facts))

    def _sign(self, order: Order, case: Case, draft: Prescription, items: list[Item]) -> None:
        member = self.cast.signers[order.practice]
        draft.signed_by, draft.licence_number, draft.signed_at = member, member.licence_number, moment(order.signed)
        for item in items:
            item.frozen = True
        # The items are not written yet; the seal reads them as if they had been fetched.
        vars(draft)["_prefetched_objects_cache"] = {"items": items}
        draft.hash = seal.seal(case, draft)
        case.current, case.state = draft, S.SIGNED
        case.due_at = case.first_due_at = moment(order.due)

    def _signature(self, case: Case, draft: Prescription) -> Change:
        assert draft.signed_by is not None
        assert draft.signed_at is not None
        return Change(draft.signed_at, "signed", draft.signed_by.user, state=S.SIGNED, due_at=case.due_at)

    def _release(self, order: Order, told: Told, items: list[Item]) -> None:
        case, changes, at = told.case, told.changes, moment(order.released)
        case.state = S.RELEASED
        changes.append(Change(at, "released", self.cast.manager, state=S.RELEASED))
        for line, (trace, item) in enumerate(zip(order.trace, items, strict=True), start=1):
            work, lots = self._work_item(case, line, trace, at, changes)
            told.inside.append(Content(work, item, tuple(lots)))
        self._hold(order, case, changes)
        checked = max(self._passed(trace, "quality") for trace in order.trace)
        if checked <= self.now:
            case.state, case.finished_at = S.FINISHED, moment(checked)
            changes.append(Change(case.finished_at, "finished", self.cast.benches["quality"][0], state=S.FINISHED))
        self._box(order, told)

    def _box(self, order: Order, told: Told) -> None:
        boxed = [self._passed(trace, "packing") for trace in order.trace]
        for content, at in zip(told.inside, boxed, strict=True):
            if at <= self.now:
                content.made.state = WorkItem.State.DONE
                self.ledger.seal(content.made, [Change(moment(at), "packed", self.cast.shipping[0], state="done")])
        if max(boxed) <= self.now:
            told.boxed_at = moment(max(boxed))

    def _hold(self, order: Order, case: Case, changes: list[Change]) -> None:
        hold = order.hold
        if hold is None or not 0 < hold.since <= self.now:
            return
        changes.append(Change(moment(hold.since), "put on hold", self.cast.manager, hold_reason=hold.reason))
        if hold.until <= self.now:
            changes.append(Change(moment(hold.until), "resumed", self.cast.manager))
        else:
            case.held_since, case.hold_reason = moment(hold.since), hold.reason

    def _passed(self, trace: Trace, station: str) -> float:
        """When a piece was done at a station; infinite where it was not yet."""
        plans = self.shop.plans[trace.piece.make]
        index = next(n for n, plan in enumerate(plans) if plan.station.code == station)
        return trace.times[index][1] if index < len(trace.times) else float("inf")

    def _work_item(
        self, case: Case, line: int, trace: Trace, at: datetime, changes: list[Change]
    ) -> tuple[WorkItem, list[Lot]]:
        assert case.current is not None
        piece = trace.piece
        plans = self.shop.plans[piece.make]
        item = WorkItem(case=case, line=line, code=code_of(case, line), route=plans[0].route, released_at=at)
        item.prescription, item.kind, item.tooth = case.current, piece.kind, piece.tooth
        item.material, item.shade = piece.material, piece.shade
        self.ledger.add(item)
        lots = []
        for index, plan in enumerate(plans):
            times = trace.times[index] if index < len(trace.times) else (float("inf"), float("inf"))
            lot = self._step(item, plan, times, changes)
            lots += [lot] if lot else []
        return item, lots

    def _step(self, item: WorkItem, plan: RouteStep, times: tuple[float, float], changes: list[Change]) -> Lot | None:
        step = self.ledger.add(WorkStep(item=item, plan=plan, station=plan.station, seq=plan.seq))
        person = self.rng.choice(self.shop.staff(plan.station.code, self.cast))
        lot = None
        if times[0] <= self.now:
            lot = self._lot(step)
            step.state, step.started_at, step.started_by = WorkStep.State.RUNNING, moment(times[0]), person
            changes.append(self._scan(step, Scan.Action.START, step.started_at, person, lot))
        if times[1] <= self.now:
            step.state, step.done_at, step.done_by = WorkStep.State.DONE, moment(times[1]), person
            changes.append(self._scan(step, Scan.Action.DONE, step.done_at, person, None))
        return lot

    def _scan(self, step: WorkStep, action: str, at: datetime, person: User, lot: Lot | None) -> Change:
        scan = Scan(key=UUID(int=self.rng.getrandbits(128), version=4), item=step.item, step=step, attempt=1)
        scan.station, scan.action, scan.by = step.station, action, person
        scan.occurred_at = scan.received_at = at
        self.ledger.add(scan)
        facts = {"piece": step.item.code, "step": step.plan.name, "attempt": 1, "action": str(action)}
        return Change(at, "scanned", person, **facts, lot=lot.number if lot else None, station=step.station.code)

    def _lot(self, step: WorkStep) -> Lot | None:
        takes = step.plan.takes
        if not takes:
            return None
        lot = self.shop.lots[step.item.material if takes == "material" else takes]
        self.ledger.add(LotUse(item=step.item, step=step, attempt=1, lot=lot))
        return lot
