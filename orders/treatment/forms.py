"""The forms of a treatment: what was found in the mouth, and when the final is planned. They parse and print."""

from typing import Any

from django import forms

from labqueue.base.forms import HouseForm
from orders.models import Evaluation
from orders.models.treatment import JUDGED, Verdict
from orders.treatment.evaluate import EvaluationFacts

YES_NO = [("yes", "Yes"), ("no", "No")]
LABELS = {"papilla_mesial": "Papilla, mesial", "papilla_distal": "Papilla, distal", "bite": "Bite"}


class EvaluationForm(HouseForm):
    """How the provisional did. What is judged begins as it should be, so that only what is off takes a choice."""

    facial = forms.ChoiceField(
        label="Facial margin", choices=Evaluation.Facial.choices, widget=forms.RadioSelect, initial="ok"
    )
    facial_mm = forms.DecimalField(
        label="Off by, mm",
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "size": 5}),
        help_text="Such as 0.5.",
    )
    changes = forms.CharField(
        label="What to change",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Which side, and by how much.",
    )
    happy = forms.ChoiceField(
        label="Is the patient happy with it?",
        choices=YES_NO,
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether the patient is happy with it."},
    )
    words = forms.CharField(label="The patient's word", required=False, widget=forms.Textarea(attrs={"rows": 2}))
    decision = forms.ChoiceField(
        label="What now?",
        choices=Evaluation.Decision.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Decide: the final now, reshape, or wait."},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in JUDGED:
            label = LABELS.get(name, name.capitalize())
            widget = forms.RadioSelect
            self.fields[name] = forms.ChoiceField(label=label, choices=Verdict.choices, widget=widget, initial="ok")

    @property
    def judged_fields(self) -> list[forms.BoundField]:
        """What is only looked at where something is to be changed."""
        return [self[name] for name in ("facial", "facial_mm", *JUDGED, "changes")]

    def facts(self) -> EvaluationFacts:
        """As the verb takes them."""
        values = self.cleaned_data
        said = {name: values[name] for name in ("facial", "facial_mm", "changes", "words", "decision")}
        judged = {name: values[name] for name in JUDGED}
        return EvaluationFacts(**said, happy=values["happy"] == "yes", judged=judged)
