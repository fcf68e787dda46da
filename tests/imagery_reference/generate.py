"""Makes the small images of this folder and the colours they must show, with rasterio (GDAL), pyproj and pmtiles.

    python generate.py OPEN_DATA_FOLDER

OPEN_DATA_FOLDER holds the files named in README.md. Nothing of Sparefield takes part. Expected colours are those of
GDAL's warper with bilinear resampling and exact positions; the places of marked pixels are pyproj's.
"""

import csv
import os
import pathlib
import sqlite3
import sys

os.environ["PROJ_NETWORK"] = "OFF"

import numpy as np
import pyproj
import rasterio
from affine import Affine
from pmtiles.tile import Compression, TileType, zxy_to_tileid
from pmtiles.writer import Writer
from rasterio.enums import ColorInterp, Resampling
from rasterio.io import MemoryFile
from rasterio.warp import reproject
from rasterio.windows import Window

HERE = pathlib.Path(__file__).parent
INPUTS = HERE / "inputs"
RNG = np.random.default_rng(20261125)
COLS, ROWS = 110, 90
SAMPLES = 24
# Shades by which decoders may differ where chroma is stored for every second pixel only: they fill the others in
# differently. Luma is stored for all pixels; the check compares it more closely.
CHROMA = 24

samples, marks, open_data = [], [], []


def pattern(cols=COLS, rows=ROWS, bands=3):
    """A picture with a direction: no mirror image or shifted copy of it is the same."""
    row, col = np.mgrid[0:rows, 0:cols]
    made = []
    for band in range(bands):
        wave = 90 * np.sin(col / (5.0 + band) + row / 17.0) + 1.2 * row - 0.6 * col + 40 * ((col // 9 + row // 7 + band) % 2)
        made.append(np.clip(120 + wave, 1, 254))
    return np.stack(made).astype(np.uint8)


def decoded(path, overview=None):
    """Red, green, blue and opacity as rasterio reads them, with transform and reference system."""
    options = {} if overview is None else {"overview_level": overview}
    with rasterio.open(path, **options) as src:
        data, transform, crs = src.read(), src.transform, src.crs
        mask = src.dataset_mask()
        interp = src.colorinterp
        if interp[0] == ColorInterp.palette:
            table = src.colormap(1)
            rgb = np.zeros((3, *data.shape[1:]), np.uint8)
            for value, colour in table.items():
                for band in range(3):
                    rgb[band][data[0] == value] = colour[band]
        else:
            # Opacity is in the mask already.
            bands = [b for b, kind in zip(data, interp) if kind != ColorInterp.alpha]
            rgb = np.stack(bands[:3] if len(bands) >= 3 else [bands[0]] * 3)
        if src.photometric is None and src.tags(ns="IMAGE_STRUCTURE").get("MINISWHITE") == "YES":
            rgb = 255 - rgb
    return rgb, mask, transform, crs


def stretched(rgb, mask):
    """16-bit values from the darkest to the brightest, leaving half a per cent of them beyond on either side."""
    values = np.sort(rgb[:, mask > 0].ravel())
    tail = int(len(values) * 0.005)
    low, high = int(values[tail]), int(values[len(values) - 1 - tail])
    shown = np.clip(rgb.astype(float), low, high) - low
    return np.round(shown * 255 / (high - low)).astype(np.uint8)


def warp(rgb, mask, transform, crs, frame, origin, cell, side, method=Resampling.bilinear):
    rgba = np.concatenate([rgb, mask[None]]).astype(np.uint8)
    with MemoryFile() as memory:
        with memory.open(
            driver="GTiff", width=rgba.shape[2], height=rgba.shape[1], count=4, dtype="uint8", crs=crs,
            transform=transform, photometric="RGB", alpha="unspecified",
        ) as dst:
            dst.write(rgba)
            dst.colorinterp = [ColorInterp.red, ColorInterp.green, ColorInterp.blue, ColorInterp.alpha]
        with memory.open() as src:
            out = np.zeros((4, side, side), np.uint8)
            reproject(
                rasterio.band(src, [1, 2, 3, 4]), out, src_alpha=4, dst_alpha=4, dst_crs=frame,
                dst_transform=Affine(cell, 0, origin[0], 0, -cell, origin[1]), resampling=method, tolerance=0,
                init_dest_nodata=True,
            )
    return out


def expect(name, frame, cell, tolerance, overview=None, at=None, side=64, into=None, picture=None, method=Resampling.bilinear):
    """Adds expected colours of a square of `side` × `side` pixels of `cell` metres in `frame` round a place."""
    rgb, mask, transform, crs = picture or decoded(INPUTS / name, overview)
    if rgb.dtype != np.uint8:
        rgb = stretched(rgb, mask)
    to_frame = pyproj.Transformer.from_crs(crs, frame, always_xy=True)
    middle = at or to_frame.transform(*(transform * (rgb.shape[2] * 0.5, rgb.shape[1] * 0.5)))
    # Numbers that a binary fraction holds, so that both sides ask for the same square.
    low = (round(middle[0] * 4) / 4 - side * cell / 2, round(middle[1] * 4) / 4 - side * cell / 2)
    out = warp(rgb, mask, transform, crs, frame, (low[0], low[1] + side * cell), cell, side, method).astype(int)
    inner = [(r, c) for r in range(1, side - 1) for c in range(1, side - 1)]
    RNG.shuffle(inner)
    clear, shown = 0, 0
    for r, c in inner:
        around = out[:, r - 1 : r + 2, c - 1 : c + 2].reshape(4, -1)
        opacity = around[3]
        if opacity.min() != opacity.max():
            # On an edge a position's error shows as opacity, which no bound on colours covers.
            continue
        if opacity[0] == 0:
            clear += 1
            if clear > 4:
                continue
        else:
            shown += 1
            if shown > SAMPLES:
                continue
        spread = int((around[:3].max(axis=1) - around[:3].min(axis=1)).max())
        (samples if into is None else into).append(
            [name, frame, repr(low[0]), repr(low[1]), repr(cell), side, r, c, *out[:, r, c], spread, tolerance]
        )
    assert shown >= SAMPLES, (name, shown)


def write(name, data, crs, transform, expected=True, frame=None, cell=None, tolerance=2, mask=None, colormap=None,
          nodata=None, interp=None, overviews=None, env=None, **options):
    path = INPUTS / name
    with rasterio.Env(**(env or {})):
        with rasterio.open(
            path, "w", driver="GTiff", width=data.shape[2], height=data.shape[1], count=data.shape[0],
            dtype=options.pop("dtype", data.dtype), crs=crs, transform=transform, nodata=nodata, **options,
        ) as dst:
            if interp:
                dst.colorinterp = interp
            if colormap:
                dst.write_colormap(1, colormap)
            dst.write(data)
            if mask is not None:
                dst.write_mask(mask)
            if overviews:
                dst.build_overviews(overviews, Resampling.average)
    if expected:
        expect(name, frame, cell, tolerance)


UTM30 = ("EPSG:32630", Affine(2.0, 0, 500300.0, 0, -2.0, 5650400.0))
GRID = ("EPSG:27700", Affine(2.0, 0, 321000.0, 0, -2.0, 130800.0))


def formats():
    rgb = pattern()
    crs, place = UTM30
    same = dict(crs=crs, transform=place, frame="EPSG:32630", cell=1.25)
    write("rgb_plain_strips.tif", rgb, **same)
    write("rgb_plain_one_strip.tif", rgb, blockysize=ROWS, **same)
    write("rgb_plain_tiles.tif", rgb, tiled=True, blockxsize=32, blockysize=32, **same)
    write("rgb_deflate_predictor2.tif", rgb, compress="deflate", predictor=2, tiled=True, blockxsize=64, blockysize=32, **same)
    write("rgb_lzw.tif", rgb, compress="lzw", **same)
    write("rgb_packbits.tif", rgb, compress="packbits", **same)
    write("rgb_zstd_planar.tif", rgb, compress="zstd", predictor=2, interleave="band", **same)
    write("rgb_big_endian_lzw_predictor2.tif", rgb, compress="lzw", predictor=2, endianness="big", **same)
    write("rgb_bigtiff.tif", rgb, bigtiff="yes", compress="deflate", **same)
    # Lossy: both sides decode, and decoders differ by a few shades, by more where colours change within two pixels.
    jpeg = dict(compress="jpeg", jpeg_quality=92, tolerance=4)
    write("rgb_jpeg_ycbcr_tiles.tif", rgb, photometric="ycbcr", tiled=True, blockxsize=64, blockysize=64, **{**jpeg, "tolerance": CHROMA}, **same)
    write("rgb_jpeg_ycbcr_strips.tif", rgb, photometric="ycbcr", **{**jpeg, "tolerance": CHROMA}, **same)
    write("rgb_jpeg_rgb.tif", rgb, photometric="rgb", **jpeg, **same)
    write("rgb_jpeg_planar.tif", rgb, photometric="rgb", interleave="band", **jpeg, **same)
    write("grey_jpeg.tif", rgb[:1], **jpeg, **same)
    write("grey.tif", rgb[:1], compress="deflate", **same)
    write("grey_white_is_zero.tif", rgb[:1], photometric="miniswhite", expected=False, crs=crs, transform=place)
    turned = 255 - rgb[:1]
    with rasterio.open(INPUTS / "grey_white_is_zero.tif") as src:
        assert (src.read() == rgb[:1]).all()
    expect("grey_white_is_zero.tif", "EPSG:32630", 1.25, 2,
           picture=(np.repeat(turned, 3, axis=0), np.full((ROWS, COLS), 255, np.uint8), place, rasterio.crs.CRS.from_string(crs)))
    write("bits_1.tif", (rgb[:1] > 120).astype(np.uint8), nbits=1, expected=False, crs=crs, transform=place)
    expect("bits_1.tif", "EPSG:32630", 1.25, 2,
           picture=(np.repeat((rgb[:1] > 120) * 255, 3, axis=0).astype(np.uint8), np.full((ROWS, COLS), 255, np.uint8), place, rasterio.crs.CRS.from_string(crs)))
    table = {i: (int(37 * i % 256), int(255 - i), int(i * i % 256), 255) for i in range(256)}
    write("palette.tif", (rgb[:1] // 16).astype(np.uint8), colormap=table, photometric="palette", compress="deflate", **same)
    write("palette_4_bits.tif", (rgb[:1] // 16).astype(np.uint8), colormap={i: table[i] for i in range(16)}, photometric="palette", nbits=4, **same)
    wide = rgb.astype(np.uint16) * 30 + 400
    write("rgb_16_bits.tif", wide, compress="deflate", predictor=2, photometric="rgb", **same)
    write("grey_16_bits_big_endian.tif", wide[:1], endianness="big", compress="lzw", predictor=2, **same)
    hole = np.full((ROWS, COLS), 255, np.uint8)
    hole[20:48, 30:61] = 0
    rgba = np.concatenate([rgb, hole[None]])
    write("rgba.tif", rgba, photometric="rgb", alpha="NON-PREMULTIPLIED", compress="deflate", **same)
    write("mask.tif", rgb, mask=hole, env={"GDAL_TIFF_INTERNAL_MASK": True}, compress="jpeg", photometric="ycbcr",
          jpeg_quality=95, tiled=True, blockxsize=64, blockysize=64, tolerance=CHROMA,
          **same)
    void = rgb.copy()
    void[:, hole == 0] = 255
    write("no_data.tif", void, nodata=255, compress="deflate", **same)


def overviews():
    big = pattern(400, 300)
    crs, place = UTM30
    for name, options in [("overviews.tif", {}), ("overviews_jpeg.tif", dict(compress="jpeg", photometric="ycbcr", jpeg_quality=92))]:
        write(name, big, crs, place, expected=False, overviews=[2, 4], tiled=True, blockxsize=64, blockysize=64,
              **({"compress": "deflate"} | options))
        for level, factor in [(None, 1), (0, 2), (1, 4)]:
            expect(name, "EPSG:32630", 1.9375 * factor, CHROMA if options else 2, overview=level)


def places():
    rgb = pattern()
    deflate = dict(compress="deflate")
    crs, place = GRID
    write("grid_27700.tif", rgb, crs, place, frame="EPSG:32630", cell=1.5, **deflate)
    write("geographic_4326.tif", rgb, "EPSG:4326", Affine(3e-5, 0, -3.1, 0, -2e-5, 51.1), frame="EPSG:32630", cell=1.5, **deflate)
    write("mercator_3857.tif", rgb, "EPSG:3857", Affine(3.0, 0, -345000.0, 0, -3.0, 6640000.0), frame="EPSG:32630", cell=1.5, **deflate)
    write("albers_coarse.tif", rgb, "EPSG:5070", Affine(3000.0, 0, -900000.0, 0, -3000.0, 1900000.0), frame="EPSG:32613", cell=1500.0, **deflate)
    turn = Affine.translation(500400, 5650400) * Affine.rotation(31) * Affine.scale(2.0, -1.5)
    write("rotated.tif", rgb, "EPSG:32630", turn, frame="EPSG:32630", cell=1.25, **deflate)
    write("pixel_is_point.tif", rgb, "EPSG:32630", UTM30[1], frame="EPSG:32630", cell=1.25, **deflate)
    with rasterio.open(INPUTS / "pixel_is_point.tif", "r+") as dst:
        dst.update_tags(AREA_OR_POINT="Point")
    samples[:] = [s for s in samples if s[0] != "pixel_is_point.tif"]
    expect("pixel_is_point.tif", "EPSG:32630", 1.25, 2)


def pictures():
    """PNG and JPEG with a world file and a .prj."""
    rgb = pattern()
    crs, place = GRID
    for name, driver, world, tolerance in [("world.png", "PNG", "pgw", 2), ("world.jpg", "JPEG", "jgw", CHROMA)]:
        with rasterio.open(INPUTS / name, "w", driver=driver, width=COLS, height=ROWS, count=3, dtype="uint8") as dst:
            dst.write(rgb)
        (INPUTS / (name + ".aux.xml")).unlink(missing_ok=True)
        a, b, c, d, e, f = place[:6]
        middle = place * (0.5, 0.5)
        lines = [a, d, b, e, *middle]
        (INPUTS / name).with_suffix("." + world).write_text("\n".join(repr(float(v)) for v in lines) + "\n")
        with rasterio.open(INPUTS / name) as src:
            seen, mask = src.read(), src.dataset_mask()
        expect(name, "EPSG:32630", 1.5, tolerance, picture=(seen, mask, place, rasterio.crs.CRS.from_string(crs)))
    (INPUTS / "world.prj").write_text(rasterio.crs.CRS.from_string(crs).to_wkt("WKT1_ESRI"))


def tiles():
    """MBTiles as GDAL writes them, and the same tiles as PMTiles."""
    side = 300
    rgb = pattern(side, side)
    # Pixels of zoom 14, at no tile's corner: the picture lies in four tiles.
    pixel = 2 * np.pi * 6378137 / (256 << 14)
    left, top = -345000 // pixel * pixel, 6640000 // pixel * pixel
    place = Affine(pixel, 0, left, 0, -pixel, top)
    opaque = np.full((1, side, side), 255, np.uint8)
    for name, kind in [("tiles_png.mbtiles", "PNG"), ("tiles_webp.mbtiles", "WEBP")]:
        path = INPUTS / name
        path.unlink(missing_ok=True)
        try:
            with rasterio.open(path, "w", driver="MBTiles", width=side, height=side, count=4, dtype="uint8",
                               crs="EPSG:3857", transform=place, tile_format=kind, quality=100) as dst:
                dst.write(np.concatenate([rgb, opaque]))
        except rasterio.errors.RasterioError as problem:
            print(name, "not made:", problem)
            path.unlink(missing_ok=True)
            continue
        with rasterio.open(path, "r+") as dst:
            dst.build_overviews([2, 4], Resampling.average)
        for cell in [1.0, pixel * 0.62]:
            expect(name, "EPSG:32630", float(np.round(cell * 16) / 16), 2 if kind == "PNG" else CHROMA, side=128)
    base = sqlite3.connect(INPUTS / "tiles_png.mbtiles")
    found = sorted(base.execute("SELECT zoom_level, tile_column, tile_row, tile_data FROM tiles"))
    numbered = sorted((zxy_to_tileid(z, x, (1 << z) - 1 - y), data) for z, x, y, data in found)
    west, south, east, north = map(float, dict(base.execute("SELECT name, value FROM metadata"))["bounds"].split(","))
    zooms = [z for z, *_ in found]
    path = INPUTS / "tiles_png.pmtiles"
    with open(path, "wb") as out:
        writer = Writer(out)
        for number, data in numbered:
            writer.write_tile(number, data)
        e7 = lambda v: int(round(v * 1e7))
        writer.finalize(
            {"tile_type": TileType.PNG, "tile_compression": Compression.NONE, "min_zoom": min(zooms),
             "max_zoom": max(zooms), "min_lon_e7": e7(west), "min_lat_e7": e7(south), "max_lon_e7": e7(east),
             "max_lat_e7": e7(north), "center_zoom": min(zooms), "center_lon_e7": e7(west), "center_lat_e7": e7(south)},
            {"name": "pattern"},
        )
    for row in [list(s) for s in samples if s[0] == "tiles_png.mbtiles"]:
        samples.append(["tiles_png.pmtiles", *row[1:]])


def marked():
    """One white pixel on black, and where pyproj puts its centre in several frames."""
    cases = [
        ("mark_27700.tif", "EPSG:27700", Affine(2.0, 0, 321000.0, 0, -2.0, 130800.0), ["EPSG:32630", "EPSG:27700", "EPSG:3035"]),
        ("mark_4326.tif", "EPSG:4326", Affine(3e-5, 0, -3.1, 0, -2e-5, 51.1), ["EPSG:32630", "EPSG:27700"]),
        ("mark_3857.tif", "EPSG:3857", Affine(3.0, 0, -345000.0, 0, -3.0, 6640000.0), ["EPSG:32630"]),
        ("mark_southern.tif", "EPSG:31985", Affine(28.5, 0, 288776.25, 0, -28.5, 9120760.75), ["EPSG:32725", "EPSG:32724"]),
    ]
    for name, crs, place, frames in cases:
        data = np.zeros((3, ROWS, COLS), np.uint8)
        for col, row in [(17, 70), (63, 22), (101, 50)]:
            data[:, row, col] = 255
            for frame in frames:
                to_frame = pyproj.Transformer.from_crs(crs, frame, always_xy=True)
                x, y = to_frame.transform(*(place * (col + 0.5, row + 0.5)))
                x2, y2 = to_frame.transform(*(place * (col + 1.5, row + 0.5)))
                marks.append([name, frame, repr(x), repr(y), repr(float(np.hypot(x2 - x, y2 - y)))])
        write(name, data, crs, place, expected=False, compress="deflate")


def real(folder):
    """A crop of a real picture, and whole files that are not part of the project."""
    bundle = folder / "03_rmnp_bundle" / "rmnp-rgb.tif"
    with rasterio.open(bundle) as src:
        window = Window(180, 140, 120, 100)
        data, transform, crs = src.read(window=window), src.window_transform(window), src.crs
        nodata = src.nodata
    write("rmnp_rgb_crop.tif", data, crs, transform, frame="EPSG:32613", cell=120.0, nodata=nodata, compress="deflate")
    for name, frame, cell, tolerance in [
        ("03_rmnp_bundle/rmnp-rgb.tif", "EPSG:32613", 120.0, 2),
        ("04_somerset_27700/rgb.tif", "EPSG:32630", 1.5, CHROMA),
        ("04_somerset_27700/rgb.tif", "EPSG:27700", 1.5, CHROMA),
        ("06_olinda_bundle/lc.tif", "EPSG:5070", 1500.0, 2),
    ]:
        expect(name, frame, cell, tolerance, picture=decoded(folder / name), into=open_data)


def table(name, header, rows):
    with open(HERE / name, "w", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def main():
    folder = pathlib.Path(sys.argv[1])
    for old in INPUTS.iterdir():
        old.unlink()
    formats()
    overviews()
    places()
    pictures()
    tiles()
    marked()
    real(folder)
    header = ["file", "frame", "low_x", "low_y", "cell_m", "side", "row", "col", "red", "green", "blue", "opacity", "spread", "tolerance"]
    table("samples.csv", header, samples)
    table("open_data.csv", header, open_data)
    table("marks.csv", ["file", "frame", "x", "y", "pixel_m"], marks)
    print("rasterio", rasterio.__version__, "GDAL", rasterio.__gdal_version__, "pyproj", pyproj.__version__,
          "PROJ", pyproj.proj_version_str, "NumPy", np.__version__)
    print(len({s[0] for s in samples}), "files,", len(samples), "samples,", len(marks), "marks,", len(open_data), "of open data")


main()
