//! A system of nothing but the names that were found, so that the rest of the pipeline can be used before there is a system.
//!
//! Its other values stand only for what the reader of systems needs; no number of it is used.

use super::found::{ChannelFound, Found};
use super::text::quoted;
use model::{System, read_system};
use std::collections::BTreeMap;
use std::fmt::Write;

/// The device that stands for an end that nobody names.
const NOBODY: &str = "nobody";

/// A system of the names. The texts of why not, where they make none.
pub(super) fn system(found: &Found) -> Result<System, Vec<String>> {
    let mut files = BTreeMap::from([("names".to_owned(), text(found).into_bytes())]);
    let reading = read_system("names", &mut files);
    reading.system.ok_or_else(|| reading.diagnostics.into_iter().map(|found| found.message).collect())
}

fn text(found: &Found) -> String {
    let mut text = "[system]\nname = \"names\"\nframe = \"1 s\"\n[board]\nname = \"names\"\n".to_owned();
    let mut cores: Vec<String> = found.cpus.iter().map(u16::to_string).collect();
    cores.extend(found.cores.iter().filter(|core| !found.cpus.iter().any(|cpu| cpu.to_string() == **core)).cloned());
    if cores.is_empty() {
        cores.push("0".to_owned());
    }
    cores.iter().for_each(|core| put(&mut text, format_args!("[[board.core]]\nname = {}\n", quoted(core))));
    for (partition, tasks) in &found.partitions {
        put(&mut text, format_args!("[[partition]]\nname = {}\n", quoted(partition)));
        text.push_str("guest = \"opaque\"\nneed = { budget = \"1 ms\", period = \"1 s\" }\n");
        for task in tasks {
            put(&mut text, format_args!("[[partition.task]]\nname = {}\nperiod = \"1 s\"\n", quoted(task)));
        }
    }
    let ends: Vec<Vec<String>> = found.channels.values().map(|channel| receivers(found, channel)).collect();
    for number in 0..ends.iter().map(Vec::len).max().unwrap_or_default() {
        put(&mut text, format_args!("[[board.device]]\nname = {}\n", quoted(&counted(number))));
    }
    put(&mut text, format_args!("[[board.device]]\nname = {}\n", quoted(NOBODY)));
    for (name, ends) in found.channels.keys().zip(&ends) {
        let ends: Vec<String> = ends.iter().map(|end| quoted(end)).collect();
        let (name, from, to) = (quoted(name), quoted(NOBODY), ends.join(", "));
        let keys = format!("kind = \"sampling\"\nsize = \"1 B\"\nfrom = {from}\nto = [{to}]\n");
        put(&mut text, format_args!("[[channel]]\nname = {name}\n{keys}"));
    }
    for schedule in &found.schedules {
        put(&mut text, format_args!("[[schedule]]\nname = {}\n", quoted(schedule)));
    }
    text
}

fn put(text: &mut String, words: std::fmt::Arguments<'_>) {
    text.write_fmt(words).expect("a text takes all that is written to it");
}

/// The receivers of a channel in their order: those that the map names, else as many as are counted, then those named in the
/// recording.
fn receivers(found: &Found, channel: &ChannelFound) -> Vec<String> {
    let mut list: Vec<String> = channel.said.to.iter().filter(|end| found.has_executor(end)).cloned().collect();
    list.extend((list.len()..channel.counted).map(counted));
    let named: Vec<String> =
        channel.named.iter().filter(|end| found.has_executor(end) && !list.contains(end)).cloned().collect();
    list.extend(named);
    if list.is_empty() {
        list.push(counted(0));
    }
    list
}

/// The device that stands for a receiver of that place.
fn counted(index: usize) -> String {
    format!("receiver {}", index + 1)
}
