"""Networks of places tied by measured differences, adjusted by NumPy and SciPy: what the engine's floors are compared with.

    python -m venv venv && venv/bin/pip install scipy==1.17.1 && venv/bin/python reference.py

writes reference.json beside this file. Nothing of the engine is used, and it is another way to the same minimum: the
engine closes loops (condition equations), this solves for the places (observation equations) with the full covariance of the
ties, by numpy.linalg and again by scipy.optimize.lsq_linear.

The first network is the levelling net of Ghilani, *Adjustment Computations*, ch. 12, from memory (feet; two bench marks, which are
tied here by their known difference); the numbers of all others are invented. Differences, standard deviations and results
are in millimetres, east and north.
"""

import datetime
import json
import pathlib
import platform

import numpy as np
import scipy
from scipy.optimize import lsq_linear
from scipy.stats import chi2


def levelling():
    """Bench mark X at 100.00, Y at 107.50; then A, B and C."""
    x, y, a, b, c = range(5)
    lines = [(x, a, 5.10), (a, y, 2.34), (y, c, -1.25), (c, x, -6.13), (a, b, -0.68), (y, b, -3.00), (b, c, 1.70)]
    ties = [(one, two, 0.0, rise) for one, two, rise in lines] + [(x, y, 0.0, 7.50)]
    sigmas = [1.0] * len(lines) + [1e-4]
    readings = [{"sigma": sigma, "moves": [[at, 0.0, 1.0]]} for at, sigma in enumerate(sigmas)]
    readings += [{"sigma": 1.0, "moves": [[at, 1.0, 0.0]]} for at in range(len(ties))]
    return {"name": "levelling net", "places": 5, "ties": ties, "readings": readings}


def rooms(name, places, pairs, seed, wrong=None):
    """Ties that share readings, as two doors of one room share its walls; with noise, and perhaps one reading wrong."""
    random = np.random.default_rng(seed)
    true = random.uniform(-8_000, 8_000, (places, 2))
    readings = []
    for at, (one, two) in enumerate(pairs):
        turn = random.uniform(0, 2 * np.pi) if seed % 2 else random.integers(0, 4) * np.pi / 2
        along = np.array([np.cos(turn), np.sin(turn)])
        for sigma, step in ((3.2, along), (3.3, -along), (2.0, np.array([-along[1], along[0]]))):
            readings.append((sigma, {at: step}))
    for place in range(places):
        own = [at for at, pair in enumerate(pairs) if place in pair]
        if len(own) < 2:
            continue
        for wall in range(4):
            step = np.array([1.0, 0.0]) if wall % 2 else np.array([0.0, 1.0])
            shares = {at: step * random.uniform(-0.5, 0.5) * (1 if pairs[at][0] == place else -1) for at in own}
            readings.append((float(np.round(random.uniform(2.5, 5), 2)), shares))
    ties = []
    off = [random.normal(0, sigma) for sigma, _ in readings]
    if wrong is not None:
        off[wrong[0]] += wrong[1]
    for at, (one, two) in enumerate(pairs):
        step = true[two] - true[one] + sum(e * moves[at] for e, (_, moves) in zip(off, readings) if at in moves)
        ties.append((one, two, *(round(float(it), 4) for it in step)))
    readings = [
        {"sigma": sigma, "moves": [[at, *(round(float(it), 6) for it in step)] for at, step in moves.items()]}
        for sigma, moves in readings
    ]
    return {"name": name, "places": places, "ties": ties, "readings": readings}


def adjusted(network):
    ties, readings, places = network["ties"], network["readings"], network["places"]
    measured = np.array([tie[2:] for tie in ties], float).ravel()
    spread = np.zeros((measured.size, len(readings)))
    for column, reading in enumerate(readings):
        for at, east, north in reading["moves"]:
            spread[2 * at : 2 * at + 2, column] += east, north
    covariance = spread @ np.diag([it["sigma"] ** 2 for it in readings]) @ spread.T
    design = np.zeros((measured.size, 2 * (places - 1)))
    for row, (one, two, *_) in enumerate(ties):
        for place, sign in ((one, -1), (two, 1)):
            if place > 0:
                for axis in range(2):
                    design[2 * row + axis, 2 * (place - 1) + axis] += sign
    weight = np.linalg.inv(covariance)
    cofactor = np.linalg.inv(design.T @ weight @ design)
    found = cofactor @ design.T @ weight @ measured
    white = np.linalg.inv(np.linalg.cholesky(covariance))
    again = lsq_linear(white @ design, white @ measured, tol=1e-14).x
    assert np.abs(found - again).max() < 1e-5, network["name"]
    residuals = design @ found - measured
    of_residuals = covariance - design @ cofactor @ design.T
    root = np.sqrt(np.maximum(np.diag(of_residuals), 0))
    checked = root > 1e-5
    standardised = np.where(checked, residuals / np.where(checked, root, 1), 0)
    blunders = []
    for column in spread.T:
        effect = weight @ column
        shown = effect @ of_residuals @ effect
        blunders.append([-effect @ residuals / shown, 1 / np.sqrt(shown)] if shown > 1e-12 else [0.0, 0.0])
    degrees = measured.size - design.shape[1]
    rounded = lambda values: [round(float(it), 7) for it in values]
    return {
        **network,
        "moved": [[0.0, 0.0], *(rounded(it) for it in found.reshape(-1, 2))],
        "residuals": [rounded(it) for it in residuals.reshape(-1, 2)],
        "standardised": [rounded(it) for it in standardised.reshape(-1, 2)],
        "blunders": [rounded(it) for it in blunders],
        "fit": float(residuals @ weight @ residuals),
        "degrees": degrees,
        "limit": float(chi2.isf(0.001, degrees)),
    }


def networks():
    yield levelling()
    ring = [(0, 1), (1, 2), (2, 3), (3, 0)]
    yield rooms("four rooms in a ring", 4, ring, 2)
    yield rooms("four rooms in a ring, one reading a foot off", 4, ring, 4, wrong=(3, 304.8))
    yield rooms("hall with five rooms and doors between them", 6, [(0, i) for i in range(1, 6)] + [(1, 2), (4, 3), (4, 5)], 6)
    yield rooms("two loops in one room, all at a slant", 5, [(0, 1), (1, 2), (2, 0), (2, 3), (3, 4), (4, 2)], 7)
    yield rooms("two doors between the same rooms, and a closet", 3, [(0, 1), (1, 0), (1, 2)], 8)
    grid = [(4 * y + x, 4 * y + x + 1) for y in range(3) for x in range(3)]
    grid += [(4 * y + x, 4 * y + x + 4) for y in range(2) for x in range(4)]
    yield rooms("three by four rooms", 12, grid, 10)


def main():
    header = {
        "source": "reference.py: numpy.linalg and scipy.optimize.lsq_linear on a levelling net and invented networks",
        "versions": {"scipy": scipy.__version__, "numpy": np.__version__, "python": platform.python_version()},
        "date": datetime.date.today().isoformat(),
        "units": "millimetres, east and north; ties: first place, second place, measured difference; moves: tie, step; "
        "blunders: size, standard deviation",
    }
    lines = ",\n".join(json.dumps(adjusted(it), separators=(",", ":")) for it in networks())
    text = json.dumps(header, indent=1)[:-2] + ',\n "networks": [\n' + lines + "\n]}\n"
    pathlib.Path(__file__).with_name("reference.json").write_text(text)


if __name__ == "__main__":
    main()
