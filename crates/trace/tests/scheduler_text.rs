//! Scheduler text: recordings of a real kernel, and lines made by hand.
//!
//! The files in `recorded` were taken from a Linux 6.18 kernel's trace file and from `perf script` 6.1, while a program with
//! threads of awkward names ran; names of other programs were replaced by `other_` and a number, and lines were left out. Of
//! `perf-loads.txt` and `perf-switches.txt`, from the loads of `tests/outside/perf.sh`, no line of their cpu was.

mod feeding;

use feeding::{all_told, feed, notes, text};
use trace::event::What;
use trace::intake::Found;
use trace::intake::text::{SchedulerText, TextReader};
use trace::note::{At, Matter};

const RECORDED: [(&str, &str); 7] = [
    ("ftrace.txt", include_str!("recorded/ftrace.txt")),
    ("ftrace-tgid.txt", include_str!("recorded/ftrace-tgid.txt")),
    ("ftrace-lost.txt", include_str!("recorded/ftrace-lost.txt")),
    ("perf.txt", include_str!("recorded/perf.txt")),
    ("perf-ns.txt", include_str!("recorded/perf-ns.txt")),
    ("perf-loads.txt", include_str!("recorded/perf-loads.txt")),
    ("perf-switches.txt", include_str!("recorded/perf-switches.txt")),
];

fn count(found: &Found, is: impl Fn(&What) -> bool) -> usize {
    found.events.iter().filter(|event| is(&event.what)).count()
}

fn lines(source: &str, kinds: &[&str]) -> usize {
    source.lines().filter(|line| kinds.iter().any(|kind| line.contains(kind))).count()
}

#[test]
fn every_line_of_the_recordings_is_read() {
    for (file, source) in RECORDED {
        let found = text(source);
        let unread = [Matter::Unparsed, Matter::Malformed, Matter::Duplicate, Matter::OutOfOrder, Matter::Truncated];
        assert!(notes(&found).iter().all(|(matter, _)| !unread.contains(matter)), "{file}: {:?}", found.notes);
        assert_eq!(
            count(&found, |what| matches!(what, What::Switch { .. })),
            lines(source, &["sched_switch: ", "PERF_RECORD_SWITCH"]),
            "{file}"
        );
        let wakes = ["sched_waking: ", "sched_wakeup: ", "sched_wakeup_new: "];
        assert_eq!(count(&found, |what| matches!(what, What::Wakes { .. })), lines(source, &wakes), "{file}");
        assert_eq!(
            count(&found, |what| matches!(what, What::Migrates { .. })),
            lines(source, &["sched_migrate_task: "])
        );
        let begins = ["irq_handler_entry: ", "softirq_entry: "];
        assert_eq!(
            count(&found, |what| matches!(what, What::InterruptBegins { .. })),
            lines(source, &begins),
            "{file}"
        );
        let ends = ["irq_handler_exit: ", "softirq_exit: "];
        assert_eq!(count(&found, |what| matches!(what, What::InterruptEnds { .. })), lines(source, &ends), "{file}");
        assert_eq!(count(&found, |what| matches!(what, What::Lost { .. })), lines(source, &["LOST"]), "{file}");
        assert_eq!(count(&found, |what| matches!(what, What::Mark { .. })), lines(source, &["tracing_mark_write: "]));
    }
}

#[test]
fn awkward_names_are_read_whole() {
    let found = text(RECORDED[0].1);
    // As the recorded program sets them, each at most the 15 bytes that a kernel keeps.
    let set = ["nav ctl [3]", "x prev_pid=7 y", "a ==> b", "log-1 [000]", "  lead", "colon: sched_s", "marker"];
    for name in set {
        assert!(found.names.iter().any(|(_, named)| named.text == name && named.id > Some(20_000)), "{name}");
    }
    assert!(found.names.iter().all(|(_, named)| named.id.is_none() || named.text.len() <= 15));
    let marks: Vec<String> = all_told(&found).into_iter().filter(|line| line.contains(" mark ")).collect();
    assert_eq!(
        marks,
        ["1359098642000 Some(0) mark fault begins", "1359107218000 Some(0) mark fault ends: watchdog [1]"]
    );
}

#[test]
fn each_layout_gives_its_events() {
    let found = text(
        "# comment\n\
         \n\
         \x20         <idle>-0       [001] d..2.   100.000001: sched_switch: prev_comm=swapper/1 prev_pid=0 prev_prio=120 prev_state=R ==> next_comm=a b next_pid=12 next_prio=-3\n\
         \x20         <idle>-0       [001]   100.000002: sched_waking: comm=a b pid=12 prio=120 success=1 target_cpu=003\n\
         \x20            a b    12 [003]   100.000003004:          1 sched:sched_switch: a b:12 [120] S ==> c:1:13 [120]\n\
         \x20            a b 12/12 [003]   100.000004:       sched:sched_wakeup: c:1:13 [120] CPU:002\n\
         a b-12 [003] 100.000005: sched_migrate_task: comm=a b pid=12 prio=120 orig_cpu=3 dest_cpu=10\n\
         \x20            a b-12    (     12) [003] .... 100.000006: local_timer_entry: vector=236\n\
         \x20            a b-12    (-------) [003] .... 100.000007: local_timer_exit: vector=236\n\
         \x20            a b-12    [003] .... 100.000008: ipi_entry: (Rescheduling interrupts)\n\
         \x20            a b-12    [003] .... 100.000009: ipi_exit: (Rescheduling interrupts)\n\
         \x20            a b    12 [003]   100.000010: ftrace:print: 0xffffffff81a: now\n\
         \x20            a b    12 [003]   100.000011: PERF_RECORD_SWITCH_CPU_WIDE OUT preempt  next pid/tid:    13/13   \n\
         \x20          c:1 2 11/13    [003]   100.000012: PERF_RECORD_SWITCH_CPU_WIDE IN           prev pid/tid:    12/12   \n\
         \x20            :-1    -1 [003]   100.000013: PERF_RECORD_SWITCH_CPU_WIDE OUT          next pid/tid:     0/0    \n\
         kworker/u8:2-events_unbound    12 [003]   100.000014: PERF_RECORD_SWITCH OUT         \n",
    );
    assert_eq!(
        all_told(&found),
        [
            "100000001000 Some(1) swapper/1:0 Ready > a b:12",
            "100000002000 Some(1) a b:12 wakes on Some(3)",
            "100000003004 Some(3) a b:12 Waits > c:1:13",
            "100000004000 Some(3) c:1:13 wakes on Some(2)",
            "100000005000 Some(3) a b:12 to Some(10)",
            "100000006000 Some(3) begins local_timer",
            "100000007000 Some(3) ends local_timer",
            "100000008000 Some(3) begins ipi Rescheduling interrupts",
            "100000009000 Some(3) ends ipi Rescheduling interrupts",
            "100000010000 Some(3) mark now",
            "100000011000 Some(3) a b:12 Ready > swapper:0",
            "100000012000 Some(3) swapper:0 Ready > c:1 2:13",
            "100000013000 Some(3) :-1 Ended > swapper:0",
            "100000014000 Some(3) kworker/u8:2-events_unbound:12 Waits > swapper:0",
        ]
    );
    assert_eq!(found.notes, []);
}

#[test]
fn the_kernels_letters_tell_how_a_thread_leaves() {
    // `R` and `R+` are runnable; `X`, `Z` and the `x` of older kernels are dead; the others wait.
    let states = ["R", "R+", "S", "D", "D|K", "I", "T", "t", "P", "X", "Z", "x"];
    let found = text(
        (0..)
            .zip(states)
            .map(|(at, state)| {
                format!(
                    "               a-1     [000] d..2. 1.00000{at}: sched_switch: prev_comm=a prev_pid=1 prev_prio=1 \
                     prev_state={state} ==> next_comm=a next_pid=1 next_prio=1\n"
                )
                .replace("1.0000010", "1.000010")
                .replace("1.0000011", "1.000011")
            })
            .collect::<String>(),
    );
    let leave: Vec<&str> = vec!["Ready"; 2].into_iter().chain(vec!["Waits"; 7]).chain(vec!["Ended"; 3]).collect();
    let told: Vec<String> =
        all_told(&found).iter().map(|line| line.split(' ').nth(3).unwrap_or("").to_owned()).collect();
    assert_eq!(told, leave);
}

const WAKE: &str = "               a-1     [000] d..2. 1.000000: sched_waking: comm=a pid=1 prio=1 target_cpu=000\n";

#[test]
fn an_interrupt_ends_under_the_name_it_began_with() {
    let line = |at: u32, tells: &str| format!("               a-1     [000] d.h1. 1.00000{at}: irq_handler_{tells}\n");
    let found = text(
        [
            line(0, "exit: irq=7 ret=handled"),
            line(1, "entry: irq=7 name=uart 0"),
            line(2, "exit: irq=7 ret=handled"),
            line(3, "exit: irq=8 ret=unhandled"),
        ]
        .concat(),
    );
    let told: Vec<String> =
        all_told(&found).iter().map(|line| line.splitn(3, ' ').nth(2).unwrap_or("").to_owned()).collect();
    assert_eq!(told, ["ends 7", "begins uart 0", "ends uart 0", "ends 8"]);
}

#[test]
fn losses_stand_before_the_next_event() {
    let found =
        text(format!("{WAKE}CPU:2 [LOST 976 EVENTS]\nCPU:1 [LOST EVENTS]\n{}", WAKE.replace("1.000000", "2.000000")));
    assert_eq!(
        all_told(&found)[1..],
        ["2000000000 Some(2) lost 976", "2000000000 Some(1) lost 0", "2000000000 Some(0) a:1 wakes on Some(0)"]
    );
    assert_eq!(notes(&found), [(Matter::Lost, 2), (Matter::Lost, 3)]);
    // Nothing comes after it: what was lost is lost before the end.
    let found = text(format!("{WAKE}CPU:0 [LOST 3 EVENTS]\n"));
    assert_eq!(all_told(&found)[1], "1000000000 Some(0) lost 3");
}

#[test]
fn what_is_wrong_is_said_with_its_line() {
    let crlf = WAKE.replace('\n', "\r\n");
    let later = WAKE.replace("1.000000", "2.000000");
    let broken = later.replace("pid=1 ", "pid=x ");
    let other = later.replace("sched_waking", "sched_stat_runtime");
    let huge = WAKE.replace("1.000000", "99999999999.000000");
    let source = format!("{crlf}{WAKE}{later}{crlf}{broken}{other}{other}what is this\n{huge}{}", &later[..60]);
    let found = text(source);
    // Each of the lines that cannot be read may have been an event, and is lost.
    let lost = found.events.iter().filter_map(|event| match event.what {
        What::Lost { count, back_us } => Some((count, back_us)),
        _ => None,
    });
    assert_eq!(lost.collect::<Vec<_>>(), [(3, 1_000_000)], "told as one, since the earliest line near them");
    assert_eq!(found.events.len(), 4, "{:?}", all_told(&found));
    let kind = (0..).map(trace::names::Name).zip(1..=found.names.len()).last().expect("there are names").0;
    assert_eq!(found.names.get(kind).text, "sched_stat_runtime");
    assert_eq!(
        notes(&found),
        [
            (Matter::Duplicate, 2),
            (Matter::OutOfOrder, 4),
            (Matter::Malformed, 5),
            (Matter::Unparsed, 8),
            (Matter::OutOfRange, 9),
            (Matter::Truncated, 10),
            (Matter::Unknown { kind, count: 2 }, 6),
        ]
    );
}

#[test]
fn names_that_are_not_utf_8_are_kept_and_noted_once() {
    let later = WAKE.replace("1.000000", "2.000000");
    let source = format!("{WAKE}{WAKE}{later}").replacen("comm=a", "comm=b", 1).replace("comm=a", "comm=caf\u{e9}");
    let latin: Vec<u8> = source.chars().map(|c| u8::try_from(u32::from(c)).expect("Latin 1")).collect();
    let found = text(latin);
    assert_eq!(all_told(&found)[2], "2000000000 Some(0) caf\u{fffd}:1 wakes on Some(0)");
    assert_eq!(notes(&found), [(Matter::NotUtf8, 2)]);
}

#[test]
fn a_source_of_which_no_line_can_be_read_is_refused() {
    let (_, result) = feed(&mut TextReader::new(SchedulerText, 3), [b"# made by hand\n\nhello\nworld\n".as_slice()]);
    let refusal = result.expect_err("this is no scheduler text");
    assert_eq!((refusal.place.source, refusal.place.at), (3, At::Line(3)));
    assert!(refusal.remedy.contains("sched_switch"), "{}", refusal.remedy);
    // An empty recording is none of these.
    assert!(feed(&mut TextReader::new(SchedulerText, 0), [b"# tracer: nop\n#\n".as_slice()]).1.is_ok());
}

#[test]
fn a_line_without_end_does_not_fill_the_memory() {
    let long = vec![b'x'; 10_000_000];
    let parts = [WAKE.as_bytes(), &long, b"\n", WAKE.as_bytes()];
    let (found, result) = feed(&mut TextReader::new(SchedulerText, 0), parts);
    assert!(result.is_ok());
    assert_eq!(notes(&found), [(Matter::Unparsed, 2)]);
    assert_eq!(found.events.len(), 3, "what stands again behind the loss may have happened again");
}
