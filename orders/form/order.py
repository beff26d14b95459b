"""What is said once for the whole case. It parses and prints; verbs write."""

from typing import Any

from django import forms

from orders import choices
from orders.appointment import AppointmentForm
from orders.facts import ORDER_COLUMNS
from orders.form import words
from orders.materials import Stage
from orders.models import Practice

# What the form asks of an order, beside patient, stage and appointment.
ASKED = tuple(name for name in ORDER_COLUMNS if name != "seat_at")
# What is said once, when the case is opened.
OPENED_WITH = ("origin", "relation", "cause", "cause_note")
# What is asked of an allergy only where there is one, and its being unsaid.
OF_ALLERGY: dict[str, Any] = {"allergens": (), "allergy_note": ""}
# How the implant and the jaws come: mostly as on the practice's last order. What is in the parcel is counted each time.
# How long it lay in the disinfectant is true of one parcel only: whoever orders says it anew.
AS_USUAL = ("impression", "analog", "opposing", "bite", "disinfected_with")
HOW_IT_COMES = (*AS_USUAL, "enclosed")
WISHES = ("guidance", "bruxism", "approval", "contact", "parts", "delivery", "rush", "note")


class OrderForm(AppointmentForm):
    """The case as a whole."""

    patient_ref = forms.CharField(
        label="Patient reference",
        help_text="A code of your own, such as K-2041. Never a name or a date of birth.",
        max_length=40,
        error_messages={"required": "Give a code of your own for the patient, such as K-2041."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )
    stage = forms.ChoiceField(
        label="Stage",
        choices=Stage.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose provisional or final."},
    )
    allergy = forms.ChoiceField(
        label="Is the patient allergic to metals or acrylic?",
        choices=choices.Allergy.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether the patient has an allergy: none, unknown or yes."},
    )
    allergens = words.several("What the patient does not bear", choices.Allergen)
    allergy_note = words.text("More about the allergy")
    impression = words.select("Position of the implant", choices.Impression)
    scanned_on = words.day("Day of the scan")
    analog = words.select("Analog", choices.Analog)
    opposing = words.select("Opposing arch", choices.Opposing)
    bite = words.select("Bite", choices.Bite)
    disinfected_with = words.text("Disinfected with", "The agent, where anything comes from a mouth.")
    disinfected_minutes = words.whole("Minutes in the disinfectant")
    enclosed = words.several("In the parcel", choices.Enclosed)
    guidance = words.select("Guidance of the jaw", choices.Guidance)
    bruxism = words.select("Does the patient grind?", choices.Answer)
    approval = words.select("Approve the design first", choices.Wanted, "As agreed on")
    contact = words.text("For questions", "Whom to ask, and how.")
    parts = words.select("Screws, bases, analogs from", choices.Parts, "As agreed on")
    rush = words.tick("Rush", "The laboratory must accept it; it may cost more.")
    delivery = words.select("Delivery", choices.Delivery, "By courier, as usual")
    note = forms.CharField(
        label="Note to the laboratory",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What the fields do not say. No name of the patient.",
    )
    origin = forms.CharField(required=False, widget=forms.HiddenInput)
    relation = forms.CharField(required=False, widget=forms.HiddenInput)
    cause = words.select("Why it is made again", choices.Cause)
    cause_note = words.text("What was wrong, or is to be adjusted")

    def __init__(self, practice: Practice, *args: Any, signed: bool = False, **kwargs: Any) -> None:
        super().__init__(practice, *args, **kwargs)
        self.fields["patient_ref"].disabled = self.fields["stage"].disabled = signed

    @property
    def wishes_wrong(self) -> bool:
        """Whether a fault lies where the form is folded."""
        return self.is_bound and bool(set(self.errors) & set(WISHES))

    @property
    def wishes_said(self) -> str:
        """What is filled in where the form is folded."""
        return words.said_in(self, WISHES)

    def facts(self) -> dict[str, Any]:
        """As `OrderFacts` takes them, without the pieces; what cannot be read is not said."""
        values = {name: words.read(self, name) for name in ("patient_ref", "stage", *ASKED, *OPENED_WITH)}
        # The inputs are hidden then, and what is still ticked in them is not meant.
        unseen = {} if values["allergy"] == choices.Allergy.YES else OF_ALLERGY
        seat_at = None if {"seat_day", "seat_time"} & set(self.errors) else self.seat_at
        return {**values, **unseen, "seat_at": seat_at}
