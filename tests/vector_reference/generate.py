#!/usr/bin/env python3
"""Writes expected.json: what is in the vector files beside this script, by other libraries.

Run:  python3 -m venv venv && venv/bin/pip install shapely pyshp pyproj && venv/bin/python generate.py

Areas and centroids are those of the polygons after every vertex was projected into the frame; centroids are of the
outer ring without its holes. Lengths are those of the lines in the frame.
"""
import json
import pathlib
import platform
import warnings

import pyproj
import shapefile
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Polygon, shape
from shapely.ops import transform

HERE = pathlib.Path(__file__).parent
warnings.simplefilter("ignore")

# file, frame, reference system by the user's word (None: what the file states, or longitude and latitude for GeoJSON)
AREAS = [
    ("pysal/Polygon_Holes.shp", "EPSG:32731", None),
    ("go-shp/polygon.shp", "EPSG:32630", "EPSG:32630"),
    ("go-shp/polygonz.shp", "EPSG:32630", "EPSG:32630"),
    ("go-shp/polygonm.shp", "EPSG:32630", "EPSG:32630"),
    ("sf/nc.shp", "EPSG:26717", None),
    ("rmnp/rmnp.shp", "EPSG:32613", None),
    ("geojson/good-polygon.geojson", "EPSG:32647", None),
    ("geojson/multipolygon.geojson", "EPSG:32647", None),
    ("geojson/good-featurecollection.geojson", "EPSG:32647", None),
]
# Degrees taken for metres: only the reading is compared.
LINES = [
    ("go-shp/polyline.shp", "EPSG:32630", "EPSG:32630"),
    ("go-shp/polylinez.shp", "EPSG:32630", "EPSG:32630"),
    ("sf/storms_xyz_feature.shp", "EPSG:32615", "EPSG:32615"),
    ("sf/storms_xyzm.shp", "EPSG:32615", "EPSG:32615"),
]
POINTS = [
    ("go-shp/point.shp", "EPSG:32630", "EPSG:32630"),
    ("go-shp/multipoint.shp", "EPSG:32630", "EPSG:32630"),
    ("rmnp/colorado-glaciers.geojson", "EPSG:32613", None),
]


def features(file):
    """(number, name, shapely geometry) of every record that has a geometry."""
    path = HERE / file
    if path.suffix == ".shp":
        # A shapefile is read by its main file alone where the table is missing.
        reader = shapefile.Reader(str(path), encoding="utf-8", encodingErrors="replace")
        has_table = path.with_suffix(".dbf").exists()
        for number, item in enumerate(reader.iterShapes(), 1):
            row = {k.lower(): v for k, v in reader.record(number - 1).as_dict().items()} if has_table else {}
            yield number, str(row.get("name") or "").strip(), shape(item.__geo_interface__)
    else:
        document = json.loads(path.read_text())
        items = document["features"] if document["type"] == "FeatureCollection" else [{"geometry": document}]
        if document["type"] == "Feature":
            items = [document]
        for number, item in enumerate(items, 1):
            row = {k.lower(): v for k, v in (item.get("properties") or {}).items()}
            if item["geometry"] is not None:
                yield number, str(row.get("name") or "").strip(), shape(item["geometry"])


def stated(file):
    path = (HERE / file).with_suffix(".prj")
    if (HERE / file).suffix == ".shp":
        return pyproj.CRS.from_wkt(path.read_text())
    return pyproj.CRS.from_epsg(4326)


def projector(file, frame, crs):
    source = pyproj.CRS.from_user_input(crs) if crs else stated(file)
    move = pyproj.Transformer.from_crs(source, pyproj.CRS.from_user_input(frame), always_xy=True)
    return lambda x, y, z=None: move.transform(x, y)


def parts(geometry, one, many):
    if isinstance(geometry, one):
        return [geometry]
    return list(geometry.geoms) if isinstance(geometry, many) else []


def areas(file, frame, crs):
    move, out = projector(file, frame, crs), []
    for number, name, geometry in features(file):
        for part in parts(geometry, Polygon, MultiPolygon):
            flat = transform(move, shapely.force_2d(part))
            centre = Polygon(flat.exterior).centroid
            out.append({"record": number, "name": name, "valid": flat.is_valid, "area_m2": flat.area,
                        "centroid": [centre.x, centre.y], "holes": len(flat.interiors)})
    return {"file": file, "frame": frame, "crs": crs, "areas": out}


def lines(file, frame, crs):
    move, out = projector(file, frame, crs), []
    for number, _, geometry in features(file):
        for part in parts(geometry, LineString, MultiLineString):
            flat = transform(move, shapely.force_2d(part))
            out.append({"record": number, "vertices": len(flat.coords), "length_m": flat.length})
    return {"file": file, "frame": frame, "crs": crs, "lines": out}


def points(file, frame, crs):
    move, out = projector(file, frame, crs), []
    for _, _, geometry in features(file):
        for point in getattr(geometry, "geoms", [geometry]):
            out.append(list(move(point.x, point.y)))
    return {"file": file, "frame": frame, "crs": crs, "points": out}


document = {
    "tools": {"python": platform.python_version(), "shapely": shapely.__version__, "geos": shapely.geos_version_string,
              "pyshp": shapefile.__version__, "pyproj": pyproj.__version__, "proj": pyproj.proj_version_str},
    "areas": [areas(*case) for case in AREAS],
    "lines": [lines(*case) for case in LINES],
    "points": [points(*case) for case in POINTS],
}
(HERE / "expected.json").write_text(json.dumps(document, indent=1) + "\n")
