//! Objectives of standards, each with the claims that speak to it and what these come to.
//!
//! A row never says more than the worst of its claims. What a standard asks of processes is outside this program and is *not
//! analysed* here, whatever the claims say. Texts are paraphrases from memory; whether an objective is met is for the authority.

use crate::dossier::Dossier;
use crate::summary::Summary;
use claim::{Kind, Status, Verdict};

/// What stands with every table of objectives.
pub const CAUTION: &str = "This table says which results speak to which objective. Whether an objective is met is for the authority to \
                           accept; its words here are paraphrases from memory, to be checked against the standard. Results of this \
                           program count for what its own qualification as a tool allows (DO-330, ISO 26262-8 clause 11, \
                           IEC 61508-3 clause 7.4.4; from memory).";

/// One objective of a standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Objective {
    /// Its key, such as `MCP_Resource_Usage_3`.
    pub key: &'static str,
    /// The standard.
    pub source: &'static str,
    /// Its gist, a paraphrase.
    pub gist: &'static str,
    /// Kinds of which there must be claims.
    pub needs: &'static [Kind],
    /// Kinds whose claims speak to it where there are any.
    pub also: &'static [Kind],
    /// What it asks for beside, which is outside this program.
    pub beside: &'static str,
}

const MULTICORE: &str = "A(M)C 20-193";
const FREEDOM: &str = "ISO 26262-6 annex D";
const INDEPENDENCE: &str = "IEC 61508-3 annex F";

/// Every objective, standard by standard.
pub const OBJECTIVES: [Objective; 16] = [
    Objective {
        key: "MCP_Planning_1",
        source: MULTICORE,
        gist: "plans name the processor, its active cores, the software architecture and dynamic features",
        needs: &[],
        also: &[],
        beside: "the plans",
    },
    Objective {
        key: "MCP_Planning_2",
        source: MULTICORE,
        gist: "plans say how shared resources are used, allocated and verified",
        needs: &[],
        also: &[],
        beside: "the plans",
    },
    Objective {
        key: "MCP_Resource_Usage_1",
        source: MULTICORE,
        gist: "configuration settings are determined and documented",
        needs: &[Kind::Setting],
        also: &[],
        beside: "that the list is whole, and that the target is set so",
    },
    Objective {
        key: "MCP_Resource_Usage_2",
        source: MULTICORE,
        gist: "critical settings are protected against change that nobody meant",
        needs: &[Kind::Setting],
        also: &[Kind::Health],
        beside: "verification of the protection on the target",
    },
    Objective {
        key: "MCP_Resource_Usage_3",
        source: MULTICORE,
        gist: "interference channels are identified and their mitigation is verified",
        needs: &[Kind::Channel],
        also: &[Kind::Cache, Kind::Device, Kind::Interrupt, Kind::Covert, Kind::RobustTime],
        beside: "verification of each mitigation on the target",
    },
    Objective {
        key: "MCP_Resource_Usage_4",
        source: MULTICORE,
        gist: "resources are allocated, and demand stays within capacity with all software executing",
        needs: &[Kind::Window, Kind::Memory, Kind::Bandwidth],
        also: &[Kind::Cache, Kind::Margin, Kind::Forwarding, Kind::RobustResources],
        beside: "verification on the target",
    },
    Objective {
        key: "MCP_Software_1",
        source: MULTICORE,
        gist: "hosted software is verified with execution times of the final configuration, apart only under robust partitioning",
        needs: &[Kind::Response, Kind::RobustTime],
        also: &[Kind::Window],
        beside: "tests of the software and its execution times on the target",
    },
    Objective {
        key: "MCP_Software_2",
        source: MULTICORE,
        gist: "data and control coupling between software on the cores is verified",
        needs: &[Kind::Flow],
        also: &[
            Kind::Reaction,
            Kind::DataAge,
            Kind::OutputJitter,
            Kind::Refresh,
            Kind::QueueDepth,
            Kind::Criticality,
            Kind::Forwarding,
            Kind::ScheduleChange,
        ],
        beside: "verification of the coupling in the code",
    },
    Objective {
        key: "MCP_Error_Handling_1",
        source: MULTICORE,
        gist: "effects of failures within the processor are identified, detected, handled and contained",
        needs: &[Kind::Health, Kind::Containment],
        also: &[Kind::Restart, Kind::Boot, Kind::RobustResources],
        beside: "the failures of the processor itself, and the safety net outside it",
    },
    Objective {
        key: "MCP_Accomplishment_Summary_1",
        source: MULTICORE,
        gist: "the summary says how each objective is met",
        needs: &[],
        also: &[],
        beside: "the accomplishment summary",
    },
    Objective {
        key: "timing and execution",
        source: FREEDOM,
        gist: "no element blocks, starves or delays another one",
        needs: &[Kind::Window, Kind::Response],
        also: &[Kind::RobustTime, Kind::Interrupt, Kind::Channel, Kind::ScheduleChange],
        beside: "measures that work on the target",
    },
    Objective {
        key: "memory",
        source: FREEDOM,
        gist: "no element corrupts or reads what is another one's",
        needs: &[Kind::Memory],
        also: &[Kind::Device, Kind::RobustResources],
        beside: "measures that work on the target",
    },
    Objective {
        key: "exchange of information",
        source: FREEDOM,
        gist: "what is sent arrives whole and in time, and what comes from a lower level is checked",
        needs: &[Kind::Criticality],
        also: &[Kind::Exchange, Kind::Refresh, Kind::QueueDepth, Kind::Flow, Kind::Forwarding],
        beside: "that the measures against each fault of exchange work on the target",
    },
    Objective {
        key: "spatial independence",
        source: INDEPENDENCE,
        gist: "data of one element are not changed by another one",
        needs: &[Kind::Memory],
        also: &[Kind::Device, Kind::Cache, Kind::Flow],
        beside: "verification that the hardware enforces it",
    },
    Objective {
        key: "temporal independence",
        source: INDEPENDENCE,
        gist: "no element makes another one malfunction by taking too much time, or by locking what it needs",
        needs: &[Kind::Window, Kind::Response],
        also: &[Kind::RobustTime, Kind::Interrupt, Kind::Restart],
        beside: "verification that the platform enforces it",
    },
    Objective {
        key: "causal factors",
        source: INDEPENDENCE,
        gist: "shared resources and devices through which independence may be lost are known and dealt with",
        needs: &[Kind::Channel],
        also: &[Kind::Device, Kind::Interrupt, Kind::Bandwidth, Kind::Containment],
        beside: "that the list is whole",
    },
];

/// An objective with what its claims come to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ObjectiveRow<'d> {
    /// The objective.
    pub objective: &'static Objective,
    /// The worst of its claims; *not analysed* where a kind that it needs has none.
    pub status: Status,
    /// How its claims are divided.
    pub counts: Summary,
    /// Its claims that are not shown, the worst first.
    pub open: Vec<&'d Verdict>,
    /// Kinds that it needs and of which there is no claim.
    pub missing: Vec<Kind>,
    /// How many of its claims are accepted as deviations.
    pub accepted: usize,
}

impl ObjectiveRow<'_> {
    /// Why it is as it is, in a clause.
    pub fn told(&self) -> String {
        if self.objective.needs.is_empty() {
            return format!("outside this program: {}", self.objective.beside);
        }
        let missing = self.missing.iter().map(|kind| format!("no claim about {}", kind.title()));
        let counts = self.counts.rows().into_iter().filter(|(_, n)| *n > 0);
        let counts: Vec<String> = counts.map(|(status, n)| format!("{n} {}", status.words())).collect();
        let accepted = (self.accepted > 0).then(|| format!("{} accepted", self.accepted));
        missing.chain(counts).chain(accepted).collect::<Vec<_>>().join(", ")
    }
}

/// Every objective with its claims, open ones first.
pub(crate) fn rows(dossier: &Dossier) -> Vec<ObjectiveRow<'_>> {
    let mut rows: Vec<ObjectiveRow<'_>> = OBJECTIVES.iter().map(|objective| row(dossier, objective)).collect();
    rows.sort_by_key(|row| std::cmp::Reverse(row.status.badness()));
    rows
}

fn row<'d>(dossier: &'d Dossier, objective: &'static Objective) -> ObjectiveRow<'d> {
    let kinds = || objective.needs.iter().chain(objective.also);
    let claims: Vec<&Verdict> = kinds().flat_map(|kind| dossier.of_kind(*kind)).collect();
    let missing: Vec<Kind> =
        objective.needs.iter().copied().filter(|kind| dossier.of_kind(*kind).next().is_none()).collect();
    let worst = claims.iter().map(|verdict| verdict.status).max_by_key(|status| status.badness());
    let is_known = missing.is_empty() && !objective.needs.is_empty();
    let worst = worst.unwrap_or(Status::NotAnalysed);
    let status = if is_known || worst.badness() > Status::NotAnalysed.badness() { worst } else { Status::NotAnalysed };
    let mut open: Vec<&Verdict> = claims.iter().copied().filter(|verdict| verdict.status != Status::Shown).collect();
    open.sort_by_key(|verdict| std::cmp::Reverse(verdict.status.badness()));
    let accepted = open.iter().filter(|verdict| dossier.deviation(&verdict.id).is_some()).count();
    ObjectiveRow { objective, status, counts: Summary::of(claims), open, missing, accepted }
}
