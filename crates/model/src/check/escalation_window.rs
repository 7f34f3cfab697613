//! An escalation that counts several events has a window in which several can be noticed.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::codes::recovery::WINDOW_BELOW_DETECTION;
use diagnostic::{Diagnostic, Located};
use quantity::Duration;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let Some(health) = doc.root.table("health") else { return };
    health.tables("escalation").filter_map(|escalation| too_short(doc, escalation)).for_each(|fault| cx.report(fault));
}

fn too_short(doc: &Document, escalation: &Fields) -> Option<Diagnostic> {
    let (count, window) = (escalation.count("count")?, escalation.time("window")?);
    let named = escalation.texts("partitions");
    let applies = |partition: &Fields| {
        let own = partition.text("name");
        !escalation.has("partitions") || own.is_some_and(|own| named.iter().any(|named| named.value == own.value))
    };
    let of = doc.root.tables("partition").filter(|partition| applies(partition));
    let (partition, detection) = of.filter_map(detection).max_by_key(|(_, detection)| detection.value)?;
    if count.value < 2 || window.value >= detection.value {
        return None;
    }
    let message = format!(
        "{} times within {}, and a fault of partition {} is noticed up to {} after it happens",
        count.value,
        window.value,
        name(partition),
        detection.value
    );
    let fault = Diagnostic::new(&WINDOW_BELOW_DETECTION, window.span, message).also(detection.span, "the detection");
    Some(fault.help("no two faults need be noticed in one window, so nothing ever escalates: widen `window`"))
}

/// A partition with the longest time until a fault of it is noticed.
fn detection(partition: &Fields) -> Option<(&Fields, Located<Duration>)> {
    Some((partition, partition.table("restart")?.time("detection")?))
}
