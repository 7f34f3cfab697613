//! The program as people and scripts call it: exit statuses, standard output, standard error, files.

#![allow(clippy::disallowed_methods, reason = "the program's files are read and its time is taken")]

mod bad_input;
mod bad_plan;
mod bad_systems;
mod campaign;
mod check;
mod common;
mod demo;
mod draft;
mod json;
mod nacelle;
mod pages;
mod planning;
mod rehearse;
mod seeded;
mod simulate;
mod starter;
mod terminal;
mod trace;
