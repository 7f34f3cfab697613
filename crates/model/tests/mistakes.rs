//! Mistakes that integrators make, each in one system and told once: at which place, with which numbers, with which remedy.

mod common;

use common::{read, rendered};

/// Two partitions with a task each, a budget-server core set beside, and what a mistake adds.
fn with(changes: &[(&str, &str)], sections: &str) -> String {
    const SYSTEM: &str = r#"[system]
name = "Example"
frame = "100 ms"

[board]
name = "B1"

[[board.core]]
name = "0"

[[board.core]]
name = "1"

[[core_set]]
name = "table"
cores = ["0"]
policy = "window table"

[[core_set]]
name = "server"
cores = ["1"]
policy = "budget server"

[[partition]]
name = "NAV"
guest = "fixed priority"
core_set = "table"

[[partition.task]]
name = "fuse"
period = "20 ms"
priority = 1
wcet = "2 ms"

[[partition]]
name = "LOG"
guest = "fixed priority"
core_set = "server"
server = { budget = "5 ms", period = "20 ms" }
restart = { detection = "50 ms" }

[[partition.task]]
name = "store"
period = "50 ms"
priority = 1
wcet = "2 ms"

[[channel]]
name = "CH1"
kind = "sampling"
size = "64 B"
from = "NAV.fuse"
to = ["LOG.store"]
refresh = "50 ms"
"#;
    let mut text = SYSTEM.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    text + sections
}

/// Asserts that a text has just one mistake: its code, the text underlined, and what message and remedy say.
#[track_caller]
fn told(text: &str, code: &str, underlined: &str, message: &str, help: &str) {
    let reading = read(text);
    let said = rendered(&reading);
    let [fault] = &reading.diagnostics[..] else { panic!("expected one diagnostic\n{said}") };
    assert_eq!(fault.code.id, code, "{said}");
    let span = fault.primary.span;
    let at = usize::try_from(span.start).expect("a place")..usize::try_from(span.end).expect("a place");
    assert_eq!(&text[at], underlined, "{said}");
    assert!(fault.message.contains(message), "`{message}` is not in\n{said}");
    assert!(fault.help.as_ref().is_some_and(|text| text.contains(help)), "`{help}` is not the remedy in\n{said}");
    assert_eq!(reading.system.is_none(), fault.is_error());
}

fn chain(path: &str, need: &str) -> String {
    format!("\n[[chain]]\nname = \"E1\"\npath = {path}\n{need}\n")
}

const QUEUE: [(&str, &str); 2] = [("\"sampling\"", "\"queuing\""), ("refresh = \"50 ms\"", "depth = 8")];

#[test]
fn chains() {
    let reaction = "reaction = \"1 s\"";
    let backwards = with(&[], &chain(r#"["LOG.store", "NAV.fuse"]"#, reaction));
    told(&backwards, "E0701", "\"NAV.fuse\"", "no channel leads from `LOG.store` to `NAV.fuse`", "channel");
    let unknown = with(&[], &chain(r#"["NAV.fuse", "CH2", "LOG.store"]"#, reaction));
    told(&unknown, "E0109", "\"CH2\"", "CH2", "did you mean `CH1`?");
    let back = "\n[[channel]]\nname = \"CH2\"\nkind = \"sampling\"\nsize = \"64 B\"\nfrom = \"LOG.store\"\n\
        to = [\"NAV.fuse\"]\nrefresh = \"50 ms\"\n";
    let round = with(&[], &(back.to_owned() + &chain(r#"["NAV.fuse", "LOG.store", "NAV.fuse"]"#, reaction)));
    told(&round, "E0703", "\"NAV.fuse\"", "twice", "end the chain here, or make two chains");
    let latency = with(&[], &chain(r#"["NAV.fuse", "LOG.store"]"#, "latency = \"1 s\""));
    told(&latency, "E0101", "\"1 s\"", "latency", "`data_age`");
}

#[test]
fn queues_and_ports() {
    let queue = |keys: &str| with(&[QUEUE[0], ("refresh = \"50 ms\"", keys)], "");
    let slow = queue("depth = 8\nread = 2");
    let rates = "1 message can come in every 20 ms, and at most 2 messages are taken out every 50 ms";
    told(&slow, "E0606", "2", rates, "read at least 3 at once, or \"all\"");
    let slower = queue("depth = 8\nbatch = 3\nread = 7\nmin_interarrival = \"20 ms\"\nburst = 2");
    told(&slower, "E0606", "7", "3 messages can come in every 20 ms, and at most 7 messages", "read at least 8");
    assert_eq!(rendered(&read(queue("depth = 8\nread = \"all\""))), "");
    told(&queue("depth = 0"), "E0112", "0", "depth", "above zero");
    told(
        &queue("depth = 3\nbatch = 4"),
        "E0604",
        "4",
        "a batch of 4 messages does not fit into a queue of 3",
        "deepen",
    );
    let burst = queue("depth = 8\nburst = 8\nmin_interarrival = \"20 ms\"");
    told(&burst, "E0604", "8", "a batch with a burst of 9 messages does not fit into a queue of 8", "deepen");
    told(&queue("depth = 8\nburst = 3"), "E0113", "burst", "no `min_interarrival`", "min_interarrival = \"50 ms\"");
    let device = "[[board.device]]\nname = \"CAN9\"\ndma_stream = \"9\"\ndma_burst = \"4 KiB\"\n";
    told(&with(&[], device), "E0113", "dma_burst", "no `dma_rate`", "add `dma_rate`");
    let stale = with(&[("refresh = \"50 ms\"", "refresh = \"0 ms\"")], "");
    told(&stale, "E0112", "\"0 ms\"", "refresh", "above zero");
    let sampled = with(&[("refresh = \"50 ms\"", "refresh = \"50 ms\"\nburst = 2")], "");
    told(&sampled, "E0605", "2", "sampling and has a `burst`", "leave it out");
    let large = [("size = \"64 B\"", "size = \"64 MiB\""), ("restart =", "ram = \"16 MiB\"\nrestart =")];
    let message = "a message of 64 MiB does not fit into the 16 MiB of RAM of partition `LOG`";
    told(&with(&large, ""), "E0610", "\"64 MiB\"", message, "unit");
}

#[test]
fn messages_are_passed_on_by_who_reads_them_and_in_no_circle() {
    let second = |from: &str, to: &str, more: &str| {
        format!(
            "\n[[channel]]\nname = \"CH2\"\nkind = \"sampling\"\nsize = \"64 B\"\nfrom = \"{from}\"\nto = [\"{to}\"]\n{more}\n"
        )
    };
    let passed = "passes_on = \"CH1\"";
    assert_eq!(rendered(&read(with(&[], &second("LOG.store", "NAV.fuse", passed)))), "");
    let unread = with(&[], &second("NAV.fuse", "LOG.store", passed));
    let words = "channel `CH2` is to pass on `CH1`, and its writer does not read that";
    told(&unread, "E0612", "\"CH1\"", words, "name a channel that leads to the partition that writes this one");
    let round = with(&[("refresh = \"50 ms\"", "passes_on = \"CH2\"")], &second("LOG.store", "NAV.fuse", passed));
    let found = rendered(&read(round));
    assert_eq!(found.matches("E0612").count(), 2, "{found}");
    assert!(found.contains("channel `CH1` passes on its own messages, so none of them comes from anywhere"), "{found}");
    let nobody = with(&[], &second("LOG.store", "NAV.fuse", "passes_on = \"CH9\""));
    assert!(rendered(&read(nobody)).contains("CH9"));
}

#[test]
fn servers_and_guests() {
    let server = |keys: &str| with(&[("budget = \"5 ms\", period = \"20 ms\"", keys)], "");
    let above = server("budget = \"21 ms\", period = \"20 ms\"");
    told(&above, "E0306", "\"21 ms\"", "the budget, 21 ms, passes the period, 20 ms", "20 ms or less");
    let short = server("budget = \"5 ms\", period = \"20 ms\", deadline = \"4 ms\"");
    told(&short, "E0306", "\"5 ms\"", "the budget, 5 ms, passes the deadline, 4 ms", "4 ms or less");
    let late = server("budget = \"5 ms\", period = \"20 ms\", deadline = \"30 ms\"");
    told(&late, "E0319", "\"30 ms\"", "the deadline of its server, 30 ms, is later than the period, 20 ms", "20 ms");
    let mixed = with(&[("\"fixed priority\"", "\"EDF\"")], "");
    told(&mixed, "E0411", "1", "task `NAV.fuse` has a priority and its guest schedules by deadline", "leave out");
    let long = with(&[("wcet =", "sections = [{ resource = \"bus\", length = \"3 ms\" }]\nwcet =")], "");
    told(&long, "E0406", "\"3 ms\"", "3 ms, passes the WCET, 2 ms", "at most for the WCET");
    let drift = with(&[("\"window table\"", "\"window table\"\nsynchronised = true\ndrift_ppm = 40")], "");
    told(&drift, "E0320", "40", "drifts by 40 ppm and is said to be synchronised", "`synchronised = false`");
}

#[test]
fn orders_that_run_in_circles() {
    let stage = |name: &str, after: &str| {
        format!("\n[[boot.stage]]\nname = \"{name}\"\ntime = \"1 s\"\nafter = [\"{after}\"]\n")
    };
    let stages = with(&[], &[stage("load", "start"), stage("start", "load")].concat());
    told(&stages, "E0801", "\"start\"", "`load` after `start` after `load`", "out of `after`");
    let builders = with(
        &[
            ("core_set = \"table\"", "core_set = \"table\"\nbuilt_by = \"LOG\""),
            ("restart =", "built_by = \"NAV\"\nrestart ="),
        ],
        "",
    );
    told(&builders, "E0315", "\"LOG\"", "partition `NAV` is built by itself", "leave out its `built_by`");
    let alone = with(&[("restart =", "build_time = \"3 ms\"\nrestart =")], "");
    told(&alone, "E0318", "\"3 ms\"", "partition `LOG` takes time to be built", "name the partition that builds it");
}

#[test]
fn escalations() {
    let entry = "\n[[health.entry]]\nerror = \"memory violation\"\nlevel = \"partition\"\naction = \"warm start\"\n";
    let escalation = |keys: &str| {
        with(&[], &format!("{entry}\n[[health.escalation]]\nfrom = \"warm start\"\nto = \"stop\"\n{keys}\n"))
    };
    told(&escalation("count = 0\nwindow = \"1 s\""), "E0112", "0", "count", "above zero");
    let short = escalation("count = 2\nwindow = \"49999999 ns\"");
    told(&short, "E0806", "\"49999999 ns\"", "a fault of partition `LOG` is noticed up to 50 ms after", "widen");
    for sound in [
        "count = 2\nwindow = \"50 ms\"",
        "count = 1\nwindow = \"1 ms\"",
        "count = 2\nwindow = \"1 ms\"\npartitions = [\"NAV\"]",
    ] {
        assert_eq!(rendered(&read(escalation(sound))), "", "{sound}");
    }
}

#[test]
fn the_network() {
    let forwarded = [("refresh = \"50 ms\"", "refresh = \"50 ms\"\nforwarded = true")];
    told(&with(&forwarded, ""), "E0903", "true", "the system has no network", "add [network]");
    let guest = with(&forwarded, "\n[network]\nforwarder = \"LOG\"\n");
    told(&guest, "E0904", "\"LOG\"", "partition `LOG` is to forward messages", "role = \"forwarder\"");
}
