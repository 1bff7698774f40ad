"""Reference posteriors by a general-purpose library, for the networks in this folder.

    python make_reference.py NET ...            compare NET's stored posteriors with fresh ones
    python make_reference.py --write NET ...    store those sets that ref_NET.json does not have yet

Needs pyAgrum 3.3.1 (pip install pyagrum==3.3.1) and numpy. Evidence set "a" is taken from evidence.json:
observed leaves. Set "b" is drawn here: one tenth of all variables, anywhere in the network, in the states
they have in one state of the whole network drawn from the tables (so it is possible), seeded by the network's
name. The library's own file reader keeps single precision; here the file is read by the small reader
below and every table is handed over as double-precision numbers. Both of the library's tree methods are
run, and they must agree with each other, before anything is stored or compared.
"""
import json
import pathlib
import random
import re
import sys

import numpy as np
import pyagrum as gum

HERE = pathlib.Path(__file__).parent


def read(text):
    """Variables with their states, and for each the parents and an array (parents..., child)."""
    words = re.findall(r"[{}()\[\];,|]|[^\s{}()\[\];,|]+", text)
    at = 0

    def take():
        nonlocal at
        at += 1
        return words[at - 1]

    def until(mark):
        got = []
        while (word := take()) != mark:
            if word not in (",", "|"):
                got.append(word)
        return got

    states, tables = {}, {}
    while at < len(words):
        block = take()
        if block == "network":
            until("}")
        elif block == "variable":
            name = take()
            until("{")  # the outer bracket
            until("{")  # type discrete [ n ] {
            states[name] = until("}")
            until("}")
        elif block == "probability":
            until("(")
            child, *parents = until(")")
            until("{")
            table = np.full([len(states[p]) for p in parents] + [len(states[child])], np.nan)
            while (word := take()) != "}":
                place = ()
                if word == "(":
                    place = tuple(states[p].index(s) for p, s in zip(parents, until(")"), strict=True))
                table[place] = [float(number) for number in until(";")]
            assert not np.isnan(table).any(), child
            tables[child] = (parents, table)
        else:
            raise SystemExit(f"unexpected word {block!r}")
    return states, tables


def build(states, tables):
    """The same network inside the library, every entry a double."""
    net = gum.BayesNet("reference")
    for name, labels in states.items():
        net.add(gum.LabelizedVariable(name, name, labels))
    for child, (parents, _) in tables.items():
        for parent in parents:
            net.addArc(parent, child)
    for child, (parents, table) in tables.items():
        axes = [*parents, child]
        target = net.cpt(child)
        # The library's arrays list the axes in the reverse of its own order of names.
        wanted = list(reversed(list(target.names)))
        target[:] = np.ascontiguousarray(table.transpose([axes.index(name) for name in wanted]))
        kept = target.toarray().transpose([wanted.index(name) for name in axes])
        assert (kept == table).all(), f"{child}: the table was not kept to the last bit"
    return net


def drawn_evidence(name, states, tables):
    """One tenth of the variables in the states of one draw of the whole network."""
    chance = random.Random(f"witness {name} b")
    state = {}

    def draw(variable):
        stack = [variable]
        while stack:
            top = stack[-1]
            parents, table = tables[top]
            missing = [p for p in parents if p not in state]
            if missing:
                stack.extend(missing)
                continue
            stack.pop()
            if top not in state:
                row = table[tuple(state[p] for p in parents)]
                state[top] = chance.choices(range(len(row)), weights=row)[0]

    for variable in states:
        draw(variable)
    picked = sorted(chance.sample(sorted(states), max(2, len(states) // 10)))
    return {variable: state[variable] for variable in picked}


def answer(engine, states, evidence):
    engine.setEvidence(evidence)
    engine.makeInference()
    return {
        "evidence": evidence,
        "p_evidence": engine.evidenceProbability(),
        "posteriors": {name: engine.posterior(name).tolist() for name in states},
    }


def farthest(one, other):
    """Largest difference of two posteriors of one state."""
    return max(
        abs(p - q)
        for name in one["posteriors"]
        for p, q in zip(one["posteriors"][name], other["posteriors"][name], strict=True)
    )


def main(arguments):
    write = "--write" in arguments
    gum.setNumberOfThreads(1)
    sets = json.loads((HERE / "evidence.json").read_text())
    for name in (word for word in arguments if word != "--write"):
        states, tables = read((HERE / f"{name}.bif").read_text())
        net = build(states, tables)
        evidence = {"a": sets[name]["evidence_a"], "b": drawn_evidence(name, states, tables)}
        fresh = {}
        for key in evidence:
            by_two = [
                answer(method(net), states, evidence[key])
                for method in (gum.ShaferShenoyInference, gum.LazyPropagation)
            ]
            assert farthest(*by_two) < 1e-11, "the library's two methods disagree"
            fresh[key] = by_two[0]
        stored = HERE / f"ref_{name}.json"
        if write:
            before = json.loads(stored.read_text()) if stored.exists() else {}
            stored.write_text(json.dumps(fresh | before))
        kept = json.loads(stored.read_text())
        for key, now in fresh.items():
            if key not in kept:
                print(f"{name} {key}: not stored")
                continue
            assert kept[key]["evidence"] == now["evidence"], f"{name} {key}: other evidence"
            ratio = kept[key]["p_evidence"] / now["p_evidence"]
            print(
                f"{name} {key}: {len(now['posteriors'])} posteriors, largest difference "
                f"{farthest(kept[key], now):.1e}; probability of the evidence {now['p_evidence']:.6e}, "
                f"relative difference {abs(ratio - 1):.1e}"
            )


if __name__ == "__main__":
    main(sys.argv[1:])
