"""What arrives along one string: one integral over the openings that it goes through, one after another.

A string is straightened out: places on it are distances along it, and offsets to its left. At each of its stations the
wave goes through an opening: half a line beyond one edge, or a window between two. Between stations it spreads by the
Fresnel kernel; a face that runs along a leg adds the wave's image, two facing ones a row of images.
"""

from __future__ import annotations

import cmath
import math
from typing import NamedTuple

from survey.propagation.around.quadrature import NODES, POINTS, SPAN_NODES, SPAN_POINTS, SPAN_WEIGHTS, WEIGHTS

MAX_STATIONS = 10
"""Openings of one string; of more, those count that come nearest to it."""
MAX_GROWTH = 4.0
"""Contours turned by 45 degrees are used where what they raise to e is at most this; straight ones elsewhere."""
STRAIGHT_GROWTH = 2.0
"""Half a line whose neighbour is closed beyond some offset is straight up to there where this is passed."""
MAX_IMAGES = 3
"""Images beyond the first on either side between two facing faces."""
MAX_PHASE = 60.0
"""Images that turn by more than this over a window, and kernels too narrow for the points, are not resolved. [rad]"""
CLOSEST = 0.3
"""Stations nearer together than this share of their own widths are computed as if so far apart."""
MAX_EXPONENT = 300.0
"""A safeguard against overflow."""
TURNED = cmath.exp(-0.25j * math.pi)


class Station(NamedTuple):
    """An opening of a string."""

    at_m: float
    """Along the string from its start."""
    low_m: float
    """From here to the left it is open; minus infinite where nothing closes it on the right."""
    high_m: float
    """Up to here it is open; infinite where nothing closes it on the left."""
    turn: float
    """2 sin(half the angle by which the string turns here), positive to the left."""
    gain: float
    """Amplitude that goes with it: wedge, obliquity, narrow slit."""
    left_image: tuple[float, float] = (0.0, 0.0)
    right_image: tuple[float, float] = (0.0, 0.0)
    """Images of its legs' ends in the faces at its left edge and at its right one: amplitude, and further turn."""


class Face(NamedTuple):
    """What runs along the leg from a station to the next."""

    left: float
    """Reflection of the face on the left, amplitude, 0 where there is none."""
    right: float


def field(stations: list[Station], faces: list[Face], length_m: float, wavelength_m: float) -> tuple[complex, complex]:
    """Field at the end of a string relative to that over its length with nothing there, hard and soft.

    Parameters
    ----------
    stations : list of Station
        In their order.
    faces : list of Face
        Of the legs between each station and the next, one fewer.
    length_m : float
        Length of the string. [m]
    wavelength_m : float
        Wavelength. [m]

    Returns
    -------
    tuple of two complex
        With the electric field square to the faces, and along faces and edges. [-]
    """
    count = len(stations)
    if count == 0:
        return 1.0 + 0.0j, 1.0 + 0.0j
    k = 2.0 * math.pi / wavelength_m
    legs_m, width = spread(stations, length_m, k)
    total_m = sum(legs_m)
    far = straight_up_to(stations, legs_m, k)
    duct = [
        faces[i].left > 0.0
        and faces[i].right > 0.0
        and math.isfinite(stations[i].high_m - stations[i].low_m)
        and math.isfinite(stations[i + 1].high_m - stations[i + 1].low_m)
        for i in range(count - 1)
    ]
    hard: list[complex] = []
    soft: list[complex] = []
    before: list[complex] = []
    gain = 1.0
    for i in range(count):
        one = stations[i]
        in_duct = (i > 0 and duct[i - 1]) or (i < count - 1 and duct[i])
        at, weight = contour(stations, i, legs_m, width[i], in_duct, far, k)
        gain *= one.gain
        points = len(at)
        own = [
            weight[n] * cmath.exp(1j * k * one.turn * at[n] - (0.5j * k * at[n] * at[n] / legs_m[0] if i == 0 else 0.0))
            for n in range(points)
        ]
        own_soft = own
        if one.left_image[0] > 0.0 or one.right_image[0] > 0.0:
            own, own_soft = with_images(own, one, at, k)
        if i == 0:
            hard, soft = own, own_soft
        else:
            face, last = faces[i - 1], stations[i - 1]
            carried_hard = [0j] * points
            carried_soft = [0j] * points
            leg_m = legs_m[i]
            gap_m = 0.5 * (last.high_m - last.low_m + one.high_m - one.low_m) if duct[i - 1] else 0.0
            images = image_count(gap_m, leg_m, k) if duct[i - 1] else 0
            for m in range(points):
                up_hard, up_soft = 0j, 0j
                for n in range(len(before)):
                    if hard[n] == 0.0 and soft[n] == 0.0:
                        continue
                    direct, image = kernel(before[n], at[m], leg_m, k, last, one, face, duct[i - 1], images, gap_m)
                    up_hard += hard[n] * (direct + image)
                    up_soft += soft[n] * (direct - image)
                carried_hard[m] = up_hard * own[m]
                carried_soft[m] = up_soft * own_soft[m]
            hard, soft = carried_hard, carried_soft
        before = at
    sum_hard, sum_soft = 0j, 0j
    for n in range(len(before)):
        end = cmath.exp(-0.5j * k * before[n] * before[n] / legs_m[count])
        sum_hard += hard[n] * end
        sum_soft += soft[n] * end
    product = 1.0
    for leg_m in legs_m:
        product *= leg_m * wavelength_m
    scale = math.sqrt(total_m * wavelength_m / product) * gain * cmath.exp(0.25j * math.pi * count)
    return scale * sum_hard, scale * sum_soft


def with_images(own: list[complex], one: Station, at: list[complex], k: float) -> tuple[list[complex], list[complex]]:
    """What passes an opening with the images of both ends in the faces at its edges, hard and soft."""
    hard, soft = [], []
    for n in range(len(at)):
        image = 0j
        if one.left_image[0] > 0.0:
            image += one.left_image[0] * cmath.exp(-1j * k * one.left_image[1] * (one.high_m - at[n]))
        if one.right_image[0] > 0.0:
            image += one.right_image[0] * cmath.exp(-1j * k * one.right_image[1] * (at[n] - one.low_m))
        hard.append(own[n] * (1.0 + image))
        soft.append(own[n] * (1.0 - image))
    return hard, soft


def kernel(
    u: complex,
    v: complex,
    leg_m: float,
    k: float,
    last: Station,
    one: Station,
    face: Face,
    duct: bool,
    images: int,
    gap_m: float,
) -> tuple[complex, complex]:
    """From one offset to another over a leg: what arrives without a change of sign, and what was thrown back oddly."""
    exponent = -0.5j * k * (u - v) * (u - v) / leg_m
    direct = cmath.exp(complex(min(exponent.real, MAX_EXPONENT), exponent.imag))
    image = 0j
    if duct:
        # Offsets from the middle of the duct, from its right side, and from its left one: both sides count alike.
        middle = u - v - 0.5 * (last.low_m + last.high_m - one.low_m - one.high_m)
        sides = ((u - last.low_m, v - one.low_m), (last.high_m - u, one.high_m - v))
        reflection = math.sqrt(face.left * face.right)
        even, odd = 0j, 0j
        for n in range(-images, images + 1):
            step = 2.0 * n * gap_m
            damp = reflection ** (2 * abs(n)) * obliquity(step / leg_m)
            if n != 0:
                even += damp * cmath.exp(-0.5j * k * ((middle + step) ** 2 - middle**2) / leg_m)
        for n in range(images + 1):
            step = 2.0 * n * gap_m
            damp = reflection ** (2 * n + 1) * obliquity((step + gap_m) / leg_m)
            for a, b in sides:
                odd += damp * cmath.exp(-0.5j * k * ((a + b + step) ** 2 - (a - b) ** 2) / leg_m)
        return direct * (1.0 + even), direct * odd
    if face.right > 0.0:
        image += face.right * falling(-2j * k * (u - last.low_m) * (v - one.low_m) / leg_m)
    if face.left > 0.0:
        image += face.left * falling(-2j * k * (u - last.high_m) * (v - one.high_m) / leg_m)
    return direct, direct * image


def falling(exponent: complex) -> complex:
    """What an image adds: it falls off or turns; one that would rise belongs to points behind its face."""
    return cmath.exp(exponent) if exponent.real < 1.0 else 0j


def obliquity(slant: float) -> float:
    """Amplitude of a wave that leaves a window at a slant (the tangent of its angle), ((1 + cos) / 2) squared."""
    cosine = 1.0 / math.sqrt(1.0 + slant * slant)
    return (0.5 * (1.0 + cosine)) ** 2


def image_count(gap_m: float, leg_m: float, k: float) -> int:
    """How many images on either side a window can resolve."""
    for images in range(MAX_IMAGES, 0, -1):
        if 2.0 * images * gap_m * gap_m * k / leg_m < MAX_PHASE:
            return images
    return 0


def spread(stations: list[Station], length_m: float, k: float) -> tuple[list[float], list[float]]:
    """Legs between stations, none too short for the points, and the width of each contour. [m, sqrt(m)]"""
    count = len(stations)
    legs_m = [0.0] * (count + 1)
    last_m = 0.0
    for i in range(count):
        legs_m[i] = max(stations[i].at_m - last_m, 1e-3)
        last_m = stations[i].at_m
    legs_m[count] = max(length_m - last_m, 1e-3)
    width = widths(stations, legs_m, k)
    for i in range(1, count):
        least_m = (CLOSEST * min(width[i], width[i - 1])) ** 2
        low_m, high_m = stations[i].low_m, stations[i].high_m
        if math.isfinite(high_m - low_m):
            least_m = max(least_m, k * (high_m - low_m) ** 2 / (2.0 * MAX_PHASE))
        legs_m[i] = max(legs_m[i], least_m)
    return legs_m, widths(stations, legs_m, k)


def widths(stations: list[Station], legs_m: list[float], k: float) -> list[float]:
    """Width of each contour in lengths times the root of the wave number. [sqrt(m)]"""
    count = len(stations)
    total_m, reached_m = sum(legs_m), 0.0
    width = [0.0] * count
    for i in range(count):
        reached_m += legs_m[i]
        width[i] = 1.0 / (
            math.sqrt(0.5 * k) * abs(stations[i].turn) + math.sqrt(total_m / (reached_m * (total_m - reached_m)))
        )
    for i in range(1, count):
        width[i] = min(width[i], width[i - 1] + math.sqrt(legs_m[i]))
    for i in range(count - 1, 0, -1):
        width[i - 1] = min(width[i - 1], width[i] + math.sqrt(legs_m[i]))
    return width


def straight_up_to(stations: list[Station], legs_m: list[float], k: float) -> list[float]:
    """How far the contour of each half line is straight: up to where a neighbour is closed, or turns. [m]"""
    count = len(stations)
    far: list[float] = []
    for one in stations:
        far.append(one.low_m if math.isfinite(one.low_m) else one.high_m if math.isfinite(one.high_m) else 0.0)
    for _ in range(count):
        changed = False
        for i in range(count):
            one = stations[i]
            if math.isfinite(one.low_m) == math.isfinite(one.high_m):
                continue
            upward = math.isfinite(one.low_m)
            edge_m = one.low_m if upward else one.high_m
            for j in (i - 1, i + 1):
                if j < 0 or j >= count:
                    continue
                leg_m = legs_m[i] if j < i else legs_m[i + 1]
                limit_m = stations[j].high_m if upward else stations[j].low_m
                same = math.isfinite(stations[j].low_m) == upward and math.isfinite(stations[j].high_m) != upward
                if not math.isfinite(limit_m):
                    if not same or far[j] == (stations[j].low_m if upward else stations[j].high_m):
                        continue
                    limit_m = far[j]
                beyond_m = (limit_m - far[i]) if upward else (far[i] - limit_m)
                whole_m = abs(limit_m - edge_m)
                if beyond_m > 0.0 and 0.25 * k * whole_m * whole_m / leg_m > STRAIGHT_GROWTH:
                    far[i] = limit_m
                    changed = True
        if not changed:
            break
    return far


def contour(
    stations: list[Station], i: int, legs_m: list[float], width: float, in_duct: bool, far: list[float], k: float
) -> tuple[list[complex], list[complex]]:
    """Points and weights at a station."""
    one = stations[i]
    at: list[complex] = []
    weight: list[complex] = []
    size_m = width / math.sqrt(k)
    closed_left, closed_right = math.isfinite(one.high_m), math.isfinite(one.low_m)
    if closed_left and closed_right:
        gap_m = one.high_m - one.low_m
        growth = 0.25 * k * gap_m * gap_m / min(legs_m[i], legs_m[i + 1])
        if in_duct or growth > MAX_GROWTH or abs(one.turn) * k * gap_m < 1.0:
            add_span(at, weight, one.low_m, one.high_m, 1.0)
        else:
            side = -1.0 if one.turn > 0.0 else 1.0
            add_ray(at, weight, one.low_m, side, size_m, side)
            add_ray(at, weight, one.high_m, side, size_m, -side)
        return at, weight
    if not closed_left and not closed_right:
        add_ray(at, weight, 0.0, 1.0, size_m, 1.0)
        add_ray(at, weight, 0.0, -1.0, size_m, 1.0)
        return at, weight
    side = 1.0 if closed_right else -1.0
    edge_m = one.low_m if closed_right else one.high_m
    far_m = far[i]
    if far_m != edge_m:
        add_span(at, weight, min(edge_m, far_m), max(edge_m, far_m), 1.0)
    add_ray(at, weight, far_m, side, size_m, 1.0)
    return at, weight


def add_ray(at: list[complex], weight: list[complex], from_m: float, side: float, size_m: float, share: float) -> None:
    """Points on half a line, turned by 45 degrees."""
    for n in range(NODES):
        at.append(from_m + side * TURNED * size_m * POINTS[n])
        weight.append(TURNED * size_m * WEIGHTS[n] * share)


def add_span(at: list[complex], weight: list[complex], low_m: float, high_m: float, share: float) -> None:
    """Points between two offsets."""
    for n in range(SPAN_NODES):
        at.append(complex(low_m + (high_m - low_m) * SPAN_POINTS[n]))
        weight.append(complex((high_m - low_m) * SPAN_WEIGHTS[n] * share))
