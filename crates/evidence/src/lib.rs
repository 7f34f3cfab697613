//! Verdicts composed and rendered: text, JSON, HTML.
//!
//! [`Dossier::compose`] takes what the analyses found and adds nothing of its own but order, sums and the accepted
//! deviations; [`text`], [`json`] and [`html`] only render. Drawing happens in whole tenths of a pixel, so that the
//! same dossier gives the same bytes everywhere.

mod caution;
mod concurrent;
mod covert;
mod deviation;
mod dossier;
mod exchange;
mod headroom;
pub mod html;
pub mod json;
mod lengthened;
mod objectives;
mod partitioning;
mod provenance;
pub mod recording;
mod register;
mod rehearsal;
pub mod run;
mod settings;
mod show;
mod stretch;
mod summary;
mod svg;
pub mod text;
mod tight;
mod validation;
mod waiting;

pub use caution::{CAUTIONS, Caution};
pub use deviation::Deviation;
pub use dossier::{Dossier, Inputs, PlanMatch};
pub use headroom::{Grows, Headroom};
pub use objectives::{OBJECTIVES, Objective, ObjectiveRow};
pub use partitioning::RobustLine;
pub use provenance::{DemandShare, DemandShares};
pub use register::{RegisterEntry, assumption_register};
pub use rehearsal::Rehearsal;
pub use summary::{KindSummary, NotAnalysed, Summary};
pub use validation::ValidationRow;
