//! The shapes of interference channels and of the settings of the board.

use crate::dossier::Dossier;
use crate::partitioning::RobustLine;
use crate::settings::{checked_words, claims_on};
use separation::channels::InterferenceChannel;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct ChannelShape<'d> {
    claim: String,
    shared_by: &'d [String],
    arbiter: Option<&'d str>,
    state: &'static str,
    why: &'d str,
    declared: bool,
    rests_on: Option<&'d str>,
    reaches: Vec<&'d str>,
    settings: Vec<&'d str>,
}

#[derive(Serialize)]
pub(super) struct SettingShape<'d> {
    name: &'d str,
    value: &'d str,
    register: Option<&'d str>,
    owner: Option<&'d str>,
    critical: bool,
    mitigation: Option<&'d str>,
    checked: Option<&'static str>,
    /// The claims that fall if it changes.
    claims: Vec<&'d str>,
}

/// One part of a verdict about robust partitioning.
#[derive(Serialize)]
pub(super) struct RobustShape<'d> {
    claim: &'d str,
    what: &'static str,
    status: &'static str,
    told: &'d str,
    claims: &'d [String],
}

impl<'d> RobustShape<'d> {
    fn of(line: &'d RobustLine) -> Self {
        Self { claim: &line.claim, what: line.what, status: line.status.key(), told: &line.told, claims: &line.claims }
    }
}

pub(super) fn robust(dossier: &Dossier) -> Vec<RobustShape<'_>> {
    let lines = dossier.verdicts().iter().flat_map(|verdict| dossier.robust_lines(&verdict.id));
    lines.map(RobustShape::of).collect()
}

pub(super) fn channels(dossier: &Dossier) -> Vec<ChannelShape<'_>> {
    dossier.interference_channels().iter().map(|channel| shape(dossier, channel)).collect()
}

fn shape<'d>(dossier: &'d Dossier, channel: &'d InterferenceChannel) -> ChannelShape<'d> {
    let system = dossier.system();
    let partitions = channel.partitions.iter().filter_map(|id| system?.partitions.get(id.index()));
    let settings = channel.settings.iter().filter_map(|at| system?.board.settings.get(*at));
    ChannelShape {
        claim: channel.claim(),
        shared_by: &channel.sharers,
        arbiter: channel.arbiter.as_deref(),
        state: channel.state.word(),
        why: &channel.why,
        declared: channel.is_declared,
        rests_on: channel.rests_on.as_deref(),
        reaches: partitions.map(|partition| partition.name.value.as_str()).collect(),
        settings: settings.map(|setting| setting.name.value.as_str()).collect(),
    }
}

pub(super) fn settings(dossier: &Dossier) -> Vec<SettingShape<'_>> {
    let settings = dossier.system().map(|system| system.board.settings.as_slice()).unwrap_or_default();
    let shape = |(at, setting)| {
        let setting: &model::system::Setting = setting;
        SettingShape {
            name: &setting.name.value,
            value: &setting.value.value,
            register: text(&setting.register),
            owner: text(&setting.owner),
            critical: setting.critical,
            mitigation: text(&setting.mitigation),
            checked: checked_words(setting),
            claims: claims_on(dossier, at),
        }
    };
    settings.iter().enumerate().map(shape).collect()
}

fn text(words: &Option<diagnostic::Located<String>>) -> Option<&str> {
    words.as_ref().map(|words| words.value.as_str())
}
