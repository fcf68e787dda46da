"""Longest strips worked out with shapely (GEOS), for the checks to compare with.

A rectangle of width W whose lower side lies at height y, with the heading along +x, fits where its lower side is a
horizontal chord of the field eroded by the vertical segment from 0 to W. The eroded field E is the field without the
parallelogram that each of its sides sweeps when moved down by W. Between two vertices of E the length of a horizontal
chord changes linearly, so the longest one lies at a vertex height of E, seen from just above or just below.

Run in a virtual environment:

    python3 -m venv venv && venv/bin/pip install shapely==2.2.0
    venv/bin/python generate.py > reference.csv

The outlines come from Python's random module with a fixed seed and are written out in full, so that nothing has to be
generated again to read them.
"""

import math
import random

import shapely
from shapely import affinity
from shapely.geometry import LineString, Polygon
from shapely.ops import unary_union

HAIR_M = 1e-7


def star(rng, centre, vertices, shortest, longest):
    points = []
    for i in range(vertices):
        angle = (i + rng.uniform(0.1, 0.9)) * 2 * math.pi / vertices
        radius = rng.uniform(shortest, longest)
        points.append((round(centre[0] + radius * math.cos(angle), 3), round(centre[1] + radius * math.sin(angle), 3)))
    return points


def turned(polygon, heading_deg):
    """The polygon with the heading along +x; a heading is clockwise from north."""
    return affinity.rotate(polygon, heading_deg - 90.0, origin=(0.0, 0.0))


def eroded(polygon, width):
    swept = []
    for ring in [polygon.exterior, *polygon.interiors]:
        points = list(ring.coords)
        for (ax, ay), (bx, by) in zip(points, points[1:]):
            hull = Polygon([(ax, ay), (bx, by), (bx, by - width), (ax, ay - width)])
            if hull.area > 0:
                # Wound the wrong way or not, its area is the same.
                swept.append(hull.buffer(0))
    return polygon.difference(unary_union(swept))


def longest_chord(area):
    if area.is_empty:
        return 0.0
    heights = set()
    for part in getattr(area, "geoms", [area]):
        if part.geom_type == "Polygon":
            for ring in [part.exterior, *part.interiors]:
                heights.update(y for _, y in ring.coords)
    west, _, east, _ = area.bounds
    longest = 0.0
    for height in heights:
        for y in (height - HAIR_M, height, height + HAIR_M):
            cut = area.intersection(LineString([(west - 1, y), (east + 1, y)]))
            for part in getattr(cut, "geoms", [cut]):
                if part.geom_type == "LineString":
                    longest = max(longest, part.length)
    return longest


def main():
    rng = random.Random(20261125)
    print(f"# shapely {shapely.__version__}, GEOS {shapely.geos_version_string}")
    print("heading_deg,width_m,length_m,polygon")
    for case in range(60):
        vertices = rng.randint(3, 22)
        shortest = [220.0, 120.0, 40.0][case % 3]
        outer = star(rng, (0.0, 0.0), vertices, shortest, 300.0)
        polygon = Polygon(outer)
        for _ in range(case % 4):
            at = (rng.uniform(-130, 130), rng.uniform(-130, 130))
            hole = Polygon(star(rng, at, rng.randint(3, 7), 5.0, 30.0))
            free = Polygon(polygon.exterior).buffer(-1.0)
            if hole.within(free) and all(hole.disjoint(Polygon(i).buffer(1.0)) for i in polygon.interiors):
                polygon = Polygon(outer, [*[list(i.coords) for i in polygon.interiors], list(hole.exterior.coords)])
        heading = round(rng.uniform(0.0, 360.0), 3)
        width = round(rng.uniform(12.0, 60.0), 3)
        length = longest_chord(eroded(turned(polygon, heading), width))
        print(f'{heading},{width},{length:.6f},"{shapely.to_wkt(polygon, rounding_precision=3)}"')


main()
