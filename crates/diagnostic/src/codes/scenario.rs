//! `E10xx`: scenarios of the simulator, in a file or on the command line.

crate::code::declare! {
    UNKNOWN_FAULT = Error "E1001", since "0.1.0", "There is no fault of that kind.";
    UNKNOWN_TARGET = Error "E1002", since "0.1.0", "A fault names a target that the system does not have.";
    WRONG_TARGET = Error "E1003", since "0.1.0", "A fault cannot happen to such a target.";
    OTHERS_PARAMETER = Error "E1004", since "0.1.0", "A parameter is not one that the fault has.";
    BAD_PARAMETER = Error "E1005", since "0.1.0", "A value of a fault cannot be read or is out of its range.";
    AFTER_THE_END = Error "E1006", since "0.1.0", "Something is to happen after the end of the run.";
    UNKNOWN_PROTECTION = Error "E1007", since "0.1.0", "There is no protection of that name.";
    FAULT_SYNTAX = Error "E1008", since "0.1.0", "A fault on the command line is not of its form.";
    TWO_TARGETS = Error "E1009", since "0.1.0", "The target of a fault may be either of two things.";
    IMPOSSIBLE_JOB = Error "E1010", since "0.1.0", "A given job has times that cannot be.";
}
