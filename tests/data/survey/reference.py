"""Rooms of known truth, read with noise, and adjusted by SciPy: what the engine's survey is compared with.

    python -m venv venv && venv/bin/pip install scipy==1.17.1 && venv/bin/python reference.py

writes reference.json beside this file. Nothing of the engine is used: the residuals are formed with complex arithmetic, their
derivatives by complex steps, the minimum is found by a trust region and again by Levenberg and Marquardt (MINPACK), and the
covariance is the inverse of J'J at the minimum, as every textbook on adjustment has it. The rooms are invented.

Readings are whole counts of 1/8 micrometre, angles of 1/1000 second of arc; results are in millimetres with the first corner at
the origin and the first wall to the north.
"""

import datetime
import json
import math
import pathlib
import platform

import numpy as np
import scipy
from scipy.optimize import least_squares
from scipy.stats import chi2

COUNT = 8_000.0  # counts in a millimetre
DEGREE = 3_600_000.0  # counts in a degree
INCH = 25.4


class Room:
    """A ring of true corners in millimetres and what is read of it."""

    def __init__(self, name, corners, seed, out_of_square=4.0):
        self.name, self.random, self.observations = name, np.random.default_rng(seed), []
        self.count = len(corners)
        nominal = np.array(corners, float)
        self.nominal = nominal
        self.true = nominal + self.random.normal(0.0, out_of_square, nominal.shape)

    def length(self, of, sigma, wrong_by=0.0):
        value = size(self.true[:, 0], self.true[:, 1], of, self.count) + self.random.normal(0.0, sigma) + wrong_by
        self.observations.append(
            {"Length": {"of": of, "value": round(value * COUNT), "sigma": round(sigma * COUNT), "typed": ""}}
        )

    def walls(self, sigma, unread=()):
        for wall in range(self.count):
            if wall not in unread:
                self.length({"Wall": wall}, sigma)

    def turns(self, sigma, unstated=()):
        """As stated by the plan, in whole degrees: the truth is a little off."""
        for corner in range(self.count):
            if corner in unstated:
                continue
            before, here, after = (self.nominal[i % self.count] for i in (corner - 1, corner, corner + 1))
            arriving, leaving = here - before, after - here
            right = math.degrees(math.atan2(leaving[0] * arriving[1] - leaving[1] * arriving[0], leaving @ arriving))
            self.observations.append(
                {"Turn": {"corner": corner, "value": round(right) * int(DEGREE), "sigma": round(sigma * DEGREE)}}
            )


def size(x, y, of, count):
    """The length of a span; also of complex coordinates near real ones."""
    (kind, where), = of.items()
    end = lambda wall: (wall + 1) % count
    if kind in ("Wall", "Across"):
        a, b = (where, end(where)) if kind == "Wall" else (where["from"], where["to"])
        return np.sqrt((x[b] - x[a]) ** 2 + (y[b] - y[a]) ** 2)
    wall = where["wall"]
    a, b = wall, end(wall)
    if kind == "Offset":
        px, py = x[where["corner"]], y[where["corner"]]
    else:
        c, d = where["opposite"], end(where["opposite"])
        px, py = (x[c] + x[d]) / 2, (y[c] + y[d]) / 2
    twice_area = (x[b] - x[a]) * (py - y[a]) - (y[b] - y[a]) * (px - x[a])
    signed = twice_area / np.sqrt((x[b] - x[a]) ** 2 + (y[b] - y[a]) ** 2)
    return signed if signed.real > 0 else -signed


def off_from_stated(x, y, corner, stated, count):
    """By how much the walk turns farther to the right than stated, in radians: the wall after, turned back, against the wall
    before."""
    a, b, c = (corner - 1) % count, corner, (corner + 1) % count
    cos, sin = math.cos(stated), math.sin(stated)
    ax, ay, lx, ly = x[b] - x[a], y[b] - y[a], x[c] - x[b], y[c] - y[b]
    lx, ly = lx * cos - ly * sin, lx * sin + ly * cos
    return np.arctan((lx * ay - ly * ax) / (lx * ax + ly * ay))


def residuals(room):
    def of(unknowns):
        x = np.concatenate(([0.0, 0.0], unknowns[1::2]))
        y = np.concatenate(([0.0], unknowns[0:1], unknowns[2::2]))
        out = []
        for observation in room.observations:
            if "Length" in observation:
                it = observation["Length"]
                out.append((it["value"] / COUNT - size(x, y, it["of"], room.count)) / (it["sigma"] / COUNT))
            else:
                it = observation["Turn"]
                stated, sigma = (math.radians(it[key] / DEGREE) for key in ("value", "sigma"))
                out.append(-off_from_stated(x, y, it["corner"], stated, room.count) / sigma)
        return np.array(out)

    return of


def derivatives(of):
    def at(unknowns):
        columns = []
        for i in range(len(unknowns)):
            stepped = unknowns.astype(complex)
            stepped[i] += 1e-20j
            columns.append(of(stepped).imag / 1e-20)
        return np.array(columns).T

    return at


def adjusted(room):
    # From the plan, turned so that its first wall runs north.
    shifted = room.nominal - room.nominal[0]
    heading = math.atan2(shifted[1][0], shifted[1][1])
    cos, sin = math.cos(heading), math.sin(heading)
    turned = np.array([(x * cos - y * sin, x * sin + y * cos) for x, y in shifted])
    start = np.concatenate((turned[1:2, 1], turned[2:].ravel()))
    of = residuals(room)
    jacobian = derivatives(of)
    tight = {"xtol": 1e-15, "ftol": 1e-15, "gtol": 1e-15, "x_scale": "jac", "max_nfev": 10_000}
    found = least_squares(of, start, jac=jacobian, method="trf", **tight)
    again = least_squares(of, start, jac=jacobian, method="lm", **tight)
    assert np.abs(found.x - again.x).max() < 1e-5, (room.name, np.abs(found.x - again.x).max())
    best = found if found.cost <= again.cost else again
    jac, fit = jacobian(best.x), 2 * best.cost
    covariance = np.linalg.inv(jac.T @ jac)
    redundancy = 1 - np.einsum("ij,jk,ik->i", jac, covariance, jac)
    checked = redundancy > 1e-3
    standardised = np.where(checked, of(best.x) / np.sqrt(np.where(checked, redundancy, 1)), 0)
    return best.x, fit, covariance, redundancy, standardised


def record(room):
    x, fit, covariance, redundancy, standardised = adjusted(room)
    degrees = len(room.observations) - len(x)
    corners = [(0.0, 0.0), (0.0, x[0])] + [tuple(it) for it in x[1:].reshape(-1, 2)]
    full = np.zeros((2 * room.count, 2 * room.count))
    free = [3, *range(4, 2 * room.count)]
    full[np.ix_(free, free)] = covariance
    ellipses = []
    for corner in range(room.count):
        values, vectors = np.linalg.eigh(full[2 * corner : 2 * corner + 2, 2 * corner : 2 * corner + 2])
        shorter, longer = np.sqrt(np.maximum(values, 0) * chi2.isf(0.05, 2))
        heading = math.degrees(math.atan2(*vectors[:, 1])) % 180
        ellipses.append([round(longer, 7), round(shorter, 7), round(heading, 6)])
    number = lambda values: [round(float(it), 9) for it in values]
    return {
        "name": room.name,
        "network": {"corners": room.count, "observations": room.observations},
        "corners_mm": [[round(float(a), 6), round(float(b), 6)] for a, b in corners],
        "fit": float(fit),
        "degrees": degrees,
        "limits": number([chi2.ppf(0.025, degrees), chi2.isf(0.025, degrees), chi2.isf(0.001, degrees)]),
        "ellipses_mm": ellipses,
        "redundancy": number(redundancy),
        "standardised": number(standardised),
    }


def inches(*corners):
    return [(x * INCH, y * INCH) for x, y in corners]


def comb(walls, seed):
    """A rectangle whose far side steps in and out."""
    random = np.random.default_rng(seed)
    corners, x, before = [(0, 0)], 0, 0
    for _ in range(walls // 2 - 1):
        high = before
        while abs(high - before) < 12:
            high = int(random.integers(90, 240))
        corners.append((x, high))
        x += int(random.integers(40, 160))
        corners.append((x, high))
        before = high
    return inches(*corners, (x, 0))


def across(a, b):
    return {"Across": {"from": a, "to": b}}


def rooms():
    rectangle = inches((0, 0), (0, 148), (182, 148), (182, 0))
    room = Room("rectangle, one diagonal", rectangle, 1)
    room.walls(3.3), room.length(across(0, 2), 3.5), room.turns(0.3)
    yield room

    room = Room("rectangle, second readings, both diagonals", rectangle, 2)
    room.walls(3.3), room.walls(2.0), room.length(across(0, 2), 3.5), room.length(across(1, 3), 3.5), room.turns(0.3)
    yield room

    room = Room("rectangle the other way around, two walls unread", [rectangle[i] for i in (0, 3, 2, 1)], 3)
    room.walls(3.0, unread=(2, 3)), room.length(across(1, 3), 3.0), room.turns(0.3)
    yield room

    room = Room("rectangle with a wall read a foot too long", rectangle, 4)
    room.walls(3.0), room.length({"Wall": 2}, 3.0, wrong_by=12 * INCH)
    room.length(across(0, 2), 3.5), room.length(across(1, 3), 3.5), room.turns(0.3)
    yield room

    room = Room("L", inches((0, 0), (0, 190), (120, 190), (120, 84), (206, 84), (206, 0)), 5)
    room.walls(3.2), room.length(across(0, 3), 3.5), room.length(across(1, 4), 4.0), room.turns(0.3)
    yield room

    t = inches((0, 0), (0, 96), (-70, 96), (-70, 180), (190, 180), (190, 96), (118, 96), (118, 0))
    room = Room("T with an offset and two widths", t, 6)
    room.walls(3.2)
    room.length({"Offset": {"corner": 0, "wall": 3}}, 3.0)
    room.length({"Width": {"wall": 0, "opposite": 6}}, 3.0)
    room.length({"Width": {"wall": 3, "opposite": 7}}, 3.0)
    room.turns(0.3)
    yield room

    bay = inches((0, 0), (0, 150), (48, 150), (72, 174), (120, 174), (144, 150), (192, 150), (192, 0))
    room = Room("bay with corners of 45 degrees", bay, 7)
    room.walls(3.2), room.length(across(0, 3), 4.0), room.length(across(1, 6), 4.0)
    room.length({"Offset": {"corner": 4, "wall": 7}}, 4.0), room.turns(0.5)
    yield room

    hexagon = [(2_400 * math.sin(math.radians(a)), 2_400 * math.cos(math.radians(a))) for a in range(-90, 270, 60)]
    room = Room("hexagon", hexagon, 8)
    room.walls(2.5), room.length(across(0, 3), 3.0), room.length(across(1, 4), 3.0), room.length(across(2, 4), 3.0)
    room.turns(0.5)
    yield room

    room = Room("triangle", [(0, 0), (0, 3_600), (3_600 * math.tan(math.radians(35)), 0)], 9)
    room.walls(3.0), room.length({"Offset": {"corner": 0, "wall": 1}}, 3.0), room.turns(0.5)
    yield room

    attic = [(0, 0), (0, 2_900), (1_700, 4_100), (4_300, 3_300), (4_600, 200)]
    room = Room("five sides without a stated corner", attic, 10)
    room.walls(3.0), room.length(across(0, 2), 3.5), room.length(across(0, 3), 3.5), room.length(across(1, 3), 3.5)
    room.length(across(1, 4), 3.5)
    yield room

    u = inches((0, 0), (0, 200), (70, 200), (70, 90), (150, 90), (150, 200), (230, 200), (230, 0))
    room = Room("U by laser", u, 11, out_of_square=1.5)
    room.walls(1.0), room.length(across(0, 2), 1.0), room.length(across(7, 5), 1.0)
    room.length({"Width": {"wall": 0, "opposite": 6}}, 1.0), room.turns(0.2)
    yield room

    for walls, seed in ((20, 12), (40, 13)):
        room = Room(f"comb of {walls} walls", comb(walls, seed), seed)
        room.walls(3.3)
        room.length(across(0, walls // 2), 4.0), room.length(across(1, walls // 2 + 1), 4.0)
        room.length({"Width": {"wall": 0, "opposite": walls - 2}}, 4.0)
        room.length({"Offset": {"corner": walls // 2, "wall": walls - 1}}, 4.0)
        room.turns(0.3)
        yield room


def main():
    header = {
        "source": "reference.py: scipy.optimize.least_squares on invented rooms of known truth with normal noise",
        "versions": {"scipy": scipy.__version__, "numpy": np.__version__, "python": platform.python_version()},
        "date": datetime.date.today().isoformat(),
        "units": "readings in 1/8 micrometre, angles in 1/1000 second of arc to the right; corners and ellipses in mm, "
        "headings in degrees from north to the right",
    }
    lines = ",\n".join(json.dumps(record(room), separators=(",", ":")) for room in rooms())
    text = json.dumps(header, indent=1)[:-2] + ',\n "rooms": [\n' + lines + "\n]}\n"
    pathlib.Path(__file__).with_name("reference.json").write_text(text)


if __name__ == "__main__":
    main()
