//! Which format a source is in, by its first bytes and its name.

use super::ctf;

/// The formats that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Format {
    /// Scheduler text: [`super::text`].
    Text,
    /// A table: [`super::csv`].
    Csv,
    /// Common Trace Format, by its `metadata` file: [`super::ctf`].
    Ctf,
    /// Trace Event JSON: [`super::trace_event`].
    TraceEvent,
    /// A capture in pcap or pcapng: [`super::pcap`].
    Capture,
}

/// The magic numbers of captures: a pcapng section, and pcap with microseconds, nanoseconds and longer frame headers, in both orders.
const CAPTURES: [[u8; 4]; 7] = [
    [0x0A, 0x0D, 0x0D, 0x0A],
    [0xA1, 0xB2, 0xC3, 0xD4],
    [0xD4, 0xC3, 0xB2, 0xA1],
    [0xA1, 0xB2, 0x3C, 0x4D],
    [0x4D, 0x3C, 0xB2, 0xA1],
    [0xA1, 0xB2, 0xCD, 0x34],
    [0x34, 0xCD, 0xB2, 0xA1],
];

/// The format of a source of which `first` are the first bytes, some thousand if there are as many, and which has that name. Of a
/// folder they are those of its `metadata` file. Bytes that could be several things are taken as what the name's ending says.
pub fn sniff(first: &[u8], name: &str) -> Option<Format> {
    if CAPTURES.iter().any(|magic| first.starts_with(magic)) {
        return Some(Format::Capture);
    }
    if ctf::is_packed(first) || first.trim_ascii_start().starts_with(b"/* CTF 1") {
        return Some(Format::Ctf);
    }
    if is_json(first.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(first)) {
        return Some(Format::TraceEvent);
    }
    if has_scheduler_line(first) {
        return Some(Format::Text);
    }
    if has_head(first) {
        return Some(Format::Csv);
    }
    match name.rsplit(['/', '.']).next() {
        Some("csv") => Some(Format::Csv),
        Some("txt" | "ftrace") => Some(Format::Text),
        Some("json") => Some(Format::TraceEvent),
        Some("metadata") => Some(Format::Ctf),
        _ => None,
    }
}

/// A list of objects, or an object with a key; a line of scheduler text can begin with a bracket too, but not with these.
fn is_json(first: &[u8]) -> bool {
    let text = first.trim_ascii_start();
    let behind = |open: u8| text.strip_prefix(&[open]).map(<[u8]>::trim_ascii_start);
    behind(b'[').is_some_and(|rest| matches!(rest.first(), None | Some(b'{' | b']')))
        || behind(b'{').is_some_and(|rest| matches!(rest.first(), Some(b'"' | b'}')))
}

/// The kernel's own head, or a line with a time in seconds and a colon behind it, behind a cpu in square brackets.
fn has_scheduler_line(first: &[u8]) -> bool {
    let timed = |line: &[u8]| {
        let mut words = line.split(u8::is_ascii_whitespace).filter(|word| !word.is_empty());
        words.any(is_cpu) && words.any(is_seconds)
    };
    first.starts_with(b"# tracer:") || first.split(|byte| *byte == b'\n').take(64).any(timed)
}

fn is_cpu(word: &[u8]) -> bool {
    let number = word.strip_prefix(b"[").and_then(|word| word.strip_suffix(b"]"));
    number.is_some_and(|number| number.len() >= 3 && number.iter().all(u8::is_ascii_digit))
}

fn is_seconds(word: &[u8]) -> bool {
    let number = word.strip_suffix(b":").unwrap_or_default();
    let mut parts = number.split(|byte| *byte == b'.');
    let digits = |part: Option<&[u8]>| part.is_some_and(|part| !part.is_empty() && part.iter().all(u8::is_ascii_digit));
    digits(parts.next()) && digits(parts.next()) && parts.next().is_none()
}

/// A first line with a column of times among others.
fn has_head(first: &[u8]) -> bool {
    let line = first.split(|byte| *byte == b'\n').next().unwrap_or_default();
    let column = |column: &[u8]| {
        let column = column.trim_ascii();
        let column = column.strip_prefix(b"\"").unwrap_or(column);
        column.starts_with(b"time_") || column.starts_with(b"ts_")
    };
    line.contains(&b',') && line.split(|byte| *byte == b',').any(column)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_format_is_told_by_its_first_bytes() {
        let line = "   nav-29602   [000] d..2.  1359.059724: sched_switch: prev_comm=nav";
        let cases: [(&[u8], &str, Option<Format>); 18] = [
            (b"# tracer: nop\n#\n", "trace", Some(Format::Text)),
            (line.as_bytes(), "", Some(Format::Text)),
            (b"[kworker]-12 [000] 5.1: x\n", "", Some(Format::Text)),
            (
                b"nav 29602 [000]  1359.059724123:       sched:sched_switch: nav:29602 [120] S ==> log",
                "",
                Some(Format::Text),
            ),
            (b"time_ns,core,event,who,number\n", "", Some(Format::Csv)),
            (b"\"ts_us\",\"cpu\"\r\n", "", Some(Format::Csv)),
            (b"cpu,at\n", "a.csv", Some(Format::Csv)),
            (b"/* CTF 1.8 */\n", "metadata", Some(Format::Ctf)),
            (&[0x57, 0x1D, 0xD1, 0x75], "", Some(Format::Ctf)),
            (&[0x75, 0xD1, 0x1D, 0x57], "", Some(Format::Ctf)),
            (b"trace { major = 1; };", "run/metadata", Some(Format::Ctf)),
            (b" [ {\"ph\":", "", Some(Format::TraceEvent)),
            (b"{\n\"traceEvents\"", "", Some(Format::TraceEvent)),
            (&[0x0A, 0x0D, 0x0D, 0x0A], "", Some(Format::Capture)),
            (&[0xD4, 0xC3, 0xB2, 0xA1, 2], "", Some(Format::Capture)),
            (b"", "x.json", Some(Format::TraceEvent)),
            (b"", "", None),
            (b"\x7FELF", "a.out", None),
        ];
        for (first, name, expected) in cases {
            assert_eq!(sniff(first, name), expected, "{:?} {name}", String::from_utf8_lossy(first));
        }
    }
}
