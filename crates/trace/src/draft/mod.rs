//! From recordings of guests of which nothing else is known to the draft of a system file.
//!
//! Two passes: the first finds the names, of which a skeleton of a system is made; the second goes through the pipeline like
//! any recording, with an observer that measures. What was measured is written as measured, with its number of samples; what
//! a recording cannot tell is left out, or chosen where the file needs a value, and listed either way.

mod busy;
mod curve;
mod ends;
mod found;
mod marks;
mod measure;
mod pattern;
mod rhythm;
mod skeleton;
mod table;
mod text;
mod write;

pub use marks::Marks;
pub use measure::{Measures, OfTask};
pub use rhythm::Rhythm;
pub use write::{Draft, Origin, Unknown};

use crate::clock::Fit;
use crate::map::{Declared, Map};
use crate::recording::{Source, Taking, take};
use found::Found;
use model::System;

/// The names that were found, as a system without numbers.
#[derive(Debug)]
pub struct Names {
    found: Found,
    /// The system: the order of its elements is that of the draft.
    pub system: System,
}

impl Names {
    /// Reads the names that a map declares, and those in the sources. Why there is nothing to draft, where there is not.
    pub fn find(declared: Declared, sources: &mut [Box<dyn Source>]) -> Result<Self, Vec<String>> {
        let mut found = Found::new(declared);
        sources.iter_mut().for_each(|source| found.read(source.as_mut()));
        if found.is_empty() {
            let why = "neither map nor recording names a partition or task; say with --map which threads are whose, such as \
                       [[thread]] name = \"nav*\" task = \"NAV.fuse\" jobs = true";
            return Err(vec![why.to_owned()]);
        }
        let system = skeleton::system(&found)?;
        Ok(Self { found, system })
    }

    /// Measures everything that was named.
    pub fn measure(&self, map: &Map, sources: Vec<Box<dyn Source>>, fits: Vec<Fit>) -> (Measures, Taking) {
        let mut measures = Measures::new(&self.system, busy::span_for(self.found.length_ns));
        let taking = take(&self.system, map, sources, fits, &mut measures);
        measures.finish();
        (measures, taking)
    }

    /// The draft of what was measured; `None` where that is too little to declare a partition, and a system needs one.
    pub fn draft(&self, measures: &Measures, origin: &Origin) -> Option<Draft> {
        let draft = write::draft(&self.system, &self.found, measures, origin);
        Some(draft).filter(|draft| draft.declared[0].0 > 0)
    }
}
