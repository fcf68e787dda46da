"""Makes the small terrain files of this folder and the values they must give, with rasterio (GDAL) and pyproj.

    python generate.py OPEN_DATA_FOLDER

OPEN_DATA_FOLDER holds the files named in README.md. Nothing of Sparefield takes part. Expected heights are the bilinear surface between pixel centres, computed here in double precision at posts
of a metric grid whose positions pyproj carries into the file's reference system.
"""

import csv
import io
import os
import pathlib
import shutil
import sys
import zipfile

os.environ["PROJ_NETWORK"] = "OFF"

import numpy as np
import pyproj
import rasterio
from affine import Affine
from rasterio.control import GroundControlPoint
from rasterio.crs import CRS
from rasterio.shutil import copy as rio_copy
from rasterio.windows import Window

HERE = pathlib.Path(__file__).parent
INPUTS = HERE / "inputs"
RNG = np.random.default_rng(20261125)
SAMPLES = 14
samples = []


def bilinear(heights, col, row):
    """Height and spread of the four posts around, or NaN where one with weight has no data."""
    rows, cols = heights.shape
    if not (0 <= col <= cols - 1 and 0 <= row <= rows - 1):
        return None
    c0, r0 = min(int(col), cols - 2), min(int(row), rows - 2)
    fc, fr = col - c0, row - r0
    total, used = 0.0, []
    for r, wr in ((r0, 1 - fr), (r0 + 1, fr)):
        for c, wc in ((c0, 1 - fc), (c0 + 1, fc)):
            if wr * wc > 0:
                total += wr * wc * heights[r, c]
                used.append(heights[r, c])
    return total, float(np.max(used) - np.min(used))


def expect(name, heights, transform, crs, frame, cell, user_crs=""):
    """Adds expected heights at posts of a grid of `cell` metres in `frame`, with NaN for no data in `heights`."""
    to_frame = pyproj.Transformer.from_crs(crs, frame, always_xy=True)
    to_file = pyproj.Transformer.from_crs(frame, crs, always_xy=True)
    to_lonlat = pyproj.Transformer.from_crs(frame, "EPSG:4326", always_xy=True)
    rows, cols = heights.shape
    missing = np.argwhere(np.isnan(heights))
    chosen = 0
    tries = 0
    seen = set()
    # Where the file's own posts are those of the grid asked for, they are the grid.
    own = crs == pyproj.CRS(frame) and transform.a == cell == -transform.e and transform.b == transform.d == 0
    phase_x, phase_y = transform * (0.5, 0.5) if own else (0.0, 0.0)
    while chosen < SAMPLES:
        tries += 1
        assert tries < 5000, name
        c, r = RNG.uniform(0, cols - 1), RNG.uniform(0, rows - 1)
        if chosen < 3 and len(missing):
            # Some beside missing posts, on either side of where their weight ends.
            r, c = RNG.choice(missing) + RNG.uniform(-1.2, 1.2, 2)
        x, y = to_frame.transform(*(transform * (c + 0.5, r + 0.5)))
        x, y = phase_x + round((x - phase_x) / cell) * cell, phase_y + round((y - phase_y) / cell) * cell
        col, row = ~transform * to_file.transform(x, y)
        at = col - 0.5, row - 0.5
        # Posts a thousandth of a pixel from a pixel's line could fall on either side of it.
        if min(abs(at[0] - round(at[0])), abs(at[1] - round(at[1]))) < 1e-3 and crs != pyproj.CRS(frame):
            continue
        at = tuple(round(v) if abs(v - round(v)) < 1e-7 else v for v in at)
        found = bilinear(heights, *at)
        if found is None or (x, y) in seen:
            continue
        seen.add((x, y))
        lon, lat = to_lonlat.transform(x, y)
        samples.append([name, frame, cell, user_crs, f"{lon:.10f}", f"{lat:.10f}", repr(float(x)), repr(float(y)),
                        repr(float(found[0])), repr(found[1])])
        chosen += 1


def read_back(path):
    """What rasterio makes of a file: heights with NaN for no data, scale and offset applied."""
    with rasterio.open(path) as d:
        raw = d.read(1)
        heights = raw.astype(np.float64) * d.scales[0] + d.offsets[0]
        if d.nodata is not None and not np.isnan(d.nodata):
            heights[raw == np.array(d.nodata).astype(raw.dtype)] = np.nan
        return heights, d.transform, d.crs


def write(name, heights, crs, transform, frame, cell, user_crs="", tags=None, scale=None, offset=None, more=None,
          true_crs=None, factor=1.0, gcps=None, **options):
    path = INPUTS / name
    profile = dict(driver="GTiff", width=heights.shape[1], height=heights.shape[0], count=1, dtype=heights.dtype)
    if crs is not None and gcps is None:
        profile["crs"] = crs
    if gcps is None:
        profile["transform"] = transform
    profile.update(options)
    with rasterio.open(path, "w", **profile) as d:
        if gcps is not None:
            d.gcps = (gcps, CRS.from_user_input(crs))
        d.write(heights, 1)
        for band, extra in enumerate(more or []):
            d.write(extra, band + 2)
        if tags:
            d.update_tags(**tags)
        if scale is not None:
            d.scales, d.offsets = [scale], [offset]
    for aux in INPUTS.glob("*.aux.xml"):
        raise SystemExit(f"{aux} would carry what the file should")
    found, found_transform, found_crs = read_back(path)
    if gcps is not None:
        found_transform = rasterio.transform.from_gcps(gcps)
    else:
        assert np.allclose(np.array(found_transform), np.array(transform), rtol=0, atol=1e-9 * abs(transform.c)), name
    expect(name, found * factor, found_transform, pyproj.CRS(true_crs or crs), frame, cell, user_crs)


def open_data(folder):
    """Expected heights for whole files of the folder, for the checks that run only where it is."""
    samples.clear()
    files = [
        ("01_dem_la/Copernicus_DSM_COG_10_N34_00_W119_00_DEM.tif", "", "EPSG:32611", 30.0),
        ("01_dem_la/N34W119.hgt.zip", "/N34W119.hgt", "EPSG:32611", 30.0),
        ("02_dem_sierra/N37W120.hgt", "", "EPSG:32611", 80.0),
        ("02_dem_sierra/SRTMGL3_36.738884_-120.168457_38.091337_-118.465576.tif", "", "EPSG:32611", 80.0),
        ("03_rmnp_bundle/rmnp-dem.tif", "", "EPSG:32613", 250.0),
        ("04_somerset_27700/dtm.tif", "", "EPSG:27700", 2.0),
        ("05_lidar_1m/dem.tif", "", "EPSG:26915", 1.0),
        ("05_lidar_1m/dsm.tif", "", "EPSG:32615", 1.0),
        ("06_olinda_bundle/olinda_dem_utm25s.tif", "", "EPSG:32725", 80.0),
        ("07_ascii_grids/hugo_site.asc", "", "EPSG:32617", 10.0),
    ]
    for name, inner, frame, cell in files:
        path = f"/vsizip/{folder}/{name}{inner}" if inner else folder / name
        heights, transform, crs = read_back(path)
        crs, user = (pyproj.CRS(crs.to_wkt()), "") if crs else (pyproj.CRS(frame), frame)
        if crs.to_epsg() == pyproj.CRS(frame).to_epsg():
            crs = pyproj.CRS(frame)
        expect(name, heights, transform, crs, frame, cell, user)
    write_samples("open_data.csv")


def write_samples(name):
    head = ["file", "frame", "cell_m", "user_crs", "lon_deg", "lat_deg", "x_m", "y_m", "height_m", "spread_m"]
    with open(HERE / name, "w", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(head)
        writer.writerows(samples)


def main(folder):
    nasadem = folder / "01_dem_la/N34W119.hgt.zip"
    copernicus = folder / "01_dem_la/Copernicus_DSM_COG_10_N34_00_W119_00_DEM.tif"
    shutil.rmtree(INPUTS, ignore_errors=True)
    INPUTS.mkdir()
    with rasterio.open(f"/vsizip/{nasadem}/" + zipfile.ZipFile(nasadem).namelist()[0]) as d:
        window = Window(1500, 900, 37, 29)
        real = d.read(1, window=window).astype(np.int16)
        real_transform = d.window_transform(window)
    wgs, utm = "EPSG:4326", "EPSG:32611"
    f32 = (real + RNG.uniform(-0.5, 0.5, real.shape)).astype(np.float32)

    def geo(name, heights, **options):
        write(name, heights, wgs, real_transform, utm, 20.0, **options)

    # Sample types.
    geo("type_uint8.tif", (real % 250).astype(np.uint8))
    for kind in ("int16", "uint16", "int32", "uint32", "float32", "float64"):
        geo(f"type_{kind}.tif", (f32 if "float" in kind else real).astype(kind))
    # Compressions, predictors, layouts.
    tiles = dict(tiled=True, blockxsize=16, blockysize=16)
    for compress in ("deflate", "lzw", "zstd"):
        for predictor in (1, 2, 3):
            heights = f32 if predictor == 3 else real
            layout = tiles if predictor != 2 else dict(blockysize=5)
            geo(f"{compress}_predictor{predictor}.tif", heights, compress=compress, predictor=predictor, **layout)
    geo("packbits.tif", real, compress="packbits", blockysize=7)
    geo("deflate_float32_predictor2.tif", f32, compress="deflate", predictor=2, blockysize=4)
    geo("deflate_float64_predictor3_tiles.tif", f32.astype(np.float64), compress="deflate", predictor=3, **tiles)
    geo("deflate_int32_predictor2_tiles.tif", real.astype(np.int32), compress="deflate", predictor=2, **tiles)
    geo("plain_tiles.tif", real, **tiles)
    geo("plain_one_strip.tif", f32, blockysize=29)
    # Byte order and size of offsets.
    geo("big_endian_plain.tif", real, ENDIANNESS="BIG")
    geo("big_endian_deflate_predictor2.tif", real, ENDIANNESS="BIG", compress="deflate", predictor=2)
    geo("big_endian_lzw_predictor3.tif", f32, ENDIANNESS="BIG", compress="lzw", predictor=3, **tiles)
    geo("bigtiff.tif", real, BIGTIFF="YES", compress="deflate", **tiles)
    geo("bigtiff_big_endian.tif", real, BIGTIFF="YES", ENDIANNESS="BIG")
    # What a pixel is.
    geo("pixel_is_point.tif", real, tags={"AREA_OR_POINT": "Point"})
    # No data.
    holed = real.copy()
    holed[10:14, 12:18] = -9999
    geo("no_data_minus_9999.tif", holed, nodata=-9999)
    zeroed = real.copy()
    zeroed[5:9, 20:30] = 0
    geo("no_data_zero.tif", zeroed, nodata=0)
    geo("zero_is_a_height.tif", zeroed)
    nans = f32.copy()
    nans[3:8, 3:9] = np.nan
    geo("no_data_nan.tif", nans, nodata=np.nan, compress="deflate", predictor=3)
    geo("nan_undeclared.tif", nans)
    lowest = f32.copy()
    lowest[20:24, 3:9] = np.float32(-3.4028234663852886e38)
    geo("no_data_lowest_float.tif", lowest, nodata=-3.4028234663852886e38)
    # A sparse tile, left out by the writer as all of it is no data.
    sparse = real.copy()
    sparse[:16, 16:32] = -32768
    geo("sparse.tif", sparse, nodata=-32768, SPARSE_OK=True, **tiles)
    # Scale and offset.
    geo("scale_and_offset.tif", (real * 2).astype(np.uint16), scale=0.5, offset=-100.0)
    # Bands.
    geo("two_bands_pixel.tif", real, count=2, more=[real + 500], INTERLEAVE="PIXEL", compress="deflate", predictor=2)
    geo("two_bands_planar.tif", real, count=2, more=[real + 500], INTERLEAVE="BAND", compress="lzw", **tiles)

    # Placed elsewhere, for the reference systems: the heights are real, their place is not.
    def place(name, crs, lon, lat, frame, cell, size=30.0, transform=None, **options):
        x, y = pyproj.Transformer.from_crs(wgs, options.get("true_crs", crs), always_xy=True).transform(lon, lat)
        transform = transform or Affine(size, 0, round(x), 0, -size, round(y))
        write(name, options.pop("heights", real), crs, transform, frame, cell, **options)

    place("utm_same_grid.tif", "EPSG:32611", -118.3, 34.5, "EPSG:32611", 30.0)
    place("utm_south.tif", "EPSG:32725", -34.9, -8.1, "EPSG:32725", 25.0)
    place("national_grid_27700.tif", "EPSG:27700", -3.1, 51.0, "EPSG:27700", 20.0)
    place("national_grid_27700_to_utm.tif", "EPSG:27700", -3.1, 51.0, "EPSG:32630", 20.0)
    place("laea_3035.tif", "EPSG:3035", 11.0, 47.0, "EPSG:32632", 20.0)
    place("nad83_26915.tif", "EPSG:26915", -93.9, 46.5, "EPSG:26915", 20.0)
    place("feet_2264.tif", "EPSG:2264", -80.0, 35.5, "EPSG:32617", 20.0, size=90.0)
    place("compound_7405.tif", "EPSG:7405", -3.1, 51.0, "EPSG:27700", 20.0, true_crs="EPSG:27700")
    place("vertical_feet.tif", "EPSG:26911+6360", -118.3, 34.5, "EPSG:32611", 20.0, true_crs="EPSG:26911",
          factor=1200 / 3937)
    place("user_tmerc_grs80.tif", "+proj=tmerc +lat_0=10 +lon_0=12 +k=0.9999 +x_0=50000 +y_0=-20000 +ellps=GRS80 +units=m",
          12.3, 45.0, "EPSG:32633", 20.0)
    lcc = ("+proj=lcc +lat_1=33 +lat_2=45 +lat_0=39 +lon_0=-96 +x_0=1000 +y_0=2000 +datum=NAD83 +units=m")
    place("user_lcc_nad83.tif", lcc, -96.5, 38.0, "EPSG:32614", 20.0)
    place("user_albers_wgs84.tif", "+proj=aea +lat_1=29.5 +lat_2=45.5 +lat_0=23 +lon_0=-96 +datum=WGS84 +units=m",
          -95.0, 38.0, "EPSG:32614", 20.0)
    place("no_crs.tif", None, -3.1, 51.0, "EPSG:27700", 20.0, true_crs="EPSG:27700", user_crs="EPSG:27700")
    x, y = pyproj.Transformer.from_crs(wgs, utm, always_xy=True).transform(-118.3, 34.5)
    turned = Affine.translation(round(x), round(y)) * Affine.rotation(-12.0) * Affine.scale(30.0, -25.0)
    place("transformation_rotated.tif", utm, 0, 0, utm, 20.0, transform=turned)
    place("transformation_point.tif", utm, 0, 0, utm, 20.0, transform=turned, tags={"AREA_OR_POINT": "Point"})
    corners = [(0, 0), (0, 37), (29, 0), (29, 37), (11, 17)]
    gcps = [GroundControlPoint(row=r, col=c, x=(turned * (c, r))[0], y=(turned * (c, r))[1], z=0) for r, c in corners]
    place("tie_points.tif", utm, 0, 0, utm, 20.0, transform=turned, gcps=gcps)

    # A cloud-optimised crop of Copernicus DEM, overviews included, read at its own and at a coarser cell.
    with rasterio.open(copernicus) as d:
        window = Window(1400, 2000, 110, 100)
        crop, crop_transform = d.read(1, window=window), d.window_transform(window)
    name = "copernicus_dsm_crop_cog.tif"
    temporary = INPUTS / "temporary.tif"
    with rasterio.open(temporary, "w", driver="GTiff", width=110, height=100, count=1, dtype="float32", crs=wgs,
                       transform=crop_transform) as d:
        d.write(np.round(crop, 1), 1)
        d.update_tags(AREA_OR_POINT="Point")
    rio_copy(temporary, INPUTS / name, driver="COG", compress="DEFLATE", predictor="FLOATING_POINT", blocksize=48,
             overview_resampling="average", overview_count=2)
    temporary.unlink()
    heights, transform, _ = read_back(INPUTS / name)
    expect(name, heights, transform, pyproj.CRS(wgs), utm, 30.0)
    with rasterio.open(INPUTS / name, overview_level=0) as d:
        assert d.width == 55 and d.height == 50, (d.width, d.height)
        expect(name, d.read(1).astype(np.float64), d.transform, pyproj.CRS(wgs), utm, 60.0)
    # A cell between: the mean of 3 × 3 posts of the crop itself would be 90 m, its second overview is 4 × coarser.
    with rasterio.open(INPUTS / "type_float32.tif") as d:
        fine, fine_transform = d.read(1).astype(np.float64), d.transform
    k = 3
    mean = fine[:27, :36].reshape(9, k, 12, k).mean(axis=(1, 3))
    expect("type_float32.tif", mean, fine_transform * Affine.scale(k), pyproj.CRS(wgs), utm, 90.0)

    # Two tiles that adjoin without sharing a row, and two that share one: expected from the whole.
    for label, shared in (("adjoin", 0), ("share", 1)):
        upper, lower = real[:15 + shared], real[15:]
        lower_transform = real_transform * Affine.translation(0, 15)
        for part, t, which in ((upper, real_transform, "north"), (lower, lower_transform, "south")):
            with rasterio.open(INPUTS / f"{label}_{which}.tif", "w", driver="GTiff", width=37, height=part.shape[0],
                               count=1, dtype="int16", crs=wgs, transform=t, compress="deflate") as d:
                d.write(part, 1)
        expect(f"{label}_north.tif+{label}_south.tif", real.astype(np.float64), real_transform, pyproj.CRS(wgs), utm, 20.0)

    # A zipped 3″ tile: real heights in one corner, sea and voids elsewhere, so that it stays small.
    tile = np.zeros((1201, 1201), dtype=">i2")
    tile[700:729, 400:437] = real
    tile[705:708, 410:414] = -32768
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as z:
        z.writestr(zipfile.ZipInfo("S09W036.hgt", (2026, 1, 1, 0, 0, 0)), tile.tobytes(), zipfile.ZIP_DEFLATED)
    (INPUTS / "S09W036.SRTMGL3.hgt.zip").write_bytes(packed.getvalue())
    with rasterio.open(f"/vsizip/{INPUTS}/S09W036.SRTMGL3.hgt.zip/S09W036.hgt") as d:
        heights, transform = d.read(1).astype(np.float64), d.transform
        assert d.nodata == -32768
        heights[heights == -32768] = np.nan
    part = heights[690:740, 390:450]
    expect("S09W036.SRTMGL3.hgt.zip", part, transform * Affine.translation(390, 690), pyproj.CRS(wgs), "EPSG:32725", 80.0)

    # ASCII grids, in the spellings that occur.
    x0, y0, step = 320000.0, 130000.0, 10.0
    text_transform = Affine(step, 0, x0, 0, -step, y0 + 29 * step)
    holed_text = real.copy()
    holed_text[4:6, 30:33] = -9999
    body = "\n".join(" ".join(str(v) for v in line) for line in holed_text)
    flat = holed_text.ravel()
    wrapped = "\n".join(" ".join(str(v) for v in flat[i:i + 11]) for i in range(0, flat.size, 11))
    corner = f"xllcorner {x0}\nyllcorner {y0}\ncellsize {step}\n"
    centre = f"XLLCENTER {x0 + step / 2}\nYLLCENTER {y0 + step / 2}\nCELLSIZE {step}\n"
    variants = {
        "ascii_corner.asc": f"ncols 37\nnrows 29\n{corner}NODATA_value -9999\n{body}\n",
        "ascii_centre_upper.asc": f"NCOLS 37\r\nNROWS 29\r\n{centre}NODATA_VALUE -9999\r\n{body}",
        "ascii_no_no_data_line.asc": f"ncols 37\nnrows 29\n{corner}{body}\n",
        "ascii_wrapped.asc": f"ncols    37\nnrows    29\n{corner}nodata_value -9999.0\n {wrapped}",
        "ascii_prj.asc": f"ncols 37\nnrows 29\n{corner}NODATA_value -9999\n{body}\n",
    }
    for name, text in variants.items():
        (INPUTS / name).write_text(text, newline="")
    (INPUTS / "ascii_prj.prj").write_text(pyproj.CRS("EPSG:27700").to_wkt("WKT1_ESRI"))
    dxdy = "ncols 37\nnrows 29\nxllcorner 320000\nyllcorner 130000\ndx 10\ndy 15\nNODATA_value -9999\n"
    (INPUTS / "ascii_dx_dy.asc").write_text(f"{dxdy}{body}\n")
    expected_text = holed_text.astype(np.float64)
    expected_text[expected_text == -9999] = np.nan
    for name in [*variants, "ascii_dx_dy.asc"]:
        with rasterio.open(INPUTS / name) as d:
            heights, transform = d.read(1).astype(np.float64), d.transform
            assert np.array_equal(heights, holed_text), name
            if name == "ascii_dx_dy.asc":
                assert transform.almost_equals(Affine(10, 0, x0, 0, -15, y0 + 29 * 15)), name
            else:
                assert transform.almost_equals(text_transform), (name, transform)
        # Esri's text for the national grid carries no shift of datum that counts inside the same system.
        user = "" if name == "ascii_prj.asc" else "EPSG:27700"
        cell = 10.0 if name == "ascii_corner.asc" else 7.0
        expect(name, expected_text, transform, pyproj.CRS("EPSG:27700"), "EPSG:27700", cell, user)
    for aux in INPUTS.glob("*.aux.xml"):
        aux.unlink()

    write_samples("samples.csv")

    # Positions: WGS 84 into projected systems, without any grid of datum shifts.
    systems = {
        "EPSG:32601": (-180, -174, 0, 84), "EPSG:32611": (-120, -114, 0, 84), "EPSG:32631": (0, 6, 0, 84),
        "EPSG:32660": (174, 180, 0, 84), "EPSG:32725": (-36, -30, -80, 0), "EPSG:32756": (150, 156, -80, 0),
        "EPSG:27700": (-7, 1.5, 50, 60), "EPSG:3035": (-9, 30, 36, 65), "EPSG:2056": (6, 10.4, 45.9, 47.7),
        "EPSG:26915": (-96, -90, 26, 49),
    }
    operations = {}
    with open(HERE / "projections.csv", "w", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["frame", "lon_deg", "lat_deg", "x_m", "y_m", "back_lon_deg", "back_lat_deg", "convergence_rad"])
        for system, (west, east, south, north) in systems.items():
            transformer = pyproj.Transformer.from_crs("EPSG:4326", system, always_xy=True)
            back = pyproj.Transformer.from_crs(system, "EPSG:4326", always_xy=True)
            projection = pyproj.Proj(system)
            base = pyproj.Transformer.from_crs("EPSG:4326", pyproj.CRS(system).geodetic_crs, always_xy=True)
            for _ in range(6):
                lon, lat = round(RNG.uniform(west, east), 6), round(RNG.uniform(south, north), 6)
                x, y = transformer.transform(lon, lat)
                operations.setdefault(system, set()).add(transformer.get_last_used_operation().description)
                own_lon, own_lat = base.transform(lon, lat)
                # PROJ's meridian convergence is positive where grid north lies east of true north.
                convergence = np.radians(projection.get_factors(own_lon, own_lat).meridian_convergence)
                writer.writerow([system, lon, lat, repr(x), repr(y), *map(repr, back.transform(x, y)),
                                 repr(float(convergence))])

    versions = (f"rasterio {rasterio.__version__}, GDAL {rasterio.__gdal_version__}, pyproj {pyproj.__version__}, "
                f"PROJ {pyproj.proj_version_str}, NumPy {np.__version__}, Python {sys.version.split()[0]}")
    print(versions)
    for system, used in operations.items():
        print(system, *used, sep="\n    ")
    size = sum(f.stat().st_size for f in INPUTS.iterdir())
    count = len(samples)
    open_data(folder)
    print(f"{len(list(INPUTS.iterdir()))} files, {size} bytes, {count} samples")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
