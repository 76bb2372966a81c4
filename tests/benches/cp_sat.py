"""Packs strips by constraint programming, for comparison: reads one strip a line, {"width", "items": [[width, length]], "seconds"}, answers
one line each, {"length", "bound"}. OR-tools CP-SAT with its own rectangles-do-not-overlap constraint, one worker."""
import json
import sys

from ortools.sat.python import cp_model


def shelves(width, items):
    """First fit by decreasing length: a plan to start from."""
    levels = []
    for w, l in sorted(items, key=lambda it: (-it[1], -it[0])):
        for level in levels:
            if level[0] + w <= width:
                level[0] += w
                break
        else:
            levels.append([w, l])
    return sum(level[1] for level in levels)


for line in sys.stdin:
    strip = json.loads(line)
    width, items = strip["width"], strip["items"]
    horizon = shelves(width, items)
    model = cp_model.CpModel()
    area = sum(w * l for w, l in items)
    length = model.new_int_var(max(-(-area // width), max(l for _, l in items)), horizon, "length")
    across, along = [], []
    for i, (w, l) in enumerate(items):
        x = model.new_int_var(0, width - w, f"x{i}")
        y = model.new_int_var(0, horizon - l, f"y{i}")
        across.append(model.new_fixed_size_interval_var(x, w, f"across{i}"))
        along.append(model.new_fixed_size_interval_var(y, l, f"along{i}"))
        model.add(y + l <= length)
    model.add_no_overlap_2d(across, along)
    model.add_cumulative(along, [w for w, _ in items], width)
    model.add_cumulative(across, [l for _, l in items], length)
    model.minimize(length)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = strip["seconds"]
    status = solver.solve(model)
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    answer = {"length": int(solver.objective_value) if found else horizon, "bound": int(solver.best_objective_bound)}
    print(json.dumps(answer), flush=True)
