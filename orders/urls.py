"""The addresses of orders: `pages` for people, `programs` for the interface."""

from django.urls import URLPattern, path

from orders import api

pages: list[URLPattern] = []

programs: list[URLPattern] = [
    path("cases", api.Cases.as_view(), name="cases"),
    path("cases/<str:number>", api.case, name="case"),
    path("cases/<str:number>/prescription", api.prescription, name="prescription"),
    path("cases/<str:number>/sign", api.sign, name="sign"),
    path("cases/<str:number>/amend", api.amend, name="amend"),
    path("cases/<str:number>/discard", api.discard, name="discard"),
    path("cases/<str:number>/cancel", api.cancel, name="cancel"),
    path("cases/<str:number>/accept", api.accept, name="accept"),
    path("cases/<str:number>/hold", api.put_on_hold, name="hold"),
    path("cases/<str:number>/resume", api.resume, name="resume"),
]
