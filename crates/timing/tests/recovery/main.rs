//! Boot, restarts, escalations and changes of schedule: against runs tick by tick that know windows, heads, work and
//! priorities and nothing else, and against figures worked out by hand. A tick is one ns.

mod boot;
mod change;
mod health;
mod restart;
mod system;
