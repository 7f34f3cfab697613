//! Room for one value a task that lies on the stack for partitions of usual size.

/// More tasks than most partitions have.
const FEW: usize = 32;

/// A slice of values, on the stack where they are few.
pub(crate) struct Scratch<T> {
    few: [T; FEW],
    many: Vec<T>,
    len: usize,
}

impl<T: Copy> Scratch<T> {
    /// `len` times `value`.
    pub(crate) fn new(value: T, len: usize) -> Self {
        let many = if len > FEW { vec![value; len] } else { Vec::new() };
        Self { few: [value; FEW], many, len }
    }

    #[inline]
    pub(crate) fn as_mut_slice(&mut self) -> &mut [T] {
        if self.len > FEW { &mut self.many } else { &mut self.few[..self.len] }
    }
}
