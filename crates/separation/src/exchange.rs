//! Faults of exchange.
//!
//! Computes: for every channel and region that carries between partitions of different levels, or declares measures, what stands
//! against each kind of fault of an exchange: a declared measure, a declared reason why it cannot occur, a measure that comes with
//! messages that are passed on, its construction together with claims that are shown, or nothing.
//! Source: ISO 26262-6:2018 annex D.2.4, exchange of information (from memory).
//! Assumptions: measures work; the port service copies messages whole and in order from their one source; the hardware enforces the map.
//! Symbols: none.
//! Invariants and why it ends: one look at each kind of fault of each carrier; a claim closes a kind only where it is shown.
//! Differs from the source: whether a measure is strong enough is the reader's to judge; here only its absence is found.
//! Checked by: hand-made tables, `tests/exchange.rs`; a table of the kinds by ports, written down beside.

mod way;

use crate::edges::{Carrier, Edge, edges, level};
use crate::facts::{Claim, Found, basis};
use crate::names::counted;
use claim::{Assumption, Kind, Relation, Status, Verdict};
use diagnostic::{Located, Span};
use model::System;
use model::system::{Channel, ChannelKind, ExchangeFault, FaultAnswer, PortEnd, Protection, RegionOwner};
use std::collections::BTreeSet;

/// What stands against a kind of fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Stand {
    /// Declared measures.
    Measures(Vec<String>),
    /// A declared reason why it cannot occur.
    CannotOccur(String),
    /// Measures declared for a channel whose messages are passed on.
    PassedOn {
        /// The measures.
        measures: Vec<String>,
        /// The channel.
        from: String,
    },
    /// The construction, for this reason, and the shown claims that it rests on.
    Construction {
        /// Why it cannot occur, or is noticed.
        why: &'static str,
        /// The claims.
        rests_on: Vec<String>,
    },
    /// Nothing that is known.
    Nothing,
}

impl Stand {
    /// The word for programs and people: `measure`, `cannot occur`, `passed on`, `construction`, `nothing`.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Measures(_) => "measure",
            Self::CannotOccur(_) => "cannot occur",
            Self::PassedOn { .. } => "passed on",
            Self::Construction { .. } => "construction",
            Self::Nothing => "nothing",
        }
    }

    /// What it is, in words; nothing where nothing stands.
    pub fn told(&self) -> String {
        match self {
            Self::Measures(all) => all.join("; "),
            Self::CannotOccur(reason) => reason.clone(),
            Self::PassedOn { measures, from } => format!("{} (attached for {from})", measures.join("; ")),
            Self::Construction { why, rests_on } if rests_on.is_empty() => (*why).to_owned(),
            Self::Construction { why, rests_on } => format!("{why} ({})", rests_on.join(", ")),
            Self::Nothing => String::new(),
        }
    }
}

/// What stands against the faults of one exchange: a row of the matrix.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exchange {
    /// Its subject in claims, such as `CH04` or `region/pool`.
    pub subject: String,
    /// The declared set of measures that it takes, where that has a name.
    pub protection: Option<String>,
    /// What stands against each kind, in the order of the kinds.
    pub stands: Vec<(ExchangeFault, Stand)>,
    is_declared: bool,
    place: Span,
}

impl Exchange {
    /// The kinds of fault that nothing stands against.
    pub fn open(&self) -> impl Iterator<Item = ExchangeFault> + '_ {
        self.stands.iter().filter(|(_, stand)| *stand == Stand::Nothing).map(|(fault, _)| *fault)
    }
}

/// Every exchange that is looked at.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Matrix {
    /// The exchanges, channels first, in the order of the file.
    pub exchanges: Vec<Exchange>,
    /// How many others carry between partitions of one level and declare nothing.
    pub left_out: usize,
}

/// What stands against faults of exchange, given all other claims about the system.
pub fn matrix(system: &System, verdicts: &[Verdict]) -> Matrix {
    let edges = edges(system);
    let mut matrix = Matrix::default();
    for of_carrier in edges.chunk_by(|one, other| one.carrier == other.carrier) {
        let carrier = of_carrier[0].carrier;
        match carrier {
            Carrier::Device(_) => {}
            _ if is_looked_at(system, of_carrier) => {
                matrix.exchanges.push(exchange(system, carrier, of_carrier[0].place, verdicts));
            }
            _ => matrix.left_out += 1,
        }
    }
    matrix
}

/// Whether what a carrier brings comes from another level, or measures are declared for it.
fn is_looked_at(system: &System, of_carrier: &[Edge]) -> bool {
    let way = way_of(system, of_carrier[0].carrier);
    let origin = way::origin(system, &way);
    let crosses = |edge: &Edge| {
        [Some(edge.from), origin].into_iter().flatten().any(|id| level(system, id) != level(system, edge.to))
    };
    let has_measures = measures(system, of_carrier[0].carrier).is_some() || way.iter().any(|of| of.measures.is_some());
    has_measures || of_carrier.iter().any(crosses)
}

/// The channels by which a channel's messages come; none of other carriers.
fn way_of(system: &System, carrier: Carrier) -> Vec<&Channel> {
    match carrier {
        Carrier::Channel(id) => way::of_channel(system, id),
        Carrier::Region(_) | Carrier::Device(_) => Vec::new(),
    }
}

/// One verdict for every exchange that is looked at.
pub fn check(matrix: &Matrix) -> Vec<Verdict> {
    matrix.exchanges.iter().map(verdict).collect()
}

fn measures(system: &System, carrier: Carrier) -> Option<&Located<Protection>> {
    match carrier {
        Carrier::Channel(id) => system.channel(id).measures.as_ref(),
        Carrier::Region(index) => system.regions[index].measures.as_ref(),
        Carrier::Device(_) => None,
    }
}

fn exchange(system: &System, carrier: Carrier, place: Span, verdicts: &[Verdict]) -> Exchange {
    let (measures, way) = (measures(system, carrier), way_of(system, carrier));
    let construction = |fault| match carrier {
        Carrier::Channel(_) => way::against(system, &way, fault, verdicts),
        Carrier::Region(index) => by_map(system, index, fault),
        Carrier::Device(_) => Stand::Nothing,
    };
    let stand = |fault| match measures.and_then(|declared| declared.value.against(fault)) {
        Some(FaultAnswer::Measures(all)) => Stand::Measures(all.clone()),
        Some(FaultAnswer::CannotOccur(reason)) => Stand::CannotOccur(reason.clone()),
        None => construction(fault),
    };
    Exchange {
        subject: carrier.subject(system),
        protection: way.iter().find_map(|of| of.measures.as_ref()).or(measures).and_then(|of| of.value.name.clone()),
        stands: ExchangeFault::ALL.into_iter().map(|fault| (fault, stand(fault))).collect(),
        is_declared: measures.is_some() || way.iter().any(|of| of.measures.is_some()),
        place: measures.map_or(place, |declared| declared.span),
    }
}

/// What the port of a channel is by construction, or by claims about it that are shown.
fn by_port(system: &System, channel: &Channel, fault: ExchangeFault, verdicts: &[Verdict]) -> Stand {
    let readers: BTreeSet<_> = channel.destinations.iter().map(|end| system.partition_of(end.value)).collect();
    let ends = channel.destinations.iter().map(|end| end.value).chain([channel.source.value]);
    let is_copied = !channel.forwarded && ends.into_iter().all(|end| !matches!(end, PortEnd::Device(_)));
    let is_sampling = matches!(channel.kind, ChannelKind::Sampling { .. });
    let shown = |kind| all_shown(verdicts, kind, &channel.name.value);
    match fault {
        ExchangeFault::Asymmetry | ExchangeFault::Subset if readers.len() == 1 => one_reader(),
        _ if !is_copied => Stand::Nothing,
        ExchangeFault::Insertion | ExchangeFault::Masquerade => plain("its port takes messages of one partition only"),
        ExchangeFault::Sequence => plain("its port keeps the order in which one partition writes"),
        ExchangeFault::Blocking if is_sampling => plain("nobody waits at a sampling port"),
        ExchangeFault::Loss | ExchangeFault::Delay if is_sampling => {
            resting("a reader is told when a message is too old", shown(Kind::Refresh))
        }
        ExchangeFault::Repetition if !is_sampling => plain("a queue gives each message once"),
        ExchangeFault::Loss | ExchangeFault::Blocking if !is_sampling => {
            resting("its queue is never full", shown(Kind::QueueDepth))
        }
        _ => Stand::Nothing,
    }
}

/// What the rights to a region make of it.
fn by_map(system: &System, index: usize, fault: ExchangeFault) -> Stand {
    let region = &system.regions[index];
    let owner = match region.owner {
        RegionOwner::Partition(owner) => Some(owner),
        RegionOwner::Hypervisor | RegionOwner::Shared => None,
    };
    let owns = |may: bool| owner.filter(|_| may).into_iter();
    let rights = region.owner_rights;
    let given = |wanted: fn(&model::system::Rights) -> bool| {
        region.access.iter().filter(move |(_, rights)| wanted(rights)).map(|(who, _)| who.value)
    };
    let writers: BTreeSet<_> =
        owns(rights.is_none_or(|rights| rights.write)).chain(given(|rights| rights.write)).collect();
    let readers: BTreeSet<_> = owns(rights.is_none_or(|rights| rights.read || rights.execute))
        .chain(given(|rights| rights.read || rights.execute))
        .filter(|reader| !writers.contains(reader))
        .collect();
    match fault {
        ExchangeFault::Insertion | ExchangeFault::Masquerade
            if writers.len() == 1 && region.owner != RegionOwner::Hypervisor =>
        {
            plain("one partition only may write it")
        }
        ExchangeFault::Asymmetry | ExchangeFault::Subset if readers.len() == 1 && writers.len() == 1 => one_reader(),
        _ => Stand::Nothing,
    }
}

const fn plain(why: &'static str) -> Stand {
    Stand::Construction { why, rests_on: Vec::new() }
}

const fn one_reader() -> Stand {
    plain("one partition only reads it")
}

/// Construction together with claims; nothing where some are not shown, or there are none.
fn resting(why: &'static str, claims: Option<Vec<String>>) -> Stand {
    claims.map_or(Stand::Nothing, |rests_on| Stand::Construction { why, rests_on })
}

/// The claims of a kind about a channel, in whatever module schedule, where there are some and all are shown.
fn all_shown(verdicts: &[Verdict], kind: Kind, channel: &str) -> Option<Vec<String>> {
    let is_about = |subject: &str| subject.split(['/', '@']).next() == Some(channel);
    let about: Vec<&Verdict> = verdicts.iter().filter(|v| v.kind == kind && is_about(&v.subject)).collect();
    let all = !about.is_empty() && about.iter().all(|verdict| verdict.status == Status::Shown);
    all.then(|| about.iter().map(|verdict| verdict.id.clone()).collect())
}

fn verdict(exchange: &Exchange) -> Verdict {
    let source = "ISO 26262-6:2018 annex D.2.4 (from memory)";
    let has = |is: fn(&Stand) -> bool| exchange.stands.iter().any(|(_, stand)| is(stand));
    let by_construction = has(|stand| matches!(stand, Stand::Construction { .. }));
    let on_map = exchange.subject.starts_with("region/");
    let assumptions = [
        (by_construction && on_map, Assumption::MapEnforced),
        (by_construction && !on_map, Assumption::PortsCopied),
        (
            has(|stand| matches!(stand, Stand::Measures(_) | Stand::CannotOccur(_) | Stand::PassedOn { .. })),
            Assumption::MeasuresWork,
        ),
    ];
    let assumptions = assumptions.into_iter().filter_map(|(used, assumption)| used.then_some(assumption)).collect();
    let claim = Claim {
        kind: Kind::Exchange,
        subject: exchange.subject.clone(),
        place: exchange.place,
        basis: basis("exchange-faults", source, assumptions),
    };
    let open: Vec<&str> = exchange.open().map(ExchangeFault::word).collect();
    match (open.len(), exchange.is_declared) {
        (0, _) => claim.judged(Found { faults: Vec::new(), remarks: vec![by_what(exchange)] }),
        (_, false) => {
            claim.unknown(format!("no `measures` are declared, and its construction leaves open {}", open.join(", ")))
        }
        (number, true) => Verdict {
            bound: Some(number as u64),
            relation: Relation::AtMost,
            ..claim
                .open(format!("nothing stands against {}: declare a measure, or why it cannot occur", open.join(", ")))
        },
    }
}

/// By what how many kinds are answered.
fn by_what(exchange: &Exchange) -> String {
    let count = |is: fn(&Stand) -> bool| exchange.stands.iter().filter(|(_, stand)| is(stand)).count() as u64;
    let name = exchange.protection.as_ref().map_or_else(String::new, |name| format!(" of `{name}`"));
    let parts = [
        (count(|stand| matches!(stand, Stand::Measures(_))), format!("by measures{name}")),
        (count(|stand| matches!(stand, Stand::CannotOccur(_))), "declared not to occur".to_owned()),
        (count(|stand| matches!(stand, Stand::PassedOn { .. })), "by measures passed on".to_owned()),
        (count(|stand| matches!(stand, Stand::Construction { .. })), "by construction".to_owned()),
    ];
    let parts = parts.into_iter().filter(|(number, _)| *number > 0);
    let words: Vec<String> = parts.map(|(number, by)| format!("{} {by}", counted(number, "kind"))).collect();
    words.join(", ")
}
