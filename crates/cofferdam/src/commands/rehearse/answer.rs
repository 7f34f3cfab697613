//! What `rehearse` answers: what it is first, what could not be kept, then what was found.

use super::Rehearsed;
use crate::args::{ColorChoice, RehearseArgs};
use crate::commands::check;
use crate::commands::judging::Heard;
use evidence::recording::{Judged, Victims, compare};
use evidence::text::Style;
use model::System;
use rehearsal::{Prepared, Recorded};

/// The answer for the terminal.
pub(super) fn text(
    args: &RehearseArgs,
    color: ColorChoice,
    system: &System,
    prepared: &Prepared,
    recorded: &Recorded,
    heard: &Rehearsed,
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
    heard: &Rehearsed,
) -> String {
    whole(args, system, prepared, recorded, heard, Style { unicode: !args.ascii, ..Style::default() })
}

fn whole(
    args: &RehearseArgs,
    system: &System,
    prepared: &Prepared,
    recorded: &Recorded,
    heard: &Rehearsed,
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
    // Bounds speak of the target, so nothing that was seen here is set beside them.
    let told = |head: &str, sources: &[(String, &'static str)], heard: &Heard, victims: Option<&Victims>| {
        let judged = Judged {
            system,
            sources,
            taking: &heard.taking,
            judgement: &heard.judgement,
            beside: &[],
            victims,
            measured: &[],
            is_rehearsal: false, // The head of the whole answer says it.
        };
        format!("\n{}", evidence::text::recording(head, &judged, args.all, style))
    };
    let shift = args.shift.map(|time| time.ns());
    let victims = heard.own.fault.map(|fault| compare(system, fault, &heard.own.values, &heard.faulty, shift));
    if let Some(kernel) = &heard.kernel {
        let sources = [("windows.csv".to_owned(), "CSV table"), ("kernel.txt".to_owned(), "scheduler text")];
        text += &told(&format!("{name}: who executed, as the kernel saw it"), &sources, kernel, None);
    }
    text += &told(&format!("{name}: what the stand-ins recorded"), &own, &heard.own, victims.as_ref());
    text
}
