"""A small picture of a mesh: seen from above and in front, lit from the camera, the nearest surface in front."""

import math
from collections.abc import Callable, Iterator
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from labqueue.engine.jit import kernel
from orders.attachments.mesh import Measure, Triangles, joined

WIDTH, HEIGHT, MARGIN = 320, 240, 12
# Drawn twice as large and made smaller, so that edges are smooth.
FINER = 2
# Pixels that are looked at in all: a mesh of many huge triangles is drawn in part.
PATIENCE = 3_000_000_000


def view() -> NDArray[np.float32]:
    """Coordinates of the mesh (z points up) to right, down and away from the eye, as a matrix (3, 3)."""
    turn, above = math.radians(30), math.radians(35)
    around = np.array([[math.cos(turn), math.sin(turn), 0], [-math.sin(turn), math.cos(turn), 0], [0, 0, 1]])
    eye = np.array([[1, 0, 0], [0, -math.sin(above), -math.cos(above)], [0, math.cos(above), -math.sin(above)]])
    return np.asarray(eye @ around, dtype=np.float32)


VIEW = view()


def seen(piece: Triangles) -> Triangles:
    """Triangles in coordinates of the eye, still in millimetres."""
    turned: Triangles = piece @ VIEW.T
    return turned


def picture(pieces: Callable[[], Iterator[Triangles]]) -> bytes:
    """A PNG of 320 x 240 pixels; the ground is transparent. `pieces` is asked twice, for the frame and for the rest."""
    frame: Measure | None = None
    for piece in pieces():
        if len(piece):
            frame = joined(frame, seen(piece))
    canvas = Canvas(frame)
    for piece in pieces():
        canvas.add(piece)
    return canvas.png()


class Canvas:
    """Where triangles are drawn. `frame` is what all of them take up, in coordinates of the eye."""

    def __init__(self, frame: Measure | None) -> None:
        size = (HEIGHT * FINER, WIDTH * FINER)
        self.depth = np.full(size, np.inf, dtype=np.float32)
        self.light = np.zeros(size, dtype=np.uint8)
        self.spent = 0
        low, high = (frame.low, frame.high) if frame else (np.zeros(3, np.float32), np.ones(3, np.float32))
        room = (np.array([WIDTH, HEIGHT]) - 2 * MARGIN) * FINER
        self.scale = float((room / np.maximum(high[:2] - low[:2], 1e-6)).min())
        middle = np.array([WIDTH, HEIGHT]) * FINER / 2 - self.scale * (low[:2] + high[:2]) / 2
        self.shift = np.array([*middle, 0.0], dtype=np.float32)

    def add(self, piece: Triangles) -> None:
        """Some more triangles, in millimetres."""
        placed = np.ascontiguousarray(seen(piece) * np.float32(self.scale) + self.shift, dtype=np.float32)
        self.spent = fill(placed, self.depth, self.light, self.spent, PATIENCE)

    def png(self) -> bytes:
        """What was drawn."""
        both = np.dstack([self.light, np.where(self.light > 0, 255, 0).astype(np.uint8)])
        small = Image.fromarray(both, "LA").resize((WIDTH, HEIGHT), Image.Resampling.BOX)
        out = BytesIO()
        small.save(out, "PNG", optimize=True)
        return out.getvalue()


@kernel
def fill(triangles: Triangles, depth: Triangles, light: NDArray[np.uint8], spent: int, patience: int) -> int:
    """Draw triangles (n, 3 corners, right-down-away in pixels) where they are nearer than what is there.

    Gives the number of pixels looked at so far; when `patience` is reached, the rest is left out.
    """
    height, width = depth.shape
    for number in range(triangles.shape[0]):
        ax, ay, az = triangles[number, 0]
        bx, by, bz = triangles[number, 1]
        cx, cy, cz = triangles[number, 2]
        nx = (by - ay) * (cz - az) - (bz - az) * (cy - ay)
        ny = (bz - az) * (cx - ax) - (bx - ax) * (cz - az)
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        length = math.sqrt(nx * nx + ny * ny + area * area)
        if length == 0.0 or area == 0.0:
            continue
        shade = np.uint8(70 + 170 * abs(area) / length)
        left, right = max(0, int(min(ax, bx, cx))), min(width - 1, int(max(ax, bx, cx)) + 1)
        top, bottom = max(0, int(min(ay, by, cy))), min(height - 1, int(max(ay, by, cy)) + 1)
        spent += (right - left + 1) * (bottom - top + 1)
        if spent > patience:
            return spent
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                # Weights of the corners; a little beyond the edge counts, so that neighbours leave no gap.
                b = ((column - ax) * (cy - ay) - (row - ay) * (cx - ax)) / area
                c = ((row - ay) * (bx - ax) - (column - ax) * (by - ay)) / area
                if b >= -0.01 and c >= -0.01 and b + c <= 1.01:
                    away = az + b * (bz - az) + c * (cz - az)
                    if away < depth[row, column]:
                        depth[row, column] = away
                        light[row, column] = shade
    return spent
