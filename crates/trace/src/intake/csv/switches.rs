//! Switches of a scheduler: what a row of them tells.

use super::super::block::Builder;
use super::super::recent::Lately;
use super::super::text::leaves_by;
use super::values::Values;
use crate::event::{Cpu, Leaves, What};

/// The slots of what a switch tells besides its time.
const CPU: usize = 1;
const FROM: [usize; 2] = [2, 3];
const STATE: usize = 4;
const TO: [usize; 2] = [5, 6];

/// What a row tells, if both its threads are remembered.
#[inline(always)]
pub fn known_switch(values: &impl Values, told: &Lately) -> Option<(Cpu, What)> {
    let (cpu, leaves) = cpu_and_leaves(values)?;
    let from = told.find(values.told(FROM[0], FROM[1])?)?;
    let to = told.find(values.told(TO[0], TO[1])?)?;
    Some((cpu, What::Switch { from, to, leaves }))
}

/// What a row tells, whose threads are remembered from then on.
pub fn switch(values: &impl Values, told: &mut Lately, builder: &mut Builder<'_>) -> Option<(Cpu, What)> {
    let (cpu, leaves) = cpu_and_leaves(values)?;
    // Both numbers are read before a name is kept, so that a row that cannot be read leaves nothing behind.
    let ids = (values.id(FROM[1])?, values.id(TO[1])?);
    let mut thread = |[name, id]: [usize; 2], number| {
        let thread = builder.thread(values.piece(name), number);
        if let Some(key) = values.told(name, id) {
            told.remember(key, thread);
        }
        thread
    };
    let (from, to) = (thread(FROM, ids.0), thread(TO, ids.1));
    Some((cpu, What::Switch { from, to, leaves }))
}

#[inline(always)]
fn cpu_and_leaves(values: &impl Values) -> Option<(Cpu, Leaves)> {
    Some((Cpu::new(values.cpu(CPU)?)?, leaves_by(values.piece(STATE).letter()?)?))
}
