//! What masters share and what keeps them apart there; the settings that this depends on, and what falls with each.

use super::claims::{link, links, of_kinds};
use super::names::{head, note, partition, table};
use crate::dossier::Dossier;
use crate::settings::{checked_words, claims_on};
use claim::Kind;
use maud::{Markup, html};
use model::System;
use model::system::Setting;
use separation::channels::InterferenceChannel;

pub(super) fn part(dossier: &Dossier) -> Markup {
    html! {
        @match dossier.system() {
            Some(system) if !dossier.interference_channels().is_empty() => { (channels(dossier, system)) }
            _ => (note("No two masters share anything that the data of the board tell of.")),
        }
        (settings(dossier))
        (of_kinds(dossier, &[Kind::Channel, Kind::Setting]))
    }
}

fn channels(dossier: &Dossier, system: &System) -> Markup {
    let rows = html! { @for channel in dossier.interference_channels() { (channel_row(dossier, system, channel)) } };
    html! {
        (table("", &["Resource", "Who shares it", "Who goes first", "State", "Reaches"], rows))
        (note("Open is what nothing is known to close. What no datum of the board tells is closed by the integrator's word alone, and \
               named so. What the processor shares beside these is not listed by itself."))
    }
}

fn channel_row(dossier: &Dossier, system: &System, channel: &InterferenceChannel) -> Markup {
    let id = channel.claim();
    let is_claimed = dossier.verdicts().iter().any(|verdict| verdict.id == id);
    let word = if channel.is_declared { ", by the integrator's word" } else { "" };
    html! {
        tr {
            th scope="row" { @if is_claimed { (link(&id)) } @else { (channel.subject) } }
            td { (channel.sharers.join(", ")) }
            td { (channel.arbiter.as_deref().unwrap_or("not said")) }
            td { strong { (channel.state.word()) } (word) }
            td { (reaches(system, channel)) }
        }
    }
}

fn reaches(system: &System, channel: &InterferenceChannel) -> String {
    if channel.partitions.len() == system.partitions.len() {
        return "every partition".to_owned();
    }
    channel.partitions.iter().map(|id| partition(system, *id)).collect::<Vec<_>>().join(", ")
}

fn settings(dossier: &Dossier) -> Markup {
    let settings = dossier.system().map(|system| system.board.settings.as_slice()).unwrap_or_default();
    let rows = html! { @for (at, setting) in settings.iter().enumerate() { (setting_row(dossier, at, setting)) } };
    let titles =
        ["Setting", "Value", "Where, and who sets it", "Critical", "What guards it", "What falls if it changes"];
    html! { @if !settings.is_empty() { h3 { "Settings" } (table("", &titles, rows)) } }
}

fn setting_row(dossier: &Dossier, at: usize, setting: &Setting) -> Markup {
    let said = |words: &Option<diagnostic::Located<String>>| {
        words.as_ref().map_or_else(|| "not said".to_owned(), |words| words.value.clone())
    };
    let claims = claims_on(dossier, at);
    html! {
        tr {
            (head(&setting.name.value, None))
            td { (setting.value.value) }
            td { (said(&setting.register)) span class="why" { (said(&setting.owner)) } }
            td { (if setting.critical { "yes" } else { "no" }) }
            td {
                (said(&setting.mitigation))
                span class="why" { "looked at: " (checked_words(setting).unwrap_or("not said")) }
            }
            td { @if claims.is_empty() { "nothing here" } @else { (links(claims.into_iter())) } }
        }
    }
}
