"""The addresses of production: `pages` for people, `programs` for the interface."""

from django.urls import path

from labqueue.production import api
from labqueue.production import pages as views

pages = [
    path("bench", views.stations, name="stations"),
    path("bench/<slug:code>", views.bench, name="bench"),
    path("bench/<slug:code>/queue", views.queue, name="queue"),
    path("bench/<slug:code>/scan", views.scan_line, name="scan"),
    path("bench/<slug:code>/lot", views.lot, name="lot"),
    path("cases/<str:number>/release", views.release_case, name="release"),
    path("cases/<str:number>/stop", views.stop_case, name="stop"),
    path("cases/<str:number>/floor", views.floor, name="floor"),
]
programs = [
    path("stations", api.StationsView.as_view(), name="stations"),
    path("stations/<slug:code>/queue", api.QueueView.as_view(), name="queue"),
    path("stations/<slug:code>/lots", api.LotsView.as_view(), name="lot-in-use"),
    path("scans", api.ScansView.as_view(), name="scans"),
    path("cases/<str:number>/release", api.ReleaseView.as_view(), name="release"),
    path("cases/<str:number>/stop", api.StopView.as_view(), name="stop"),
    path("cases/<str:number>/work-items", api.WorkItemsView.as_view(), name="work-items"),
]
