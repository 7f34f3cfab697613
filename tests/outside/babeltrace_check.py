"""Writes random traces of the Common Trace Format 1.8 and compares what two readers make of each.

usage: babeltrace_check.py READER FOLDER TRACES

The generator knows neither reader. Its traces have odd sizes and alignments, both orders of bytes, clocks of 27, 32 and 64 bits
that wrap, headers of three kinds, packets with padding, and counters of discarded events.
"""

import os
import random
import shutil
import subprocess
import sys

import bt2

WORDS = ["window_begins", "arrives", "completes", "fault_begins", "writes"]


class Bits:
    """A packet under construction, bit by bit in the order in which the trace's byte order counts them."""

    def __init__(self, big):
        self.big, self.bits = big, []

    def align(self, bits):
        self.bits.extend([0] * (-len(self.bits) % bits))

    def number(self, value, size, align, turned=False):
        self.align(align)
        value &= (1 << size) - 1
        if turned:
            value = int.from_bytes(value.to_bytes(size // 8, "little"), "big")
        places = range(size - 1, -1, -1) if self.big else range(size)
        self.bits.extend((value >> place) & 1 for place in places)

    def bytes(self):
        whole = self.bits + [0] * (-len(self.bits) % 8)
        out = bytearray()
        for at in range(0, len(whole), 8):
            eight = whole[at : at + 8] if self.big else whole[at : at + 8][::-1]
            out.append(int("".join(map(str, eight)), 2))
        return bytes(out)


def integer(size, align, signed=False, more=""):
    return f"integer {{ size = {size}; align = {align}; signed = {str(signed).lower()}; {more}}}"


class Trace:
    """The layout of one trace, and values that fit it."""

    def __init__(self, seed):
        self.rng = random.Random(seed)
        self.big = self.rng.random() < 0.5
        self.freq = self.rng.choice([1_000_000_000, 1_000_000_000, 1_000_000, 32_768, 19_200_000, 999_999_937])
        self.offset_s, self.offset = self.rng.choice([(0, 0), (1_700_000_000, 5), (0, 1_351_530_929_945_824_323), (7, 123)])
        if self.offset > 1 << 50 and self.freq != 1_000_000_000:
            self.offset = 12_345
        self.header = self.rng.choice(["plain", "compact", "large", "odd"])
        self.loose = self.rng.random() < 0.5
        self.named = 0
        self.header_text = self.headers()
        self.context = [field for field in [("vtid", self.any_integer())] if self.rng.random() < 0.5]
        self.counter = self.rng.choice([None, 32, 64])
        self.events = [self.event(number) for number in range(self.rng.randint(1, 8))]
        if self.header == "plain":
            self.events = [dict(event, id=at * 3) for at, event in enumerate(self.events)]

    # Types: the text before the field's name, the text behind it, a function that writes a value, and the alignment.
    def any_integer(self):
        rng = self.rng
        if rng.random() < 0.5:
            size, align = rng.choice([8, 16, 32, 64]), rng.choice([8, 8, 16, 32, 64])
        else:
            size, align = rng.randint(1, 64), rng.choice([1, 1, 2, 4, 8, 32])
        signed = rng.random() < 0.3
        turned = size % 8 == 0 and align >= 8 and rng.random() < 0.3
        order = f"byte_order = {'le' if self.big else 'be'}; " if turned else ""
        more = order + rng.choice(["", "base = 16; ", "base = 10; "])
        return integer(size, align, signed, more), "", lambda out, rng: out.number(rng.getrandbits(size), size, align, turned), align

    def name(self):
        self.named += 1
        return f"x{self.named}"

    def text(self, words):
        """A field that holds one of these words: a string, characters of a fixed number, or of a number that is said."""
        kind = self.rng.choice(["string", "fixed"])

        def write(out, rng, value):
            raw = value.encode()
            if kind == "fixed":
                raw = raw.ljust(16, b"\0")
            else:
                raw += b"\0"
            for byte in raw:
                out.number(byte, 8, 8)

        values = lambda out, rng: write(out, rng, rng.choice(words))
        char = integer(8, 8, False, "encoding = UTF8; ")
        return ("string", "", values, 8) if kind == "string" else (char, "[16]", values, 8)

    def noise(self, deep=0):
        """Fields that no reader makes anything of, but must pass over."""
        rng = self.rng
        kinds = ["integer", "integer", "float", "string", "array", "sequence", "enum"] + ["struct", "variant"] * (deep < 2)
        kind = rng.choice(kinds)
        if kind == "integer":
            return [(self.name(), self.any_integer())]
        if kind == "float":
            size, dig = rng.choice([(32, (8, 24)), (64, (11, 53))])
            align = rng.choice([8, 32, 64])
            text = f"floating_point {{ exp_dig = {dig[0]}; mant_dig = {dig[1]}; align = {align}; }}"
            return [(self.name(), (text, "", lambda out, rng: out.number(rng.getrandbits(size), size, align), align))]
        if kind == "string":
            write = lambda out, rng: [out.number(byte, 8, 8) for byte in b"ab\0"[rng.randint(0, 2) :]]
            return [(self.name(), ("string", "", write, 8))]
        if kind == "array":
            count, (text, _, write, align) = rng.randint(0, 5), self.any_integer()
            put = lambda out, rng: (out.align(align), [write(out, rng) for _ in range(count)])
            return [(self.name(), (text, f"[{count}]", put, align))]
        if kind == "sequence":
            length, (text, _, write, align) = self.name(), self.any_integer()
            state = {}

            def put_length(out, rng):
                state["n"] = rng.randint(0, 5)
                out.number(state["n"], 11, 1)

            def put(out, rng):
                out.align(align)
                for _ in range(state["n"]):
                    write(out, rng)

            return [(length, (integer(11, 1), "", put_length, 1)), (self.name(), (text, f"[ {length} ]", put, align))]
        if kind == "enum":
            text = f"enum : {integer(5, 1)} {{ A, B = 4, \"C c\" = 7 ... 12, D }}"
            return [(self.name(), (text, "", lambda out, rng: out.number(rng.choice([0, 4, 8, 13]), 5, 1), 1))]
        if kind == "struct":
            fields = [field for _ in range(rng.randint(1, 3)) for field in self.noise(deep + 1)]
            align = rng.choice([1, 8, 64])
            text, least, put = self.struct(fields)
            least = max(align, least)
            return [(self.name(), (f"{text} align({align})", "", lambda out, rng: (out.align(least), put(out, rng)), least))]
        tag, state = self.name(), {}
        options = [self.any_integer() for _ in range(3)]

        def put_tag(out, rng):
            state["n"] = rng.randint(0, 9)
            out.number(state["n"], 7, 1)

        enum = f"enum : {integer(7, 1)} {{ A, B = 1 ... 4, C = 5 ... 9 }}"
        text = f"variant <{tag}> {{ " + " ".join(f"{option[0]} {name};" for name, option in zip("ABC", options)) + " }"
        choose = lambda out, rng: options[0 if state["n"] == 0 else 1 if state["n"] < 5 else 2][2](out, rng)
        return [(tag, (enum, "", put_tag, 1)), (self.name(), (text, "", choose, 1))]

    def struct(self, fields):
        """The text of a struct, its alignment and how to write it."""
        text = "struct { " + " ".join(f"{kind[0]} {name}{kind[1]};" for name, kind in fields) + " }"
        least = max([kind[3] for _, kind in fields], default=1)

        def put(out, rng):
            out.align(least)
            for _, kind in fields:
                kind[2](out, rng)

        return text, least, put

    def headers(self):
        stamp = lambda size, align: integer(size, align, False, "map = clock.mono.value; ")
        align = "" if self.loose else " align(8)"
        if self.header == "plain":
            return f"struct {{ {integer(16, 8)} id; {stamp(64, 8)} timestamp; }}{align}"
        if self.header == "odd":
            return f"struct {{ {stamp(37, 1)} timestamp; {integer(3, 1)} id; }}"
        if self.header == "compact":
            few, wide, small, split = 5, integer(32, 8), stamp(27, 1), "0 ... 30, extended = 31"
        else:
            few, wide, small, split = 16, integer(32, 8), stamp(32, 8), "0 ... 65534, extended = 65535"
        tag = f"enum : {integer(few, 8 if few == 16 else 1)} {{ compact = {split} }} id"
        extended = f"struct {{ {wide} id; {stamp(64, 8)} timestamp; }} extended"
        return f"struct {{ {tag}; variant <id> {{ struct {{ {small} timestamp; }} compact; {extended}; }} v; }}{align}"

    def put_header(self, out, number, now, before):
        if self.header == "plain":
            out.align(8)
            out.number(number, 16, 8)
            out.number(now, 64, 8)
        elif self.header == "odd":
            out.number(now, 37, 1)
            out.number(number, 3, 1)
        else:
            few, bits, align = (5, 27, 1) if self.header == "compact" else (16, 32, 8)
            out.align(8 if not self.loose or few == 16 else 1)
            if now - before >= 1 << bits or self.rng.random() < 0.2:
                out.number((1 << few) - 1, few, align)
                out.align(8)
                out.number(number, 32, 8)
                out.number(now, 64, 8)
            else:
                out.number(number, few, align)
                out.number(now, bits, align)

    def event(self, number):
        rng = self.rng
        thread = lambda prefix: [(f"{prefix}comm", self.text(["a", "kworker/0:1", "swapper/0", "sixteen-bytes-16"])), (f"{prefix}tid", self.small(32, True))]
        kind = rng.choice(["sched_switch", "sched_switch", "sched_wakeup", "sched_migrate_task", "irq_handler_entry", "irq_handler_exit", "word", "mark", "other"])
        name = kind
        if kind == "sched_switch":
            fields = thread("prev_") + [("prev_prio", self.small(32, True)), ("prev_state", self.state())] + thread("next_")
        elif kind == "sched_wakeup":
            fields = thread("") + [("target_cpu", self.small(32, True))]
        elif kind == "sched_migrate_task":
            fields = thread("") + [("orig_cpu", self.small(32, True)), ("dest_cpu", self.small(32, True))]
        elif kind == "irq_handler_entry":
            fields = [("irq", self.small(32, True))]
        elif kind == "irq_handler_exit":
            fields = [("irq", self.small(32, True)), ("ret", self.small(32, True))]
        elif kind == "word":
            name = "board:" + rng.choice(WORDS)
            fields = [("who", self.text(["nav", "helm", "sonar"])), ("number", self.small(rng.choice([16, 32, 64]), False))]
        elif kind == "mark":
            fields = [("text", self.text(["begin", "here it is"]))]
        else:
            name, fields = f"other_{number}", []
        if rng.random() < 0.7:
            for _ in range(rng.randint(1, 3)):
                at = rng.randint(0, len(fields))
                fields[at:at] = self.noise()
        if rng.random() < 0.5:
            fields = [("_" + field, kind) if not field.startswith("x") else (field, kind) for field, kind in fields]
        return {"id": number, "name": name, "fields": fields}

    def small(self, size, signed):
        align = self.rng.choice([1, 8, 32])
        return integer(size, align, signed), "", lambda out, rng: out.number(rng.randint(0, 5), size, align), align

    def state(self):
        return integer(64, 8, True), "", lambda out, rng: out.number(rng.choice([0, 1, 2, 16, 32, 64, 256, 1026]), 64, 8), 8

    def metadata(self):
        order = "be" if self.big else "le"
        wide = integer(64, 8)
        context = f"{wide} timestamp_begin; {wide} timestamp_end; {wide} content_size; {wide} packet_size; {integer(32, 8)} cpu_id;"
        if self.counter:
            context += f" {integer(self.counter, 8)} events_discarded;"
        text = "/* CTF 1.8 */\n"
        text += f"trace {{ major = 1; minor = 8; byte_order = {order}; packet.header := struct {{ {integer(32, 8)} magic; {integer(8, 8)} uuid[16]; {integer(32, 8)} stream_id; }};"
        text += ' uuid = "00010203-0405-0607-0809-0a0b0c0d0e0f"; };\n'
        text += 'env { hostname = "none"; tracer_major = 2; };\n'
        text += f"clock {{ name = mono; freq = {self.freq}; offset_s = {self.offset_s}; offset = {self.offset}; }};\n"
        text += f"stream {{ id = 5; event.header := {self.header_text}; packet.context := struct {{ {context} }};"
        if self.context:
            text += f" event.context := {self.struct(self.context)[0]};"
        text += " };\n"
        for event in self.events:
            fields = self.struct(event["fields"])[0]
            text += f'event {{ name = "{event["name"]}"; id = {event["id"]}; stream_id = 5; loglevel = 13; fields := {fields}; }};\n'
        return text

    def stream(self, cpu):
        """The packets of one cpu."""
        rng, file = self.rng, b""
        now, discarded = rng.randint(0, 1 << 34), rng.choice([0, 0, 3])
        before = now
        for packet in range(rng.randint(1, 4)):
            discarded += rng.choice([0, 0, 0, 1, 5])
            begins = now
            out, at = Bits(self.big), {}
            out.number(0xC1FC1FC1, 32, 8)
            for byte in range(16):
                out.number(byte, 8, 8)
            out.number(5, 32, 8)
            for key in ["begin", "end", "content", "packet"]:
                at[key] = len(out.bits)
                out.number(0, 64, 8)
            out.number(cpu, 32, 8)
            if self.counter:
                out.number(discarded, self.counter, 8)
            before = begins
            for _ in range(rng.randint(0, 40)):
                event = rng.choice(self.events)
                self.put_header(out, event["id"], now, before)
                before = now
                if self.context:
                    self.struct(self.context)[2](out, rng)
                self.struct(event["fields"])[2](out, rng)
                now += self.step()
            ends = before
            content = len(out.bits)
            out.align(8)
            out.bits.extend([0] * (8 * rng.randint(0, 30)))
            sizes = {"begin": begins, "end": ends, "content": content, "packet": len(out.bits)}
            for key, value in sizes.items():
                patch = Bits(self.big)
                patch.number(value, 64, 8)
                out.bits[at[key] : at[key] + 64] = patch.bits
            file += out.bytes()
        return file

    def step(self):
        """How long to the next event: short, or so long that a clock of few bits wraps nearly."""
        most = {"plain": 1 << 40, "odd": (1 << 37) - 1, "compact": 1 << 29, "large": 1 << 33}[self.header]
        return self.rng.choice([0, 1, self.rng.randint(0, 1000), self.rng.randint(0, most)])

    def write(self, folder):
        shutil.rmtree(folder, ignore_errors=True)
        os.makedirs(folder)
        with open(f"{folder}/metadata", "w") as file:
            file.write(self.metadata())
        for cpu in range(self.rng.randint(1, 4)):
            with open(f"{folder}/stream_{cpu}", "wb") as file:
                file.write(self.stream(cpu))


LEAVES = [(0x30, "Ended"), (0xFF, "Waits")]


def plain(value):
    return str(value).split("\0")[0] if isinstance(value, bt2._StringFieldConst) else int(value)


def outside(folder):
    """The lines that our reader should print, as babeltrace2 reads the trace; the counts of lost events apart."""
    lines, lost, unknown = [], [], {}
    for message in bt2.TraceCollectionMessageIterator(folder):
        if type(message) is bt2._DiscardedEventsMessageConst and message.count is not None:
            lost.append(int(message.count))
        if type(message) is not bt2._EventMessageConst:
            continue
        clock = message.default_clock_snapshot
        offset = clock.clock_class.offset
        at = offset.seconds * 10**9 + (offset.cycles + clock.value) * 10**9 // clock.clock_class.frequency
        event = message.event
        own = {key: event.payload_field[key] for key in (event.payload_field or {})}
        get = lambda key: plain(own.get(key, own.get("_" + key)))
        has = lambda key: key in own or "_" + key in own
        name = event.name.split(":")[-1]
        cpu = int(event.packet.context_field["cpu_id"])
        if name == "sched_switch":
            state = get("prev_state")
            leaves = next((leaves for mask, leaves in LEAVES if state & mask), "Ready")
            what = f"switch {get('prev_comm')}:{get('prev_tid')} {get('next_comm')}:{get('next_tid')} {leaves}"
        elif name == "sched_wakeup":
            what = f"wakes {get('comm')}:{get('tid')} {get('target_cpu')}"
        elif name == "sched_migrate_task":
            what = f"migrates {get('comm')}:{get('tid')} {get('dest_cpu')}"
        elif name in ("irq_handler_entry", "irq_handler_exit"):
            what = f"irq-{'begins' if name.endswith('entry') else 'ends'} {get('irq')}"
        elif name == "mark":
            what = f"mark {get('text')}"
        elif has("who"):
            what = f"told {name} {get('who')} {get('number')}"
        else:
            unknown[event.name] = unknown.get(event.name, 0) + 1
            continue
        lines.append((at, f"{at} {cpu} {what}"))
    return sorted(lines), sorted(lost), unknown


def inside(reader, folder):
    lines, lost, unknown = [], [], {}
    for line in subprocess.check_output([reader, folder], text=True).splitlines():
        words = line.split(" ")
        if words[0] == "unknown":
            unknown[words[1]] = int(words[2])
        elif words[0] in ("note", "refused"):
            if words[1] != "Lost":
                raise SystemExit(f"{folder}: {line}")
        elif words[2] == "lost":
            lost.extend([int(words[3])] if words[3] != "0" else [])
        else:
            if lines and int(words[0]) < lines[-1][0]:
                raise SystemExit(f"{folder}: not in the order of time: {line}")
            lines.append((int(words[0]), line))
    return sorted(lines), sorted(lost), unknown


def main():
    reader, folder, traces = sys.argv[1], sys.argv[2], int(sys.argv[3])
    events = losses = others = 0
    for seed in range(traces):
        Trace(seed).write(folder)
        theirs, ours = outside(folder), inside(reader, folder)
        for what, left, right in zip(["events", "lost events", "unknown events"], theirs, ours):
            if left != right:
                differing = [pair for pair in zip(left, right) if pair[0] != pair[1]] if what == "events" else [(left, right)]
                raise SystemExit(f"trace {seed} ({folder}): {what} differ, {len(left)} and {len(right)}: {differing[:3]}")
        events, losses, others = events + len(ours[0]), losses + len(ours[1]), others + sum(ours[2].values())
    print(f"{traces} traces: {events} events, {losses} losses and {others} events of unknown kinds are the same in both readers")
    if not (events and losses and others):
        raise SystemExit("the generator has left something out")


main()
