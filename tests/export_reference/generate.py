#!/usr/bin/env python3
"""Writes expected.json: what other readers find in the layers that the program exports from the sample area.

Run:  python3 -m venv venv && venv/bin/pip install rasterio pyogrio shapely pyproj gpxpy
      venv/bin/python generate.py PATH/TO/sparefield
"""
import json
import pathlib
import subprocess
import sys
import tempfile

import gpxpy
import importlib.metadata
import numpy
import pyogrio
import pyogrio.raw
import pyproj
import rasterio
import shapely
import shapely.ops

HERE = pathlib.Path(__file__).parent
COMMON = ["--wind", "240/10kt", "--date", "2026-11-25"]
OPTIONS = ["options", "--fields-needed", "2", "--at-height", "1500ft", *COMMON]


def run(program, folder, *arguments):
    subprocess.run([program, *arguments], cwd=folder, check=True, stdout=subprocess.DEVNULL)


def raster(path):
    with rasterio.open(path) as file:
        values = file.read(1)
        known = values[~numpy.isnan(values)]
        return {
            "size": [file.width, file.height],
            "crs": file.crs.to_epsg(),
            "corner": [file.transform.c, file.transform.f],
            "cell_m": file.transform.a,
            "known": int(known.size),
            "sum": float(known.astype("float64").sum()),
            "values": {str(int(v)): int((known == v).sum()) for v in numpy.unique(known)} if known.max() < 4 else None,
        }


def vectors(path):
    to_metres = pyproj.Transformer.from_crs(4326, 32630, always_xy=True).transform
    out = []
    for name, _ in pyogrio.list_layers(path):
        meta, _, shapes, _ = pyogrio.raw.read(path, layer=name)
        shapes = [shapely.force_2d(s) for s in shapely.from_wkb(shapes)]
        flat = [shapely.ops.transform(to_metres, s) for s in shapes]
        assert all(s.is_valid for s in shapes), path
        out.append({
            "layer": name if path.suffix != ".geojson" else None,
            "records": len(shapes),
            "kinds": sorted({s.geom_type for s in shapes}),
            "area_m2": sum(s.area for s in flat),
            "length_m": sum(s.length for s in flat if s.area == 0.0),
            "holes": sum(len(s.interiors) for s in shapes if s.geom_type == "Polygon"),
        })
    return out


def waypoints(path):
    with open(path) as file:
        gpx = gpxpy.parse(file)
    return {
        "description": gpx.description,
        "tracks": len(gpx.tracks),
        "points": [[w.name, round(w.longitude, 7), round(w.latitude, 7), w.description] for w in gpx.waypoints],
    }


def main():
    program = pathlib.Path(sys.argv[1]).resolve()
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        run(program, folder, *OPTIONS, "--out", "least.tif", "--count-out", "count.tif", "--land-out", "land.geojson")
        run(program, folder, *OPTIONS, "--land-out", "land.kml")
        for ending in ["gpx", "kml", "geojson"]:
            run(program, folder, "card", *COMMON, "--fields-out", f"fields.{ending}")
        expected = {
            "read with": {
                "rasterio": rasterio.__version__, "pyogrio": pyogrio.__version__, "shapely": shapely.__version__,
                "gpxpy": importlib.metadata.version("gpxpy"),
            },
            "least.tif": raster(folder / "least.tif"),
            "count.tif": raster(folder / "count.tif"),
            "land.geojson": vectors(folder / "land.geojson"),
            "land.kml": vectors(folder / "land.kml"),
            "fields.kml": vectors(folder / "fields.kml"),
            "fields.geojson": vectors(folder / "fields.geojson"),
            "fields.gpx": waypoints(folder / "fields.gpx"),
        }
    (HERE / "expected.json").write_text(json.dumps(expected, indent=1, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()
