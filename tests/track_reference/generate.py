#!/usr/bin/env python3
"""Writes one invented flight in every format of recorded flights, and reads it and open data with other libraries.

    pip install gpxpy==1.6.2 pynmea2==1.19.0
    python generate.py                    # written/, expected.json
    python generate.py OPEN_DATA_FOLDER   # open_data.json as well: what gpxpy, pynmea2 and this script find there

Sparefield takes no part in it. IGC and tables have no library here: they are read with a few lines of plain Python.
The flight: a start to the north from an invented strip, a climb, a circle, a descent, across midnight UTC.
"""
import datetime
import glob
import json
import math
import os
import sys
import zipfile

import gpxpy
import pynmea2

HERE = os.path.dirname(os.path.abspath(__file__))
OUT = os.path.join(HERE, "written")
START = datetime.datetime(2024, 12, 31, 23, 57, 30, tzinfo=datetime.timezone.utc)
GEOID = 49.6


def flight():
    """(time, lon, lat, height above sea level, engine 0..1), one each second for five minutes."""
    lon, lat, height, heading = -2.2, 51.6, 120.0, 0.0
    for s in range(300):
        yield START + datetime.timedelta(seconds=s), lon, lat, height, (0.0 if s < 10 else 0.9 if s < 150 else 0.2)
        speed = 0.0 if s < 10 or s >= 290 else min(25.0, 2.5 * (s - 9), 2.5 * (290 - s))
        if 60 <= s < 220:
            heading += 6.0
        if 20 <= s < 150:
            height += 2.0
        elif height > 120.0:
            height -= min(2.5, height - 120.0)
        lat += speed * math.cos(math.radians(heading)) / 111_195.0
        lon += speed * math.sin(math.radians(heading)) / (111_195.0 * math.cos(math.radians(lat)))


def dm(value, width, decimals, letters):
    letter = letters[value < 0]
    value = round(abs(value) * 60 * 10**decimals)
    degrees, minutes = divmod(value, 60 * 10**decimals)
    return f"{degrees:0{width}d}", f"{minutes:0{2 + decimals}d}", letter


def sentence(body):
    total = 0
    for c in body:
        total ^= ord(c)
    return f"${body}*{total:02X}\r\n"


def write():
    os.makedirs(OUT, exist_ok=True)
    fixes = list(flight())

    def save(name, text):
        with open(os.path.join(OUT, name), "w", newline="", encoding="utf-8") as file:
            file.write(text)

    points = "".join(
        f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><ele>{h:.1f}</ele><time>{t:%Y-%m-%dT%H:%M:%SZ}</time></trkpt>\n'
        for t, lon, lat, h, _ in fixes
    )
    save(
        "flight.gpx",
        '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="generate.py" '
        'xmlns="http://www.topografix.com/GPX/1/1">\n<trk><name>Across midnight</name><trkseg>\n'
        f"{points}</trkseg></trk></gpx>\n",
    )
    nmea = ""
    for t, lon, lat, h, _ in fixes:
        (a, b, ns), (c, d, ew) = dm(lat, 2, 5, "NS"), dm(lon, 3, 5, "EW")
        place = f"{a}{b[:2]}.{b[2:]},{ns},{c}{d[:2]}.{d[2:]},{ew}"
        nmea += sentence(f"GNGGA,{t:%H%M%S}.00,{place},1,12,0.7,{h:.1f},M,{GEOID},M,,")
        nmea += sentence(f"GNRMC,{t:%H%M%S}.00,A,{place},,,{t:%d%m%y},,,A")
    save("flight.nmea", nmea)
    igc = f"AXXX001\r\nHFDTE{START:%d%m%y}\r\nHFALGALTGPS:ELL\r\nI013638ENL\r\n"
    for t, lon, lat, h, e in fixes:
        (a, b, ns), (c, d, ew) = dm(lat, 2, 3, "NS"), dm(lon, 3, 3, "EW")
        igc += f"B{t:%H%M%S}{a}{b}{ns}{c}{d}{ew}A{round(h - 40):05d}{round(h + GEOID):05d}{round(e * 999):03d}\r\n"
    save("flight.igc", igc)
    when = "".join(f"<when>{t:%Y-%m-%dT%H:%M:%SZ}</when>\n" for t, *_ in fixes)
    coord = "".join(f"<gx:coord>{lon:.7f} {lat:.7f} {h:.1f}</gx:coord>\n" for _, lon, lat, h, _ in fixes)
    kml = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2" '
        'xmlns:gx="http://www.google.com/kml/ext/2.2"><Document><Placemark><name>Across midnight</name><gx:Track>'
        f"<altitudeMode>absolute</altitudeMode>\n{when}{coord}</gx:Track></Placemark></Document></kml>\n"
    )
    save("flight.kml", kml)
    with zipfile.ZipFile(os.path.join(OUT, "flight.kmz"), "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo("doc.kml", (2025, 1, 1, 0, 0, 0)), kml, zipfile.ZIP_DEFLATED)
    csv = "Date,Time,Latitude,Longitude,Alt MSL (ft),RPM\n"
    for t, lon, lat, h, e in fixes:
        csv += f"{t:%Y-%m-%d},{t:%H:%M:%S},{lat:.7f},{lon:.7f},{h / 0.3048:.2f},{round(e * 6000)}\n"
    save("flight.csv", csv)


def read_gpx(path):
    with open(path, encoding="utf-8-sig") as file:
        gpx = gpxpy.parse(file)
    tracks = []
    for track in gpx.tracks:
        points = [p for s in track.segments for p in s.points]
        heights = [p.elevation for p in points if p.elevation is not None]
        times = [p.time.timestamp() for p in points if p.time is not None]
        tracks.append(
            {
                "fixes": len(points),
                "heights": [min(heights), max(heights)] if heights else None,
                "with_time": len(times),
                "latitudes": [min(p.latitude for p in points), max(p.latitude for p in points)] if points else None,
            }
        )
    return [t for t in tracks if t["fixes"]]


def read_nmea(path):
    """Moments with a fix, each once: GGA says which, unless RMC calls the same moment void."""
    fixes, void = [], set()
    for line in open(path, encoding="ascii", errors="replace"):
        if "$" not in line:
            continue
        try:
            said = pynmea2.parse(line[line.index("$") :].strip())
        except (pynmea2.ParseError, ValueError):
            continue
        kind = type(said).__name__
        if kind == "GGA" and said.gps_qual in (1, 2, 3, 4, 5) and said.lat:
            fixes.append((said.timestamp, said.altitude))
        elif kind == "RMC" and said.status != "A":
            void.add(said.timestamp)
    fixes = [fix for fix in fixes if fix[0] not in void]
    heights = [height for _, height in fixes if height is not None]
    return {"fixes": len(fixes), "heights": [min(heights), max(heights)] if heights else None}


def read_igc(path):
    lines = [line for line in open(path, encoding="latin-1").read().split("\n") if line[:1] == "B" and len(line) >= 35]
    pressure, satellite = [int(line[25:30]) for line in lines], [int(line[30:35]) for line in lines if line[24] == "A"]
    span = lambda values: [min(values), max(values)] if any(values) else None
    return {"fixes": len(lines), "pressure": span(pressure), "satellite": span(satellite)}


def key(path):
    """Files of open data are named by their content (FNV-1a, 64 bits): what others call them does not matter."""
    value = 0xCBF29CE484222325
    for byte in open(path, "rb").read():
        value = (value ^ byte) * 0x100000001B3 & 0xFFFFFFFFFFFFFFFF
    return f"{value:016x}"


def save_json(name, value):
    with open(os.path.join(HERE, name), "w", encoding="utf-8") as file:
        json.dump(value, file, indent=1)
        file.write("\n")


def main():
    write()
    points = [p for t in gpxpy.parse(open(os.path.join(OUT, "flight.gpx"))).tracks for s in t.segments for p in s.points]
    save_json(
        "expected.json",
        {
            "made_by": f"gpxpy 1.6.2, pynmea2 {pynmea2.__version__}",
            "gpx": [[p.time.timestamp(), p.longitude, p.latitude, p.elevation] for p in points],
            "nmea": read_nmea(os.path.join(OUT, "flight.nmea")),
            "igc": read_igc(os.path.join(OUT, "flight.igc")),
        },
    )
    if len(sys.argv) > 1:
        root = sys.argv[1]
        found = {"gpx": {}, "nmea": {}, "igc": {}}
        for path in sorted(glob.glob(os.path.join(root, "**", "*.gpx"), recursive=True)):
            try:
                found["gpx"][key(path)] = read_gpx(path)
            except Exception as e:
                print(path, "not read by gpxpy:", e)
        for ending in ("nmea", "log"):
            for path in sorted(glob.glob(os.path.join(root, "11_nmea", "**", f"*.{ending}"), recursive=True)):
                found["nmea"][key(path)] = read_nmea(path)
        for path in sorted(glob.glob(os.path.join(root, "**", "*.igc"), recursive=True)):
            found["igc"][key(path)] = read_igc(path)
        save_json("open_data.json", found)


main()
