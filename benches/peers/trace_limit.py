#!/usr/bin/env python3
"""Limits for trace import: trace_limit.py DIR [--threads 1]  (runs read, memcpy, lines, text, textcols, csv, ctf in turn)"""
import argparse, json, os, subprocess, sys
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import common
ap = argparse.ArgumentParser(); ap.add_argument("dir"); ap.add_argument("--threads", type=int, default=1); ap.add_argument("--modes", default="read,memcpy,lines,text,textcols,csv,ctf")
z = ap.parse_args()
exe = common.build("trace_limit.c")
out = []
for m in z.modes.split(","):
    f = {"csv": "trace.csv", "ctf": "ctf"}.get(m, "trace.txt")
    p = os.path.join(z.dir, f)
    if os.path.exists(p):
        out.append(json.loads(subprocess.check_output([exe, m, p, str(z.threads)])))
common.emit(out[0] if len(out) == 1 else out)
