//! What `rehearse` answers, at the terminal, in a file and in JSON.

use super::Rehearsed;
use crate::args::RehearseArgs;
use crate::commands::judging::Heard;
use crate::commands::session::Session;
use crate::exit::Exit;
use evidence::Rehearsal;
use evidence::json;
use evidence::recording::{Judged, Victims, compare};
use evidence::text::Style;
use model::System;
use rehearsal::{Prepared, Recorded};

/// The names of the files of recordings, with their formats.
const OWN: &str = "recording.csv";
const BY_KERNEL: [&str; 2] = ["windows.csv", "kernel.txt"];
const TABLE: &str = "CSV table";

/// Everything that is told, in the words and numbers that every answer has.
pub(super) struct Answer<'a> {
    args: &'a RehearseArgs,
    system: &'a System,
    heard: &'a Rehearsed,
    own: [(String, &'static str); 1],
    kernel: [(String, &'static str); 2],
    victims: Option<Victims>,
    faults: Vec<String>,
    not_kept: Vec<String>,
    interrupted: bool,
    no_kernel: Option<String>,
}

impl<'a> Answer<'a> {
    pub(super) fn new(
        args: &'a RehearseArgs,
        system: &'a System,
        (prepared, recorded): (&Prepared, &Recorded),
        faults: Vec<String>,
        heard: &'a Rehearsed,
    ) -> Self {
        let mut not_kept = [recorded.remarks.clone(), prepared.cannot.clone()].concat();
        not_kept.push(format!("a window may begin and end {} off its plan (--tolerance).", args.tolerance));
        let no_kernel = recorded.kernel.as_ref().err().cloned();
        not_kept.extend(no_kernel.iter().map(|why| format!("the kernel's scheduler events were not recorded: {why}.")));
        if recorded.interrupted {
            not_kept.push("it was ended before its time.".to_owned());
        }
        let [windows, kernel] = BY_KERNEL;
        let shift = args.shift.map(|time| time.ns());
        let compared = |fault| compare(system, fault, &heard.own.values, &heard.faulty, shift);
        Self {
            args,
            system,
            heard,
            own: [(OWN.to_owned(), TABLE)],
            kernel: [(windows.to_owned(), TABLE), (kernel.to_owned(), "scheduler text")],
            victims: heard.own.fault.map(compared),
            faults,
            not_kept,
            interrupted: recorded.interrupted,
            no_kernel,
        }
    }

    /// For people.
    pub(super) fn text(&self, style: Style) -> String {
        evidence::text::rehearsal(
            &self.rehearsal(),
            self.args.answer.all,
            Style { unicode: !self.args.answer.ascii, ..style },
        )
    }

    /// For programs.
    pub(super) fn json(&self, session: &Session, exit: Exit, written: &[String]) -> String {
        let recorded = json::Recorded {
            tool_version: env!("CARGO_PKG_VERSION"),
            exit_status: exit.code(),
            inputs: &session.baseline.input_digests(),
            diagnostics: &session.plain_diagnostics(),
            judged: self.rehearsal().own,
        };
        json::rehearsed(&self.rehearsal(), &recorded, written)
    }

    fn rehearsal(&self) -> Rehearsal<'_> {
        let kernel = self.heard.kernel.as_ref().map(|heard| self.judged(&self.kernel, heard, None));
        Rehearsal {
            seed: self.args.seed,
            span_ns: self.args.span.ns(),
            tolerance_ns: self.args.tolerance.ns(),
            faults: &self.faults,
            not_kept: &self.not_kept,
            interrupted: self.interrupted,
            own: self.judged(&self.own, &self.heard.own, self.victims.as_ref()),
            kernel: kernel.ok_or(self.no_kernel.as_deref().unwrap_or_default()),
        }
    }

    /// Bounds speak of the target, so nothing that was seen here is set beside them.
    fn judged<'s>(
        &'s self,
        sources: &'s [(String, &'static str)],
        heard: &'s Heard,
        victims: Option<&'s Victims>,
    ) -> Judged<'s> {
        Judged {
            system: self.system,
            sources,
            taking: &heard.taking,
            judgement: &heard.judgement,
            beside: &[],
            victims,
            measured: &[],
            is_rehearsal: true,
        }
    }
}
