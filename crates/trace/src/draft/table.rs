//! Everything that was measured as one CSV table: of what, which measure, of how many events, least, most, unit, samples.

use super::curve::Curve;
use super::marks::Marks;
use super::measure::Measures;
use super::text::time;
use model::System;

const HEAD: &str = "of,measure,events,least,most,unit,samples\n";

pub(super) fn table(system: &System, measures: &Measures) -> String {
    let mut table = Table { text: HEAD.to_owned() };
    for (id, measured) in system.task_ids().zip(&measures.tasks) {
        let of = system.task_label(id);
        table.curve(&of, "arrivals", &measured.arrivals.curve);
        table.marks(&of, "execution", "", "ns", measured.execution);
        table.marks(&of, "response", "", "ns", measured.response);
    }
    for (id, measured) in system.partition_ids().zip(&measures.partitions) {
        let of = &system.partition(id).name.value;
        for (core, windows) in system.board.cores.iter().zip(&measured.windows) {
            let of = format!("{of} on core {}", core.name.value);
            table.curve(&of, "window begins", &windows.begins);
            table.marks(&of, "window length", "", "ns", windows.length);
        }
        let spans = format!("execution in {}", time(measures.even_span_ns()));
        table.marks(of, &spans, "", "ns", measures.busy(id));
        table.marks(of, "warm start", "", "ns", measured.warm);
        table.marks(of, "cold start", "", "ns", measured.cold);
    }
    for (channel, measured) in system.channels.iter().zip(&measures.channels) {
        let of = &channel.name.value;
        table.curve(of, "writes", &measured.writes);
        table.marks(of, "messages at once", "", "messages", measured.batch);
        table.marks(of, "message", "", "bytes", measured.bytes);
    }
    table.marks("platform", "window begin to first execution", "", "ns", measures.switch);
    table.curve("platform", "frames", &measures.frames);
    table.text
}

struct Table {
    text: String,
}

impl Table {
    fn curve(&mut self, of: &str, measure: &str, curve: &Curve) {
        curve.spans().for_each(|(events, marks)| self.marks(of, measure, &events.to_string(), "ns", marks));
    }

    fn marks(&mut self, of: &str, measure: &str, events: &str, unit: &str, marks: Marks) {
        let Some((least, most)) = marks.range() else { return };
        let of = cell(of);
        self.text.push_str(&format!("{of},{measure},{events},{least},{most},{unit},{}\n", marks.samples));
    }
}

/// A name holds no quotes, but may hold a comma.
fn cell(text: &str) -> String {
    if text.contains(',') { format!("\"{text}\"") } else { text.to_owned() }
}
