//! A task of the file.

use super::Writer;
use crate::draft::measure::OfTask;
use crate::draft::rhythm::Rhythm;
use crate::draft::text::{counted, quoted, time, times};
use quantity::TaskId;

/// What is declared of a task's arrivals; without jitter they are sporadic.
pub(super) struct Period {
    pub(super) ns: u64,
    jitter_ns: Option<u64>,
}

impl Writer<'_> {
    pub(super) fn task(&mut self, id: TaskId, is_known: bool) {
        let measured = &self.measures.tasks[id.index()];
        let label = self.system.task_label(id);
        let mut lines = vec![
            String::new(),
            "[[partition.task]]".to_owned(),
            format!("name = {}", quoted(&self.system.task(id).name.value)),
        ];
        lines.push(rhythm_words(measured));
        match self.period(id) {
            Some(period) => {
                lines.push(format!("period = {}", quoted(&time(period.ns))));
                lines.extend(period.jitter_ns.map(|jitter| format!("jitter = {}", quoted(&time(jitter)))));
                lines.extend(period.jitter_ns.is_none().then(|| "sporadic = true".to_owned()));
            }
            None => {
                lines.push("# unknown: period".to_owned());
                self.miss(
                    &label,
                    "period: too few arrivals, several at once, or a job that executed for longer",
                    "whether the task is in the system: it is left out as a comment",
                );
            }
        }
        match (measured.execution.range(), measured.execution.samples) {
            (Some((least, most)), samples) => {
                lines.push(format!(
                    "# measured: {} executed {}; the highest seen is no WCET",
                    counted(samples, "job"),
                    times((least, most))
                ));
                lines.push(format!("wcet = {}", quoted(&time(most))));
                let (source, most) = (quoted(&self.origin.recordings), quoted(&time(most)));
                lines.push(format!(
                    "provenance = {{ class = \"measured\", source = {source}, measured_max = {most}, samples = {samples} }}"
                ));
            }
            (None, _) => {
                lines.push("# unknown: wcet: no job was seen from arrival to completion with its execution".to_owned());
                self.miss(&label, "wcet: no whole job was seen to execute", "its response and those that it delays");
            }
        }
        if let Some(range) = measured.response.range() {
            let samples = counted(measured.response.samples, "job");
            lines.push(format!("# measured: {samples} completed {} after arrival, which is no bound", times(range)));
        }
        lines.push("# unknown: priority, deadline (the period until it is given), bcet, line_requests".to_owned());
        self.put(&lines, is_known);
    }

    /// What is declared of a task's arrivals. The file takes the period as deadline, so no job may have executed for longer.
    pub(super) fn period(&self, id: TaskId) -> Option<Period> {
        let measured = &self.measures.tasks[id.index()];
        let period = match measured.arrivals.rhythm() {
            Rhythm::Periodic { period_ns, jitter_ns, .. } => Period { ns: period_ns, jitter_ns: Some(jitter_ns) },
            Rhythm::Sporadic { least_ns, .. } => Period { ns: least_ns, jitter_ns: None },
            Rhythm::Bursts | Rhythm::TooFew { .. } => return None,
        };
        Some(period).filter(|period| measured.execution.most().is_none_or(|most| most <= period.ns))
    }
}

fn rhythm_words(measured: &OfTask) -> String {
    let range = measured.arrivals.curve.steps(1).range().map_or_else(String::new, times);
    match measured.arrivals.rhythm() {
        Rhythm::Periodic { step_ns, steps, pauses, .. } => {
            let pauses = match pauses {
                0 => String::new(),
                count => format!("; {} longer by half, not counted for the jitter", counted(count, "step")),
            };
            let steps = counted(steps, "step");
            format!("# measured: {steps} of {range} between arrivals, the period rounded to {}{pauses}", time(step_ns))
        }
        Rhythm::Sporadic { steps, .. } => {
            format!(
                "# measured: {} of {range} between arrivals, without a period; the least is no promise",
                counted(steps, "step")
            )
        }
        Rhythm::Bursts => format!("# measured: steps of {range} between arrivals, several at one instant"),
        Rhythm::TooFew { steps } => format!("# measured: {} between arrivals, too few to tell", counted(steps, "step")),
    }
}
