//! What falls where a setting of the board changes.

use crate::dossier::Dossier;
use model::system::{Checked, Setting};
use separation::channels::InterferenceChannel;

/// The words for when a setting is looked at again.
pub(crate) fn checked_words(setting: &Setting) -> Option<&'static str> {
    setting.checked.map(|checked| match checked.value {
        Checked::Boot => "boot",
        Checked::Periodic => "periodic",
    })
}

/// The channels that depend on a setting, an index into those of the board.
pub(crate) fn channels_on(dossier: &Dossier, setting: usize) -> impl Iterator<Item = &InterferenceChannel> {
    dossier.interference_channels().iter().filter(move |channel| channel.settings.contains(&setting))
}

/// The ids of the claims that rest on a setting: its own, those of its channels, and what rests on these.
pub(crate) fn claims_on(dossier: &Dossier, setting: usize) -> Vec<&str> {
    let channels: Vec<String> = channels_on(dossier, setting).map(InterferenceChannel::claim).collect();
    let name = dossier.system().and_then(|system| system.board.settings.get(setting)).map(|found| &found.name.value);
    let own = name.map(|name| format!("setting/{name}"));
    let rests = |id: &str| {
        let is_whole = id == "channel/complete" && !channels.is_empty();
        is_whole || own.as_deref() == Some(id) || channels.iter().any(|channel| channel == id)
    };
    dossier.verdicts().iter().map(|verdict| verdict.id.as_str()).filter(|id| rests(id)).collect()
}
