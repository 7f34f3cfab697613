//! A cyclic executive's table read as a window table.

use super::{fields, value};
use crate::compare::{Answer, Answers, Share};
use crate::tasks::{self, Row};
use serde::Deserialize;
use timing::supply::{Interval, Supply};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Executive {
    minor: u64,
    tasks: Vec<Row>,
    /// The tasks of each minor frame, in order.
    table: Vec<Vec<String>>,
}

/// Every call is a window as long as its task's execution time; those of a minor frame follow each other.
struct Windows<'a> {
    frame: u64,
    of_task: Vec<(&'a Row, Interval)>,
}

impl<'a> Windows<'a> {
    fn of(input: &'a Executive) -> Result<Self, String> {
        let mut of_task = Vec::new();
        for (k, calls) in (0..).zip(&input.table) {
            let mut start_ns = k * input.minor;
            for name in calls {
                let row =
                    input.tasks.iter().find(|row| row.name == *name).ok_or("a call of a task that is not there")?;
                let end_ns = start_ns + row.charged;
                of_task.push((row, Interval { start_ns, end_ns }));
                start_ns = end_ns;
            }
        }
        Ok(Self { frame: input.minor * input.table.len() as u64, of_task })
    }

    /// The supply of the windows of those tasks that `of` names; an error where they overlap or leave the frame.
    fn supply(&self, of: impl Fn(&Row) -> bool) -> Result<Supply, String> {
        let windows: Vec<_> = self.of_task.iter().filter(|(row, _)| of(row)).map(|(_, window)| *window).collect();
        Supply::new(self.frame, &windows).map_err(|why| why.to_string())
    }

    /// Whether every period of the task holds its execution time.
    fn serves(&self, row: &Row) -> Result<bool, String> {
        let supply = self.supply(|other| other.name == row.name)?;
        let periods = 0..self.frame / row.period;
        let whole = self.frame.is_multiple_of(row.period);
        Ok(whole && periods.into_iter().all(|k| supply.supply_ns(k * row.period, row.period) >= row.charged))
    }
}

pub fn cyclic_table(input: &Executive) -> Result<Answers, String> {
    let windows = Windows::of(input)?;
    let core = windows.supply(|_| true)?;
    let served = input.tasks.iter().map(|row| windows.serves(row)).collect::<Result<Vec<_>, _>>()?;
    let load = (0..input.table.len() as u64).map(|k| core.supply_ns(k * input.minor, input.minor));
    let share = Share { parts: vec![u128::from(core.per_frame_ns())], whole: u128::from(core.frame_ns()) };
    Ok(fields([
        ("valid", value(served.iter().all(|served| *served))),
        ("major", value(tasks::hyperperiod_of(&input.tasks)?)),
        ("load", value(load.collect::<Vec<_>>())),
        ("U", Answer::Share(share)),
    ]))
}
