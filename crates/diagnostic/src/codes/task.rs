//! `E04xx`: tasks.

crate::code::declare! {
    BCET_ABOVE_WCET = Error "E0401", since "0.1.0", "The shortest execution time of a task passes its longest.";
    WCET_ABOVE_DEADLINE = Error "E0402", since "0.1.0", "A task cannot meet its deadline even alone.";
    OFFSET_NOT_BELOW_PERIOD = Error "E0403", since "0.1.0", "The offset of a task is not below its period.";
    HYPERPERIOD = Error "E0404", since "0.1.0", "The periods of frame-aligned tasks repeat together too seldom.";
    MEASURED_ABOVE_WCET = Error "E0405", since "0.1.0", "A measured execution time passes the declared longest.";
    SECTION_ABOVE_WCET = Error "E0406", since "0.1.0", "A resource is held for longer than the task executes.";
    SPORADIC_ALIGNED = Error "E0407", since "0.1.0", "A task is both sporadic and frame-aligned.";
    PRIORITY_MISSING = Error "E0408", since "0.1.0", "A task has no priority and its guest schedules by priority.";
    VIRTUAL_CORE = Error "E0409", since "0.1.0", "A task is pinned to a virtual core that its partition does not have.";
    PEAK_BELOW_MEAN = Error "E0410", since "0.1.0", "The peak rate of a task is below its mean rate.";
    PRIORITY_WITH_EDF = Error "E0411", since "0.1.0", "A task has a priority and its guest schedules by deadline.";
    EQUAL_PRIORITIES = Warning "W0401", since "0.1.0", "Two tasks of a partition have the same priority.";
    JITTER_NOT_BELOW_PERIOD = Warning "W0403", since "0.1.0", "The release jitter of a task is not below its period.";
    LOCKING_UNUSED = Warning "W0404", since "0.1.0", "A partition says how resources are protected and its tasks name none.";
    STRESS_MISSING = Warning "W0405", since "0.1.0", "A task declares no stress and others do.";
}
