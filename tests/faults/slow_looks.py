"""Loaded into a worker: it reads a scan triangle by triangle, which takes long enough to kill it in the middle."""

from orders.attachments import mesh_stl

vars(mesh_stl)["CHUNK"] = 1
