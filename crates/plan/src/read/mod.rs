//! The plan file: text in, [`Plan`] and diagnostics out.
//!
//! What is found here is what makes a file unreadable. Whether windows or places overlap, and whether a budget is kept,
//! are claims, judged by the checks.

mod grants;
mod numbers;
mod sections;
mod windows;

use crate::Plan;
use diagnostic::codes::input::TOML_SYNTAX;
use diagnostic::codes::plan_file::{BAD_DIGEST, EMPTY_PLAN, FOR_WHOM, OTHER_SYSTEM};
use diagnostic::{Diagnostic, Diagnostics, Located, Sources, Span};
use model::tables::{Context, Fields, Names, read_file};
use model::{Digest, System};

/// Reads a plan of `system` from the bytes of a file called `name`, and adds its text to `sources`.
///
/// All that is wrong is found in one run, in the order of places. The plan is `None` where an error was found; a plan
/// made for another state of the system is read with a warning.
pub fn read_plan(name: &str, bytes: &[u8], system: &System, sources: &mut Sources) -> (Option<Plan>, Vec<Diagnostic>) {
    if says_nothing(bytes) {
        let file = sources.add(name, String::from_utf8_lossy(bytes));
        let help = "`cofferdam plan SYSTEM --out PLAN` makes a plan; a plan by hand begins with [[window]]";
        let empty = Diagnostic::new(&EMPTY_PLAN, Span::head(file), "the plan file is empty").help(help);
        return (None, vec![empty]);
    }
    let mut out = Diagnostics::new();
    let fields = read_file(name, bytes, &sections::PLAN_FILE, sources, &mut out);
    let broken = out.has(&TOML_SYNTAX);
    let mut cx = Context::new(out, broken);
    let plan = fields.map(|fields| Reader::new(system, &mut cx).plan(&fields));
    let plan = plan.filter(|_| !cx.has_errors());
    (plan, cx.into_diagnostics().into_sorted(sources))
}

/// Whether a file holds nothing but white space and comments.
fn says_nothing(bytes: &[u8]) -> bool {
    let text = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
    let mut lines = text.split(|byte| *byte == b'\n').map(<[u8]>::trim_ascii);
    std::str::from_utf8(text).is_ok() && lines.all(|line| line.is_empty() || line.starts_with(b"#"))
}

/// The keys of every section of the plan file, for its documentation: head, and rows of key, kind, need and meaning.
pub fn key_tables() -> Vec<(&'static str, String)> {
    sections::ALL.iter().map(|section| (section.head, section.key_table())).collect()
}

/// Resolves names of one system.
struct Reader<'a> {
    system: &'a System,
    cx: &'a mut Context,
    cores: Names,
    partitions: Names,
    schedules: Names,
    regions: Names,
    caches: Names,
    memories: Names,
    masters: Names,
}

impl<'a> Reader<'a> {
    fn new(system: &'a System, cx: &'a mut Context) -> Self {
        let board = &system.board;
        let masters = board.interconnect.iter().flat_map(|path| &path.masters);
        let mut names = |what, names: Vec<&Located<String>>| {
            Names::collect(what, names.into_iter().map(|name| Some(name.clone())), cx)
        };
        Self {
            cores: names("core", board.cores.iter().map(|core| &core.name).collect()),
            partitions: names("partition", system.partitions.iter().map(|p| &p.name).collect()),
            schedules: names("schedule", system.schedules.iter().map(|s| &s.name).collect()),
            regions: names("region", system.regions.iter().map(|r| &r.name).collect()),
            caches: names("cache", board.caches.iter().map(|c| &c.name).collect()),
            memories: names("memory", board.memories.iter().map(|m| &m.name).collect()),
            masters: names("master", masters.map(|m| &m.name).collect()),
            system,
            cx,
        }
    }

    fn plan(mut self, fields: &Fields) -> Plan {
        Plan {
            made_for: self.made_for(fields),
            schedules: self.schedules(fields),
            memory: fields.tables("placement").filter_map(|entry| self.placement(entry)).collect(),
            cache: self.way_grants(fields),
            colours: self.colour_grants(fields),
            bandwidth: self.budgets(fields),
        }
    }

    fn made_for(&mut self, fields: &Fields) -> Option<Located<Digest>> {
        let text = fields.table("plan")?.text("made_for")?;
        let digest = match text.value.parse::<Digest>() {
            Ok(digest) => Located::new(digest, text.span),
            Err(why) => {
                self.cx.report(Diagnostic::new(&BAD_DIGEST, text.span, format!("`made_for` {why}")));
                return None;
            }
        };
        let system = self.system.digest();
        if digest.value != system {
            let message = format!("the plan was made for {}, the system is {system}", digest.value);
            let help = "plan again, or judge the plan as it is: every claim is made for the system as it is now";
            self.cx.report(Diagnostic::new(&OTHER_SYSTEM, text.span, message).help(help));
        }
        Some(digest)
    }

    /// Which of two keys names the holder; reports none and both.
    fn holder(&mut self, entry: &Fields, keys: [&'static str; 2]) -> Option<(&'static str, Located<String>)> {
        let [one, other] = keys;
        let help = format!("give either `{one}` or `{other}`");
        let message = match (entry.text(one), entry.text(other)) {
            (Some(name), None) => return Some((one, name)),
            (None, Some(name)) => return Some((other, name)),
            (Some(_), Some(name)) => {
                let message = format!("this entry names both a `{one}` and a `{other}`");
                self.cx.report(Diagnostic::new(&FOR_WHOM, name.span, message).help(help));
                return None;
            }
            // A holder of the wrong type has been reported already.
            (None, None) if keys.iter().any(|key| entry.key_span(key).is_some()) => return None,
            (None, None) => format!("this entry has neither `{one}` nor `{other}`"),
        };
        self.cx.report(Diagnostic::new(&FOR_WHOM, entry.span, message).help(help));
        None
    }
}
