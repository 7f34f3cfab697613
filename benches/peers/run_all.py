#!/usr/bin/env python3
"""Run every peer and limit side by side, one after another, and print one JSON object a line.

 run_all.py --work DIR [--only des,rta,chains,trace,evt] [--trace-mib 2048] [--quick] [--ours CMD]
Instances are generated in DIR when missing. --quick: fewer simulated runs of SimPy, no sensitivity of the Python peer on the stress instance,
a small trace (128 MiB)."""
import argparse, json, os, subprocess, sys, time
HERE = os.path.dirname(os.path.abspath(__file__))
ap = argparse.ArgumentParser(); ap.add_argument("--work", required=True); ap.add_argument("--only", default="des,rta,chains,trace,evt"); ap.add_argument("--trace-mib", type=int, default=2048)
ap.add_argument("--quick", action="store_true")
ap.add_argument("--ours", default="", help="shell command of the measured tool, run after each area's peers; {area} and {file} are replaced; prints JSON")
z = ap.parse_args()
W = z.work; os.makedirs(W, exist_ok=True)


def run(*a):
    t = time.time()
    r = subprocess.run([sys.executable, os.path.join(HERE, a[0]), *map(str, a[1:])], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    try:
        d = json.loads(r.stdout)
    except ValueError:
        d = {"failed": r.returncode, "stderr": r.stderr.decode()[-300:]}
    print(json.dumps({"cmd": " ".join([a[0], *[str(v).replace(W + "/", "") for v in a[1:]]]), "wall_s": round(time.time() - t, 2), **d}), flush=True)


def ours(area, f, more=""):
    if z.ours:
        t = time.time()
        o = subprocess.run(z.ours.format(area=area, file=f) + more, shell=True, stdout=subprocess.PIPE).stdout
        try:
            print(json.dumps({"cmd": "ours " + area + more, "wall_s": round(time.time() - t, 3), **json.loads(o)}), flush=True)
        except ValueError:
            print(json.dumps({"cmd": "ours " + area, "failed": o.decode()[-300:]}), flush=True)


def gen(name, *a):
    p = os.path.join(W, name)
    if not os.path.exists(p):
        subprocess.check_call([sys.executable, os.path.join(HERE, "gen.py"), *map(str, a), "-o", p])
    return p


only = z.only.split(",")
S = {s: gen(f"sys-{s}.json", "system", "--size", s, "--seed", 1) for s in ("small", "large", "stress") if "rta" in only or "des" in only and s != "stress"}
if "des" in only:
    for s, n, k in (("small", 300, 40000), ("large", 20, 2000)):
        run("des_simpy.py", S[s], "--runs", n if not z.quick else n // 5)
        for e in ("heap", "table"):
            for th in (1, 2):
                run("des_limit.py", S[s], "--engine", e, "--runs", k // (10 if e == "heap" else 1), "--threads", th)
        for extra in ("", " --faults"):
            ours("des", S[s], f" --runs {k}{extra}")
        ours("des", S[s], f" --runs {k // 10} --engine general")
if "rta" in only:
    for s in S:
        run("rta_peer.py", S[s], "--reps", 3, *(["--sens"] if s != "stress" or not z.quick else []))
        run("rta_peer.py", S[s], "--reps", 3, "--method", "numpy")
        run("rta_limit.py", S[s], "--sens", "--reps", {"small": 200000, "large": 5000, "stress": 500}[s])
        ours("rta", S[s])
if "chains" in only:
    for s in ("small", "large"):
        p = gen(f"chains-{s}.json", "chains", "--size", s, "--seed", 1)
        run("chains_peer.py", p)
        for m in ("full", "bottleneck"):
            run("chains_limit.py", p, "--mode", m, "--reps", {"small": 20000, "large": 2000}[s] if m == "bottleneck" else 20)
        ours("chains", p)
if "evt" in only:
    p = gen("samples.f64", "samples", "--n", 1000000, "--seed", 1)
    run("evt_peer.py", p, "--boot", 20 if not z.quick else 3, *([] if z.quick else ["--full"]))
    run("evt_limit.py", p, "--boot", 1000)
    ours("evt", p, " --boot 1000")
if "trace" in only:
    d = os.path.join(W, f"trace{128 if z.quick else z.trace_mib}")
    if not os.path.exists(d):
        subprocess.check_call([sys.executable, os.path.join(HERE, "gen.py"), "trace", "--mib", d.rpartition("trace")[2], "--seed", "1", "--dir", d])
    for t in ("mawk-text", "polars-csv"):
        run("trace_peer.py", d, "--tool", t)
    for th in (1, 2):
        for m in ("textcols", "csv"):
            run("trace_limit.py", d, "--threads", th, "--modes", m)
        for f in ("text", "csv"):
            ours("trace", d, f" --threads {th} --format {f}")
