//! The register of assumptions: what verdicts take for granted.

use claim::{Assumption, Verdict};

/// An assumption and the verdicts that rest on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RegisterEntry<'v> {
    /// The assumption.
    pub assumption: Assumption,
    /// The verdicts, in canonical order.
    pub verdicts: Vec<&'v Verdict>,
}

/// Every assumption in use, in register order.
pub fn assumption_register(verdicts: &[Verdict]) -> Vec<RegisterEntry<'_>> {
    let entry = |assumption| RegisterEntry { assumption, verdicts: resting_on(verdicts, assumption) };
    Assumption::ALL.into_iter().map(entry).filter(|entry| !entry.verdicts.is_empty()).collect()
}

fn resting_on(verdicts: &[Verdict], assumption: Assumption) -> Vec<&Verdict> {
    verdicts.iter().filter(|verdict| verdict.basis.assumptions.contains(&assumption)).collect()
}

/// Whose word an assumption is.
pub(crate) const fn who_says_so(assumption: Assumption) -> &'static str {
    match assumption {
        Assumption::InputsValid => "the suppliers, number by number (see the execution times)",
        Assumption::RoundRobin => "the board's maker, as declared for the interconnect",
        Assumption::MastersListed => "the integrator, who listed the masters",
        Assumption::WindowsEnforced | Assumption::MapEnforced => "the platform supplier",
        Assumption::NotThrottled => "the integrator, from declared peak rates and budgets",
        Assumption::FramesSynchronised => "the platform supplier, as declared for the core sets",
        Assumption::ReleasedAsDeclared => "the suppliers, task by task",
        Assumption::InterruptsPended => "the platform supplier, as declared for the devices",
        Assumption::BudgetsServed | Assumption::ShareWithinQuantum | Assumption::ServersWait => {
            "the platform supplier, as declared for the core sets"
        }
        Assumption::ForwardedAsDeclared => "the supplier of the forwarder",
        Assumption::PortsCopied => "the platform supplier",
        Assumption::MeasuresWork => "the integrator, exchange by exchange",
        Assumption::FaultsDetected => "the integrator, as declared for each partition and in the health-monitor table",
        Assumption::FaultsAsDrawn => "the integrator, who chose the campaign",
        Assumption::StreamsConfined | Assumption::WaysEnforced | Assumption::BudgetsRegulated => {
            "the platform supplier"
        }
        Assumption::FlowsDeclared => "the integrator, who listed channels, regions and shared devices",
        Assumption::OthersSteady => "the suppliers of the partitions on other cores",
        Assumption::DevicesKeepToRates => "the suppliers of the devices",
        Assumption::FiltersHold | Assumption::ChecksHold => "the suppliers of the consumers, check by check",
        Assumption::DeclaredAsIs => "the integrator, resource by resource and setting by setting, each with its source",
        Assumption::ChannelsListed => "the integrator, from the manuals of the board",
    }
}
