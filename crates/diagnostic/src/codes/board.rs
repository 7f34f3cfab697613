//! `E02xx`: the board.

crate::code::declare! {
    CACHE_GEOMETRY = Error "E0201", since "0.1.0", "A cache is not ways times sets times line large.";
    RANGE_OUTSIDE = Error "E0202", since "0.1.0", "A range of addresses passes the end of the address space.";
    RANGES_OVERLAP = Error "E0203", since "0.1.0", "Two ranges of the address map overlap.";
    ADDRESS_WIDTH = Error "E0204", since "0.1.0", "Addresses are wider than 64 bits or than the board's.";
    OFF_GRANULE = Error "E0205", since "0.1.0", "A memory range does not lie on its granule.";
    DMA_WITHOUT_STREAM = Error "E0206", since "0.1.0", "A device moves memory by itself and has no stream.";
    STREAM_SHARED = Error "E0207", since "0.1.0", "Devices of two owners have the same DMA stream.";
    LINE_SHARED = Error "E0208", since "0.1.0", "Devices of two owners have the same interrupt line.";
    NO_ACTIVE_CORE = Error "E0209", since "0.1.0", "No core of the board is active.";
    MASTER_TWICE = Error "E0210", since "0.1.0", "Two masters are the same core.";
    RATE_ABOVE_PEAK = Error "E0211", since "0.1.0", "The guaranteed rate of the memory passes its peak rate.";
    SHARED_WITHOUT_OWNER = Error "E0212", since "0.1.0", "A device is shared without an owner or with its owner.";
    CORE_NOT_ACTIVE = Error "E0213", since "0.1.0", "A core that is not active is given something to do.";
    NO_ARBITER = Error "E0214", since "0.1.0", "A shared resource has nobody who decides who goes first.";
    CLOSED_WITHOUT_REASON = Error "E0215", since "0.1.0", "A shared resource is called closed without a reason.";
    DMA_NO_MASTER = Error "E0216", since "0.1.0", "A device moves memory by itself and every master is a core.";
    BANK_WITHIN_PAGE = Error "E0217", since "0.1.0", "An address bit chooses the bank and lies inside a page.";
    BANK_BIT_IDLE = Error "E0218", since "0.1.0", "A bit of the bank's number says nothing.";
    TOO_MANY_BANKS = Error "E0219", since "0.1.0", "A memory has more banks than a plan can number.";
    CORE_NO_MASTER = Warning "W0201", since "0.1.0", "An active core is not among the masters of the interconnect.";
}
