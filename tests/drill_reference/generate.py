#!/usr/bin/env python3
"""Draws the first failures of one set a second time, after the documentation alone, and prints them.

The set is that of `everywhere()` in crates/geometry/src/drill/tests.rs, whose test
`a_set_gives_the_same_failures_on_every_platform` holds what this prints:
  python3 generate.py        (Python 3.11, no packages)

SplitMix64 after Steele, Lea & Flood, Fast Splittable Pseudorandom Number Generators, OOPSLA 2014.
"""
import math

MASK = (1 << 64) - 1


class Dice:
    def __init__(self, seed, stream):
        a, b = Dice.raw(seed), Dice.raw(stream ^ 0x6A09E667F3BCC909)
        first, second = a.next(), b.next()
        self.state = first ^ (((second << 32) | (second >> 32)) & MASK)

    @staticmethod
    def raw(state):
        dice = Dice.__new__(Dice)
        dice.state = state
        return dice

    def next(self):
        self.state = (self.state + 0x9E3779B97F4A7C15) & MASK
        z = self.state
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & MASK
        return z ^ (z >> 31)

    def unit(self):
        return (self.next() >> 11) / 2.0**53

    def within(self, low, high):
        return low + (high - low) * self.unit()

    def below(self, count):
        return min(int(self.unit() * count), count - 1)

    def about_zero(self, most):
        a, b = self.unit(), self.unit()
        return most * (a - b)

    def order(self, count):
        order = list(range(count))
        for i in range(count - 1, 0, -1):
            j = self.below(i + 1)
            order[i], order[j] = order[j], order[i]
        return order


HOME = (100.0, 200.0)
BENT = [(0, 0), (3000, 0), (3000, 1000), (1000, 1000), (1000, 3000), (0, 3000)]
ROUTE = [(0, 0), (0, 4000), (2000, 4000)]
WINDS = [(240.0, 6.0), (30.0, 2.0)]


def in_circle(dice):
    radius, angle = math.sqrt(dice.unit()), dice.unit() * math.tau
    return math.sin(angle) * radius, math.cos(angle) * radius


def is_in_bent(x, y):
    return (0 < x < 3000 and 0 < y < 1000) or (0 < x < 1000 and 0 < y < 3000)


def failure(seed, number):
    dice = Dice(seed, number)
    place = dice.below(4)
    from_deg, speed = WINDS[dice.below(2)]
    share = dice.unit()
    if place == 0:
        back = dice.unit() < 0.5
        left = dice.unit() * 6000
        x, y, heading = (0.0, left, 0.0) if left <= 4000 else (left - 4000, 4000.0, math.pi / 2)
        heading += math.pi if back else 0.0
    elif place == 1:
        while True:
            x, y = dice.within(0, 3000), dice.within(0, 3000)
            if is_in_bent(x, y):
                break
        heading = dice.unit() * math.tau
    elif place == 2:
        dx, dy = in_circle(dice)
        x, y = 500 + dx * 800, 500 + dy * 800
        heading = dice.unit() * math.tau
    else:
        cell = Dice(seed, ((number - 1) // 48) | (1 << 40)).order(48)[(number - 1) % 48]
        share = (cell // 12 + share) / 4
        heading = (cell % 12 + dice.unit() - 0.5) * math.tau / 12
        dx, dy = in_circle(dice)
        x, y = HOME[0] + dx * 100, HOME[1] + dy * 100
    dice.unit()  # the direction that stands in where the set has none
    comes_from = math.radians(from_deg) + dice.about_zero(math.radians(20))
    blows = max(0.0, speed + dice.about_zero(1.5))
    east, north = -math.sin(comes_from) * blows, -math.cos(comes_from) * blows
    height = 150 + 450 * share
    runs = dice.within(10, 60)
    return f"{place} {x:.6f} {y:.6f} {height:.6f} {heading % math.tau:.9f} {east:.9f} {north:.6f} {runs:.6f}"


for n in range(1, 9):
    print(failure(7, n))
