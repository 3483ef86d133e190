"""A textbook model of signals on pins in CP-SAT: a binary for each signal and choice of pins, none of them merged."""

from itertools import combinations

from ortools.sat.python import cp_model


def least_lost(signals, boxes):
    """The least number of functions lost; None: there is no assignment."""
    model = cp_model.CpModel()
    taken, cost, placed = {}, [], {}
    for signal in signals:
        options = [(box, pins) for box in boxes for pins in _options(signal, box.box.pins)]
        variables = [model.new_bool_var("") for _ in options]
        model.add_exactly_one(variables)
        for variable, (box, pins) in zip(variables, options, strict=True):
            placed.setdefault((signal.name, box.label), []).append(variable)
            for pin in pins:
                taken.setdefault((box.label, pin.label), []).append(variable)
                lost = len(pin.functions) - 1 + (pin.pair is not None and len(pins) == 1)
                lost += pin.pair is not None and signal.kind == "full_bridge"
                cost.append(lost * variable)
    for variables in taken.values():
        model.add_at_most_one(variables)
    for box in boxes:
        for word in ("supply_5v", "sensor_ground"):
            _feed(model, signals, box, word, placed)
    model.minimize(sum(cost))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    return round(solver.objective_value) if status == cp_model.OPTIMAL else None


def _feed(model, signals, box, word, placed):
    pins = [pin for pin in box.box.pins if word in pin.functions]
    load = {pin.label: 0 for pin in pins}
    for signal in signals:
        if word in signal.needs:
            feeds = [model.new_bool_var("") for _ in pins]
            model.add(sum(feeds) == sum(placed.get((signal.name, box.label), [])))
            for pin, fed in zip(pins, feeds, strict=True):
                load[pin.label] += signal.current_ma * fed
    for pin in pins:
        model.add(load[pin.label] <= pin.max_ma)


def _options(signal, pins):
    if signal.kind == "frequency_pair":
        pairs = combinations([p for p in pins if "frequency_pair" in p.functions], 2)
        return [c for c in pairs if c[0].pair == c[1].pair]
    if signal.kind == "full_bridge":
        halves = [p for p in pins if "half_bridge" in p.functions and p.max_ma >= signal.current_ma]
        return list(combinations(halves, 2))
    function = {"voltage": "voltage_input"}.get(signal.kind, signal.kind)
    able = [p for p in pins if function in p.functions and signal.needs & {"pwm"} <= p.functions]
    return [(p,) for p in able if signal.kind != "low_side" or p.max_ma >= signal.current_ma]
