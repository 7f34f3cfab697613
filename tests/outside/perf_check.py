"""Records two loads of known periods on one cpu, and compares what `cofferdam draft` makes of the recordings with the truth.

usage: perf_check.py COFFERDAM FOLDER JOBS

The loads have fixed real-time priorities, so that one displaces the other, and sleep until instants of the monotonic clock. They
are recorded three ways at once, each where this machine permits it: the scheduler's tracepoints by perf, perf's own switch
events, and the kernel's trace file. What is drafted is held against the loads' periods and numbers of jobs, and against sums
over the same lines by the reader below, which shares nothing with ours.
"""

import contextlib
import ctypes
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time

# Period and work in nanoseconds, priority. What is less urgent is displaced now and then.
LOADS = {"urgent load": (7_000_000, 500_000, 41), "load [0] 2": (10_000_000, 2_000_000, 40)}
CPU = min(os.sched_getaffinity(0))
MONOTONIC, ABSOLUTE = 1, 1
TRACEFS = "/sys/kernel/tracing"


class TooBusy(Exception):
    """What was recorded says too little."""


class Time(ctypes.Structure):
    _fields_ = [("seconds", ctypes.c_long), ("ns", ctypes.c_long)]


def load(name, jobs, begin_ns):
    """One job after each period's begin; says how many began when the next was due already."""
    period_ns, work_ns, priority = LOADS[name]
    os.sched_setaffinity(0, {CPU})
    os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(priority))
    sleep, merged = ctypes.CDLL(None).clock_nanosleep, 0
    rename(name)
    for job in range(jobs + 1):
        due_ns = begin_ns + job * period_ns
        merged += job > 0 and time.monotonic_ns() >= due_ns
        until = Time(due_ns // 10**9, due_ns % 10**9)
        sleep(MONOTONIC, ABSOLUTE, ctypes.byref(until), None)
        done_ns = time.thread_time_ns() + work_ns
        # The last one wakes up only to tell that the one before it is done.
        while job < jobs and time.thread_time_ns() < done_ns:
            pass
    rename("is over")
    print(merged)


def rename(name):
    with open("/proc/self/comm", "w") as comm:
        comm.write(name)


@contextlib.contextmanager
def perf(name, *what):
    command = ["perf", "record", "--quiet", "-C", str(CPU), "-k", "CLOCK_MONOTONIC", "-m", "2M", "-o", f"{name}.data", *what]
    recorder = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    time.sleep(1)
    if recorder.poll() is not None:
        raise OSError(" ".join(recorder.stderr.read().split()) or "perf ended at once")
    try:
        yield
    finally:
        recorder.send_signal(signal.SIGINT)
        recorder.communicate()
    with open(f"{name}.txt", "w") as text:
        script = ["perf", "script", "--ns", "--show-lost-events", "-i", f"{name}.data"]
        subprocess.run(script + ["--show-switch-events"] * ("--switch-events" in what), stdout=text, check=True)


def tracepoints():
    return perf("tracepoints", "-e", "sched:sched_switch,sched:sched_waking")


def switch_events():
    return perf("switch-events", "-e", "dummy", "--switch-events")


@contextlib.contextmanager
def trace_file():
    instance = f"{TRACEFS}/instances/cofferdam-outside-{os.getpid()}"
    os.mkdir(instance)
    try:
        events = [f"events/sched/{event}/enable" for event in ("sched_switch", "sched_waking")]
        for file, value in [("trace_clock", "mono"), ("buffer_size_kb", "16384"), ("tracing_cpumask", f"{1 << CPU:x}"), *((event, "1") for event in events)]:
            with open(f"{instance}/{file}", "w") as setting:
                setting.write(value)
        yield
        with open(f"{instance}/tracing_on", "w") as setting:
            setting.write("0")
        shutil.copyfile(f"{instance}/trace", "trace-file.txt")
    finally:
        os.rmdir(instance)


def record(jobs):
    """The names of the recordings that could be made."""
    made = []
    with contextlib.ExitStack() as under_way:
        for name, begin in [("tracepoints", tracepoints), ("switch-events", switch_events), ("trace-file", trace_file)]:
            try:
                under_way.enter_context(begin())
                made.append(name)
            except OSError as why:
                print(f"{name}: cannot be recorded here: {why}", file=sys.stderr)
        if not made:
            sys.exit("nothing can be recorded: neither perf nor the kernel's tracing may be used")
        begin_ns = str(time.monotonic_ns() + 500_000_000)
        command = [sys.executable, os.path.abspath(__file__), "--load"]
        started = [
            subprocess.Popen([*command, name, str(number), begin_ns], stdout=subprocess.PIPE, text=True)
            for name, number in numbers(jobs).items()
        ]
        said = [process.communicate()[0].strip() for process in started]
        if any(process.returncode for process in started):
            sys.exit("a load could not be run: it needs the right to real-time priority")
        time.sleep(0.3)
    if any(one != "0" for one in said):
        raise TooBusy("a job was not done when the next was due")
    return made


def numbers(jobs):
    """As many jobs of each as take the time of so many of the longest period."""
    longest = max(period for period, _, _ in LOADS.values())
    return {name: jobs * longest // period for name, (period, _, _) in LOADS.items()}


HEAD = r"^\s*(?P<who>.*?)[- ]\s*(?P<id>-?\d+)\s+\[(?P<cpu>\d+)\].*?\s(?P<s>\d+)\.(?P<f>\d+): "
SWITCH = re.compile(
    HEAD + r".*sched_switch: .*prev_comm=(?P<from>.*) prev_pid=(?P<left>\d+) .* prev_state=(?P<state>\S+) "
    r"==> next_comm=(?P<to>.*) next_pid=(?P<on>\d+) "
)
WAKING = re.compile(HEAD + r".*sched_waking: comm=(?P<woken>.*) pid=")
HALF = re.compile(HEAD + r"PERF_RECORD_SWITCH\S* (?P<way>IN|OUT) +(?P<preempt>preempt)?")


class Read:
    """What the lines of one recording say of a load. Of what a gap touches nothing is taken: jobs count that were seen from
    their arrival on, and only once a job was done and the load waited."""

    def __init__(self):
        self.rows, self.jobs, self.slices = [[]], [], []
        self.began, self.under_way, self.is_paired, self.waits, self.pauses = None, [], False, False, 0

    def wakes(self, at):
        self.is_paired |= self.waits
        self.waits = False
        self.under_way.append([at, 0, self.is_paired])
        last = self.rows[-1][-1:]
        if last and at - last[0] > 1.5 * self.period_ns:
            self.pauses += 1
            self.rows.append([])
        self.rows[-1].append(at)

    def comes(self, at):
        self.began = at
        if not self.under_way:
            self.is_paired = False
            self.under_way.append([None, 0, False])

    def leaves(self, at, is_done):
        if self.began is not None:
            self.slices.append((self.began, at))
            self.under_way[0][1] += at - self.began
        self.began = None
        if is_done:
            _, executed, is_whole = self.under_way.pop(0) if self.under_way else (None, 0, False)
            self.jobs += [executed] * is_whole
            self.waits = not self.is_paired and not self.under_way

    def loses(self):
        self.began, self.under_way, self.is_paired, self.waits = None, [], False, False
        self.rows.append([])

    def spread(self, period_ns):
        """By how much arrivals of a row without a gap lie off a period."""
        off = [[at - number * period_ns for number, at in enumerate(row)] for row in self.rows if len(row) > 1]
        return max(max(row) - min(row) for row in off)


def read(file):
    """The loads by name, the instants of the first and the last line, and how often switches are missing."""
    loads, instants, on, gaps = {name: Read() for name in LOADS}, [], None, 0
    for name, one in loads.items():
        one.period_ns = LOADS[name][0]
    with open(file, errors="replace") as lines:
        for line in lines:
            if "LOST" in line:
                raise TooBusy(f"{file}: the recorder lost events")
            found = SWITCH.match(line) or HALF.match(line) or WAKING.match(line)
            if not found:
                continue
            told = found.groupdict()
            at = int(told["s"]) * 10**9 + int(told["f"].ljust(9, "0"))
            instants.append(at)
            if told.get("woken") in loads:
                loads[told["woken"]].wakes(at)
            way = told.get("way")
            if way:
                # Between the halves nobody is on the cpu; one that is gone has no number.
                told["left"], told["on"] = (told["id"], "0") if way == "OUT" else ("0", told["id"])
            if told.get("on"):
                if on not in (None, told["left"]) and told["left"] != "-1":
                    gaps += 1
                    for one in loads.values():
                        one.loses()
                on = told["on"]
            leaving, coming, is_done = told.get("from"), told.get("to"), not (told.get("state") or "S").startswith("R")
            if way:
                leaving, coming = (told["who"].rstrip(), None) if way == "OUT" else (None, told["who"].rstrip())
                is_done = not told["preempt"]
            if leaving is not None:
                # A load that is over has another name as it leaves.
                for load, one in loads.items():
                    if load == leaving or one.began is not None:
                        one.leaves(at, is_done and load == leaving)
            if coming in loads:
                loads[coming].comes(at)
    return loads, (instants[0], instants[-1]), gaps


def in_spans(slices, ends, span_ns=100_000_000):
    """The least and the most executed in whole spans of the recording, and their number."""
    count = (ends[1] - ends[0]) // span_ns
    executed = [0] * count
    for begin, end in slices:
        for span in range((begin - ends[0]) // span_ns, min((end - 1 - ends[0]) // span_ns, count - 1) + 1):
            from_ns = ends[0] + span * span_ns
            executed[span] += min(end, from_ns + span_ns) - max(begin, from_ns)
    return min(executed), max(executed), count


def drafted(cofferdam, name):
    with open("map.toml", "w") as map_file:
        for number, load in enumerate(LOADS):
            map_file.write(f'[[thread]]\nname = "{load}"\ntask = "P{number}.load"\njobs = true\n')
    shutil.rmtree(f"{name}-draft", ignore_errors=True)
    words = ["draft", f"{name}.txt", "--map", "map.toml", "--out", f"{name}-draft", "--format", "json"]
    run = subprocess.run([cofferdam, *words], stdout=subprocess.PIPE, check=True)
    with open(f"{name}-draft/measured.csv") as table:
        rows = [line.strip().split(",") for line in table]
    busy = {row[0]: (int(row[3]), int(row[4]), int(row[6])) for row in rows if row[1] == "execution in 100 ms"}
    return json.loads(run.stdout), busy


def expect(what, ours, theirs):
    if ours != theirs:
        sys.exit(f"{what}: drafted {ours}, but {theirs} by the reader from outside")


def check(name, answer, busy, jobs):
    """Compares one recording; the jobs of each load that were compared."""
    loads, ends, gaps = read(f"{name}.txt")
    expect(f"{name}: gaps", answer["gaps"], gaps)
    for number, (load, lines) in enumerate(loads.items()):
        of = f"{name}: {load}"
        if name == "switch-events":
            # They tell of no waking, so of no arrival; each of the loads' sleeps but the first ends a job.
            expect(f"{of}: executed in spans", busy[f"P{number}"], in_spans(lines.slices, ends))
            least, most, count = busy[f"P{number}"]
            print(f"{of}: {least} ns to {most} ns executed in each of {count} spans of 100 ms, equal to the nanosecond")
        else:
            check_jobs(of, next(task for task in answer["measured"] if task["task"] == f"P{number}.load"), lines)
            if not gaps:
                expect(f"{of}: jobs", len(lines.jobs), jobs[load])
    if gaps:
        print(f"{name}: the kernel left out switches {gaps} times; what these gaps touch is left out by both")


def check_jobs(of, ours, lines):
    execution, found_ns, true_ns = ours["execution"], ours["period_ns"], lines.period_ns
    theirs = (len(lines.jobs), sum(lines.jobs), min(lines.jobs), max(lines.jobs))
    expect(f"{of}: jobs, executed", tuple(execution[key] for key in ("samples", "sum_ns", "least_ns", "most_ns")), theirs)
    if lines.pauses * 25 > len(lines.jobs):
        raise TooBusy(f"{of}: {lines.pauses} arrivals were not recorded, too many for a period")
    expect(f"{of}: has a period", found_ns is not None, True)
    expect(f"{of}: jitter", ours["jitter_ns"], lines.spread(found_ns))
    # A period has no more than twice the least spread, and the least is no more than that of the true one: over all steps of a
    # row the two periods part by no more than both spreads together.
    spread_ns, steps = lines.spread(true_ns), max(len(row) for row in lines.rows) - 1
    expect(f"{of}: period is within the jitter", abs(found_ns - true_ns) * steps <= 3 * spread_ns, True)
    print(
        f"{of}: period {found_ns} ns, true {true_ns} ns, arrivals spread {spread_ns} ns; "
        f"{theirs[0]} jobs, {theirs[1]} ns executed, equal to the nanosecond"
    )


def main():
    if sys.argv[1] == "--load":
        return load(sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
    cofferdam, folder, jobs = os.path.abspath(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    os.makedirs(folder, exist_ok=True)
    os.chdir(folder)
    for _ in range(5):
        try:
            made = record(jobs)
            for name in made:
                check(name, *drafted(cofferdam, name), numbers(jobs))
        except TooBusy as why:
            print(f"{why}: the machine is too busy; once more", file=sys.stderr)
        else:
            print(f"Equal in {len(made)} recordings of {sum(numbers(jobs).values())} jobs: {', '.join(made)}.")
            return None
    sys.exit("the machine is too busy for loads of known periods")


if __name__ == "__main__":
    main()
