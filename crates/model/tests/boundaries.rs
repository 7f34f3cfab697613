//! Each check on both sides of its border: just right is silent, one step further is not.

mod common;

use common::{SMALLEST, found, read, rendered};

/// The codes that the smallest system fires after some replacements.
fn codes(edits: &[(&str, &str)]) -> Vec<String> {
    let mut text = SMALLEST.to_owned();
    for (from, to) in edits {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    let reading = read(text);
    assert_eq!(reading.system.is_none(), reading.diagnostics.iter().any(diagnostic::Diagnostic::is_error));
    let codes: Vec<_> = found(&reading).iter().map(|found| found[..5].to_owned()).collect();
    assert!(reading.diagnostics.iter().all(|d| d.help.is_some()), "no remedy in\n{}", rendered(&reading));
    codes
}

/// Keys added to the task, to the partition, to the board.
fn of_task(keys: &str) -> Vec<String> {
    codes(&[("wcet =", &format!("{keys}\nwcet ="))])
}

fn of_partition(keys: &str) -> Vec<String> {
    codes(&[("guest =", &format!("{keys}\nguest ="))])
}

fn of_board(tables: &str) -> Vec<String> {
    codes(&[("[[partition]]", &format!("{tables}\n[[partition]]"))])
}

const SILENT: [String; 0] = [];

#[test]
fn times_of_a_task() {
    assert_eq!(of_task("bcet = \"2 ms\""), SILENT);
    assert_eq!(of_task("bcet = \"2000001 ns\""), ["E0401"]);
    assert_eq!(of_task("bcet = \"1 ns\""), SILENT);
    assert_eq!(of_task("bcet = \"0 ns\""), ["E0112"]);
    assert_eq!(of_task("deadline = \"2 ms\""), SILENT);
    assert_eq!(of_task("deadline = \"1999999 ns\""), ["E0402"]);
    assert_eq!(of_task("deadline = \"200 ms\""), SILENT, "a deadline may be longer than the period");
    assert_eq!(codes(&[("\"2 ms\"", "\"20 ms\"")]), SILENT);
    assert_eq!(codes(&[("\"2 ms\"", "\"20000001 ns\"")]), ["E0402"]);
    assert_eq!(of_task("release = \"frame-aligned\"\noffset = \"19999999 ns\""), SILENT);
    assert_eq!(of_task("release = \"frame-aligned\"\noffset = \"20 ms\""), ["E0403"]);
    assert_eq!(of_task("jitter = \"19999999 ns\""), SILENT);
    assert_eq!(of_task("jitter = \"20 ms\""), ["W0403"]);
    assert_eq!(of_task("sections = [{ resource = \"r\", length = \"2 ms\" }]"), SILENT);
    assert_eq!(of_task("sections = [{ resource = \"r\", length = \"2000001 ns\" }]"), ["E0406"]);
}

#[test]
fn provenance_of_a_task() {
    let measured = |max: &str, samples: u64| {
        of_task(&format!("provenance = {{ class = \"measured\", measured_max = \"{max}\", samples = {samples} }}"))
    };
    assert_eq!(measured("2 ms", 1), SILENT);
    assert_eq!(measured("2000001 ns", 1), ["E0405"]);
    assert_eq!(measured("2 ms", 0), ["E0112"]);
    assert_eq!(of_task("provenance = {}"), ["E0102"]);
}

#[test]
fn budgets_and_periods() {
    let grant = |period: &str, budget: &str| of_partition(&format!("period = \"{period}\"\nbudget = \"{budget}\""));
    assert_eq!(grant("100 ms", "100 ms"), SILENT);
    assert_eq!(grant("50 ms", "50000001 ns"), ["E0306"]);
    assert_eq!(grant("0 ms", "5 ms"), ["E0112"]);
    assert_eq!(grant("99999999 ns", "5 ms"), ["E0305"]);
    assert_eq!(grant("200 ms", "5 ms"), ["E0305"]);
    assert_eq!(of_partition("period = \"100 ms\""), SILENT, "the planner finds the budget");
    assert_eq!(of_partition("budget = \"5 ms\""), ["E0113"]);
    assert_eq!(
        of_partition("server = { budget = \"5 ms\", period = \"20 ms\" }"),
        ["E0304"],
        "there are window tables"
    );
}

#[test]
fn the_head_is_taken_out_of_the_budget() {
    let with = |platform: &str, budget: &str| {
        let platform = format!("[platform]\n{platform}\n\n[[partition]]\nperiod = \"20 ms\"\nbudget = \"{budget}\"");
        codes(&[("[[partition]]", &platform)])
    };
    let both = "switch = \"15 us\"\nrefill = \"25 us\"";
    assert_eq!(with(both, "40 us"), ["E0307"]);
    assert_eq!(with(both, "40001 ns"), SILENT);
    assert_eq!(with("switch = \"15 us\"", "15 us"), ["E0307"], "half of a head is known");
    assert_eq!(with("switch = \"0 us\"\nrefill = \"0 us\"", "1 ns"), SILENT);
}

#[test]
fn servers_and_shares() {
    let with = |policy: &str, keys: &str| {
        let set = format!("[[core_set]]\nname = \"all\"\ncores = [\"0\"]\npolicy = {policy}\n\n[[partition]]\n{keys}");
        codes(&[("[[partition]]", &set)])
    };
    let server =
        |deadline: &str| format!("server = {{ budget = \"5 ms\", period = \"20 ms\", deadline = \"{deadline}\" }}");
    assert_eq!(with("\"budget server\"", &server("5 ms")), SILENT);
    assert_eq!(with("\"budget server\"", &server("4999999 ns")), ["E0306"]);
    assert_eq!(with("\"budget server\"", &server("20 ms")), SILENT);
    assert_eq!(with("\"budget server\"", &server("20000001 ns")), ["E0319"]);
    assert_eq!(with("\"budget server\"", "share = { share = 1 }"), ["E0304"]);
    assert_eq!(with("\"proportional share\"\nquantum = \"1 ms\"", "share = { share = 1 }"), SILENT);
    assert_eq!(with("\"proportional share\"\nquantum = \"1 ms\"", "share = { share = 0 }"), ["E0112"]);
    assert_eq!(with("\"proportional share\"", "share = { share = 1 }"), ["E0303"]);
    assert_eq!(with("\"dedicated\"", ""), SILENT);
    assert_eq!(with("\"dedicated\"", "period = \"20 ms\""), ["E0304"]);
    assert_eq!(with("\"dedicated\"\ndrift_ppm = 20", ""), ["E0303"]);
    assert_eq!(with("\"window table\"\ndrift_ppm = 20", "period = \"20 ms\""), SILENT);
    assert_eq!(with("\"window table\"\ndrift_ppm = 1\nsynchronised = true", ""), ["E0320"]);
    assert_eq!(with("\"window table\"\ndrift_ppm = 0\nsynchronised = true", ""), SILENT);
    assert_eq!(with("\"window table\"\ndrift_ppm = 1\nsynchronised = false", ""), SILENT);
    let by_platform = |said: &str| {
        let set = "[[core_set]]\nname = \"all\"\ncores = [\"0\"]\npolicy = \"window table\"\ndrift_ppm = 1";
        codes(&[("[[partition]]", &format!("[platform]\nsynchronised = {said}\n\n{set}\n\n[[partition]]"))])
    };
    assert_eq!(by_platform("true"), ["E0320"]);
    assert_eq!(by_platform("false"), SILENT);
}

#[test]
fn ends_of_the_address_space() {
    let memory = |base: &str, size: &str, more: &str| {
        of_board(&format!("[[board.memory]]\nname = \"M\"\nbase = \"{base}\"\nsize = \"{size}\"\n{more}"))
    };
    let bits = |bits: u32, base: &str, size: &str| {
        let memory = format!("[[board.memory]]\nname = \"M\"\nbase = \"{base}\"\nsize = \"{size}\"\n\n[[partition]]");
        codes(&[("name = \"B1\"", &format!("name = \"B1\"\naddress_bits = {bits}")), ("[[partition]]", &memory)])
    };
    assert_eq!(memory("0xFFFF_FFFF_FFFF_F000", "4095 B", ""), SILENT);
    assert_eq!(memory("0xFFFF_FFFF_FFFF_F000", "4 KiB", ""), ["E0202"], "the address behind it is none");
    assert_eq!(memory("0xFFFF_FFFF_FFFF_FFFF", "1 GiB", ""), ["E0202"]);
    assert_eq!(memory("0x0", "0 B", ""), ["E0112"]);
    assert_eq!(bits(32, "0x8000_0000", "2 GiB"), SILENT);
    assert_eq!(bits(32, "0x8000_0000", "2147483649 B"), ["E0202"]);
    assert_eq!(bits(1, "0x0", "2 B"), SILENT);
    assert_eq!(bits(64, "0x0", "2 B"), SILENT);
    assert_eq!(bits(65, "0x0", "2 B"), ["E0204"]);
    assert_eq!(bits(0, "0x0", "2 B"), ["E0112"]);
    assert_eq!(memory("0x1000", "12 KiB", "granule = \"4 KiB\""), SILENT);
    assert_eq!(memory("0x1000", "13 KiB", "granule = \"4 KiB\""), ["E0205"]);
}

#[test]
fn ranges_beside_and_over_each_other() {
    let memory = |name: &str, base: &str, size: &str| {
        format!("[[board.memory]]\nname = \"{name}\"\nbase = \"{base}\"\nsize = \"{size}\"\n")
    };
    let device = "[[board.device]]\nname = \"D\"\nregisters = { base = \"0x1FFF\", size = \"1 B\" }\n";
    let low = memory("low", "0x1000", "4 KiB");
    assert_eq!(of_board(&(low.clone() + &memory("high", "0x2000", "4 KiB"))), SILENT);
    assert_eq!(of_board(&(low.clone() + &memory("high", "0x1FFF", "4 KiB"))), ["E0203"]);
    assert_eq!(of_board(&(low.clone() + device)), ["E0203"]);
    // The second lies within the first, the third only touches the second, and still lies over the first.
    let inner = memory("inner", "0x1100", "256 B") + &memory("last", "0x1300", "256 B");
    assert_eq!(of_board(&(low + &inner)), ["E0203", "E0203"]);
}

#[test]
fn caches_and_rates() {
    let cache = |size: &str, ways: u32, line: &str| {
        let keys = format!("size = \"{size}\"\nways = {ways}\nline = \"{line}\"\ncores = [\"0\"]\n");
        of_board(&format!("[[board.cache]]\nname = \"L2\"\nlevel = 2\n{keys}"))
    };
    assert_eq!(cache("1 KiB", 16, "64 B"), SILENT);
    assert_eq!(cache("1023 B", 16, "64 B"), ["E0201"]);
    assert_eq!(cache("512 B", 16, "64 B"), ["E0201"], "half a set");
    assert_eq!(cache("1 KiB", 0, "64 B"), ["E0112"]);
    assert_eq!(cache("8 GiB", u32::MAX, "4096 GiB"), ["E0201"]);
    let interconnect = |guaranteed: &str| {
        let rates = format!("guaranteed = \"{guaranteed}\"\npeak = \"9600 MB/s\"\narbitration = \"round-robin\"\n");
        let master = "master = [{ name = \"core0\", core = \"0\" }]\n";
        of_board(&format!("[board.interconnect]\nline = \"64 B\"\n{rates}{master}"))
    };
    assert_eq!(interconnect("9600 MB/s"), SILENT);
    assert_eq!(interconnect("9600000001 B/s"), ["E0211"]);
    assert_eq!(interconnect("0 B/s"), ["E0112"]);
}

#[test]
fn peak_rates() {
    let with = |requests: u64, peak: &str| {
        let master = "master = [{ name = \"core0\", core = \"0\" }]\n";
        let rates = "line = \"64 B\"\nguaranteed = \"1 GB/s\"\narbitration = \"round-robin\"\n";
        let interconnect = format!("[board.interconnect]\n{rates}{master}\n[[partition]]");
        let keys = format!("line_requests = {requests}\npeak_rate = \"{peak}\"\nwcet =");
        codes(&[("[[partition]]", &interconnect), ("wcet =", &keys)])
    };
    // 2 ms at 32 MB/s are 64,000 bytes: 1,000 lines.
    assert_eq!(with(1_000, "32 MB/s"), SILENT);
    assert_eq!(with(1_001, "32 MB/s"), ["E0410"]);
    assert_eq!(with(quantity::LIMIT, "even"), SILENT);
    assert_eq!(with(0, "0 B/s"), SILENT);
}

#[test]
fn hyperperiods() {
    let aligned = |periods: &[&str], phase: &str| {
        let task = |period: &&str| {
            let name = period.replace(['.', ' '], "-");
            format!("[[partition.task]]\nname = \"{name}\"\nperiod = \"{period}\"\nrelease = \"frame-aligned\"\n")
        };
        let tasks: String = periods.iter().map(task).collect();
        let text = SMALLEST.replace("fixed priority", "EDF").replace("priority = 1\n", "") + &tasks;
        let text = text.replacen("frame =", &format!("deadlines_hold_in = \"{phase}\"\nframe ="), 1);
        let reading = read(text);
        (found(&reading), reading)
    };
    assert!(aligned(&["7 ms", "11 ms", "13 ms"], "frame phase").0.is_empty(), "31,031 jobs in 100.1 s");
    let (found, reading) = aligned(&["7 ms", "11 ms", "13 ms", "17 ms", "19 ms"], "frame phase");
    assert_eq!(found, ["E0404 system.toml:38:10"]);
    let said = rendered(&reading);
    // 100 ms times 7 * 11 * 13 * 17 * 19; with 17 ms there are 713,885 jobs in 1701.7 s.
    for part in ["`NAV.19-ms`, 19 ms", "32332.3 s", "the frame, 100 ms", "12.5 ms or 20 ms", "1,000,000 jobs"] {
        assert!(said.contains(part), "{part} is not in\n{said}");
    }
    assert!(aligned(&["7.001 ms", "11.003 ms", "13.007 ms"], "any phase").0.is_empty());
    let longest = aligned(&["99991.999999999 s", "2000000.999999999 s"], "frame phase");
    assert_eq!(longest.0.len(), 1, "{}", rendered(&longest.1));
}

#[test]
fn wishes_about_other_partitions() {
    let log = "\n[[partition]]\nname = \"LOG\"\nguest = \"opaque\"\nneed = { budget = \"1 ms\", period = \"20 ms\" }\n";
    let aux = log.replace("LOG", "AUX");
    let three = |nav: &str, of_log: &str, of_aux: &str| {
        let text = SMALLEST.replacen("guest =", &format!("{nav}\nguest ="), 1);
        let text = text.replacen("name = \"0\"", "name = \"0\"\n\n[[board.core]]\nname = \"1\"", 1);
        found(&read(text + log + of_log + &aux + of_aux)).iter().map(|found| found[..5].to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(three("together_with = [\"LOG\"]", "together_with = [\"AUX\"]\n", ""), SILENT);
    assert_eq!(
        three("together_with = [\"LOG\"]", "together_with = [\"AUX\"]\n", "apart_from = [\"NAV\"]\n"),
        ["E0310"]
    );
    assert_eq!(three("together_with = [\"NAV\"]", "", ""), ["E0310"]);
    assert_eq!(three("together_with = [\"LOG\"]\ncores = [\"0\"]", "cores = [\"1\"]\n", ""), ["E0311"]);
    assert_eq!(three("apart_from = [\"LOG\"]\ncores = [\"0\"]", "cores = [\"1\"]\n", ""), SILENT);
    assert_eq!(three("built_by = \"NAV\"", "", ""), ["E0315"]);
    assert_eq!(three("built_by = \"LOG\"", "built_by = \"AUX\"\n", "built_by = \"NAV\"\n"), ["E0315"], "told once");
    assert_eq!(three("built_by = \"LOG\"", "built_by = \"AUX\"\n", "built_by = \"LOG\"\n"), ["E0315"]);
    assert_eq!(three("virtual_cores = 2", "", ""), SILENT);
    assert_eq!(three("virtual_cores = 3", "", ""), ["E0317"]);
    assert_eq!(three("virtual_cores = 4294967295", "", ""), ["E0317"]);
}

#[test]
fn guests_and_priorities() {
    assert_eq!(codes(&[("fixed priority", "cooperative")]), SILENT);
    assert_eq!(codes(&[("fixed priority", "cooperative"), ("priority = 1\n", "")]), ["E0408"]);
    assert_eq!(codes(&[("\"fixed priority\"", "\"EDF\""), ("priority = 1\n", "")]), SILENT);
    assert_eq!(codes(&[("\"fixed priority\"", "\"EDF\"")]), ["E0411"]);
    let opaque = |need: &str| codes(&[("\"fixed priority\"", &format!("\"opaque\"\nneed = {{ {need} }}"))]);
    assert_eq!(opaque("rate = \"10 %\", delay = \"0 ms\""), SILENT);
    assert_eq!(opaque("rate = \"10 %\", period = \"1 ms\""), ["E0308"]);
    assert_eq!(opaque("budget = \"1 ms\""), ["E0308"]);
    assert_eq!(opaque("budget = \"2 ms\", period = \"1 ms\""), ["E0306"]);
    assert_eq!(of_partition("need = { rate = \"10 %\", delay = \"1 ms\" }"), ["E0308"]);
}

#[test]
fn resources_and_how_they_are_protected() {
    let with = |locking: &str, sections: &str| {
        codes(&[("guest =", &format!("{locking}\nguest =")), ("wcet =", &format!("{sections}\nwcet ="))])
    };
    let sections = "sections = [{ resource = \"r\", length = \"1 ms\" }]";
    for locking in ["locking = \"priority ceiling\"", "locking = \"priority inheritance\""] {
        assert_eq!(with(locking, sections), SILENT);
        assert_eq!(with(locking, ""), ["W0404"]);
    }
    assert_eq!(with("", sections), SILENT, "the blocking is then unknown");
    assert_eq!(with("locking = \"spin\"", sections), ["E0106"]);
}

#[test]
fn who_takes_time_to_build_has_a_builder() {
    let log = "\n[[partition]]\nname = \"LOG\"\nguest = \"opaque\"\nneed = { budget = \"1 ms\", period = \"20 ms\" }\n";
    let built = |keys: &str| {
        let reading = read(SMALLEST.replacen("guest =", &format!("{keys}\nguest ="), 1) + log);
        found(&reading).iter().map(|found| found[..5].to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(built("built_by = \"LOG\"\nbuild_time = \"1 ns\""), SILENT);
    assert_eq!(built("built_by = \"LOG\""), SILENT);
    assert_eq!(built("build_time = \"1 ns\""), ["E0318"]);
    assert_eq!(built("built_by = \"LOG\"\nbuild_time = \"0 ns\""), ["E0112"]);
}

#[test]
fn equal_priorities_on_one_virtual_core() {
    let with = |first: &str, second: &str| {
        let text = SMALLEST.replacen("name = \"0\"", "name = \"0\"\n\n[[board.core]]\nname = \"1\"", 1);
        let text = text.replacen("guest =", "virtual_cores = 2\nguest =", 1) + first;
        let task = "[[partition.task]]\nname = \"plot\"\nperiod = \"20 ms\"\npriority = 1\n";
        let reading = read(text + "\n" + task + second);
        found(&reading).iter().map(|found| found[..5].to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(with("virtual_core = 0", "virtual_core = 1"), SILENT);
    assert_eq!(with("virtual_core = 1", "virtual_core = 1"), ["W0401"]);
    assert_eq!(with("virtual_core = 1", ""), ["W0401"], "one that is free meets the other");
    assert_eq!(with("", ""), ["W0401"]);
}
