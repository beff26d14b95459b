"""An appointment as people write it: a day and a time by the clock of the practice."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.conf import settings
from django.utils import timezone

from labqueue.base.forms import HouseForm
from labqueue.base.workdays import at
from orders.due import far_faults
from orders.models import Practice


class AppointmentForm(HouseForm):
    """Day and time of an appointment that may be left out, both together."""

    seat_day = forms.DateField(
        label="Seat appointment, day",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text="Leave it empty if there is none yet.",
    )
    seat_time = forms.TimeField(
        label="Time", required=False, widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )

    def __init__(self, practice: Practice, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.practice = practice
        zone = "" if practice.time_zone == settings.TIME_ZONE else f" ({practice.time_zone})"
        self.fields["seat_time"].help_text = f"The clock of your practice{zone}."

    def clean(self) -> dict[str, Any]:
        """A day without a time, or a time without a day, is no appointment."""
        values = super().clean() or {}
        day, clock = values.get("seat_day"), values.get("seat_time")
        if day and clock is None and "seat_time" not in self.errors:
            self.add_error("seat_time", "Give the time of the appointment, or leave the day empty.")
        if clock and day is None and "seat_day" not in self.errors:
            self.add_error("seat_day", "Give the day of the appointment, or leave the time empty.")
        if day and clock:
            # Before it becomes an instant: at the ends of the calendar there is none in another zone.
            written = datetime.combine(day, clock, tzinfo=ZoneInfo(self.practice.time_zone))
            for fault in far_faults(written, timezone.now()):
                self.add_error("seat_day", fault.message)
        return values

    @property
    def seat_at(self) -> datetime | None:
        """The appointment as an instant."""
        day, clock = self.cleaned_data["seat_day"], self.cleaned_data["seat_time"]
        return at(day, clock, ZoneInfo(self.practice.time_zone)) if day else None


def appointment_values(seat_at: datetime | None, practice: Practice) -> dict[str, Any]:
    """What such a form shows of an appointment."""
    there = seat_at.astimezone(ZoneInfo(practice.time_zone)) if seat_at else None
    return {"seat_day": there and there.date(), "seat_time": there and there.time()}
