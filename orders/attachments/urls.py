"""The addresses of files."""

from django.urls import URLPattern, path

from orders.attachments import api
from orders.attachments import pages as shown

pages: list[URLPattern] = [
    path("cases/<str:number>/files", shown.files, name="files"),
    path("files/<int:pk>", shown.file, name="file"),
    path("files/<int:pk>/preview", shown.preview, name="preview"),
    path("files/<int:pk>/withdraw", shown.withdraw, name="withdraw"),
]

programs: list[URLPattern] = [
    path("cases/<str:number>/files", api.files, name="files"),
    path("files/<int:pk>", api.file, name="file"),
    path("files/<int:pk>/content", api.content, name="file-content"),
]
