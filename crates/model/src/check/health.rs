//! The health-monitor table: one answer to each error of a partition, each possible at its level; escalations that
//! lead to something stronger and count what happens.

use crate::read::{Context, Document, Fields, action_of, action_word, level_of};
use crate::system::{HealthAction, HealthLevel};
use diagnostic::codes::recovery::{ACTION_AND_LEVEL, NEVER_COUNTED, NOT_STRONGER, TWO_ANSWERS};
use diagnostic::{Diagnostic, Located};
use std::collections::{BTreeMap, BTreeSet};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let Some(health) = doc.root.table("health") else { return };
    let entries: Vec<_> = health.tables("entry").collect();
    entries.iter().filter_map(|entry| impossible(entry)).for_each(|fault| cx.report(fault));
    report_two_answers(&entries, cx);
    let escalations: Vec<_> = health.tables("escalation").collect();
    let answers = Answers::new(&entries);
    escalations.iter().filter_map(|it| not_stronger(it, &answers)).for_each(|fault| cx.report(fault));
    report_never_counted(&entries, &escalations, cx);
}

/// The actions of each level. Common practice, no source: a level acts on itself, and any may ignore.
fn possible(level: HealthLevel) -> (&'static str, &'static [HealthAction]) {
    use HealthAction::{ColdStart, Handler, Ignore, ModuleReset, ModuleShutdown, RestartProcess, Stop, WarmStart};
    match level {
        HealthLevel::Process => ("process", &[Ignore, Handler, RestartProcess]),
        HealthLevel::Partition => ("partition", &[Ignore, WarmStart, ColdStart, Stop]),
        HealthLevel::Module => ("module", &[Ignore, ModuleReset, ModuleShutdown]),
    }
}

fn impossible(entry: &Fields) -> Option<Diagnostic> {
    let (level, action) = (level_of(entry)?, action_of(entry, "action")?);
    let (word, actions) = possible(level.value);
    if actions.contains(&action.value) {
        return None;
    }
    let message = format!("\"{}\" is no action at the level of a {word}", action_word(action.value));
    let fault = Diagnostic::new(&ACTION_AND_LEVEL, action.span, message).also(level.span, "the level");
    let words: Vec<_> = actions.iter().map(|action| format!("\"{}\"", action_word(*action))).collect();
    Some(fault.help(format!("choose another level, or one of {}", words.join(", "))))
}

/// The partitions that an entry is for; one `None` where it is for all that no other entry names.
fn applies_to(entry: &Fields) -> Vec<Option<Located<String>>> {
    if entry.has("partitions") { entry.texts("partitions").into_iter().map(Some).collect() } else { vec![None] }
}

fn report_two_answers(entries: &[&Fields], cx: &mut Context) {
    let mut first = BTreeMap::new();
    for entry in entries {
        let answer = (entry.text("error"), entry.text("level"), entry.text("action"));
        let (Some(error), Some(level), Some(action)) = answer else { continue };
        for partition in applies_to(entry) {
            let whose = partition.as_ref().map(|partition| partition.value.clone());
            let answer = (level.value.clone(), action.value.clone());
            let (other, place) = first.entry((error.value.clone(), whose)).or_insert((answer.clone(), action.span));
            if *other == answer {
                continue;
            }
            let whose = partition.map_or("every partition".to_owned(), |name| format!("partition `{}`", name.value));
            let said = |(level, action): &(String, String)| format!("\"{action}\" at the level of the {level}");
            let message =
                format!("\"{}\" of {whose} is answered by {} and by {}", error.value, said(other), said(&answer));
            let fault = Diagnostic::new(&TWO_ANSWERS, action.span, message).also(*place, "the other answer");
            cx.report(fault.help("keep one; an entry that names partitions goes before one that names none"));
        }
    }
}

fn not_stronger(escalation: &Fields, answers: &Answers) -> Option<Diagnostic> {
    let (from, to) = (escalation.text("from")?, action_of(escalation, "to")?);
    let answer = match action_of(escalation, "from") {
        Some(action) => Some(action),
        None => answers.strongest(&from.value, escalation),
    };
    let answer = answer.filter(|answer| to.value <= answer.value)?;
    let (what, than) = (action_word(to.value), action_word(answer.value));
    let message = match answer.span == from.span {
        true if what == than => format!("\"{what}\" that comes too often leads to \"{what}\" again, without end"),
        true => format!("\"{than}\" that comes too often leads to \"{what}\", which is weaker"),
        false => format!("\"{}\" is answered by \"{than}\", and too often by \"{what}\", no stronger", from.value),
    };
    let fault = Diagnostic::new(&NOT_STRONGER, to.span, message).also(answer.span, "what goes before");
    let order = "from weak to strong: ignore, handler, restart process, warm start, cold start, stop, module reset, module shutdown";
    Some(fault.help(format!("lead to a stronger action; {order}")))
}

/// The actions by which the table answers each error.
struct Answers {
    /// Of a partition, or of all that are not named.
    own: BTreeMap<(String, Option<String>), Located<HealthAction>>,
    /// The strongest of any partition.
    any: BTreeMap<String, Located<HealthAction>>,
}

impl Answers {
    fn new(entries: &[&Fields]) -> Self {
        let mut answers = Self { own: BTreeMap::new(), any: BTreeMap::new() };
        for entry in entries {
            let (Some(error), Some(action)) = (entry.text("error"), action_of(entry, "action")) else { continue };
            for partition in applies_to(entry) {
                answers.own.insert((error.value.clone(), partition.map(|name| name.value)), action);
            }
            let strongest = answers.any.entry(error.value).or_insert(action);
            if strongest.value < action.value {
                *strongest = action;
            }
        }
        answers
    }

    /// The strongest answer to an error where an escalation applies.
    fn strongest(&self, error: &str, escalation: &Fields) -> Option<Located<HealthAction>> {
        if !escalation.has("partitions") {
            return self.any.get(error).copied();
        }
        let own = |partition| self.own.get(&(error.to_owned(), partition)).copied();
        let of = |name: Located<String>| own(Some(name.value)).or_else(|| own(None));
        escalation.texts("partitions").into_iter().filter_map(of).max_by_key(|action| action.value)
    }
}

fn report_never_counted(entries: &[&Fields], escalations: &[&Fields], cx: &mut Context) {
    let texts = |fields: &[&Fields], key: &str| fields.iter().filter_map(|f| f.text(key)).collect::<Vec<_>>();
    let happens = [texts(entries, "error"), texts(entries, "action"), texts(escalations, "to")];
    let happens: BTreeSet<_> = happens.into_iter().flatten().map(|text| text.value).collect();
    for from in texts(escalations, "from").into_iter().filter(|from| !happens.contains(&from.value)) {
        let message =
            format!("an escalation counts \"{}\", which no entry names and no escalation leads to", from.value);
        let fault = Diagnostic::new(&NEVER_COUNTED, from.span, message);
        cx.report(fault.help("add a [[health.entry]] for it, or count something that happens"));
    }
}
