//! What results take for granted.

/// An assumption that results may rest on. The register in every report lists those in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Assumption {
    /// Execution times, request counts and overheads are as declared.
    InputsValid,
    /// Masters take turns at the memory, one outstanding line request each.
    RoundRobin,
    /// Every master of the interconnect is listed.
    MastersListed,
    /// The hypervisor enforces every window as planned.
    WindowsEnforced,
    /// No regulation period's budget runs out.
    NotThrottled,
    /// The frames of all cores begin together.
    FramesSynchronised,
    /// Frame-aligned tasks arrive with the frame, as declared.
    ReleasedAsDeclared,
    /// The hardware enforces the planned memory map.
    MapEnforced,
    /// Interrupts outside their owner's windows are pended.
    InterruptsPended,
    /// Every budget server gives its budget in every period.
    BudgetsServed,
    /// Proportional sharing stays within one quantum of each partition's share.
    ShareWithinQuantum,
    /// The forwarder moves frames as declared.
    ForwardedAsDeclared,
    /// Faults are noticed within the declared detection time.
    FaultsDetected,
    /// The faults drawn in a campaign stand for those that can happen.
    FaultsAsDrawn,
    /// The I/O memory unit confines each stream to what is declared.
    StreamsConfined,
    /// The cache allocates lines only in the ways of the mask.
    WaysEnforced,
    /// The regulation holds every master to its bandwidth budget.
    BudgetsRegulated,
    /// Nothing is carried but by declared carriers.
    FlowsDeclared,
    /// A declared filter lets through only what it checks.
    FiltersHold,
    /// A declared check refuses what its words say.
    ChecksHold,
    /// What the integrator declares of shared resources and settings is so.
    DeclaredAsIs,
    /// No resource is shared but those derived and declared.
    ChannelsListed,
    /// Other cores ask for no more lines than their declared jobs.
    OthersSteady,
    /// The port service copies each message whole, in order, from its one source.
    PortsCopied,
    /// A declared measure notices or prevents every fault of its kind.
    MeasuresWork,
    /// Devices ask for memory within their declared rates and bursts.
    DevicesKeepToRates,
    /// A budget server whose guest has nothing to do waits for its next period.
    ServersWait,
}

impl Assumption {
    /// Every assumption in register order.
    pub const ALL: [Self; 27] = [
        Self::InputsValid,
        Self::RoundRobin,
        Self::MastersListed,
        Self::WindowsEnforced,
        Self::NotThrottled,
        Self::FramesSynchronised,
        Self::ReleasedAsDeclared,
        Self::MapEnforced,
        Self::InterruptsPended,
        Self::BudgetsServed,
        Self::ShareWithinQuantum,
        Self::ForwardedAsDeclared,
        Self::FaultsDetected,
        Self::FaultsAsDrawn,
        Self::StreamsConfined,
        Self::WaysEnforced,
        Self::BudgetsRegulated,
        Self::FlowsDeclared,
        Self::FiltersHold,
        Self::ChecksHold,
        Self::DeclaredAsIs,
        Self::ChannelsListed,
        Self::OthersSteady,
        Self::PortsCopied,
        Self::MeasuresWork,
        Self::DevicesKeepToRates,
        Self::ServersWait,
    ];

    /// The id in reports, such as `A1`.
    pub fn id(self) -> String {
        let place = Self::ALL.iter().position(|a| *a == self).unwrap_or(Self::ALL.len());
        format!("A{}", place + 1)
    }

    /// The assumption in a sentence.
    pub const fn text(self) -> &'static str {
        match self {
            Self::InputsValid => {
                "Execution times, request counts, overheads and service times of the system file are valid upper \
                 (BCET: lower) limits on the target."
            }
            Self::RoundRobin => {
                "Masters take turns at the memory (round-robin), one outstanding line request each, so that a \
                 request waits for at most one of every other master."
            }
            Self::MastersListed => {
                "Every master of the interconnect is listed. Unlisted DMA, firmware traffic, coherency, refresh or \
                 thermal throttling void the interference bounds."
            }
            Self::WindowsEnforced => "The hypervisor gives and takes the core at the planned window boundaries.",
            Self::NotThrottled => "No core uses up its bandwidth budget in any regulation period.",
            Self::FramesSynchronised => "The frames of all cores begin together, counted by one clock.",
            Self::ReleasedAsDeclared => "Frame-aligned tasks arrive at their declared points of the frame.",
            Self::MapEnforced => "The hardware enforces the planned memory map; here only the plan is checked.",
            Self::InterruptsPended => {
                "Interrupts that come outside their owner's windows are kept until then and take no time from others; those declared to be handled at once come no closer together and take no longer than declared."
            }
            Self::BudgetsServed => {
                "Every budget server gives its whole budget, usable, between the begin and the deadline of each of its \
                 periods, whether or not it was idle before."
            }
            Self::ShareWithinQuantum => {
                "Proportional sharing gives a partition that has work at least its share of any interval, less than two \
                 quanta late, whatever the others of its core set do."
            }
            Self::ForwardedAsDeclared => {
                "The forwarder serves each sender's frames in their order, at the declared cost, and none of its jobs ends \
                 while a frame waits that it could still move."
            }
            Self::FaultsDetected => {
                "A fault is noticed within the declared detection time, and the action taken is the declared one."
            }
            Self::FaultsAsDrawn => {
                "Faults come as a campaign draws them: these kinds, targets, parameters and instants, each run apart from the \
                 others. Nothing is said of a fault that was not drawn."
            }
            Self::StreamsConfined => {
                "The I/O memory unit confines the accesses of every stream to the memory that is declared for it."
            }
            Self::WaysEnforced => {
                "The cache allocates a line only in the ways given to who asks for it. Buffers that masks do not divide are not spoken of."
            }
            Self::BudgetsRegulated => {
                "The regulation holds every master, devices too, to its bandwidth budget in every regulation period."
            }
            Self::FlowsDeclared => {
                "Nothing is carried between partitions but by declared channels, regions and shared devices, and the forwarder keeps the messages of different channels apart."
            }
            Self::FiltersHold => "A task declared as a filter lets through nothing but what its check permits.",
            Self::ChecksHold => {
                "A consumer that declares a check on what comes from a lower level carries it out on every message."
            }
            Self::DeclaredAsIs => {
                "What the integrator declares of shared resources and of settings is so on the target; nothing here proves it."
            }
            Self::ChannelsListed => {
                "Masters share no resource of the board but those that are derived from its data and those that are declared."
            }
            Self::OthersSteady => {
                "Trusted partitions on other cores make no more line requests than their declared jobs, and the heads of their \
                 windows, do; none of them initialises or restarts meanwhile."
            }
            Self::PortsCopied => {
                "The hypervisor's port service copies each message whole and in the order sent, only from the source that is declared, \
                 and nobody at a sampling port waits for another."
            }
            Self::MeasuresWork => {
                "A declared measure against a fault of exchange notices or prevents every fault of its kind, and who receives acts on it."
            }
            Self::DevicesKeepToRates => {
                "Devices ask for memory in whole lines, in any time for no more than their declared burst and their rate through it; \
                 masters that are no cores ask for nothing else."
            }
            Self::ServersWait => {
                "Budget servers go by the earliest deadline and their periods begin by the clock; one whose guest has nothing to do \
                 gives its core away and comes back with its next period only."
            }
        }
    }

    /// How the integrator can watch over it on the target.
    pub const fn watch(self) -> &'static str {
        match self {
            Self::InputsValid => "compare observed execution times and request counts with the declared ones",
            Self::RoundRobin => "the memory controller's manual and its configuration read back at boot",
            Self::MastersListed => "review of the bus matrix; bandwidth counters of every port",
            Self::WindowsEnforced => "trace of partition switches against the window table",
            Self::NotThrottled => "throttle counters of the regulation",
            Self::FramesSynchronised => "offset of the frame starts between cores in a trace",
            Self::ReleasedAsDeclared => "trace of release points against the frame",
            Self::MapEnforced => "translation tables read back; access tests on the target",
            Self::InterruptsPended => "interrupt controller configuration read back; trace of handlers",
            Self::BudgetsServed => "trace of the time each server gets in each of its periods",
            Self::ShareWithinQuantum => "trace of the time each partition gets against its share",
            Self::ForwardedAsDeclared => "trace of the forwarder's queues; time stamps of frames in and out",
            Self::FaultsDetected => "injected faults on the target, with the instant of the action recorded",
            Self::FaultsAsDrawn => {
                "records of faults in service, held against the kinds and parameters of the campaign"
            }
            Self::StreamsConfined => {
                "tables of the I/O memory unit read back; transfers beyond their reach tried on the target"
            }
            Self::WaysEnforced => "masks read back at boot; cache counters by core",
            Self::BudgetsRegulated => "bandwidth counters of every port against the budgets",
            Self::FlowsDeclared => "port tables and translation tables read back; review of the forwarder",
            Self::FiltersHold => "tests of the filter with forbidden content; its review",
            Self::ChecksHold => "tests of the consumer with wrong, late and missing messages",
            Self::DeclaredAsIs => {
                "the declared sources; settings read back; stress of each resource by the other cores"
            }
            Self::ChannelsListed => "review of the processor's manuals; campaigns that stress what might be shared",
            Self::DevicesKeepToRates => "bandwidth counters of the devices' ports over short spans",
            Self::OthersSteady => "cache-miss counters of every partition; a mark in the trace at each restart",
            Self::PortsCopied => "review of the port service; messages with counters sent through every port",
            Self::ServersWait => "a trace of server switches while a guest wakes and sleeps within its budget",
            Self::MeasuresWork => "tests that repeat, lose, delay, forge, reorder and change messages on the target",
        }
    }
}
