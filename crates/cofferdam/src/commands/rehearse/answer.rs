//! What `rehearse` answers, at the terminal, in a file and in JSON.

use super::Rehearsed;
use crate::args::RehearseArgs;
use crate::commands::session::Session;
use crate::exit::Exit;
use evidence::Rehearsal;
use evidence::json;
use evidence::text::Style;
use model::System;
use rehearsal::{Prepared, Recorded};

/// Everything that is told, in the words and numbers that every answer has.
pub(super) struct Answer<'a> {
    args: &'a RehearseArgs,
    system: &'a System,
    heard: &'a Rehearsed,
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
        Self { args, system, heard, faults, not_kept, interrupted: recorded.interrupted, no_kernel }
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
        let kernel = self.heard.kernel.as_ref().map(|heard| heard.judged(self.system));
        Rehearsal {
            seed: self.args.seed,
            span_ns: self.args.span.ns(),
            tolerance_ns: self.args.tolerance.ns(),
            faults: &self.faults,
            not_kept: &self.not_kept,
            interrupted: self.interrupted,
            own: self.heard.own.judged(self.system),
            kernel: kernel.ok_or(self.no_kernel.as_deref().unwrap_or_default()),
        }
    }
}
