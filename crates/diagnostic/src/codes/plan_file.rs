//! `E05xx`: the plan file.

crate::code::declare! {
    EMPTY_WINDOW = Error "E0501", since "0.1.0", "A window has no length.";
    WINDOW_OUTSIDE_FRAME = Error "E0502", since "0.1.0", "A window does not lie inside the frame.";
    UNEVEN_REPETITION = Error "E0503", since "0.1.0", "A window cannot be repeated evenly through the frame.";
    SAME_WINDOW_TWICE = Error "E0504", since "0.1.0", "A window is given twice.";
    NO_SUCH_VIRTUAL_CORE = Error "E0505", since "0.1.0", "A partition has no such virtual core.";
    FOR_WHOM = Error "E0506", since "0.1.0", "An entry does not say for whom it is, or names two.";
    BAD_WAYS = Error "E0507", since "0.1.0", "Ways of a cache cannot be read, or the cache has no such ways.";
    PLACE_WRAPS = Error "E0508", since "0.1.0", "A place in memory has no size or passes the end of all addresses.";
    GRANTED_TWICE = Error "E0509", since "0.1.0", "The same thing is granted twice to the same holder.";
    BAD_DIGEST = Error "E0510", since "0.1.0", "The digest of a system cannot be read.";
    EMPTY_PLAN = Error "E0511", since "0.1.0", "The plan file is empty.";
    BAD_COLOURS = Error "E0512", since "0.1.0", "Page colours of a cache, or banks of a memory, cannot be read.";
    OTHER_SYSTEM = Warning "W0501", since "0.1.0", "The plan was made for another state of the system.";
}
