"""The addresses of orders: `pages` for people, `programs` for the interface."""

from django.urls import URLPattern

pages: list[URLPattern] = []
programs: list[URLPattern] = []
