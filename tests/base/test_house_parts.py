"""The parts, each rendered from the context that its first lines name."""

import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django import forms
from django.core.paginator import Paginator
from django.template.loader import render_to_string
from django.test import Client, RequestFactory
from django.utils import timezone

from labqueue.base.errors import Fault, Refusal
from labqueue.base.forms import HouseForm
from labqueue.base.pages import onto_form

ROOMS = Path(__file__).parents[2]
PARTS = ROOMS / "labqueue" / "base" / "templates" / "base" / "parts"
NOW = datetime(2026, 11, 24, 15, 0, tzinfo=UTC)


def part(name: str, **context: Any) -> str:
    """The text of a part with blanks run together."""
    return re.sub(r"\s+", " ", render_to_string(f"base/parts/{name}.html", context)).strip()


def words(html: str) -> str:
    """What is left to read."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)).strip()


class Order(HouseForm):
    """A form with a field of each kind that is printed in its own way."""

    reference = forms.CharField(label="Patient reference", help_text="A code <of the practice>.", max_length=8)
    retention = forms.ChoiceField(
        label="Retention", choices=[("s", "Screw"), ("c", "Cement")], widget=forms.RadioSelect
    )
    rush = forms.BooleanField(label="Rush", required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)


@pytest.mark.parametrize("path", sorted(PARTS.glob("*.html")), ids=lambda path: path.stem)
def test_each_part_says_its_context_first(path: Path) -> None:
    assert re.match(r"\{# .+ #\}\n|\{% comment %\}\n", path.read_text())


@pytest.mark.parametrize("path", sorted(PARTS.parent.parent.rglob("*.html")), ids=lambda path: path.stem)
def test_nothing_is_inline(path: Path) -> None:
    text = path.read_text()
    assert not re.search(r"\sstyle=|<style|\son[a-z]+=|hx-on|javascript:", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)


def test_state_is_a_word_with_a_sign() -> None:
    html = part("state", word="On hold", tone="watch")
    assert words(html) == "On hold"
    assert 'class="state tone-watch"' in html
    assert 'aria-hidden="true"' in html


def test_each_tone_has_a_sign_of_its_own() -> None:
    signs = {part("mark", tone=tone) for tone in ("quiet", "run", "good", "watch", "risk", "late")}
    assert len(signs) == 6


def test_risk_without_a_forecast() -> None:
    assert words(part("risk", outlook=None)) == "no forecast yet"
    assert words(part("risk", outlook={"late": None})) == "no forecast yet"


def test_risk_is_number_word_and_age() -> None:
    with time_machine.travel(NOW, tick=False):
        html = part("risk", outlook={"late": 0.31, "made_at": NOW - timedelta(minutes=3)})
    assert words(html) == "Risk of being late: 31 % at risk computed 3 min ago"
    assert html.count('fill="currentColor"') == 3


def test_risk_of_zero_is_a_forecast() -> None:
    """And never a certainty: none of the futures that were looked at was late, or all were."""
    for late, shown in ((0.0, "&lt; 1 %"), (1.0, "&gt; 99 %"), (0.5, "50 %")):
        assert shown in words(part("risk", outlook={"late": late, "made_at": timezone.now()}))


def test_risk_in_full_has_range_and_moments() -> None:
    outlook = {"late": 0.31, "late_low": 0.25, "late_high": 0.4, "made_at": NOW, "p50": NOW, "p80": NOW}
    text = words(part("risk", outlook=outlook, full=True))
    assert "between 25 % and 40 %" in text
    assert "in half of all runs, by Tue 24 Nov, 10:00 in four of five" in text


def test_due_counts_down_until_it_is_over() -> None:
    with time_machine.travel(NOW, tick=False):
        assert words(part("due", due=date(2026, 11, 22))) == "Sun 22 Nov 2 days late"
        assert words(part("due", due=date(2026, 11, 22), over=True)) == "Sun 22 Nov"
        assert words(part("due", due=NOW + timedelta(days=2))) == "Thu 26 Nov, 10:00 in 2 days"
        assert words(part("due", due=None)) == "no date yet"


def test_tooth_is_never_a_bare_number() -> None:
    html = part("tooth", number="14", notation="Universal", words="upper left first molar")
    assert words(html) == "14 upper left first molar Universal"


def test_meter_draws_its_share() -> None:
    html = part("meter", share=0.5, text="2 of 4")
    assert 'width="50.0"' in html
    assert words(html) == "2 of 4"


def test_pager_keeps_the_rest_of_the_query() -> None:
    request = RequestFactory().get("/cases?state=open&page=2")
    html = part("pager", page=Paginator(range(60), 25).page(2), request=request)
    assert 'href="?state=open&amp;page=3"' in html
    assert "50 of 60" in words(html)


def test_pager_is_not_there_for_one_page() -> None:
    assert part("pager", page=Paginator(range(3), 25).page(1)) == ""


def test_scan_works_as_a_plain_form() -> None:
    html = part("scan", url="/scan", extra={"station": "milling"})
    assert 'method="post" action="/scan"' in html
    assert '<input type="hidden" name="station" value="milling">' in html
    assert "hx-post" not in html


def test_scan_answers_into_its_target() -> None:
    html = part("scan", url="/scan", target="#scanned")
    assert 'hx-post="/scan" hx-target="#scanned"' in html


def test_what_people_wrote_is_escaped() -> None:
    for html in (part("notice", tone="run", word="Note.", text="<b>x"), part("state", word="<b>x", tone="run")):
        assert "&lt;b&gt;x" in html


def test_field_binds_label_help_and_input() -> None:
    html = part("field", field=Order()["reference"])
    assert '<label for="id_reference">Patient reference <span class="needed">(needed)</span></label>' in html
    assert 'id="id_reference_helptext">A code &lt;of the practice&gt;.' in html
    assert 'aria-describedby="id_reference_helptext"' in html


def test_field_in_fault_points_at_it() -> None:
    html = part("field", field=Order({"reference": ""})["reference"])
    assert 'aria-invalid="true"' in html
    assert 'aria-describedby="id_reference_helptext id_reference_error"' in html
    assert 'id="id_reference_error"' in html


def test_group_is_a_fieldset_with_a_legend() -> None:
    html = part("field", field=Order()["retention"])
    assert "<fieldset" in html
    assert "<legend>Retention" in html
    assert html.count('type="radio"') == 2


def test_tick_stands_before_its_label() -> None:
    html = part("field", field=Order()["rush"])
    assert html.index("<input") < html.index("<label")
    assert "(needed)" not in html


def test_form_prints_all_fields_once() -> None:
    html = str(Order())
    assert [html.count(f'name="{name}"') for name in Order.base_fields] == [1, 2, 1, 1]
    assert "Not saved" not in html


def test_form_in_fault_lists_the_faults_with_links() -> None:
    html = str(Order({"reference": "K-2041-2041", "version": "1"}))
    assert '<a href="#id_reference">Patient reference</a>: Ensure this value has at most 8 characters' in html
    assert '<a href="#id_retention_group">Retention</a>: This field is required.' in html
    assert 'id="id_retention_group"' in html


def test_hidden_field_in_fault_is_named_without_a_link() -> None:
    assert "Version: This field is required." in str(Order({"reference": "K-1", "retention": "s"}))


def test_refusal_of_a_verb_lands_at_its_field() -> None:
    form = Order({"reference": "K-1", "retention": "s", "version": "1"})
    assert form.is_valid()
    onto_form(
        form, Refusal([Fault("taken", "K-1 is taken.", "reference"), Fault("closed", "The day is closed.", "due")])
    )
    html = str(form)
    assert '<a href="#id_reference">Patient reference</a>: K-1 is taken.' in html
    assert "<li>The day is closed.</li>" in html


def test_refusal_fragment_says_that_nothing_was_written() -> None:
    refusal = Refusal([Fault("tooth", "Name the notation of tooth 9.", "tooth")])
    text = words(render_to_string("base/refusal_fragment.html", {"refusal": refusal}))
    assert text == "Refused. Nothing was written. Name the notation of tooth 9."


def test_failure_is_shown_without_person_or_database() -> None:
    html = render_to_string("base/crashed.html")
    assert "Out of order" in html
    assert "hx-" not in html


def test_lock_names_its_time() -> None:
    html = render_to_string("base/locked.html", {"failure_limit": 8, "cooloff_timedelta": timedelta(minutes=15)})
    assert "failed 8 times from here. For 15 min no further try" in words(html)


def test_form_that_is_older_than_the_sign_in_is_told_so() -> None:
    response = Client(enforce_csrf_checks=True).post("/sign-in", {"username": "tessa"})
    assert response.status_code == 403
    assert "This page was open for too long" in response.content.decode()


def test_navigation_marks_where_one_is() -> None:
    ways = [{"url": "/", "label": "Today", "current": True}, {"url": "/cases", "label": "Cases", "current": False}]
    html = render_to_string("base/layout.html", {"navigation": ways})
    assert '<a href="/" aria-current="page">Today</a>' in html
    assert '<a href="/cases">Cases</a>' in html
    assert "<nav" not in render_to_string("base/layout.html", {})
