#!/usr/bin/env python3
"""Integrates flown circuits with scipy, for the checks to compare touchdowns with.

pieces.json holds, for each circuit, what the pilot does and for how long: headings held, tracks held over the ground,
turns rolled into and out of. It is written by
  SPAREFIELD_WRITE_REFERENCE=1 cargo test -p checks --test circuit_ode -- --ignored
Then
  python3 -m venv venv && venv/bin/pip install scipy==1.17.1 numpy==2.4.6 && venv/bin/python generate.py
integrates the equations of motion anew, by an explicit Runge-Kutta method of order 8 with error control, and writes
expected.json: where and when each flight meets the ground.

Equations, written from their sources and not from the program: point mass in layered wind, small path angle
(Etkin, Dynamics of Atmospheric Flight, 1972, ch. 5.3); sink = A V^3 + n^2 B / V with n = 1/cos(bank), V = V1 sqrt(n);
h' = -s - V/g (V' + W'.e), W' = dW/dh h'; psi' = g tan(bank)/V; log law of the wind between 10 and 150 m; density of the
ICAO standard atmosphere.
"""
import json
import pathlib

import numpy as np
from scipy.integrate import solve_ivp

HERE = pathlib.Path(__file__).parent
G = 9.80665
MPH = 0.44704
E, V0 = 6.0, 50 * MPH
A, B = 1 / (2 * E * V0**2), V0**2 / (2 * E)
Z0 = 0.03
ACCELERATION = 1.0


def wind(h, case):
    z = np.clip(h, 10.0, 150.0)
    ratio = np.log(z / Z0) / np.log(10.0 / Z0)
    slope = 1.0 / z / np.log(10.0 / Z0) if 10.0 < h < 150.0 else 0.0
    to = np.radians(case["wind_from_deg"] + 180.0)
    surface = case["wind_ms"] * np.array([np.sin(to), np.cos(to)])
    return surface * ratio, surface * slope


def true_factor(h):
    t = 1 - 0.0065 * h / 288.15
    k = t ** (-4.25588 / 2)
    return k, k * (4.25588 / 2) * 0.0065 / 288.15 / t


def rates(state, case, bank, roll, level_rate, track):
    x, y, h, psi, level = state
    w, shear = wind(h, case)
    k, k_slope = true_factor(h)
    n = 1 / np.cos(bank)
    v_eq = level * np.sqrt(n)
    v = v_eq * k
    if track is not None:
        right = np.array([track[1], -track[0]])
        across = w @ right
        along = np.sqrt(v * v - across * across)
        e = (track * along - right * across) / v
        ground = along + w @ track
        velocity = track * ground
        psi_rate = 0.0
    else:
        e = np.array([np.sin(psi), np.cos(psi)])
        velocity = v * e + w
        psi_rate = G * np.tan(bank) / v
    sink = (A * v_eq**3 + n * n * B / v_eq) * k
    # V = level sqrt(n) k(h); d sqrt(n)/dt = sqrt(n) tan(bank) roll / 2.
    explicit = k * np.sqrt(n) * (0.5 * np.tan(bank) * roll * level + level_rate)
    climb = -(sink + v / G * explicit) / (1 + v / G * (shear @ e + v_eq * k_slope))
    return [velocity[0], velocity[1], climb, psi_rate, level_rate]


def fly(case):
    state = np.array(case["start"], dtype=float)  # x, y, h, heading, level speed
    time = 0.0
    for piece in case["pieces"]:
        last = piece is case["pieces"][-1]
        parts = []
        duration = piece["duration_s"]
        if piece["kind"] == "turn":
            roll_s, bank = piece["roll_s"], piece["bank_rad"]
            rate = bank / roll_s
            parts = [(roll_s, 0.0, rate), (duration - 2 * roll_s, bank, 0.0), (roll_s, bank, -rate)]
        else:
            parts = [(duration, 0.0, 0.0)]
        track = None
        if piece["kind"] == "track":
            b = piece["track_rad"]
            track = np.array([np.sin(b), np.cos(b)])
        for length, bank0, roll in parts:
            left = length
            while left > 1e-9:
                # The airspeed changes by 1 m/s each second towards the wanted one, then holds.
                off = piece["speed_ms"] - state[4]
                ramp = abs(off) / ACCELERATION
                step = min(left, ramp) if ramp > 1e-6 else left
                level_rate = np.sign(off) * ACCELERATION if ramp > 1e-6 else 0.0
                begun = length - left

                def f(t, s):
                    return rates(s, case, bank0 + roll * (begun + t), roll, level_rate, track)

                def ground(t, s):
                    return s[2]

                ground.terminal = last
                span = step if not last else step + 60.0
                events = [ground] if last else None
                out = solve_ivp(f, (0, span), state, method="DOP853", rtol=1e-10, atol=1e-9, events=events)
                state = out.y[:, -1]
                time += out.t[-1]
                left -= step
                if last and len(out.t_events[0]):
                    return state, time
        # The heading between pieces is the crab of the leg that ends.
        if track is not None:
            w, _ = wind(state[2], case)
            k, _ = true_factor(state[2])
            v = state[4] * k
            right = np.array([track[1], -track[0]])
            across = w @ right
            e = (track * np.sqrt(v * v - across**2) - right * across) / v
            state[3] = np.arctan2(e[0], e[1])
    return state, time


cases = json.loads((HERE / "pieces.json").read_text())
expected = []
for case in cases:
    state, time = fly(case)
    expected.append({"x_m": round(state[0], 4), "y_m": round(state[1], 4), "height_m": round(state[2], 4), "time_s": round(time, 4)})
(HERE / "expected.json").write_text(json.dumps(expected, indent=1) + "\n")
print(len(expected), "circuits")
