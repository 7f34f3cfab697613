//! `E08xx`: boot, health monitor and escalation.

crate::code::declare! {
    BOOT_CYCLE = Error "E0801", since "0.1.0", "Boot stages wait for each other in a circle.";
    STAGE_WITHOUT_TIME = Error "E0802", since "0.1.0", "A boot stage says nothing of how long it takes.";
    TWO_ANSWERS = Error "E0803", since "0.1.0", "An error of one partition has two different answers.";
    ACTION_AND_LEVEL = Error "E0804", since "0.1.0", "An action is not possible at its level.";
    NOT_STRONGER = Error "E0805", since "0.1.0", "An escalation leads to nothing stronger.";
    WINDOW_BELOW_DETECTION = Error "E0806", since "0.1.0", "The window of an escalation is shorter than the detection of one fault.";
    NEVER_COUNTED = Warning "W0801", since "0.1.0", "An escalation counts what never happens.";
}
