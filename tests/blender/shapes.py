"""Meshes in mm, as vertices and faces, and the seams that open them."""

import math

BOX = (
    [(x, y, z) for z in (0, 60) for y in (0, 90) for x in (0, 120)],
    [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [1, 3, 7, 5], [3, 2, 6, 7], [2, 0, 4, 6]],
)
BOX_SEAMS = [(0, 4), (1, 5), (2, 6), (3, 7), (4, 5), (5, 7), (6, 7)]
PANELS = (
    [(0, 0, 0), (100, 0, 0), (176.604, 0, -64.279), (0, 80, 0), (100, 80, 0), (176.604, 80, -64.279)],
    [[0, 1, 4, 3], [1, 2, 5, 4]],
)
SIDES, RINGS, RADIUS = 16, 5, 90.0


def dome():
    """A dome of 90 mm radius down to 75 degrees from its top, open below: too round to lie flat in one piece."""
    points = [(0.0, 0.0, RADIUS)]
    for ring in range(1, RINGS + 1):
        tilt = math.radians(75) * ring / RINGS
        turns = [2 * math.pi * (side + 0.5) / SIDES for side in range(SIDES)]
        out, up = RADIUS * math.sin(tilt), RADIUS * math.cos(tilt)
        points += [(out * math.cos(turn), out * math.sin(turn), up) for turn in turns]
    faces = [(0, 1 + side, 1 + (side + 1) % SIDES) for side in range(SIDES)]
    for ring in range(RINGS - 1):
        low, high = 1 + (ring + 1) * SIDES, 1 + ring * SIDES
        for side in range(SIDES):
            following = (side + 1) % SIDES
            faces.append((low + side, low + following, high + following, high + side))
    return points, faces
