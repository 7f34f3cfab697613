//! `E06xx`: memory regions and channels.

crate::code::declare! {
    SOURCE_IS_DESTINATION = Error "E0601", since "0.1.0", "The source of a channel is also one of its destinations.";
    DESTINATION_COVERED = Error "E0602", since "0.1.0", "A channel reaches a partition as a whole and a task of it besides.";
    AMBIGUOUS_NAME = Error "E0603", since "0.1.0", "A name may mean either of two things.";
    BATCH_ABOVE_DEPTH = Error "E0604", since "0.1.0", "A batch does not fit into its queue.";
    KIND_KEYS = Error "E0605", since "0.1.0", "The keys of a channel do not fit its kind.";
    READ_TOO_SLOWLY = Error "E0606", since "0.1.0", "A queue is filled faster than it is read.";
    CHECKER_NOT_REACHED = Error "E0607", since "0.1.0", "A check names a consumer that the channel does not reach.";
    BAD_RIGHTS = Error "E0608", since "0.1.0", "Access rights cannot be read.";
    ACCESS_TWICE = Error "E0609", since "0.1.0", "A partition is given access to a region twice.";
    MESSAGE_ABOVE_RAM = Error "E0610", since "0.1.0", "A message does not fit into the RAM of who writes or reads it.";
    MEASURE_SAYS_NOTHING = Error "E0611", since "0.1.0", "A measure against a fault of exchange says nothing.";
    CANNOT_PASS_ON = Error "E0612", since "0.1.0", "A channel cannot pass on the messages of the one that it names.";
    SHARED_WITH_NOBODY = Warning "W0601", since "0.1.0", "No partition has access to a shared region.";
    NAMED_BY_NOBODY = Warning "W0602", since "0.1.0", "No channel and no region names a protection.";
}
