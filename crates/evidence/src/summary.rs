//! Counts of verdicts, what was not analysed first.

use claim::{Kind, Status, Verdict};
use std::collections::BTreeMap;

/// The counts of one kind of claim, or of all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Summary {
    /// Claims about which nothing was computed.
    pub not_analysed: usize,
    /// Claims that a witness contradicts.
    pub violated: usize,
    /// Claims whose bound passes the limit.
    pub not_shown: usize,
    /// Claims that hold.
    pub shown: usize,
}

/// The counts of one kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KindSummary {
    /// The kind.
    pub kind: Kind,
    /// Its counts.
    pub counts: Summary,
}

/// What was not analysed of one kind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotAnalysed {
    /// The kind.
    pub kind: Kind,
    /// The claims, in order.
    pub ids: Vec<String>,
    /// The different reasons with how many claims give them: the commonest first, then in the order of the alphabet.
    pub reasons: Vec<(String, usize)>,
}

impl Summary {
    /// The counts of some verdicts.
    pub fn of<'v>(verdicts: impl IntoIterator<Item = &'v Verdict>) -> Self {
        let mut summary = Self::default();
        for verdict in verdicts {
            *summary.slot(verdict.status) += 1;
        }
        summary
    }

    fn slot(&mut self, status: Status) -> &mut usize {
        match status {
            Status::NotAnalysed => &mut self.not_analysed,
            Status::Violated => &mut self.violated,
            Status::NotShown => &mut self.not_shown,
            Status::Shown => &mut self.shown,
        }
    }

    /// All claims counted.
    pub const fn total(&self) -> usize {
        self.not_analysed + self.violated + self.not_shown + self.shown
    }

    /// Each status with its count, what was not analysed first.
    pub const fn rows(&self) -> [(Status, usize); 4] {
        [
            (Status::NotAnalysed, self.not_analysed),
            (Status::Violated, self.violated),
            (Status::NotShown, self.not_shown),
            (Status::Shown, self.shown),
        ]
    }
}

/// The counts of every kind that has claims, in listing order.
pub(crate) fn by_kind<'v>(verdicts: impl Iterator<Item = &'v Verdict> + Clone) -> Vec<KindSummary> {
    let counted = |kind| KindSummary { kind, counts: Summary::of(verdicts.clone().filter(move |v| v.kind == kind)) };
    Kind::ALL.into_iter().map(counted).filter(|summary| summary.counts.total() > 0).collect()
}

/// What was not analysed, kind by kind.
pub(crate) fn not_analysed(verdicts: &[Verdict]) -> Vec<NotAnalysed> {
    let open = |kind| verdicts.iter().filter(move |v| v.kind == kind && v.status == Status::NotAnalysed);
    let entry = |kind| NotAnalysed {
        kind,
        ids: open(kind).map(|v| v.id.clone()).collect(),
        reasons: ranked_reasons(open(kind)),
    };
    Kind::ALL.into_iter().map(entry).filter(|entry| !entry.ids.is_empty()).collect()
}

fn ranked_reasons<'v>(verdicts: impl Iterator<Item = &'v Verdict>) -> Vec<(String, usize)> {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for verdict in verdicts {
        *counts.entry(verdict.reason.as_deref().unwrap_or("no reason given")).or_default() += 1;
    }
    let mut ranked: Vec<_> = counts.into_iter().map(|(reason, n)| (reason.to_owned(), n)).collect();
    ranked.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    ranked
}
