"""The demonstration's orders as rows: cases, signed prescriptions, pieces and scans, as they stand now."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import chain, repeat
from random import Random
from typing import Any
from uuid import UUID

from labqueue.base.models import User
from labqueue.demo.demand import Order, Piece, Trace
from labqueue.demo.ledger import Change, Facts, Ledger, moved
from labqueue.demo.people import Cast
from labqueue.demo.shop import Shop
from labqueue.production.models import Lot, LotUse, RouteStep, Scan, WorkItem, WorkStep
from labqueue.production.pieces import code_of
from orders import choices, seal
from orders.check import weighed
from orders.fields import ON_IMPLANT
from orders.hold import ANSWERED_HERE
from orders.implant.reads import COMPARED
from orders.materials import Connection, Retention
from orders.models import Case, Confirmation, Item, Message, Prescription, Reason
from shipping.contents import Content

S = Case.State
Step = WorkStep.State
START, END = str(Scan.Action.START), str(Scan.Action.DONE)
# What every order says beside its pieces.
COMPLETE: Facts = {
    "impression": choices.Impression.OPEN_TRAY,
    "analog": choices.Analog.LABORATORY,
    "opposing": choices.Opposing.IMPRESSION,
    "bite": choices.Bite.RECORD,
    "enclosed": [choices.Enclosed.IMPRESSION, choices.Enclosed.OPPOSING, choices.Enclosed.BITE],
    "disinfected_with": "Disinfectant bath",
    "disinfected_minutes": 10,
    "allergy": choices.Allergy.NONE,
    "approval": choices.Wanted.NO,
    "parts": choices.Parts.LABORATORY,
}
# Degrees of an angulated screw channel.
ANGLE = 15
REASONS = ("Discussed with the patient.", "As the neighbouring crown was made.", "Wanted for its looks.")
# When a step was started and done, in POSIX seconds.
Span = tuple[float, float]
NEVER: Span = (float("inf"), float("inf"))


def moment(posix: float) -> datetime:
    """An instant in UTC, whole seconds."""
    return datetime.fromtimestamp(int(posix), UTC)


def level_of(piece: Piece) -> str:
    """Where the neck of its implant ends: an octagon is at tissue level, what else is sold here at bone level."""
    if not piece.system:
        return ""
    return choices.Level.TISSUE if piece.connection == Connection.OCTAGON else choices.Level.BONE


@dataclass
class Told:
    """What became of one order: its case, the changes of it, and what lies in the box once everything is packed."""

    case: Case
    changes: list[Change]
    inside: list[Content] = field(default_factory=list)
    boxed_at: datetime | None = None


class History:
    """Turns orders into rows, cut off at `now`, with the events that the verbs would have left behind."""

    def __init__(self, ledger: Ledger, cast: Cast, shop: Shop, now: datetime) -> None:
        self.ledger, self.cast, self.shop = ledger, cast, shop
        self.now = now.timestamp()
        self.rng = Random(4)  # noqa: S311 - a demonstration, not a secret

    def tell(self, order: Order, number: str) -> Told:
        """The rows of one order, and the changes of its case so far."""
        case = self._case(order, number)
        draft, items = self._prescription(order, case)
        told = Told(case, [Change(case.created_at, "opened", case.created_by, after=seal.content(case, draft))])
        if order.signed <= self.now:
            told.changes.append(self._sign(order, case, draft, items))
        if order.cancelled <= self.now:
            told.changes.append(self._cancel(order, case))
        if order.accepted <= self.now:
            told.changes += self._accept(order, case, items)
        if order.released <= self.now:
            self._release(order, told, items)
        return told

    def _case(self, order: Order, number: str) -> Case:
        case = Case(number=number, practice=self.cast.practices[order.practice], patient_ref=order.patient_ref)
        case.stage, case.seat_at, case.created_at = order.stage, order.seat_at, moment(order.created)
        case.created_by = self.cast.preparers[order.practice]
        return self.ledger.add(case)

    def _prescription(self, order: Order, case: Case) -> tuple[Prescription, list[Item]]:
        draft = self.ledger.add(Prescription(case=case, version=1, seat_at=order.seat_at, **COMPLETE))
        items = [self._item(draft, case, line, piece) for line, piece in enumerate(order.pieces, start=1)]
        # The items are not written yet; the seal reads them as if they had been fetched.
        vars(draft)["_prefetched_objects_cache"] = {"items": items, "reasons": []}
        return draft, items

    def _item(self, draft: Prescription, case: Case, line: int, piece: Piece) -> Item:
        facts = {name: getattr(piece, name) for name in Piece.__dataclass_fields__}
        facts |= {"platform": piece.platform or None, "level": level_of(piece)}
        facts["angle"] = ANGLE if piece.retention == Retention.ANGLED_SCREW else None
        return self.ledger.add(Item(prescription=draft, line=line, stage=case.stage, **facts))

    def _sign(self, order: Order, case: Case, draft: Prescription, items: list[Item]) -> Change:
        member, at, due_at = self.cast.signers[order.practice], moment(order.signed), moment(order.due)
        draft.signed_by, draft.licence_number, draft.signed_at = member, member.licence_number, at
        for item in items:
            item.frozen = True
        vars(draft)["_prefetched_objects_cache"]["reasons"] = list(self._reasons(case, draft, member.user))
        draft.hash = seal.seal(case, draft)
        facts = {
            "current": draft,
            "seat_at": draft.seat_at,
            "due_at": due_at,
            "first_due_at": due_at,
            "complete_at": at,
        }
        return moved(case, S.SIGNED, at=at, verb="signed", actor=member.user, accepted_at=None, **facts)

    def _reasons(self, case: Case, draft: Prescription, signer: User) -> Iterator[Reason]:
        """Why each unusual thing is wanted, in the words of who signs."""
        for found, _ in weighed(case, draft):
            reason = Reason(prescription=draft, rule=found.rule, line=found.line, text=self.rng.choice(REASONS))
            reason.by, reason.at, reason.frozen = signer, draft.signed_at or case.created_at, True
            yield self.ledger.add(reason)

    def _accept(self, order: Order, case: Case, items: list[Item]) -> list[Change]:
        """The manager takes the case on; the implant is read again by a technician in the same minute."""
        at, manager, second = moment(order.accepted), self.cast.manager, self.cast.benches["finishing"][0]
        changes = [moved(case, S.ACCEPTED, at=at, verb="accepted", actor=manager, accepted_at=at, accepted_by=manager)]
        for item in items:
            if item.kind in ON_IMPLANT:
                read = {name: getattr(item, name) for name in COMPARED} | {"source": Confirmation.Source.BOTH}
                self.ledger.add(Confirmation(case=case, by=second, at=at, **read))
                changes.append(Change(at, "implant confirmed", second, after=read))
        return changes

    def _cancel(self, order: Order, case: Case) -> Change:
        at, facts = moment(order.cancelled), {"held_since": None, "hold_reason": ""}
        return moved(case, S.CANCELLED, at=at, verb="cancelled", actor=case.created_by, **facts)

    def _release(self, order: Order, told: Told, items: list[Item]) -> None:
        case, manager, at = told.case, self.cast.manager, moment(order.released)
        codes = [code_of(case, item.line) for item in items]
        told.changes.append(Change(at, "laid out", manager, after={"prescription": 1, "made": codes}))
        told.changes.append(moved(case, S.RELEASED, at=at, verb="released", actor=manager))
        for trace, item in zip(order.trace, items, strict=True):
            told.inside.append(self._piece(case, item, trace, at, told.changes))
        told.changes += self._hold(order, case)
        told.changes += self._finish(order, case, told.changes)
        packed = max(self._passed(trace, "packing") for trace in order.trace)
        if packed <= self.now:
            told.boxed_at = moment(packed)

    def _hold(self, order: Order, case: Case) -> list[Change]:
        hold, manager = order.hold, self.cast.manager
        if hold is None or not 0 < hold.since <= self.now:
            return []
        since = moment(hold.since)
        held, due_at = {"hold_reason": hold.reason, "held_since": since}, {"due_at": case.due_at}
        stop = Change(since, "put on hold", manager, after=held)
        asked = self._said(case, Message.Kind.QUESTION, hold.reason, since, manager, stops=True)
        if hold.until > self.now:
            case.held_since, case.hold_reason = since, hold.reason
            return [stop]
        self._said(case, Message.Kind.ANSWER, ANSWERED_HERE, moment(hold.until), manager, answers=asked)
        return [stop, Change(moment(hold.until), "resumed", manager, after=due_at, before={**held, **due_at})]

    def _said(self, case: Case, kind: str, text: str, at: datetime, by: User, **facts: Any) -> Message:
        return self.ledger.add(Message(case=case, kind=kind, text=text, at=at, by=by, **facts))

    def _finish(self, order: Order, case: Case, changes: list[Change]) -> list[Change]:
        checked = max(self._passed(trace, "quality") for trace in order.trace)
        if checked > self.now:
            return []
        at = moment(checked)
        # Whoever passed the last piece finished the case.
        checker = next(one.actor for one in changes if one.at == at and one.after.get("station") == "quality")
        return [moved(case, S.FINISHED, at=at, verb="finished", actor=checker, finished_at=at)]

    def _passed(self, trace: Trace, station: str) -> float:
        """When a piece was done at a station; infinite where it was not yet."""
        plans = self.shop.plans[trace.piece.make]
        index = next(n for n, plan in enumerate(plans) if plan.station.code == station)
        return trace.times[index][1] if index < len(trace.times) else float("inf")

    def _piece(self, case: Case, item: Item, trace: Trace, at: datetime, changes: list[Change]) -> Content:
        assert case.current is not None
        plans = self.shop.plans[trace.piece.make]
        facts = {name: getattr(item, name) for name in ("line", "kind", "tooth", "material", "shade")}
        work = WorkItem(case=case, code=code_of(case, item.line), route=plans[0].route, released_at=at, **facts)
        work.prescription = case.current
        self.ledger.add(work)
        times = chain(trace.times, repeat(NEVER))
        lots = [lot for plan, span in zip(plans, times, strict=False) if (lot := self._step(work, plan, span, changes))]
        if self._passed(trace, "packing") <= self.now:
            last = changes[-1]
            packed = moved(work, WorkItem.State.DONE, at=last.at, verb="packed", actor=last.actor)
            self.ledger.seal(work, [packed])
        return Content(work, item, tuple(lots))

    def _step(self, work: WorkItem, plan: RouteStep, span: Span, changes: list[Change]) -> Lot | None:
        """One step as it stands, with its scans; the lot that it took."""
        started_at, done_at = (moment(at) if at <= self.now else None for at in span)
        state = Step.DONE if done_at else Step.RUNNING if started_at else Step.WAITING
        by = self.rng.choice(self.shop.staff(plan.station.code, self.cast))
        facts = {"item_id": work.pk, "station_id": plan.station_id, "attempt": 1}
        begun = {"started_at": started_at, "started_by_id": by.pk if started_at else None}
        ended = {"done_at": done_at, "done_by_id": by.pk if done_at else None}
        step = self.ledger.note(WorkStep, plan_id=plan.pk, seq=plan.seq, state=state, **facts, **begun, **ended)
        lot = self._take(work, plan, step) if started_at else None
        told = {"piece": work.code, "step": plan.name, "attempt": 1}
        for at, action, taken in ((started_at, START, lot), (done_at, END, None)):
            if at:
                self._scan(at, by, step, action, facts)
                more = {"action": action, "lot": taken.number if taken else None, "station": plan.station.code}
                changes.append(Change(at, "scanned", by, after={**told, **more}))
        return lot

    def _scan(self, at: datetime, by: User, step: int, action: str, facts: Facts) -> None:
        key = UUID(int=self.rng.getrandbits(128), version=4)
        when = {"occurred_at": at, "received_at": at}
        self.ledger.note(Scan, key=key, step_id=step, action=action, by_id=by.pk, **facts, **when)

    def _take(self, work: WorkItem, plan: RouteStep, step: int) -> Lot | None:
        if not plan.takes:
            return None
        lot = self.shop.lots[work.material if plan.takes == "material" else plan.takes]
        self.ledger.note(LotUse, item_id=work.pk, step_id=step, attempt=1, lot_id=lot.pk)
        return lot
