"""The addresses of planning: `pages` for people, `programs` for the interface."""

from django.urls import path

from labqueue.planning import api
from labqueue.planning import pages as views

pages = [
    path("planning/stations", views.stations, name="stations"),
    path("planning/bottlenecks", views.bottlenecks, name="bottlenecks"),
    path("planning/forecast", views.forecast, name="forecast"),
    path("cases/<str:number>/outlook", views.outlook, name="outlook"),
    path("cases/<str:number>/promise", views.promised, name="promise"),
]
programs = [
    path("cases/<str:number>/outlook", api.OutlookView.as_view(), name="outlook"),
    path("cases/<str:number>/promise", api.PromiseView.as_view(), name="promise"),
    path("bottlenecks", api.BottlenecksView.as_view(), name="bottlenecks"),
    path("forecasts", api.ForecastsView.as_view(), name="forecasts"),
]
