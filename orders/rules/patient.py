"""Rules of the patient: what a body does not bear is not put into it."""

from collections.abc import Iterator

from orders.choices import Allergen, Allergy, Base
from orders.fields import ON_IMPLANT
from orders.limits import Wrong
from orders.materials import Material
from orders.models import Item
from orders.rules.look import Look, Spot, each

NO_TITANIUM = frozenset({Allergen.TITANIUM, Allergen.ALL_METALS})
# What is in cobalt-chrome, or may be.
NO_COBALT_CHROME = frozenset({Allergen.COBALT, Allergen.NICKEL, Allergen.ALL_METALS})
INSTEAD = "Order a piece without it, or correct what is said of the allergy."


def metal(item: Item, look: Look) -> Iterator[Wrong]:
    """No metal that the patient does not bear."""
    allergens = set(look.prescription.allergens) if look.prescription.allergy == Allergy.YES else set()
    if allergens & NO_COBALT_CHROME and item.material == Material.COBALT_CHROME:
        yield Wrong("material", f"The patient does not bear what is in cobalt-chrome. {INSTEAD}")
    elif allergens & NO_TITANIUM and item.material == Material.TITANIUM:
        yield Wrong("material", f"The patient does not bear titanium. {INSTEAD}")
    elif allergens & NO_TITANIUM and item.kind in ON_IMPLANT and item.made_on == Base.TITANIUM_BASE:
        yield Wrong("base", f"The patient does not bear titanium, and this piece sits on a titanium base. {INSTEAD}")


def screw(item: Item, look: Look) -> Iterator[Wrong]:
    """A piece that meets the implant is held by a screw of titanium, whatever it is made of itself."""
    allergens = set(look.prescription.allergens) if look.prescription.allergy == Allergy.YES else set()
    if allergens & NO_TITANIUM and item.kind in ON_IMPLANT and not any(metal(item, look)):
        why = "The patient does not bear titanium, and the screw of this piece is of titanium"
        yield Wrong("material", f"{why}. Ask the patient's doctor, or correct what is said of the allergy.")


def nobody_asked(look: Look) -> Iterator[Spot]:
    """Somebody asked the patient."""
    if look.prescription.allergy == Allergy.UNKNOWN:
        yield Spot("allergy", "Nobody asked the patient for allergies. Ask, and say what was answered.")


def not_borne_or_not_known(look: Look) -> Iterator[Spot]:
    """Nothing that the patient may not bear goes unsaid."""
    yield from nobody_asked(look)
    yield from each(screw)(look)


def allergens_without_allergy(look: Look) -> Iterator[Spot]:
    """What is not borne is said where there is an allergy."""
    if look.prescription.allergens and look.prescription.allergy in (Allergy.NONE, Allergy.UNKNOWN):
        why = "Something is named that the patient does not bear. Say yes to the allergy, or take it out."
        yield Spot("allergens", why)
