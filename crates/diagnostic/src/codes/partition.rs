//! `E03xx`: core sets and partitions.

crate::code::declare! {
    CORE_IN_TWO_SETS = Error "E0301", since "0.1.0", "A core is in two core sets.";
    CORE_IN_NO_SET = Error "E0302", since "0.1.0", "An active core is in no core set.";
    POLICY_KEYS = Error "E0303", since "0.1.0", "A core set's keys do not fit its policy.";
    GRANT_AND_POLICY = Error "E0304", since "0.1.0", "A partition asks for time in another way than its core set gives it.";
    FRAME_NOT_MULTIPLE = Error "E0305", since "0.1.0", "The frame is no multiple of a partition's period.";
    BUDGET_ABOVE_PERIOD = Error "E0306", since "0.1.0", "A budget is longer than its period.";
    BUDGET_IS_HEAD = Error "E0307", since "0.1.0", "A budget is not longer than the head of one window.";
    OPAQUE_NEED = Error "E0308", since "0.1.0", "The need of an opaque guest is missing, incomplete or out of place.";
    CORES_COUNT = Error "E0309", since "0.1.0", "A partition is not pinned to one core for each virtual core.";
    APART_AND_TOGETHER = Error "E0310", since "0.1.0", "Partitions must be apart and together at once.";
    PINNING_CONTRADICTS = Error "E0311", since "0.1.0", "The cores that partitions are pinned to contradict what must hold between them.";
    CORE_OUTSIDE_SET = Error "E0312", since "0.1.0", "A partition is pinned to a core outside its core set.";
    DEDICATED_TWICE = Error "E0313", since "0.1.0", "Two partitions have the same dedicated core.";
    ROLE_TWICE = Error "E0314", since "0.1.0", "Two partitions have a role that only one may have.";
    BUILDER_CYCLE = Error "E0315", since "0.1.0", "A partition is built by itself, directly or through others.";
    ENDS_ELSEWHERE = Error "E0316", since "0.1.0", "An outage ends with a task of another partition.";
    VIRTUAL_CORES = Error "E0317", since "0.1.0", "A partition has more virtual cores than there are cores for them.";
    BUILD_TIME_ALONE = Error "E0318", since "0.1.0", "A partition has a build time and nobody that builds it.";
    SERVER_LATE = Error "E0319", since "0.1.0", "The deadline of a budget server is later than its period.";
    DRIFTS_AND_IS_SYNCHRONISED = Error "E0320", since "0.1.0", "A core set drifts and is said to be synchronised.";
    LINES_ABOVE_CACHES = Error "E0321", since "0.1.0", "A partition uses more cache lines than the caches hold.";
    WARM_ABOVE_COLD = Warning "W0301", since "0.1.0", "A warm start takes longer than a cold start.";
    NO_TASKS = Warning "W0302", since "0.1.0", "A partition has no task.";
}
