//! What `rehearse` answers: what it is first, what could not be kept, then what was found.

use super::Heard;
use crate::args::{ColorChoice, RehearseArgs};
use crate::commands::check;
use evidence::recording::Judged;
use evidence::text::Style;
use model::System;
use rehearsal::{Prepared, Recorded};
use trace::judge::Judgement;
use trace::recording::Taking;

/// The answer for the terminal.
pub(super) fn text(
    args: &RehearseArgs,
    color: ColorChoice,
    system: &System,
    prepared: &Prepared,
    recorded: &Recorded,
    heard: &Heard,
) -> String {
    let style = Style { unicode: !args.ascii, ..check::style(color) };
    whole(args, system, prepared, recorded, heard, style)
}

/// The answer for a file.
pub(super) fn plain(
    args: &RehearseArgs,
    system: &System,
    prepared: &Prepared,
    recorded: &Recorded,
    heard: &Heard,
) -> String {
    whole(args, system, prepared, recorded, heard, Style { unicode: !args.ascii, ..Style::default() })
}

fn whole(
    args: &RehearseArgs,
    system: &System,
    prepared: &Prepared,
    recorded: &Recorded,
    heard: &Heard,
    style: Style,
) -> String {
    let mut remarks = [recorded.remarks.clone(), prepared.cannot.clone()].concat();
    remarks.push(format!("a window may begin and end {} off its plan (--tolerance).", args.tolerance));
    if let Err(why) = &recorded.kernel {
        remarks.push(format!("the kernel's scheduler events were not recorded: {why}."));
    }
    if recorded.interrupted {
        remarks.push("it was ended before its time.".to_owned());
    }
    let name = &system.name.value;
    let mut text = evidence::text::rehearsal(name, &remarks, style);
    let own = [("recording.csv".to_owned(), "CSV table")];
    text.push('\n');
    text += &judged(&format!("{name}: what the stand-ins recorded"), system, &own, &heard.own, args.all, style);
    if let Some(kernel) = &heard.kernel {
        let sources = [("windows.csv".to_owned(), "CSV table"), ("kernel.txt".to_owned(), "scheduler text")];
        text.push('\n');
        text +=
            &judged(&format!("{name}: who executed, as the kernel saw it"), system, &sources, kernel, args.all, style);
    }
    if !heard.spans.is_empty() {
        text += &evidence::text::spans(system, &heard.spans, style);
    }
    text
}

fn judged(
    head: &str,
    system: &System,
    sources: &[(String, &'static str)],
    (taking, judgement): &(Taking, Judgement),
    all: bool,
    style: Style,
) -> String {
    // Bounds speak of the target: nothing that was seen here is set beside them.
    let judged = Judged { system, sources, taking, judgement, beside: &[] };
    evidence::text::recording(head, &judged, all, style)
}
