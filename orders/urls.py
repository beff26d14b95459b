"""The addresses of orders: `pages` for people, `programs` for the interface."""

from django.urls import URLPattern, path

from orders import api, people_pages, practice_pages
from orders import pages as shown
from orders import version_pages as versions
from orders.attachments import urls as attachments
from orders.day import pages as day
from orders.day import search_pages as search
from orders.form import api as form_api
from orders.form import pages as form
from orders.implant import api as implant_api
from orders.implant import pages as implant
from orders.talk import urls as talk
from orders.treatment import api as treatment_api
from orders.treatment import pages as treatment

pages: list[URLPattern] = [
    path("cases", shown.cases, name="cases"),
    path("cases.csv", day.cases_csv, name="export"),
    path("cases/new", form.new, name="new"),
    path("cases/check", form.check, name="check"),
    path("cases/search", search.search, name="search"),
    path("cases/<str:number>", shown.case, name="case"),
    path("cases/<str:number>/prescription", form.edit, name="edit"),
    path("cases/<str:number>/check", form.recheck, name="recheck"),
    path("cases/<str:number>/sign", shown.sign, name="sign"),
    path("cases/<str:number>/amend", shown.amend, name="amend"),
    path("cases/<str:number>/discard", shown.discard, name="discard"),
    path("cases/<str:number>/cancel", shown.cancel, name="cancel"),
    path("cases/<str:number>/accept", shown.accept, name="accept"),
    path("cases/<str:number>/hold", shown.put_on_hold, name="hold"),
    path("cases/<str:number>/resume", shown.resume, name="resume"),
    path("cases/<str:number>/versions/<int:version>", versions.version, name="version"),
    path("cases/<str:number>/implant", implant.implant, name="implant"),
    path("cases/<str:number>/treatment", treatment.treatment, name="treatment"),
    path("cases/<str:number>/plan", treatment.plan, name="plan"),
    path("cases/<str:number>/evaluation", treatment.evaluate, name="evaluate"),
    *talk.pages,
    *attachments.pages,
    path("calendar", day.feeds, name="feeds"),
    path("calendar/closed", day.close, name="close-day"),
    path("calendar/closed/<int:pk>/reopen", day.reopen, name="reopen-day"),
    path("calendar/<int:pk>/revoke", day.end_feed, name="end-feed"),
    path("feeds/<str:token>.ics", day.feed, name="feed"),
    path("people", people_pages.people, name="people"),
    path("people/<int:pk>", people_pages.person, name="person"),
    path("practices", practice_pages.practices, name="practices"),
    path("practices/<str:code>", practice_pages.practice, name="practice"),
]

programs: list[URLPattern] = [
    path("cases", api.Cases.as_view(), name="cases"),
    path("checks", form_api.checks, name="checks"),
    path("cases/<str:number>", api.case, name="case"),
    path("cases/<str:number>/prescription", api.prescription, name="prescription"),
    path("cases/<str:number>/sign", api.sign, name="sign"),
    path("cases/<str:number>/amend", api.amend, name="amend"),
    path("cases/<str:number>/discard", api.discard, name="discard"),
    path("cases/<str:number>/cancel", api.cancel, name="cancel"),
    path("cases/<str:number>/accept", api.accept, name="accept"),
    path("cases/<str:number>/hold", api.put_on_hold, name="hold"),
    path("cases/<str:number>/resume", api.resume, name="resume"),
    path("cases/<str:number>/versions/<int:version>", versions.version_program, name="version"),
    path("cases/<str:number>/implant", implant_api.ImplantView.as_view(), name="implant"),
    path("cases/<str:number>/treatment", treatment_api.treatment, name="treatment"),
    path("cases/<str:number>/plan", treatment_api.plan, name="plan"),
    path("cases/<str:number>/evaluations", treatment_api.evaluations, name="evaluations"),
    path("cases/<str:number>/carry", treatment_api.carry, name="carry"),
    *talk.programs,
    *attachments.programs,
]
