//! Interference channels.
//!
//! Computes: every resource of the board that at least two masters use, who they are, which partitions it reaches, and whether
//! what one does there is kept from the others (mitigated), reaches them by no more than is charged to them (bounded), or
//! neither (open); and whether none is open.
//! Source: A(M)C 20-193, MCP_Resource_Usage_3: interference channels are identified and their mitigation verified (from memory);
//! an interference channel is a property of the platform that may cause interference between software on different cores.
//! Assumptions: no resource is shared but those derived and declared; what the integrator declares is so.
//! Symbols: a master is a core or whatever else asks for memory lines; a stream is that of a device at the I/O memory unit.
//! Invariants and why it ends: one look at each cache, memory, device and declaration. A declared word closes only what no datum
//! of the board tells; it never closes what a datum shows to be open.
//! Differs from the source: the list is as long as the board's data; what the processor does beside is the integrator's to declare.
//! Checked by: hand-made boards and a general-purpose graph library (`tests/channels.rs`); the survey vessel with one channel
//! opened and with its ways made to overlap.

mod derived;

use crate::facts::{Claim, Found, basis};
use crate::names::counted;
use claim::{Assumption, Kind, Relation, Status, Verdict};
use derived::{Derived, Told};
use diagnostic::Span;
use model::System;
use model::system::{Closure, Shared, SharedKind};
use plan::Plan;
use quantity::PartitionId;

/// Whether interference through a resource is kept away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// What one master does there does not reach the others.
    Mitigated,
    /// It reaches them by no more than is charged to them.
    Bounded,
    /// Nothing keeps it from them: a datum shows so, or none tells otherwise.
    Open {
        /// Whether a datum of the board or the plan shows it.
        shown: bool,
    },
}

impl State {
    /// The word for programs and people: `mitigated`, `bounded`, `open`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Mitigated => "mitigated",
            Self::Bounded => "bounded",
            Self::Open { .. } => "open",
        }
    }

    /// Whether interference may pass.
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Open { .. })
    }
}

/// A resource that several masters use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InterferenceChannel {
    /// Its subject in claims, such as `cache/L2`.
    pub subject: String,
    /// What it is.
    pub kind: SharedKind,
    /// Who uses it.
    pub sharers: Vec<String>,
    /// Who goes first where several ask at once.
    pub arbiter: Option<String>,
    /// Whether interference through it is kept away.
    pub state: State,
    /// By what, or why not.
    pub why: String,
    /// The claim that its state rests on, where there is one.
    pub rests_on: Option<String>,
    /// Whether its state is the integrator's word.
    pub is_declared: bool,
    /// The settings that it depends on: indices into those of the board.
    pub settings: Vec<usize>,
    /// The partitions that it reaches.
    pub partitions: Vec<PartitionId>,
    /// The place in the system file that it is about.
    pub place: Span,
}

impl InterferenceChannel {
    /// The id of its claim.
    pub fn claim(&self) -> String {
        format!("{}/{}", Kind::Channel.key(), self.subject)
    }
}

/// Every interference channel: derived ones first, then those that are only declared.
pub fn list(system: &System, plan: &Plan) -> Vec<InterferenceChannel> {
    let derived = derived::all(system, plan);
    let declared = &system.board.shared;
    let matched: Vec<Option<usize>> = derived.iter().map(|of| declaration_of(declared, &derived, of)).collect();
    let only_declared = (0..declared.len()).filter(|index| !matched.contains(&Some(*index)));
    let only_declared: Vec<_> =
        only_declared.map(|index| (derived::only_declared(system, plan, index), Some(index))).collect();
    derived
        .into_iter()
        .zip(matched.iter().copied())
        .chain(only_declared)
        .map(|(of, word)| joined(system, of, word))
        .collect()
}

/// One verdict for each channel, then one for them all; none where only one master is there.
pub(crate) fn check(system: &System, plan: &Plan) -> Vec<Verdict> {
    let channels = list(system, plan);
    if channels.is_empty() {
        return Vec::new();
    }
    let mut verdicts: Vec<Verdict> = channels.iter().map(verdict).collect();
    verdicts.push(complete(system, &channels));
    verdicts
}

/// The declaration that speaks of a derived resource: by its name, or by its kind where there is one of the kind.
fn declaration_of(declared: &[Shared], derived: &[Derived], of: &Derived) -> Option<usize> {
    let of_kind = |shared: &&Shared| shared.kind.value == of.kind;
    let by_name = declared.iter().position(|shared| of_kind(&shared) && of.name.as_ref() == Some(&shared.name.value));
    let is_only = derived.iter().filter(|other| other.kind == of.kind).count() == 1;
    by_name.or_else(|| declared.iter().position(|shared| is_only && of_kind(&shared)))
}

/// What the data of the board tell, together with what the integrator declares.
fn joined(system: &System, of: Derived, word: Option<usize>) -> InterferenceChannel {
    let shared = word.map(|index| &system.board.shared[index]);
    let settings: Vec<usize> = shared.map(|s| s.settings.iter().map(|at| at.value).collect()).unwrap_or_default();
    let (state, why, is_declared) = match unguarded(system, &settings) {
        Some(setting) => (State::Open { shown: true }, setting, false),
        None => state_of(of.told, shared),
    };
    InterferenceChannel {
        subject: of.subject,
        kind: of.kind,
        sharers: of.sharers,
        arbiter: shared.and_then(|s| s.arbiter.as_ref()).map(|arbiter| arbiter.value.clone()).or(of.arbiter),
        state,
        why,
        rests_on: of.rests_on,
        is_declared,
        settings,
        partitions: of.partitions,
        place: shared.map_or(of.place, |shared| shared.name.span),
    }
}

fn state_of(told: Told, shared: Option<&Shared>) -> (State, String, bool) {
    match told {
        Told::Mitigated(why) => (State::Mitigated, why, false),
        Told::Bounded(why) => (State::Bounded, why, false),
        Told::Word(why) => (State::Mitigated, why, true),
        Told::Fault(why) => (State::Open { shown: true }, why, false),
        Told::Nothing(why) => match shared.map(|shared| (shared, shared.closure)) {
            Some((shared, Closure::Mitigated)) => (State::Mitigated, word_of(shared), true),
            Some((shared, Closure::Bounded)) => (State::Bounded, word_of(shared), true),
            Some((_, Closure::Open)) => {
                (State::Open { shown: false }, format!("{why}, and the integrator leaves it open"), false)
            }
            None => (State::Open { shown: false }, format!("{why}, and no [[board.shared]] speaks of it"), false),
        },
    }
}

/// The integrator's words, told as such.
fn word_of(shared: &Shared) -> String {
    let text = |words: &Option<diagnostic::Located<String>>| {
        words.as_ref().map_or("", |words| words.value.as_str()).to_owned()
    };
    format!("declared by the integrator: {} ({})", text(&shared.by), text(&shared.source))
}

/// A critical setting that nothing guards.
fn unguarded(system: &System, settings: &[usize]) -> Option<String> {
    let found = settings.iter().map(|index| &system.board.settings[*index]);
    let mut bare = found.filter(|setting| setting.critical && setting.mitigation.is_none());
    bare.next().map(|setting| {
        format!(
            "it depends on the setting `{}`, which is critical, and nothing stands against its change",
            setting.name.value
        )
    })
}

fn claim(subject: String, place: Span, is_declared: bool) -> Claim {
    let source = "A(M)C 20-193, MCP_Resource_Usage_3 (from memory)";
    let word = is_declared.then_some(Assumption::DeclaredAsIs);
    let assumptions = [Assumption::ChannelsListed].into_iter().chain(word).collect();
    Claim { kind: Kind::Channel, subject, place, basis: basis("channels", source, assumptions) }
}

fn verdict(channel: &InterferenceChannel) -> Verdict {
    let claim = claim(channel.subject.clone(), channel.place, channel.is_declared);
    let reason = format!("{}: {}", channel.state.word(), channel.why);
    match channel.state {
        State::Mitigated | State::Bounded => claim.judged(Found { faults: Vec::new(), remarks: vec![reason] }),
        State::Open { shown: false } => claim.unknown(reason),
        State::Open { shown: true } => not_shown(claim, 1, reason),
    }
}

fn not_shown(claim: Claim, open: usize, reason: String) -> Verdict {
    let bound = Some(open as u64);
    Verdict { status: Status::NotShown, bound, relation: Relation::AtMost, ..claim.unknown(reason) }
}

/// Whether no channel is open. Where nobody has declared anything, what is open was not looked at yet.
fn complete(system: &System, channels: &[InterferenceChannel]) -> Verdict {
    let is_declared = channels.iter().any(|channel| channel.is_declared);
    let claim = claim("complete".to_owned(), system.board.name.span, is_declared);
    let (open, closed): (Vec<_>, Vec<_>) = channels.iter().partition(|channel| channel.state.is_open());
    let shown = |channel: &&InterferenceChannel| channel.state == State::Open { shown: true };
    if open.is_empty() {
        let words = closed.iter().filter(|channel| channel.is_declared).count() as u64;
        let all = counted(closed.len() as u64, "channel");
        let remark = format!("{all}, none open, {} by the integrator's word", counted(words, "state"));
        return claim.judged(Found { faults: Vec::new(), remarks: vec![remark] });
    }
    let names: Vec<&str> = open.iter().map(|channel| channel.subject.as_str()).collect();
    let reason = format!("open: {}", names.join(", "));
    if system.board.shared.is_empty() && !open.iter().any(shown) {
        return claim.unknown(format!("{reason}; no [[board.shared]] says what is known of them"));
    }
    not_shown(claim, open.len(), reason)
}
