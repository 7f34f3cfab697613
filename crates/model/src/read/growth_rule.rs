//! `[[growth_rule]]`

use super::names::nearest;
use super::section::{Key, Kind, Section, words, words_of};
use super::value::{part, short};
use super::{Context, Document, Fields};
use crate::system::{GrowthRule, GrowthSubject};
use diagnostic::codes::shape::UNKNOWN_WORD;
use diagnostic::{Diagnostic, Located};
use quantity::PartitionId;

pub(super) static SECTION: Section = Section {
    head: "[[growth_rule]]",
    summary: "A share that must be left at a milestone.",
    keys: &[
        Key::required(
            "on",
            Kind::Text,
            "\"cores\", \"RAM\", \"bandwidth\", \"ports\", \"partitions\", or \"partition NAME\".",
        ),
        Key::required("at_least", Kind::Share, "The least share left over; of partitions the least growth they bear."),
        Key::optional("milestone", Kind::Text, "The review at which it is judged; always where not given."),
        Key::optional("source", Kind::Text, "Where the rule comes from."),
    ],
};

const SUBJECTS: [(&str, GrowthSubject); 5] = [
    ("cores", GrowthSubject::Cores),
    ("RAM", GrowthSubject::Ram),
    ("bandwidth", GrowthSubject::Bandwidth),
    ("ports", GrowthSubject::Ports),
    ("partitions", GrowthSubject::Partitions),
];
const SUBJECT_WORDS: &[&str] = &words(&SUBJECTS);

pub(super) fn read(doc: &Document, cx: &mut Context) -> Vec<GrowthRule> {
    let rules = doc.root.tables("growth_rule");
    let rules = rules.filter_map(|fields| {
        let subject = subject(fields, doc, cx);
        Some(GrowthRule {
            subject: subject?,
            at_least: fields.share("at_least")?,
            milestone: fields.text("milestone"),
            source: fields.words("source"),
        })
    });
    rules.collect()
}

/// Whether a rule speaks of a share of a whole.
pub(crate) fn is_share_of_whole(fields: &Fields) -> bool {
    use GrowthSubject::{Bandwidth, Cores, Ports, Ram};
    fields.word("on", &SUBJECTS).is_some_and(|subject| matches!(subject.value, Cores | Ram | Bandwidth | Ports))
}

fn subject(fields: &Fields, doc: &Document, cx: &mut Context) -> Option<Located<GrowthSubject>> {
    let on = fields.text("on")?;
    if let Some(subject) = fields.word("on", &SUBJECTS) {
        return Some(subject);
    }
    let Some(name) = on.value.strip_prefix("partition ") else {
        report_unknown(&on, cx);
        return None;
    };
    let partition = doc.names.partitions.resolve(&part(&on, name.trim()), PartitionId::new, cx)?;
    Some(Located::new(GrowthSubject::Partition(partition.value), on.span))
}

fn report_unknown(on: &Located<String>, cx: &mut Context) {
    let help = match nearest(&on.value, SUBJECT_WORDS.iter().copied()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!("write {}, or \"partition NAME\"", words_of(SUBJECT_WORDS)),
    };
    cx.report(Diagnostic::new(&UNKNOWN_WORD, on.span, format!("`on` is \"{}\"", short(&on.value))).help(help));
}
