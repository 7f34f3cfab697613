//! Tables of comma-separated values: the two that are read, and what is refused.

mod feeding;

use feeding::{all_told, feed, notes, table};
use trace::intake::csv::CsvReader;
use trace::names::Name;
use trace::note::{At, Matter};

fn refusal(head: &str) -> (String, String) {
    let refusal = feed(&mut CsvReader::new(0), [head.as_bytes()]).1.expect_err("the head is refused");
    assert_eq!(refusal.place.at, At::Line(1));
    (refusal.why, refusal.remedy)
}

#[test]
fn events_in_the_words_of_a_plan() {
    let found = table(
        "time_ns,core,event,who,number\n\
         0,0,window_begins,nav,\n\
         10,0,runs,nav.ctl,0\n\
         20,0,completes,nav.ctl,0\n\
         20,0,idles,,\n\
         25,,fault_begins,babble,\n\
         30,,mark,\"one, \"\"two\"\"\",\n\
         40,1,lost,,12\n",
    );
    assert_eq!(
        all_told(&found),
        [
            "0 Some(0) window_begins nav None",
            "10 Some(0) runs nav.ctl Some(0)",
            "20 Some(0) completes nav.ctl Some(0)",
            "20 Some(0) idles  None",
            "25 None fault_begins babble None",
            "30 None mark one, \"two\"",
            "40 Some(1) lost 12",
        ]
    );
    assert_eq!(notes(&found), [(Matter::Lost, 8)]);
}

#[test]
fn switches_with_columns_in_any_order_and_unknown_ones() {
    let found = table(
        "\u{feff}next_pid, next_comm ,host,cpu,prev_comm,prev_pid,prev_prio,prev_state,ts_us\r\n\
         7,\"a,b\",h,3,swapper/3,0,120,R,1000.5\r\n\
         0,swapper/3,h, 3 ,\"a,b\",7,40,S,1002\r\n",
    );
    assert_eq!(
        all_told(&found),
        ["1000500 Some(3) swapper/3:0 Ready > a,b:7", "1002000 Some(3) a,b:7 Waits > swapper/3:0"]
    );
    assert_eq!(notes(&found), [(Matter::Unknown { kind: Name(0), count: 1 }, 1)]);
    assert_eq!(found.names.get(Name(0)).text, "column host");
}

#[test]
fn a_head_that_does_not_do_is_refused_by_name() {
    let (why, remedy) = refusal("time_ns,core,event,number\n");
    assert_eq!(why, "the first line does not name the column `who`");
    assert_eq!(remedy, "a table of events has the columns `time_ns`, `core`, `event`, `who`, `number`");
    let (why, _) = refusal("cpu,prev_comm,prev_pid,next_comm,next_pid\n1,a,2,b,3\n");
    assert_eq!(why, "the first line does not name the columns `time_ns`, `prev_state`");
    assert!(refusal("time_ns,core,event,who,number,who").0.contains("`who` twice"));
    assert!(refusal("time_ns,time_us,core,event,who,number").0.contains("more than one column of times"));
    assert!(refusal("").0.contains("`time_ns`"));
    assert!(refusal(&",".repeat(2000)).0.contains("2001 columns"));
    // A first line without end is not kept for ever.
    assert!(refusal(&"x".repeat(1_000_000)).0.contains("longer than 65536 bytes"));
}

#[test]
fn rows_that_cannot_be_read_are_left_out_with_their_line() {
    let found = table(
        "time_us,core,event,who,number\n\
         1,0,runs,a,\n\
         1,0,runs,a,\n\
         2,0,runs,a\n\
         3,0,runs,a,,\n\
         4,0,\"runs,a,\n\
         5,,runs,a,\n\
         6,0,jumps,a,\n\
         7,0,runs,,\n\
         7.0005,0,runs,a,\n\
         7.1230,0,runs,a,\n\
         99999999999999999,0,runs,a,\n\
         8,70000,runs,a,\n\
         0.5,0,runs,a,\n\
         \n\
         9,0,runs,a,",
    );
    // Each of the nine rows that cannot be read may have been an event. Since the next one that can is out of order, they are lost
    // at any instant from that one's to the latest.
    assert_eq!(all_told(&found), ["1000 Some(0) runs a None", "500 Some(0) runs a None", "1000 None lost 9 in 1 us"]);
    let malformed = [4, 5, 6, 7, 9, 10, 11, 13].map(|line| (Matter::Malformed, line));
    let mut noted = notes(&found);
    noted.retain(|(matter, _)| *matter != Matter::Malformed);
    assert_eq!(notes(&found).iter().filter(|note| malformed.contains(note)).count(), malformed.len());
    let jumps = Matter::Unknown { kind: Name(1), count: 1 };
    assert_eq!(
        noted,
        [
            (Matter::Duplicate, 3),
            (Matter::OutOfRange, 12),
            (Matter::OutOfOrder, 14),
            (Matter::Truncated, 16),
            (jumps, 8)
        ]
    );
}

#[test]
fn a_clock_of_32_bits_is_carried_on_where_it_is_declared() {
    let rows = "core,event,who,number\n4294967295,0,runs,a,0\n5,0,runs,a,1\n4294967290,0,runs,a,2\n6,0,runs,a,3\n";
    let found = table(format!("time_us_u32,{rows}"));
    let round_us = 1_u64 << 32;
    let at = [round_us - 1, round_us + 5, round_us - 6, round_us + 6].map(|us| us * 1000);
    assert_eq!(found.events.iter().map(|event| event.at_ns).collect::<Vec<_>>(), at);
    // The third row is late, and the fourth the clock that begins anew as seen from there.
    assert_eq!(notes(&found), [(Matter::Wrapped, 3), (Matter::OutOfOrder, 4), (Matter::Wrapped, 5)]);
    // Where it is not declared, a time that goes back is out of order.
    let found = table(format!("time_us,{rows}"));
    assert_eq!(notes(&found), [(Matter::OutOfOrder, 3), (Matter::OutOfOrder, 5)]);
    // Before the first zero there is nothing.
    let found = table("time_ns_u32,core,event,who,number\n5,0,runs,a,\n4294967290,0,runs,a,\n7,0,runs,a,\n");
    assert_eq!(
        found.events.iter().map(|event| event.at_ns).collect::<Vec<_>>(),
        [5, 7, 7],
        "and what cannot be told is lost"
    );
    assert_eq!(notes(&found), [(Matter::OutOfRange, 3), (Matter::Wrapped, 4)]);
    let found = table("time_ns_u32,core,event,who,number\n4294967296,0,runs,a,\n");
    assert_eq!(notes(&found), [(Matter::OutOfRange, 2)]);
}
