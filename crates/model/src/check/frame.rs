//! The frame is a multiple of every partition's period.

use super::name;
use crate::read::{Context, Document};
use diagnostic::Diagnostic;
use diagnostic::codes::partition::FRAME_NOT_MULTIPLE;
use num_integer::Integer;
use quantity::{Duration, LIMIT};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let Some(frame) = doc.root.table("system").and_then(|system| system.time("frame")) else { return };
    let periods: Vec<_> = doc.root.tables("partition").filter_map(|p| p.time("period")).map(|p| p.value.ns()).collect();
    let joint = periods.iter().try_fold(1, |joint: u64, period| least_multiple(joint, *period));
    for partition in doc.root.tables("partition") {
        let Some(period) = partition.time("period") else { continue };
        if frame.ns().is_multiple_of(period.ns()) {
            continue;
        }
        let message = format!(
            "the frame, {}, is no multiple of the period of partition {}, {}",
            frame.value,
            name(partition),
            period.value
        );
        let fault = Diagnostic::new(&FRAME_NOT_MULTIPLE, period.span, message).also(frame.span, "the frame");
        cx.report(fault.help(match joint {
            Some(joint) => format!("a frame of {} is a multiple of every period", near_multiples(frame.ns(), joint)),
            None => format!("a frame of {} would do for this partition", near_multiples(frame.ns(), period.ns())),
        }));
    }
}

/// The least common multiple, where it is a time that can be written.
pub(super) fn least_multiple(a: u64, b: u64) -> Option<u64> {
    // Both are above zero, since no period of zero is read, so the divisor is too.
    let multiple = u128::from(a / a.gcd(&b)) * u128::from(b);
    u64::try_from(multiple).ok().filter(|multiple| *multiple <= LIMIT)
}

/// The multiples of `step` next to `frame`, below and above.
fn near_multiples(frame: u64, step: u64) -> String {
    let below = frame / step * step;
    let above = Duration::from_ns(below.saturating_add(step));
    if below == 0 { above.to_string() } else { format!("{} or {above}", Duration::from_ns(below)) }
}
