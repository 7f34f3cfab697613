//! Typed indices: a `CoreId` indexes only cores.

use serde::Serialize;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
        pub struct $name(u32);

        impl $name {
            /// The id of the element at `index` in file order; saturates, far beyond what a file may hold.
            pub fn new(index: usize) -> Self {
                Self(u32::try_from(index).unwrap_or(u32::MAX))
            }

            /// The position of the element in file order.
            pub const fn index(self) -> usize {
                self.0 as usize
            }
        }
    )*};
}

ids! {
    /// A core of the board.
    CoreId;
    /// A cache of the board.
    CacheId;
    /// A memory region of the board.
    MemoryId;
    /// A device of the board.
    DeviceId;
    /// A zone of the flow policy.
    ZoneId;
    /// A set of cores scheduled together.
    CoreSetId;
    /// A partition.
    PartitionId;
    /// A task, counted over all partitions.
    TaskId;
    /// A channel.
    ChannelId;
    /// A cause-effect chain.
    ChainId;
    /// A module schedule.
    ScheduleId;
}
