//! The reading framework, for other files of the same manner: the plan file declares its own sections with it.

pub use crate::read::context::Context;
pub use crate::read::fields::Fields;
pub use crate::read::file::read_file;
pub use crate::read::names::{Names, nearest};
pub use crate::read::section::{Key, Kind, SMALL, Section};
