"""Times a general-purpose library on networks in the open interchange form, one thread, one JSON line a network.

    python networks.py FOLDER BUDGET NET ...

Needs pyAgrum (requirements.txt). Evidence sets a and b come from ref_NET.json where it is there, else from NET.scenario.json.
Measured, each as the least and the median of as many rounds as fit the budget (seconds a measure):

    warm   evidence a and b in turn, the engine kept: propagate and read the posterior of every variable
    cold   a new engine for evidence a: propagate and read the posterior of every variable
    one    as warm, but only one posterior is read: what is left is not the wrapper's cost of reading them

The fastest of the library's two tree methods counts, and its variable elimination where there are fewer than 60 variables.
"""
import json
import pathlib
import sys
import time

import pyagrum as gum


def rounds(work, budget):
    spent, times = 0.0, []
    while not times or (spent < budget and len(times) < 400):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
        spent += times[-1]
    times.sort()
    return {"least": times[0] * 1e3, "median": times[len(times) // 2] * 1e3, "rounds": len(times)}


def evidence(folder, name):
    known = folder / f"ref_{name}.json"
    if known.exists():
        sets = json.loads(known.read_text())
        return [sets[s]["evidence"] for s in ("a", "b")]
    seen = json.loads((folder / f"{name}.scenario.json").read_text())
    return [seen["a"], seen["b"]]


def main():
    folder, budget = pathlib.Path(sys.argv[1]), float(sys.argv[2])
    gum.setNumberOfThreads(1)
    for name in sys.argv[3:]:
        net = gum.loadBN(str(folder / f"{name}.bif"))
        sets = evidence(folder, name)
        names = list(net.names())
        methods = {"Lazy": gum.LazyPropagation, "ShaferShenoy": gum.ShaferShenoyInference}
        if len(names) < 60:
            methods["VariableElimination"] = gum.VariableElimination
        answer = {"network": name, "version": gum.__version__, "variables": len(names), "methods": {}}
        for method, make in methods.items():
            turn = [0]

            def read(engine, which):
                for variable in which:
                    engine.posterior(variable)

            def cold():
                engine = make(net)
                engine.setEvidence(sets[0])
                engine.makeInference()
                read(engine, names)

            kept = make(net)

            def warm(which):
                turn[0] ^= 1
                kept.setEvidence(sets[turn[0]])
                kept.makeInference()
                read(kept, which)

            free = [n for n in names if n not in sets[0] and n not in sets[1]][:1]
            answer["methods"][method] = {
                "cold": rounds(cold, budget),
                "warm": rounds(lambda: warm(names), budget),
                "one": rounds(lambda: warm(free), budget / 2),
            }
        print(json.dumps(answer), flush=True)


main()
