"""Rules of the connection to the implant: parts that fit, screws that can be reached, margins that can be cleaned."""

from collections.abc import Iterator

from orders import teeth
from orders.choices import Base
from orders.fields import MARGINS, ON_IMPLANT, column_label
from orders.limits import Wrong
from orders.makes import METALS
from orders.materials import RETENTIONS, ZIRCONIA, Connection, Kind, Retention, Stage, lower_first
from orders.models import Item
from orders.models.columns import millimetres
from orders.rules.look import Look

# Lengths in hundredths of a millimetre. A shorter chimney holds too little cement; a deeper margin keeps it in the gum.
CHIMNEY_SHORT, CHIMNEY_TOO_SHORT = 400, 350
MARGIN_DEEP, MARGIN_TOO_DEEP, NO_MARGIN = -150, -300, -500
LOW = 600
# An angulated channel, in degrees: beyond the first its screw is hard to turn, beyond the second there is no part.
ANGLE_STEEP, ANGLE_LIMIT, NO_ANGLE = 20, 25, 60


def implant_unknown(item: Item, look: Look) -> Iterator[Wrong]:
    """A piece that meets the implant is made by system, connection and platform, and never without one of them."""
    if item.kind not in ON_IMPLANT:
        return
    if not item.system:
        yield Wrong("system", "Give the implant system as it stands on the label of the implant.")
    if not item.connection:
        yield Wrong("connection", "Choose the connection of the implant.")
    if item.platform is None:
        why = "Give the diameter of the platform in millimetres, as on the label of the implant, such as 4.3."
        yield Wrong("platform", why)


def platforms_differ(item: Item, look: Look) -> Iterator[Wrong]:
    """Scan body and implant have one platform."""
    known = item.kind in ON_IMPLANT and None not in (item.platform, item.scan_platform)
    if known and item.platform != item.scan_platform:
        body, implant = millimetres(item.scan_platform), millimetres(item.platform)
        why = f"The scan body has a platform of {body}, the implant one of {implant}. Correct what is wrong."
        yield Wrong("scan_platform", why)


def on_a_base(item: Item, look: Look) -> Iterator[Wrong]:
    """A one-piece crown is bonded to a base; so is a provisional abutment, unless it is of metal."""
    if item.base != Base.ONE_PIECE:
        return
    if item.kind == Kind.SCREW_CROWN:
        yield Wrong("base", "A one-piece crown is made on a titanium base here. Leave the base out.")
    elif (item.stage, item.kind) == (Stage.PROVISIONAL, Kind.ABUTMENT) and item.material not in METALS:
        yield Wrong("base", "A provisional abutment is made on a titanium base here. Leave the base out.")


def chimney(item: Item, least: int, most: int) -> Iterator[Wrong]:
    """A chimney from `least` to below `most`, under a zirconia crown on a posterior tooth."""
    on_zirconia = item.kind == Kind.SCREW_CROWN and item.material in ZIRCONIA and not teeth.is_anterior(item.tooth)
    if on_zirconia and item.chimney is not None and least <= item.chimney < most:
        height, enough = millimetres(item.chimney), millimetres(CHIMNEY_SHORT)
        yield Wrong(
            "chimney", f"A chimney of {height} holds a posterior zirconia crown badly. Use one from {enough} on."
        )


def chimney_short(item: Item, look: Look) -> Iterator[Wrong]:
    """The chimney is long enough."""
    return chimney(item, CHIMNEY_TOO_SHORT, CHIMNEY_SHORT)


def chimney_too_short(item: Item, look: Look) -> Iterator[Wrong]:
    """The chimney is long enough to hold at all."""
    return chimney(item, 0, CHIMNEY_TOO_SHORT)


def deepest(item: Item) -> tuple[int, str] | None:
    """The deepest margin with its column; None where none is given."""
    given = [(getattr(item, name), name) for name in MARGINS if getattr(item, name) is not None]
    return min(given, default=None)


def margin(item: Item, least: int, most: int) -> Iterator[Wrong]:
    """The deepest margin of an abutment from `least` to below `most`: its crown is cemented, now or later."""
    found = deepest(item) if item.kind == Kind.ABUTMENT else None
    if found and least <= found[0] < most:
        depth, name = found
        label, below, limit = column_label(name), millimetres(-depth), millimetres(-MARGIN_DEEP)
        why = f"Cement cannot be cleaned off a {label} {below} below the gum. Raise it to {limit}, or order a "
        yield Wrong(name, f"{why}one-piece crown, which is screwed.")


def margin_deep(item: Item, look: Look) -> Iterator[Wrong]:
    """Cement can be reached."""
    return margin(item, MARGIN_TOO_DEEP, MARGIN_DEEP)


def margin_too_deep(item: Item, look: Look) -> Iterator[Wrong]:
    """Cement can be reached at all."""
    return margin(item, NO_MARGIN, MARGIN_TOO_DEEP)


def turns(item: Item, look: Look) -> Iterator[Wrong]:
    """A single piece engages, a splinted one does not."""
    if item.kind not in ON_IMPLANT:
        return
    if item.connection == Connection.MULTI_UNIT and not item.splinted:
        why = "At multi-unit abutment level nothing keeps a single piece from turning. Check the connection."
        yield Wrong("connection", why)
    elif not item.engaging and not item.splinted:
        yield Wrong("engaging", "A single piece that does not engage can turn. Order it engaging.")
    elif item.splinted and item.engaging and item.connection != Connection.MULTI_UNIT:
        yield Wrong(
            "engaging", "Splinted pieces that engage do not go onto two implants at once. Order them non-engaging."
        )


def angle(item: Item, least: int, most: int) -> Iterator[Wrong]:
    """An angulated channel beyond `least`, up to `most` degrees."""
    if item.retention == Retention.ANGLED_SCREW and item.angle is not None and least < item.angle <= most:
        what = f"A channel at {item.angle}° needs its own screw and driver, which go with the piece"
        beyond = f"{what}; beyond {ANGLE_LIMIT}° there is no part. Give {ANGLE_LIMIT}° or less."
        steep = f"{what}, and is hard to turn. Up to {ANGLE_STEEP}° is usual."
        yield Wrong("angle", beyond if item.angle > ANGLE_LIMIT else steep)


def angle_steep(item: Item, look: Look) -> Iterator[Wrong]:
    """The screw can be turned well."""
    return angle(item, ANGLE_STEEP, ANGLE_LIMIT)


def angle_too_steep(item: Item, look: Look) -> Iterator[Wrong]:
    """There is a part with that angle."""
    return angle(item, ANGLE_LIMIT, NO_ANGLE)


def proportions(item: Item, look: Look) -> Iterator[Wrong]:
    """High enough to hold, not higher than the implant is long."""
    if item.kind not in ON_IMPLANT or item.height is None:
        return
    if item.height < LOW:
        room = f"{millimetres(item.height)} from platform to opposing tooth are low for cement"
        yield Wrong("height", f"{room}; {millimetres(LOW)} are enough. A screw-retained piece is preferred.")
    elif item.implant_length is not None and item.height > item.implant_length:
        high, long = millimetres(item.height), millimetres(item.implant_length)
        yield Wrong("height", f"{high} above an implant of {long} is a long lever. Check both lengths.")


def retention_fits(item: Item, look: Look) -> Iterator[Wrong]:
    """How the piece is held goes with what it is."""
    possible = RETENTIONS[Kind(item.kind)]
    if item.retention not in possible:
        piece, words = lower_first(Kind(item.kind).label), " or ".join(lower_first(one.label) for one in possible)
        hint = " For a screw-retained crown order a one-piece crown." if item.kind == Kind.CROWN else ""
        yield Wrong("retention", f"This piece, {piece}, is {words}.{hint}")


def angle_of_channel(item: Item, look: Look) -> Iterator[Wrong]:
    """Only an angulated screw channel has an angle, and only a one-piece crown has that channel; 0° is straight."""
    if not item.angle:
        return
    if item.kind != Kind.SCREW_CROWN:
        yield Wrong("angle", "Only a one-piece crown has an angulated screw channel. Leave the angle out.")
    elif item.retention != Retention.ANGLED_SCREW:
        yield Wrong("angle", "Choose the angulated screw channel, or leave the angle out.")
