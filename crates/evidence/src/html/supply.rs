//! Supply against demand, partition by partition.

use super::names::note;
use crate::dossier::Dossier;
use crate::svg::supply_and_demand;
use maud::{Markup, html};

pub(super) fn part(dossier: &Dossier) -> Markup {
    if dossier.curves().is_empty() {
        return note("Not analysed: no supply curve was computed.");
    }
    html! {
        p {
            "For every length of interval, the least usable time that a partition is given, whatever the phase, \
             against the most time that its most demanding level can ask for. Where supply meets demand, everything \
             asked for has been given."
        }
        ul class="legend" {
            li { span class="swatch s-supply" {} "least supply" }
            li { span class="swatch s-demand" {} "demand" }
            li { span class="swatch s-blackout" {} "blackout: the longest interval without supply" }
            li { "○ supply meets demand" }
        }
        br;
        div class="grid-of-figures" { @for curve in dossier.curves() { figure { (supply_and_demand(curve)) } } }
    }
}
