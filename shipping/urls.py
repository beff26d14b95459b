"""The addresses of shipping: `pages` for people, `programs` for the interface."""

from django.urls import URLPattern, path

from shipping import api
from shipping import pages as views

pages: list[URLPattern] = [
    path("shipping", views.desk, name="desk"),
    path("shipping/<str:number>/pack", views.box, name="pack"),
    path("shipping/<str:number>/box", views.scan_in, name="box"),
    path("shipping/<str:number>/dispatch", views.ship, name="dispatch"),
    path("cases/<str:number>/papers", views.papers, name="papers"),
    path("papers/<int:paper_id>", views.paper, name="paper"),
    path("invoices", views.invoices, name="invoices"),
]
programs: list[URLPattern] = [
    path("cases/<str:number>/pack", api.PackView.as_view(), name="pack"),
    path("cases/<str:number>/dispatch", api.DispatchView.as_view(), name="dispatch"),
    path("cases/<str:number>/papers", api.PapersView.as_view(), name="papers"),
    path("papers/<int:paper_id>", api.PaperView.as_view(), name="paper"),
    path("papers/<int:paper_id>/file", api.PaperFileView.as_view(), name="paper-file"),
    path("invoices", api.InvoicesView.as_view(), name="invoices"),
]
