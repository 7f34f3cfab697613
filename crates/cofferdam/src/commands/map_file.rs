//! The map file of a call, for every command that reads recordings.

use crate::files;
use diagnostic::{Diagnostic, Sources};
use model::{MOST_BYTES, System};
use std::path::Path;
use trace::map::{Declared, Map, declared, read_map};

/// A map as it was read, to be resolved against a system.
pub struct MapFile {
    name: String,
    /// `None`: the call names none.
    bytes: Option<Vec<u8>>,
}

impl MapFile {
    /// The map of the call; an empty one where none is named.
    pub fn read(path: Option<&Path>, sources: &mut Sources) -> Result<Self, Vec<Diagnostic>> {
        let Some(path) = path else { return Ok(Self { name: String::new(), bytes: None }) };
        let name = path.display().to_string();
        match files::read_at_most(path, MOST_BYTES) {
            Ok(bytes) => Ok(Self { name, bytes: Some(bytes) }),
            Err(why) => Err(vec![files::unreadable("map file", name, why, sources)]),
        }
    }

    /// The names that it declares, where there is no system yet.
    pub fn declared(&self) -> Declared {
        self.bytes.as_ref().map(|bytes| declared(&self.name, bytes)).unwrap_or_default()
    }

    /// The map of recordings of that system; its text goes to `sources`.
    pub fn resolve(&self, system: &System, sources: &mut Sources) -> Result<Map, Vec<Diagnostic>> {
        let Some(bytes) = &self.bytes else { return Ok(Map::default()) };
        let (map, found) = read_map(&self.name, bytes, system, sources);
        map.ok_or(found)
    }
}
