"""The same systems in SimPy, a general-purpose simulation library, with the same draws: every task must come out the same.

Usage: simpy_check.py SYSTEMS.json

Of the project it knows the words of docs/semantics.md and the formula of the draws, nothing else. Within one nanosecond
things happen in five slots: completions, window ends, arrivals and releases, window starts, dispatch.
"""

import json
import sys

import simpy

MASK = (1 << 64) - 1
BY_SEED, BY_RUN, BY_SUBJECT = 0x9E3779B97F4A7C15, 0xD1B54A32D192ED03, 0x8CB92BA72F3D8DD7
BY_NUMBER, BY_PURPOSE = 0xABC98388FB8FAC03, 0xA0761D6478BD642F
EXECUTION, PHASE, JITTER = 0, 1, 2

SLOTS = 8
COMPLETION, WINDOW_END, RELEASE, WINDOW_START, DISPATCH = range(5)


def finalise(x):
    x ^= x >> 30
    x = x * 0xBF58476D1CE4E5B9 & MASK
    x ^= x >> 27
    x = x * 0x94D049BB133111EB & MASK
    return x ^ (x >> 31)


class Draw:
    def __init__(self, seed, run):
        self.base = seed * BY_SEED + run * BY_RUN

    def between(self, purpose, subject, number, least, most):
        place = self.base + subject * BY_SUBJECT + number * BY_NUMBER + purpose * BY_PURPOSE
        return least + ((finalise(place & MASK) >> 32) * (max(most - least, 0) + 1) >> 32)


class Job:
    def __init__(self, task, arrival, left):
        self.task, self.arrival, self.left, self.begun = task, arrival, left, False


class Guest:
    """A partition: one job at a time, whenever it has its core."""

    def __init__(self, env, policy):
        self.env, self.policy = env, policy
        self.queues = {}
        self.usable = False
        self.running = False
        self.idle = None
        self.process = env.process(self.run())

    def disturb(self):
        """Something has changed: whoever runs or waits looks again."""
        if self.running:
            self.process.interrupt()
            self.running = False
        elif self.idle is not None and not self.idle.triggered:
            self.idle.succeed()

    def release(self, job):
        self.queues.setdefault(job.task["index"], []).append(job)
        self.disturb()

    def choose(self):
        fronts = [queue[0] for queue in self.queues.values() if queue]
        begun = [job for job in fronts if job.begun]
        if not self.usable or not fronts:
            return None
        if self.policy == "cooperative" and begun:
            return begun[0]
        equals = lambda job: (not job.begun, job.arrival, job.task["index"])
        if self.policy == "EDF":
            return min(fronts, key=lambda job: (job.arrival + job.task["deadline"], equals(job)))
        return min(fronts, key=lambda job: (-job.task["priority"], equals(job)))

    def run(self):
        while True:
            slot = self.env.now % SLOTS
            if slot < DISPATCH:
                yield self.env.timeout(DISPATCH - slot)
            job = self.choose()
            if job is None:
                self.idle = self.env.event()
                yield self.idle
                self.idle = None
                continue
            job.begun, since, self.running = True, self.env.now // SLOTS, True
            try:
                yield self.env.timeout(job.left * SLOTS - DISPATCH + COMPLETION)
                self.running = False
                self.queues[job.task["index"]].pop(0)
                job.task["responses"].append(self.env.now // SLOTS - job.arrival)
            except simpy.Interrupt:
                job.left -= self.env.now // SLOTS - since


def until(env, instant, slot):
    return env.timeout(instant * SLOTS + slot - env.now)


def windows(env, guests, frame, table):
    """The windows of a core, frame after frame."""
    begin = 0
    while True:
        for start, end, partition, head in table:
            if start + head < end:
                yield until(env, begin + start + head, WINDOW_START)
                guests[partition].usable = True
                guests[partition].disturb()
                yield until(env, begin + end, WINDOW_END)
                guests[partition].usable = False
                guests[partition].disturb()
        begin += frame


def arrivals(env, guest, task, draw):
    """The jobs of a task, each released within its jitter."""
    subject, period, number = task["index"], task["period"], 0
    first = task["offset"]
    if first is None:
        first = draw.between(PHASE, subject, 0, 0, period - 1)
    while True:
        arrival = first + number * period
        jitter = draw.between(JITTER, subject, number, 0, task["jitter"]) if task["jitter"] else 0
        yield until(env, arrival + jitter, RELEASE)
        execution = draw.between(EXECUTION, subject, number, task["least"], task["most"])
        guest.release(Job(task, arrival, execution))
        number += 1


def simulate(system):
    env = simpy.Environment()
    guests = [Guest(env, policy) for policy in system["partitions"]]
    draw = Draw(system["seed"], system["run"])
    for table in system["cores"]:
        env.process(windows(env, guests, system["frame"], table))
    for index, task in enumerate(system["tasks"]):
        task["index"], task["responses"] = index, []
        env.process(arrivals(env, guests[task["partition"]], task, draw))
    env.run(until=system["span"] * SLOTS)


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        systems = json.load(file)["systems"]
    wrong = tasks = jobs = 0
    for number, system in enumerate(systems):
        simulate(system)
        for task in system["tasks"]:
            responses = task["responses"]
            theirs = (len(responses), sum(responses), max(responses, default=0))
            ours = (task["seen"]["jobs"], task["seen"]["sum"], task["seen"]["most"])
            tasks, jobs = tasks + 1, jobs + len(responses)
            if theirs != ours:
                wrong += 1
                print(f"system {number}, task {task['label']}: jobs, sum, most are {theirs} in SimPy and {ours} here")
    print(f"{len(systems)} systems, {tasks} tasks, {jobs} jobs: {wrong} tasks differ")
    if wrong or len(systems) < 10 or jobs < 10_000:
        sys.exit(1)


if __name__ == "__main__":
    main()
