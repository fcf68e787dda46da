#!/usr/bin/env python3
"""Writes expected.json: what pyogrio finds in vector files, record by record.

Run:  python3 -m venv venv && venv/bin/pip install pyogrio shapely && venv/bin/python generate.py [FOLDER OUT.json]

Without arguments, the files beside this script and in ../vector_reference; with arguments, every vector file in FOLDER.
The files in encodings/ are written first, by this script alone.
"""
import json
import math
import pathlib
import struct
import sys
import warnings

import numpy
import pyogrio
import pyogrio.raw
import shapely

HERE = pathlib.Path(__file__).parent
ENDINGS = {".shp", ".geojson", ".json", ".kml", ".kmz", ".gpkg", ".gpx"}
warnings.simplefilter("ignore")


def dbf(rows, encoding, language):
    """A dBASE table of one text column."""
    cells = [row.encode(encoding) for row in rows]
    width = max(map(len, cells))
    head = struct.pack("<4BIHH", 3, 95, 7, 26, len(rows), 32 + 32 + 1, 1 + width) + bytes(17) + bytes([language, 0, 0])
    column = b"NAME".ljust(11, b"\0") + b"C" + bytes(4) + bytes([width, 0]) + bytes(14)
    return head + column + b"\r" + b"".join(b" " + c.ljust(width) for c in cells) + b"\x1a"


def encodings():
    folder = HERE / "encodings"
    folder.mkdir(exist_ok=True)
    square = [(-3.0, 51.4), (-3.0, 51.41), (-2.99, 51.41), (-2.99, 51.4), (-3.0, 51.4)]
    box = struct.pack("<4d", -3.0, 51.4, -2.99, 51.41)
    content = struct.pack("<i", 5) + box + struct.pack("<3i", 1, 5, 0) + b"".join(struct.pack("<2d", *p) for p in square)
    cases = [
        ("latin1", "latin-1", 0, "ISO-8859-1", ["Mühlwiese", "Forêt", "Campo ñ"]),
        ("cp1252", "cp1252", 0x03, None, ["Weide – groß", "prix €", "Œuvre"]),
        ("utf8", "utf-8", 0, "UTF-8", ["Grünland", "Поле у реки", "Łąka"]),
        ("cyrillic", "cp1251", 0, "1251", ["Поле", "Лес у дороги", "Ячмень"]),
        ("cp866", "cp866", 0x65, None, ["Стерня", "Пашня", "Луг"]),
    ]
    for name, encoding, language, cpg, rows in cases:
        records = b"".join(struct.pack(">2i", i + 1, len(content) // 2) + content for i in range(len(rows)))
        head = lambda size: struct.pack(">7i", 9994, 0, 0, 0, 0, 0, size // 2) + struct.pack("<2i", 1000, 5) + box + bytes(32)
        (folder / f"{name}.shp").write_bytes(head(100 + len(records)) + records)
        size = 8 + len(content)
        index = b"".join(struct.pack(">2i", (100 + size * i) // 2, len(content) // 2) for i in range(len(rows)))
        (folder / f"{name}.shx").write_bytes(head(100 + len(index)) + index)
        (folder / f"{name}.dbf").write_bytes(dbf(rows, encoding, language))
        if cpg:
            (folder / f"{name}.cpg").write_text(cpg)
        (folder / f"{name}.prj").write_text(
            'GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],'
            'PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]')
    for name, encoding, text in [("latin1", "ISO-8859-1", "Mühlwiese"), ("cyrillic", "windows-1251", "Поле у реки"),
                                 ("utf16", "UTF-16", "Łąka „nass“")]:
        corners = " ".join(f"{x},{y},12" for x, y in square)
        kml = (f'<?xml version="1.0" encoding="{encoding}"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
               f"<Placemark><name>{text}</name><Polygon><outerBoundaryIs><LinearRing><coordinates>{corners}"
               "</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>")
        (folder / f"{name}.kml").write_bytes(kml.encode(encoding))


def text(value):
    if value is None or (isinstance(value, (float, numpy.floating)) and math.isnan(value)):
        return ""
    if isinstance(value, (bool, numpy.bool_)):
        return "true" if value else "false"
    if isinstance(value, (int, numpy.integer)):
        return str(int(value))
    if isinstance(value, (float, numpy.floating)):
        return repr(float(value))
    return str(value).strip()


def record(wkb, columns):
    shape = None if wkb is None else shapely.from_wkb(wkb)
    if shape is None or shape.is_empty:
        return {"kind": "nothing", "n": 0, "x": 0.0, "y": 0.0, "columns": columns}
    points = shapely.get_coordinates(shape)
    kinds = {g.geom_type for g in shapely.get_parts(shapely.get_parts([shape]))}
    kind = "areas" if "Polygon" in kinds else "lines" if kinds & {"LineString", "LinearRing"} else "points"
    return {"kind": kind, "n": len(points), "x": math.fsum(points[:, 0]), "y": math.fsum(points[:, 1]), "columns": columns}


def layer(path, name):
    meta, _, geometry, data = pyogrio.raw.read(path, layer=name, force_2d=True, datetime_as_string=True)
    fields = list(meta["fields"])
    count = len(data[0]) if data else (0 if geometry is None else len(geometry))
    rows = []
    for i in range(count):
        columns = {f: text(column[i]) for f, column in zip(fields, data)}
        rows.append(record(None if geometry is None else geometry[i], columns))
    return {"layer": str(name), "records": rows}


def read(folder, keep=None):
    files = []
    for path in sorted(p for p in folder.rglob("*") if p.suffix.lower() in ENDINGS):
        try:
            names = [n for n, kind in pyogrio.list_layers(path) if kind is not None or path.suffix == ".shp"]
            if path.suffix.lower() == ".gpx":
                names = [n for n in names if n in ("waypoints", "routes", "tracks")]
            layers = [layer(path, n) for n in names]
        except Exception as problem:
            print("not read:", path.relative_to(folder), str(problem)[:80])
            continue
        files.append({"file": str(path.relative_to(folder)), "layers": [l for l in layers if l["records"]]})
    return files


def main():
    if len(sys.argv) == 3:
        folders, out = [("", pathlib.Path(sys.argv[1]))], pathlib.Path(sys.argv[2])
    else:
        encodings()
        folders = [(n, HERE / n) for n in ("written", "encodings")] + [("../vector_reference", HERE / "../vector_reference")]
        out = HERE / "expected.json"
    files = []
    for prefix, folder in folders:
        for file in read(folder):
            file["file"] = f"{prefix}/{file['file']}" if prefix else file["file"]
            files.append(file)
    head = {"pyogrio": pyogrio.__version__, "gdal": pyogrio.__gdal_version_string__, "shapely": shapely.__version__}
    out.write_text(json.dumps({"versions": head, "files": files}, ensure_ascii=False, separators=(",", ":")) + "\n")
    print(out, sum(len(f["layers"]) for f in files), "layers,", sum(len(l["records"]) for f in files for l in f["layers"]), "records")


main()
