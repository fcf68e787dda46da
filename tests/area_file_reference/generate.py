#!/usr/bin/env python3
"""Writes expected.json: what GDAL, through pyogrio and shapely, reads in sample.gpkg, for the checks to compare with.

sample.gpkg is an area file that Sparefield wrote from its invented sample area and an invented survey of it:
  SPAREFIELD_WRITE_REFERENCE=1 cargo test -p checks --test area_file_reference -- --ignored
Then:
  python3 -m venv venv && venv/bin/pip install pyogrio==0.13.0 shapely==2.2.0 && venv/bin/python generate.py

For every layer: geometry type, reference system, extent, count, and for every feature its columns and a sum over its
geometry that no two different geometries share by chance: area, length, and the sum of all coordinates.
"""
import json
import pathlib

import pyogrio
import pyogrio.raw
import shapely

HERE = pathlib.Path(__file__).parent


def plain(value):
    if value is None or value != value:
        return None
    if hasattr(value, "item"):
        value = value.item()
    return str(value) if not isinstance(value, (int, float, bool, str)) else value


def layer(name):
    info = pyogrio.read_info(HERE / "sample.gpkg", layer=name)
    meta, fids, geometry, data = pyogrio.raw.read(HERE / "sample.gpkg", layer=name, return_fids=True)
    columns = list(meta["fields"])
    shapes = shapely.from_wkb(geometry) if geometry is not None else [None] * len(fids)
    features = []
    for i, fid in enumerate(fids):
        shape = shapes[i]
        features.append(
            {
                "fid": int(fid),
                "columns": {c: plain(data[k][i]) for k, c in enumerate(columns)},
                "geometry": None
                if shape is None
                else {
                    "type": shape.geom_type,
                    "valid": bool(shape.is_valid),
                    "area": shape.area,
                    "length": shape.length,
                    "sum": [float(v) for v in shapely.get_coordinates(shape).sum(axis=0)],
                    "vertices": int(shapely.get_num_coordinates(shape)),
                },
            }
        )
    return {
        "geometry_type": info["geometry_type"],
        "crs": info["crs"],
        "bounds": None if info["total_bounds"] is None else [float(v) for v in info["total_bounds"]],
        "features": features,
    }


layers = [str(name) for name, _ in pyogrio.list_layers(HERE / "sample.gpkg")]
answer = {
    "pyogrio": pyogrio.__version__,
    "gdal": pyogrio.__gdal_version_string__,
    "shapely": shapely.__version__,
    "layers": {name: layer(name) for name in layers},
}
(HERE / "expected.json").write_text(json.dumps(answer, indent=None, separators=(",", ":")) + "\n")
print({name: len(found["features"]) for name, found in answer["layers"].items()})
