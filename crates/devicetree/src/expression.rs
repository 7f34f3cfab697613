//! Expressions of whole numbers in parentheses, as in C, on 64 bits without sign.

use crate::MOST_DEPTH;
use crate::cursor::{Cursor, Read};
use diagnostic::Located;

/// The operators of two sides from the weakest to the strongest.
const LEVELS: [&[&str]; 10] = [
    &["||"],
    &["&&"],
    &["|"],
    &["^"],
    &["&"],
    &["==", "!="],
    &["<=", ">=", "<", ">"],
    &["<<", ">>"],
    &["+", "-"],
    &["*", "/", "%"],
];

impl Cursor<'_> {
    /// A number, or an expression in parentheses.
    pub(crate) fn integer(&mut self) -> Read<Located<u64>> {
        let from = self.at();
        if !self.rest().starts_with('(') {
            return self.number();
        }
        let value = self.primary(0)?;
        Ok(Located::new(value, self.span(from)))
    }

    /// A number, a negation, or a whole in parentheses.
    fn primary(&mut self, depth: usize) -> Read<u64> {
        self.blank()?;
        if depth > MOST_DEPTH {
            return Err(self.fault(
                self.here(),
                format!("parentheses and signs are nested more than {MOST_DEPTH} deep"),
                "write the number",
            ));
        }
        if self.eat("(") {
            let value = self.ternary(depth + 1)?;
            self.expect(")", "close the expression")?;
            return Ok(value);
        }
        if self.eat("-") {
            return Ok(self.primary(depth + 1)?.wrapping_neg());
        }
        if self.eat("~") {
            return Ok(!self.primary(depth + 1)?);
        }
        if self.eat("!") {
            return Ok(u64::from(self.primary(depth + 1)? == 0));
        }
        self.number().map(|number| number.value)
    }

    fn ternary(&mut self, depth: usize) -> Read<u64> {
        let condition = self.binary(0, depth)?;
        self.blank()?;
        if !self.eat("?") {
            return Ok(condition);
        }
        if depth > MOST_DEPTH {
            return Err(self.fault(
                self.here(),
                format!("choices are nested more than {MOST_DEPTH} deep"),
                "write the number",
            ));
        }
        let yes = self.ternary(depth + 1)?;
        self.expect(":", "a choice is `condition ? yes : no`")?;
        let no = self.ternary(depth + 1)?;
        Ok(if condition == 0 { no } else { yes })
    }

    /// Operators of a level and of all stronger ones, from left to right.
    fn binary(&mut self, level: usize, depth: usize) -> Read<u64> {
        let Some(operators) = LEVELS.get(level) else { return self.primary(depth) };
        let mut left = self.binary(level + 1, depth)?;
        loop {
            self.blank()?;
            let from = self.at();
            let Some(operator) = operators.iter().find(|operator| self.is_operator(operator)) else { return Ok(left) };
            self.eat(operator);
            let right = self.binary(level + 1, depth)?;
            let impossible = || {
                self.bad_value(
                    self.span(from),
                    format!("`{operator} {right}` has no value"),
                    "divide by more than zero, shift by less than 64",
                )
            };
            left = apply(operator, left, right).ok_or_else(impossible)?;
        }
    }

    /// Whether this operator stands here, and not a longer one that begins like it.
    fn is_operator(&self, operator: &str) -> bool {
        let mut longer = LEVELS
            .iter()
            .copied()
            .flatten()
            .filter(|longer| longer.len() > operator.len() && longer.starts_with(operator));
        self.rest().starts_with(operator) && !longer.any(|longer| self.rest().starts_with(longer))
    }
}

/// What an operator makes of its two sides; `None` where C says nothing.
fn apply(operator: &str, left: u64, right: u64) -> Option<u64> {
    Some(match operator {
        "||" => u64::from(left != 0 || right != 0),
        "&&" => u64::from(left != 0 && right != 0),
        "|" => left | right,
        "^" => left ^ right,
        "&" => left & right,
        "==" => u64::from(left == right),
        "!=" => u64::from(left != right),
        "<=" => u64::from(left <= right),
        ">=" => u64::from(left >= right),
        "<" => u64::from(left < right),
        ">" => u64::from(left > right),
        "<<" => left.checked_shl(u32::try_from(right).ok()?)?,
        ">>" => left.checked_shr(u32::try_from(right).ok()?)?,
        "+" => left.wrapping_add(right),
        "-" => left.wrapping_sub(right),
        "*" => left.wrapping_mul(right),
        "/" => left.checked_div(right)?,
        "%" => left.checked_rem(right)?,
        _ => return None,
    })
}
