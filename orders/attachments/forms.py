"""The form that sends a file. It parses and prints; the verb writes."""

from typing import Any

from django import forms

from labqueue.base.forms import HouseForm
from orders.attachments.receive import FACES, SCANS, Role
from orders.models import Attachment, Case

ACCEPT = ".stl,.ply,.obj,.jpg,.jpeg,.png,.pdf"


class FileForm(HouseForm):
    """One file, and what it shows."""

    role = forms.ChoiceField(label="What it shows", error_messages={"required": "Say what the file shows."})
    file = forms.FileField(
        label="File",
        allow_empty_file=True,
        widget=forms.ClearableFileInput(attrs={"accept": ACCEPT}),
        help_text="STL, PLY or OBJ up to 200 MB, JPEG or PNG up to 25 MB, PDF up to 20 MB.",
        error_messages={"required": "Choose a file."},
    )
    no_face = forms.BooleanField(label="A photo shows no full face", required=False)
    consent = forms.BooleanField(label="The patient agreed to a photo that may show the face", required=False)

    def __init__(self, case: Case, works_here: bool, data: Any = None, sent: Any = None) -> None:
        super().__init__(data, sent, auto_id="file-%s")
        role = self.fields["role"]
        assert isinstance(role, forms.ChoiceField)
        role.choices = choices(case, works_here)


def choices(case: Case, works_here: bool) -> list[Any]:
    """What may be sent now, in groups."""
    if case.state == Case.State.SHIPPED:
        return [named(Role.EVALUATION)]
    papers = [Role.STICKER, *([Role.DESIGN] if works_here else []), Role.DOCUMENT]
    groups = {"Scans": [r for r in Role if r in SCANS], "Photos": [r for r in Role if r in FACES], "Papers": papers}
    return [("", "Choose"), *((name, [named(role) for role in roles]) for name, roles in groups.items())]


def named(role: Attachment.Role) -> tuple[str, str]:
    """A role as a choice."""
    return role.value, str(role.label)
