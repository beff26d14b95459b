"""The addresses of the conversation on a case."""

from django.urls import URLPattern, path

from orders.talk import api
from orders.talk import pages as shown
from orders.talk.notices_page import notices

pages: list[URLPattern] = [
    path("cases/<str:number>/talk", shown.talk, name="talk"),
    path("cases/<str:number>/messages", shown.write, name="write"),
    path("cases/<str:number>/messages/<int:pk>/answer", shown.answer, name="answer"),
    path("cases/<str:number>/messages/<int:pk>/approve", shown.approve, name="approve"),
    path("cases/<str:number>/approval", shown.ask_approval, name="ask-approval"),
    path("notices", notices, name="notices"),
]

programs: list[URLPattern] = [
    path("cases/<str:number>/messages", api.messages, name="messages"),
    path("cases/<str:number>/messages/<int:pk>/answer", api.answer, name="answer"),
    path("cases/<str:number>/messages/<int:pk>/approve", api.approve, name="approve"),
    path("cases/<str:number>/approval", api.ask_approval, name="ask-approval"),
]
