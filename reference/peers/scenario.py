"""Two sets of findings for engine_v8.bif: what is often known of an engine, drawn forward from the network's own tables.

    python scenario.py        writes ../networks/engine_v8.scenario.json

Needs numpy and pyAgrum only because the reader of make_reference.py does. The same findings in both sets: the roots' history, all findings
of the whole engine, compression and plug of every cylinder, and six more of the first two; the states differ.
"""
import json
import pathlib
import random
import sys

HERE = pathlib.Path(__file__).parent
NETWORKS = HERE.parent / "networks"
sys.path.insert(0, str(NETWORKS))
sys.argv = sys.argv[:1]
from make_reference import read  # noqa: E402

states, tables = read((NETWORKS / "engine_v8.bif").read_text())


def drawn(seed):
    chance, state = random.Random(seed), {}
    waiting = list(tables)
    while waiting:
        left = []
        for name in waiting:
            parents, table = tables[name]
            if all(p in state for p in parents):
                row = table[tuple(state[p] for p in parents)]
                u, k = chance.random(), 0
                while k + 1 < len(row) and u >= row[k]:
                    u -= row[k]
                    k += 1
                state[name] = k
            else:
                left.append(name)
        waiting = left
    return state


wanted = [n for n in states if n.startswith(("r_history", "r_overheat_told", "g_"))]
wanted += [f"c{c}_{what}" for c in range(8) for what in ("compr", "plugfoul")]
wanted += [f"c{c}_{what}" for c in (0, 1) for what in ("leakdown", "hiss_in", "hiss_ex", "puff", "scopebore", "scopecrown")]
sets = {}
for name, seed in (("a", 27), ("b", 28)):
    state = drawn(seed)
    sets[name] = {n: state[n] for n in wanted}
(NETWORKS / "engine_v8.scenario.json").write_text(json.dumps(sets, indent=1) + "\n")
print(len(wanted), "findings")
