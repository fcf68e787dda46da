#!/usr/bin/env python3
"""Writes expected.json: what shapely (GEOS) says about seeded random outlines, for the checks to compare with.

Run:  python3 -m venv venv && venv/bin/pip install shapely==2.2.0 && venv/bin/python generate.py

validity  rings, some of them tangled, some with holes that may reach over the outline: whether the polygon is valid
cuts      an outline, some with holes, and a line: the areas of the pieces that the line splits it into, and whether an
          end of the line lies inside the outline, its holes not taken off
joins     the two pieces of a cut, as the library made them: area, length of the outline and holes of their union
overlaps  two outlines: the area they share

Coordinates are metres; those of joins are written in full, the others are rounded before anything is computed.
"""
import json
import math
import pathlib
import platform
import random

import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import split, unary_union

HERE = pathlib.Path(__file__).parent
CASES = 250


def rounded(points):
    return [(round(x, 3), round(y, 3)) for x, y in points]


def star(rng, centre, vertices, shortest, longest):
    points = []
    for i in range(vertices):
        angle = (i + rng.uniform(0.1, 0.9)) * 2 * math.pi / vertices
        radius = rng.uniform(shortest, longest)
        points.append((centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle)))
    return rounded(points)


def holes_in(rng, outer, count):
    """Holes inside the outline and clear of each other."""
    polygon = Polygon(outer)
    kept = []
    for _ in range(20 * count):
        if len(kept) == count:
            break
        centre = (rng.uniform(-150, 150), rng.uniform(-150, 150))
        ring = star(rng, centre, rng.randint(3, 7), 8, 35)
        hole = Polygon(ring)
        clear = polygon.contains(hole.buffer(1)) and all(hole.distance(Polygon(k)) > 1 for k in kept)
        if clear:
            kept.append(ring)
    return kept


def rings(polygon):
    """Open rings of a polygon in full precision."""
    return [list(ring.coords)[:-1] for ring in [polygon.exterior, *polygon.interiors]]


def validity(rng):
    cases = []
    for i in range(CASES):
        outer = star(rng, (0, 0), rng.randint(4, 16), 40, 300)
        if i % 2:
            # Corners in the wrong order: most of these cross themselves, some do not.
            a, b = rng.sample(range(len(outer)), 2)
            outer[a], outer[b] = outer[b], outer[a]
        holes = [star(rng, (rng.uniform(-90, 90), rng.uniform(-90, 90)), 5, 5, 40) for _ in range(i % 3)]
        cases.append({"outer": outer, "holes": holes, "valid": Polygon(outer, holes).is_valid})
    return cases


def cuts_and_joins(rng):
    cuts, joins = [], []
    for i in range(CASES):
        outer = star(rng, (0, 0), rng.randint(4, 16), [200, 120, 60][i % 3], 300)
        holes = holes_in(rng, outer, i % 4)
        polygon = Polygon(outer, holes)
        angle, across = rng.uniform(0, 2 * math.pi), rng.uniform(-120, 120)
        along = (math.cos(angle), math.sin(angle))
        # One end falls inside now and then.
        reach = [450, 450, 450, rng.uniform(50, 450)][i % 4]
        line = []
        for t in [-450, *[rng.uniform(-150, 150) for _ in range(i % 3)], reach]:
            bend = across + (rng.uniform(-40, 40) if abs(t) < 200 else 0)
            line.append((t * along[0] - bend * along[1], t * along[1] + bend * along[0]))
        line = rounded([line[0], *sorted(line[1:-1], key=lambda p: p[0] * along[0] + p[1] * along[1]), line[-1]])
        pieces = [p for p in split(polygon, LineString(line)).geoms if p.geom_type == "Polygon"]
        inside = any(Polygon(outer).contains(Point(end)) for end in (line[0], line[-1]))
        areas = sorted(p.area for p in pieces)
        cuts.append({"outer": outer, "holes": holes, "line": line, "ends_inside": inside, "areas": areas})
        if len(pieces) == 2:
            union = unary_union(pieces)
            assert union.geom_type == "Polygon"
            joins.append(
                {
                    "first": rings(pieces[0]),
                    "second": rings(pieces[1]),
                    "area": union.area,
                    "length": union.exterior.length,
                    "holes": len(union.interiors),
                }
            )
    return cuts, joins


def overlaps(rng):
    cases = []
    for i in range(CASES):
        pair = []
        for _ in range(2):
            outer = star(rng, (rng.uniform(-150, 150), rng.uniform(-150, 150)), rng.randint(3, 14), 40, 250)
            # Holes of stars about the origin may miss an outline that lies elsewhere; then there are fewer.
            pair.append({"outer": outer, "holes": holes_in(rng, outer, i % 3)})
        a, b = (Polygon(p["outer"], p["holes"]) for p in pair)
        cases.append({"first": pair[0], "second": pair[1], "area": a.intersection(b).area})
    return cases


def main():
    rng = random.Random(20261125)
    expected = {
        "made_by": f"shapely {shapely.__version__}, GEOS {shapely.geos_version_string}, Python {platform.python_version()}",
        "validity": validity(rng),
    }
    cuts, joins = cuts_and_joins(rng)
    expected |= {"cuts": cuts, "joins": joins, "overlaps": overlaps(rng)}
    lines = [f' "made_by": {json.dumps(expected.pop("made_by"))}']
    for name, cases in expected.items():
        rows = ",\n".join("  " + json.dumps(case, separators=(",", ":")) for case in cases)
        lines.append(f' "{name}": [\n{rows}\n ]')
    (HERE / "expected.json").write_text("{\n" + ",\n".join(lines) + "\n}\n")


if __name__ == "__main__":
    main()
