#!/usr/bin/env python3
"""Seeded generator of benchmark instances (JSON) for the peer scripts of this folder.

  gen.py system  --size small|large|stress --seed 1 -o sys.json
  gen.py chains  --size small|large --seed 1 -o chains.json
  gen.py samples --n 1000000 --seed 1 -o samples.f64        (little-endian f64)
  gen.py trace   --mib 2048 --seed 1 --dir DIR [--kinds text,csv,ctf]
All times are nanoseconds, whole numbers but in samples.
"""
import argparse, json, math, os, random, subprocess, sys

import common

MS = 1_000_000
HERE = os.path.dirname(os.path.abspath(__file__))


# ------------------------------------------------------------------ systems
def uunifast(rng, n, u, lo):
    while True:
        out, s = [], u
        for i in range(1, n):
            nx = s * rng.random() ** (1.0 / (n - i))
            out.append(s - nx)
            s = nx
        out.append(s)
        if min(out) >= lo:
            return out


def edf_table(parts, major):
    """parts: list of (pid, period, budget). Preemptive EDF over one major frame -> merged windows."""
    rel = sorted({k * p[1] for p in parts for k in range(major // p[1])} | {major})
    rem = {p[0]: 0 for p in parts}
    dl = {p[0]: 0 for p in parts}
    win = []
    for a, b in zip(rel, rel[1:]):
        for pid, per, bud in parts:
            if a % per == 0:
                assert rem[pid] == 0
                rem[pid] = bud
                dl[pid] = a + per
        t = a
        while t < b:
            live = [p for p in rem if rem[p] > 0]
            if not live:
                break
            p = min(live, key=lambda q: (dl[q], q))
            run = min(rem[p], b - t)
            if win and win[-1][2] == p and win[-1][0] + win[-1][1] == t:
                win[-1][1] += run
            else:
                win.append([t, run, p])
            rem[p] -= run
            t += run
    assert all(v == 0 for v in rem.values())
    return win


def gen_system(size, seed):
    sys.path.insert(0, HERE)
    import rta_peer
    ncore, npart, ntask = {"small": (4, 10, 40), "large": (16, 120, 1200), "stress": (16, 120, 3600)}[size]
    rng = random.Random((seed, size, "system").__repr__())
    major, gran = 40 * MS, 50_000
    per_core = [npart // ncore + (1 if c < npart % ncore else 0) for c in range(ncore)]
    tpp = ntask // npart
    cores, parts, tasks = [], [], []
    for c in range(ncore):
        n = per_core[c]
        us = uunifast(rng, n, 0.92, 0.04)
        mine = []
        for u in us:
            pid = len(parts)
            per = rng.choice([5 * MS, 10 * MS, 10 * MS, 20 * MS])
            bud = max(gran, int(u * per) // gran * gran)
            parts.append({"id": pid, "core": c, "period": per, "budget": bud, "tasks": []})
            mine.append((pid, per, bud))
        win = edf_table(mine, major)
        cores.append({"id": c, "major_frame": major, "windows": win})
        for pid, per, bud in mine:
            load = rng.uniform(0.90, 0.99)          # then lowered until exactly schedulable
            choice = [x * MS for x in (20, 40, 50, 80, 100, 200) if x * MS >= 2 * per]
            periods = sorted(rng.choice(choice) for _ in range(tpp))
            if size == "stress":            # long, non-harmonic busy periods; for the analysis only
                periods = sorted(int(math.exp(rng.uniform(math.log(2 * per / MS), math.log(2000)))) * MS for _ in range(tpp))
            us2 = uunifast(rng, tpp, 1.0, 0.01 if tpp < 20 else 0.0)
            w = [(s, l) for s, l, p in win if p == pid]
            while True:
                ts = []
                for k in range(tpp):
                    C = max(2000, int(us2[k] * load * bud / per * periods[k]))
                    ts.append({"prio": k, "period": periods[k], "deadline": periods[k], "wcet": C})
                R = rta_peer.rta_partition(major, w, [(t["wcet"], t["period"], t["deadline"]) for t in ts])
                if all(r is not None for r, _ in R):
                    break
                load *= 0.98
            for t in ts:
                t = {"id": len(tasks), "partition": pid, **t, "bcet": max(1000, int(t["wcet"] * rng.uniform(0.3, 0.8)))}
                parts[pid]["tasks"].append(t["id"])
                tasks.append(t)
    chans, used = [], set()
    while len(chans) < ntask // 2:
        a, b = rng.randrange(ntask), rng.randrange(ntask)
        if tasks[a]["partition"] == tasks[b]["partition"] or (a, b) in used:
            continue
        used.add((a, b))
        kind = "sampling" if rng.random() < 0.7 else "queuing"
        chans.append({"id": len(chans), "kind": kind, "src": a, "dst": b, "depth": 1 if kind == "sampling" else 4})
    hyper = major
    for t in tasks:
        hyper = hyper * t["period"] // math.gcd(hyper, t["period"])
    return {"format": "peer-system-1", "size": size, "seed": seed, "hyperperiod": hyper if hyper < 10**13 else 0,
            "cores": cores, "partitions": parts, "tasks": tasks, "channels": chans}


# ------------------------------------------------------------------ chains
def gen_chains(size, seed):
    rng = random.Random(repr((seed, size, "chains")))
    nchain, maxlen = {"small": (20, 6), "large": (1000, 12)}[size]
    pool = [1, 2, 5, 10, 20, 50, 100, 200, 1000]          # ms, the classic automotive mix
    tasks = []
    for i in range(60 if size == "small" else 1200):
        T = rng.choice(pool) * MS
        off = rng.randrange(0, T, 10_000)
        tasks.append({"id": i, "period": T, "offset": off, "deadline": T})
    chains = [[t for t in rng.sample(range(len(tasks)), rng.randint(3, maxlen))] for _ in range(nchain)]
    return {"format": "peer-chains-1", "size": size, "seed": seed, "semantics": "LET: read at release, publish at release+deadline",
            "tasks": tasks, "chains": chains}


# ------------------------------------------------------------------ samples
def gen_samples(n, seed, path):
    import numpy as np
    g = np.random.default_rng(seed)
    # execution-time-like: base + two modes + a light Gumbel tail, ns
    x = 200_000 + g.gamma(9.0, 3_000.0, n) + (g.random(n) < 0.1) * 15_000 + g.gumbel(0.0, 1_500.0, n)
    x.astype("<f8").tofile(path)


def main():
    ap = argparse.ArgumentParser()
    sp = ap.add_subparsers(dest="cmd", required=True)
    a = sp.add_parser("system"); a.add_argument("--size", default="small"); a.add_argument("--seed", type=int, default=1); a.add_argument("-o", required=True)
    a = sp.add_parser("chains"); a.add_argument("--size", default="small"); a.add_argument("--seed", type=int, default=1); a.add_argument("-o", required=True)
    a = sp.add_parser("samples"); a.add_argument("--n", type=int, default=1_000_000); a.add_argument("--seed", type=int, default=1); a.add_argument("-o", required=True)
    a = sp.add_parser("trace"); a.add_argument("--mib", type=int, default=256); a.add_argument("--seed", type=int, default=1); a.add_argument("--dir", required=True); a.add_argument("--kinds", default="text,csv,ctf")
    z = ap.parse_args()
    if z.cmd == "samples":
        return gen_samples(z.n, z.seed, z.o)
    if z.cmd == "trace":
        os.makedirs(z.dir, exist_ok=True)
        return subprocess.check_call([common.build("gentrace.c"), z.dir, str(z.mib), str(z.seed), z.kinds], stdout=sys.stderr)
    made = gen_chains(z.size, z.seed) if z.cmd == "chains" else gen_system(z.size, z.seed)
    json.dump(made, open(z.o, "w"))


if __name__ == "__main__":
    sys.path.insert(0, HERE)
    main()
