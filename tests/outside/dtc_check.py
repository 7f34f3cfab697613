"""Writes random devicetree sources and compares what two readers make of each.

usage: dtc_check.py READER FOLDER TREES

The generator knows neither reader. Each source is compiled by `dtc`, and the flattened tree is taken apart here by the layout of
the Devicetree Specification v0.4, chapter 5. Every node, property, byte and reservation must be the same in ours. Where memory
lies, and what is reserved, is computed a second time here from the compiler's bytes. Broken sources must be refused by both.
"""

import os
import random
import shutil
import struct
import subprocess
import sys

OPERATORS = ["+", "-", "*", "/", "%", "&", "|", "^", "<<", ">>", "<", ">", "<=", ">=", "==", "!=", "&&", "||"]
BREAKS = [";", "{", "}", "<", ">", '"', "[", "]", "=", "(", ")", "&", "/bits/ 7 <1>", "X"]


class Source:
    """One random source, with pieces of its grammar in random order and layout."""

    def __init__(self, seed):
        self.rng = random.Random(seed)
        self.labels, self.paths, self.handles = [], [], set()
        self.count = 0

    def blank(self):
        return self.rng.choice([" ", " ", " ", "\n", "\t", " /* a; } */ ", " // b {\n"])

    def number(self, bits):
        value = self.rng.choice([0, 1, 7, 255, self.rng.getrandbits(bits)]) & ((1 << bits) - 1)
        forms = [str(value), hex(value), "0" + oct(value)[2:] if value else "0"]
        return self.rng.choice(forms + (["'%s'" % self.rng.choice(["a", "\\n", "\\x41", "\\101"])] if bits >= 8 else []))

    def expression(self, depth):
        if depth == 0 or self.rng.random() < 0.2:
            return self.number(16)
        kind = self.rng.randrange(6)
        one, other = self.expression(depth - 1), self.expression(depth - 1)
        if kind == 0:
            return "(%s)" % one
        if kind == 1:
            return self.rng.choice("-~!") + "(%s)" % one
        if kind == 2:
            return "(%s ? %s : %s)" % (self.expression(depth - 1), one, other)
        operator = self.rng.choice(OPERATORS)
        if operator in "/%":
            other = str(self.rng.randrange(1, 99))
        if operator in ("<<", ">>"):
            # What is added to the right side would shift by more than there are bits.
            return "((%s) %s %d)" % (one, operator, self.rng.randrange(0, 20))
        return "%s %s%s%s" % (one, operator, self.blank(), other)

    def masked(self, bits):
        return "((%s) & 0x%x)" % (self.expression(3), (1 << min(bits, 32)) - 1)

    def label(self):
        self.count += 1
        return "l%d" % self.count

    def cell(self, bits):
        pick = self.rng.random()
        if bits == 32 and pick < 0.15 and self.labels:
            return "&" + self.rng.choice(self.labels)
        if bits == 32 and pick < 0.2 and self.paths:
            return "&{%s}" % self.rng.choice(self.paths)
        text = self.masked(bits) if pick < 0.4 else self.number(bits)
        return (self.label() + ": " if self.rng.random() < 0.05 else "") + text

    def part(self):
        kind = self.rng.randrange(6)
        if kind == 0:
            letters = ["a", "Z", "0", " ", ",", "\\n", "\\t", "\\\\", '\\"', "\\x4a", "\\101", "{", "}", ";", "é"]
            return '"%s"' % "".join(self.rng.choice(letters) for _ in range(self.rng.randrange(8)))
        if kind == 1:
            return "[%s]" % "".join("%02x%s" % (self.rng.randrange(256), self.rng.choice(["", " "])) for _ in range(self.rng.randrange(6)))
        if kind == 2 and self.labels:
            return "&" + self.rng.choice(self.labels)
        bits = self.rng.choice([32, 32, 32, 8, 16, 64])
        head = "" if bits == 32 else "/bits/ %d " % bits
        return "%s<%s>" % (head, self.blank().join(self.cell(bits) for _ in range(self.rng.randrange(5))))

    def value(self):
        return ("," + self.blank()).join(self.part() for _ in range(self.rng.randrange(1, 4)))

    def body(self, depth, path, inside=""):
        lines = ["p%d%s;" % (n, "" if self.rng.random() < 0.2 else self.blank() + "= " + self.value()) for n in range(self.rng.randrange(4))]
        lines.append(inside)
        for n in range(self.rng.randrange(3) if depth else 0):
            name = "n%d@%x" % (n, n * 16) if self.rng.random() < 0.5 else "n,%d.x-y_z" % n
            below = path.rstrip("/") + "/" + name
            label = self.label()
            self.paths.append(below)
            self.labels.append(label)
            lines.append("%s: %s {%s};" % (label, name, self.body(depth - 1, below)))
        return "\n".join(lines)

    def memory(self):
        one = self.rng.choice([1, 2])
        cells = lambda value: "<%s>" % " ".join(hex(value >> (32 * (one - 1 - k)) & 0xFFFFFFFF) for k in range(one))
        limit = 30 if one == 1 else 40
        pair = lambda: "%s, %s" % (cells(self.rng.getrandbits(limit)), cells(self.rng.getrandbits(limit) + 1))
        lines = ["#address-cells = <%d>; #size-cells = <%d>;" % (one, one)]
        nodes = ["memory@%d { device_type = \"memory\"; reg = %s; };" % (n, pair()) for n in range(self.rng.randrange(3))]
        children = []
        for n in range(self.rng.randrange(4)):
            keys = self.rng.choice(["", "no-map;", "reusable;", 'status = "disabled";', 'status = "okay";'])
            where = self.rng.choice(["reg = %s;" % pair(), "reg = %s, %s;" % (pair(), pair()), "size = %s;" % cells(4096)])
            children.append("r%d { %s %s };" % (n, where, keys))
        reserved = "reserved-memory { %s ranges; %s };" % (lines[0], " ".join(children))
        bus = "soc { #address-cells = <1>; #size-cells = <1>; ranges = <0x1000>, %s, <0x10000>; " % cells(0x20000000)
        bus += "memory@2000 { device_type = \"memory\"; reg = <0x2000 0x100>; }; };"
        return lines[0], "\n".join(nodes + [reserved, bus])

    def text(self):
        keys, nodes = self.memory()
        body = self.body(3, "/")
        lines = ["/dts-v1/;"]
        lines += ["/memreserve/ %s (%s + 1);" % (self.number(40), self.number(30)) for _ in range(self.rng.randrange(2))]
        lines.append("/ { %s };" % body)
        for _ in range(self.rng.randrange(3)):
            if self.labels:
                name = self.rng.choice(self.labels)
                change = self.rng.choice(["p0 = %s;" % self.part(), "/delete-property/ p0;", "extra;", "inner { q; };"])
                lines.append("&%s { %s };" % (name, change))
        lines.append("/ { %s %s };" % (keys, nodes))
        return "\n".join(lines) + "\n"


def flattened(blob):
    """Nodes, properties and reservations of a flattened tree, as ours prints them."""
    _, _, structure, strings, reserve = struct.unpack_from(">5I", blob)
    lines = []
    while True:
        base, size = struct.unpack_from(">QQ", blob, reserve)
        reserve += 16
        if not base and not size:
            break
        lines.append("reserve\t%x\t%x" % (base, size))
    path, at = [], structure
    name_at = lambda place: blob[place : blob.index(b"\0", place)].decode()
    while True:
        token = struct.unpack_from(">I", blob, at)[0]
        at += 4
        if token == 1:
            name = name_at(at)
            at += len(name.encode()) + 4 & ~3
            path.append(name)
            lines.append("node\t/" + "/".join(path[1:]))
        elif token == 2:
            path.pop()
        elif token == 3:
            length, name = struct.unpack_from(">II", blob, at)
            value = blob[at + 8 : at + 8 + length]
            at += 8 + length + 3 & ~3
            lines.append("property\t/%s\t%s\t%s" % ("/".join(path[1:]), name_at(strings + name), value.hex()))
        elif token == 9:
            return lines


def facts(lines):
    """Memory and what is reserved, from the lines of the flattened tree alone."""
    nodes, reserves = {}, []
    for line in lines:
        kind, *rest = line.split("\t")
        if kind == "node":
            nodes[rest[0]] = {}
        elif kind == "property":
            nodes[rest[0]][rest[1]] = bytes.fromhex(rest[2])
        else:
            reserves.append((int(rest[0], 16), int(rest[1], 16)))
    width = lambda path, key, other: int.from_bytes(nodes[path].get(key, other.to_bytes(4, "big")), "big")
    above = lambda path: path.rsplit("/", 1)[0] or "/"
    okay = lambda node: node.get("status", b"okay\0") in (b"okay\0", b"ok\0")

    def split(value, widths):
        step, out = 4 * sum(widths), []
        for start in range(0, len(value), step):
            at, entry = start, []
            for count in widths:
                entry.append(int.from_bytes(value[at : at + 4 * count], "big"))
                at += 4 * count
            out.append(entry)
        return out

    def ranges(path, key):
        bus = above(path)
        widths = [width(bus, "#address-cells", 2), width(bus, "#size-cells", 1)]
        out = []
        for base, size in split(nodes[path][key], widths):
            at = bus
            while at != "/" and size:
                given = nodes[at]["ranges"]
                if given:
                    up = above(at)
                    three = [width(at, "#address-cells", 2), width(up, "#address-cells", 2), width(at, "#size-cells", 1)]
                    child, parent, _ = next(e for e in split(given, three) if e[0] <= base and base + size <= e[0] + e[2])
                    base += parent - child
                at = above(at)
            if size:
                out.append("%x+%x" % (base, size))
        return ",".join(out)

    out = []
    for path, node in nodes.items():
        if node.get("device_type") == b"memory\0" and okay(node):
            out.append("memory\t%s\t%s" % (path[1:], ranges(path, "reg")))
    for path, node in nodes.items():
        if above(path) == "/reserved-memory" and okay(node) and path != "/reserved-memory":
            words = ranges(path, "reg") if "reg" in node else "%x within " % int.from_bytes(node["size"], "big")
            flags = [str(key in node).lower() for key in ("no-map", "reusable")]
            out.append("reserved\t%s\t%s\t%s\t%s" % (path.rsplit("/", 1)[1], words, *flags))
    out += ["reserved\tmemreserve@%x\t%x+%x\tfalse\tfalse" % (base, base, size) for base, size in reserves if size]
    return out


def main():
    reader, folder, trees = sys.argv[1], sys.argv[2], int(sys.argv[3])
    shutil.rmtree(folder, ignore_errors=True)
    os.makedirs(folder)
    same = refused = accepted_alone = 0
    for seed in range(trees):
        source = Source(seed)
        text = source.text()
        broken = seed % 4 == 3
        if broken:
            at = source.rng.randrange(len(text))
            text = text[:at] + source.rng.choice(BREAKS) + text[at + source.rng.randrange(3) :]
        name = os.path.join(folder, "%d.dts" % seed)
        with open(name, "w", encoding="utf-8") as file:
            file.write(text)
        theirs = subprocess.run(["dtc", "-q", "-I", "dts", "-O", "dtb", "-o", name + ".dtb", name], capture_output=True)
        ours = subprocess.run([reader, name], capture_output=True, text=True)
        if theirs.returncode:
            assert broken, "seed %d: the generator made a source that the compiler refuses: %s" % (seed, theirs.stderr.decode())
            if ours.returncode:
                refused += 1
            else:
                accepted_alone += 1
                print("seed %d: refused by the compiler alone: %s" % (seed, theirs.stderr.decode().strip().splitlines()[0]))
            continue
        lines = flattened(open(name + ".dtb", "rb").read())
        mine = ours.stdout.splitlines()
        kinds = ("node", "property", "reserve\t")
        tree = [line for line in mine if line.startswith(kinds)]
        if broken and not tree:
            print("seed %d: refused by us alone: %s" % (seed, ours.stderr.splitlines()[0]))
            continue
        order = lambda lines: sorted(lines) if "phandle" in text else lines
        assert order(tree) == order(lines), "seed %d: %s" % (seed, set(tree) ^ set(lines))
        if not broken:
            assert ours.returncode == 0, "seed %d: %s" % (seed, ours.stderr)
            assert [line for line in mine if not line.startswith(kinds)] == facts(lines), "seed %d" % seed
        same += 1
    print("%d trees are the same in both, byte by byte; %d broken ones are refused by both, %d by the compiler alone" % (same, refused, accepted_alone))
    assert same > trees // 2 and refused > trees // 10 and accepted_alone == 0


main()
