//! `E09xx`: flow policy, network, module schedules, growth rules, containment and accepted deviations.

crate::code::declare! {
    PERMITTED_TWICE = Error "E0901", since "0.1.0", "A flow is permitted twice.";
    VIA_ELSEWHERE = Error "E0902", since "0.1.0", "A flow leaves a zone by a task of another zone.";
    NO_NETWORK = Error "E0903", since "0.1.0", "A channel is forwarded and there is no network.";
    NOT_A_FORWARDER = Error "E0904", since "0.1.0", "The partition that forwards has another role.";
    FORWARDING_TASK = Error "E0905", since "0.1.0", "The task that forwards is of another partition.";
    NEVER_STOPS_IDLE = Error "E0906", since "0.1.0", "A partition that never stops is idle in a module schedule.";
    ACTIVE_ELSEWHERE = Error "E0907", since "0.1.0", "A task is active in another partition than its own.";
    SCHEDULED_TWICE = Error "E0908", since "0.1.0", "A module schedule speaks of a partition twice.";
    MORE_THAN_ALL = Error "E0909", since "0.1.0", "More than all is to be left over.";
    ACCEPTED_TWICE = Error "E0910", since "0.1.0", "A claim is accepted twice.";
    CONTAINED_TWICE = Error "E0911", since "0.1.0", "The faults of a partition are contained twice.";
    MORE_THAN_ALL_FAULTS = Error "E0912", since "0.1.0", "More than all faults may reach others.";
    RULE_WITHIN_ZONE = Warning "W0901", since "0.1.0", "A flow is permitted within one zone.";
    NO_ZONE = Warning "W0902", since "0.1.0", "A partition has no zone and there is a flow policy.";
    NEVER_REACHED = Warning "W0903", since "0.1.0", "A module schedule can never be reached.";
    NO_MILESTONE = Warning "W0904", since "0.1.0", "Growth rules name milestones and the system names none.";
}
