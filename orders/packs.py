"""The law of the practice's place as data: what must stand on an order, what goes back with the device, how long both
are kept.

The rows sum up what acts and boards ask for, so that a laboratory can set its papers by them. They are no legal advice:
who is responsible for the laboratory checks them, and local codes apply.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from django.utils import timezone

from orders.choices import Pack
from orders.fields import FIELDS, Effect
from orders.materials import Kind

# Years for which an order and its papers are kept where no law says it, or the law says less: whether an abutment is an
# implantable device is argued over, so the longer period counts for all that meets the implant.
ON_IMPLANT_YEARS, CROWN_YEARS = 15, 10
# Numbers in the table of fields.
LABORATORY, PRACTICE, PRESCRIBER, LICENCE, SIGNATURE, PATIENT, PIECES, MATERIAL, STAGE = range(1, 10)
TOOTH = 10
WRITTEN = frozenset({PRESCRIBER, SIGNATURE, PATIENT, PIECES})

MATERIALS = "The materials of each piece, with their certificates."
MAKERS = "The maker of every material that touches the patient, with its brand or the number of the regulator."
PLACE = "Where it was made: in this laboratory, in part elsewhere, or abroad, with the country."
PARTS = "Where parts of others come from: city, state and country."
CONTACT = "Name, address and telephone of the laboratory."
REGISTRATION = "The registration number of the laboratory, with its expiry, on papers and invoices."
STATEMENT = "The statement for a custom-made device, which the patient may see, with the words “custom-made device”."
STATEMENT_BY_NAME = "The statement of manufacture. It names the patient; the practice completes the name on its copy."
STAMP = "The stamp of the technologist who authorised the release, on papers and invoice."
CERTIFICATE = "The certificate of the materials, with the work sheet."


@dataclass(frozen=True)
class RulePack:
    """The rows of one place. `keeps` are years by kind of piece, where its law says more than nothing."""

    on_order: frozenset[int] = WRITTEN
    gives_back: tuple[str, ...] = ()
    keeps: Mapping[str, int] = field(default_factory=dict)

    def years(self, kinds: Iterable[str]) -> int:
        """How many years the order and the papers of such pieces are kept."""
        return max((self.keeps.get(kind, usual_years(kind)) for kind in kinds), default=CROWN_YEARS)


def usual_years(kind: str) -> int:
    """Where no law says it."""
    return CROWN_YEARS if kind == Kind.CROWN else ON_IMPLANT_YEARS


def for_all(years: int) -> dict[str, int]:
    """The same period for every kind of piece."""
    return dict.fromkeys(Kind.values, years)


EUROPE = RulePack(
    on_order=WRITTEN | {LICENCE, MATERIAL, TOOTH},
    gives_back=(STATEMENT,),
    keeps={Kind.ABUTMENT: 15, Kind.SCREW_CROWN: 15, Kind.CROWN: 10},
)
DESCRIBED = WRITTEN | {LABORATORY, MATERIAL}
PLACES: dict[str, RulePack] = {
    Pack.US_MARYLAND: RulePack(DESCRIBED | {LICENCE}),
    Pack.US_WEST_VIRGINIA: RulePack(DESCRIBED | {PRACTICE}, keeps=for_all(2)),
    Pack.US_CONNECTICUT: RulePack(keeps=for_all(1)),
    Pack.US_MISSISSIPPI: RulePack(keeps=for_all(2)),
    Pack.US_FLORIDA: RulePack(WRITTEN | {LICENCE, MATERIAL}, (MATERIALS, PLACE, CONTACT), for_all(4)),
    Pack.US_TEXAS: RulePack(WRITTEN | {LICENCE, MATERIAL}, (PLACE, REGISTRATION), for_all(2)),
    Pack.US_WASHINGTON: RulePack(gives_back=(MAKERS, PARTS)),
    Pack.US_KENTUCKY: RulePack(WRITTEN | {LABORATORY}, (REGISTRATION,)),
    Pack.EU: EUROPE,
    Pack.GREAT_BRITAIN: RulePack(
        gives_back=(STATEMENT_BY_NAME,), keeps={Kind.ABUTMENT: 15, Kind.SCREW_CROWN: 15, Kind.CROWN: 5}
    ),
    Pack.NORTHERN_IRELAND: EUROPE,
    Pack.ONTARIO: RulePack(gives_back=(STAMP,)),
    Pack.QUEBEC: RulePack(WRITTEN | {MATERIAL}, (CERTIFICATE,), for_all(5)),
}


def union(packs: Iterable[RulePack]) -> RulePack:
    """What any of them asks for, and the longest time, never less than is usual."""
    all_of_them = list(packs)
    keeps = {kind: max([usual_years(kind), *(one.keeps.get(kind, 0) for one in all_of_them)]) for kind in Kind.values}
    return RulePack(
        frozenset().union(*(one.on_order for one in all_of_them)),
        tuple(dict.fromkeys(sentence for one in all_of_them for sentence in one.gives_back)),
        keeps,
    )


PACKS: dict[str, RulePack] = {Pack.UNION: union(PLACES.values()), **PLACES}


def unmet(pack: RulePack) -> frozenset[int]:
    """The fields that a place wants on every order and that an order can be without; none, or orders break its law."""
    certain = {one.number for one in FIELDS if one.effect in (Effect.AUTO, Effect.REFUSE)}
    return pack.on_order - certain


def kept_until(pack: RulePack, kinds: Iterable[str], shipped_at: datetime) -> date:
    """The day up to which a case that left then is kept. A 29th of February becomes a 1st of March."""
    left, years = timezone.localdate(shipped_at), pack.years(kinds)
    try:
        return left.replace(year=left.year + years)
    except ValueError:
        return date(left.year + years, 3, 1)
