//! Names: which element has one, and which was meant.

use super::Context;
use diagnostic::codes::shape::{DUPLICATE_NAME, UNKNOWN_NAME};
use diagnostic::{Diagnostic, Located, Span};
use std::collections::BTreeMap;

/// The names of all elements of one kind, each with the position of its element in file order.
#[derive(Debug, Default)]
pub struct Names {
    what: &'static str,
    at: BTreeMap<String, usize>,
    /// In file order; an element without a readable name has none.
    places: Vec<Option<Located<String>>>,
    /// Whether an element may be missing because of a fault that has been reported.
    incomplete: bool,
}

impl Names {
    /// Collects the names of the elements of a kind, called `what`, and reports those that are given twice.
    pub fn collect(what: &'static str, names: impl Iterator<Item = Option<Located<String>>>, cx: &mut Context) -> Self {
        let mut collected = Self { what, ..Self::default() };
        for (index, name) in names.enumerate() {
            if let Some(name) = &name {
                let first = *collected.at.entry(name.value.clone()).or_insert(index);
                if first != index {
                    collected.report_twice(first, name, cx);
                }
            }
            collected.incomplete |= name.is_none();
            collected.places.push(name);
        }
        collected
    }

    /// The same names; where `incomplete`, a name that is not among them may have been lost, and is no finding.
    pub fn incomplete_if(self, incomplete: bool) -> Self {
        Self { incomplete: self.incomplete || incomplete, ..self }
    }

    /// Whether an element may be missing because of a fault that has been reported.
    pub fn is_incomplete(&self) -> bool {
        self.incomplete
    }

    fn report_twice(&self, first: usize, name: &Located<String>, cx: &mut Context) {
        let message = format!("two {}s have the name `{}`", self.what, name.value);
        let mut diagnostic = Diagnostic::new(&DUPLICATE_NAME, name.span, message).label("given again here");
        if let Some(Some(first)) = self.places.get(first) {
            diagnostic = diagnostic.also(first.span, "first given here");
        }
        cx.report(diagnostic.help("give each a name of its own"));
    }

    /// The position of the element of that name.
    pub fn get(&self, name: &str) -> Option<usize> {
        self.at.get(name).copied()
    }

    /// The number of elements, with or without a name.
    pub(crate) fn len(&self) -> usize {
        self.places.len()
    }

    /// The name of an element, where it has one.
    pub fn name(&self, index: usize) -> Option<&str> {
        self.places.get(index)?.as_ref().map(|name| name.value.as_str())
    }

    /// The place where an element is named.
    pub fn place(&self, index: usize) -> Option<Span> {
        self.places.get(index)?.as_ref().map(|name| name.span)
    }

    /// The element of that name, as an id made from its position; reports a name that nothing has.
    pub fn resolve<Id>(&self, name: &Located<String>, id: fn(usize) -> Id, cx: &mut Context) -> Option<Located<Id>> {
        let found = self.get(&name.value);
        if found.is_none() {
            self.report_unknown(name, cx);
        }
        found.map(|index| Located::new(id(index), name.span))
    }

    /// All elements of those names that are there; reports the others.
    pub fn resolve_all<Id>(
        &self,
        names: &[Located<String>],
        id: fn(usize) -> Id,
        cx: &mut Context,
    ) -> Vec<Located<Id>> {
        names.iter().filter_map(|name| self.resolve(name, id, cx)).collect()
    }

    /// Reports a name that nothing has, with the nearest name that something has.
    pub fn report_unknown(&self, name: &Located<String>, cx: &mut Context) {
        report_unknown(name, self.what, &[self], cx);
    }
}

/// Reports a name that no element of some kinds, together called `what`, has, with the nearest one that there is.
pub(crate) fn report_unknown(name: &Located<String>, what: &str, kinds: &[&Names], cx: &mut Context) {
    if kinds.iter().any(|names| names.is_incomplete()) {
        return;
    }
    let message = format!("there is no {what} `{}`", super::value::short(&name.value));
    let diagnostic = Diagnostic::new(&UNKNOWN_NAME, name.span, message);
    let count = kinds.iter().map(|names| names.places.len()).sum();
    let known = || kinds.iter().flat_map(|names| names.places.iter().flatten());
    let texts = known().map(|place| place.value.as_str());
    let near = if cx.may_compare(count) { nearest(&name.value, texts) } else { None };
    let near = near.and_then(|near| known().find(|place| place.value == near));
    cx.report(match near {
        Some(near) => {
            let help = format!("did you mean `{}`?", near.value);
            diagnostic.also(near.span, "a similar name is given here").help(help)
        }
        None if count == 0 => diagnostic.help(format!("no {what} is declared")),
        None => diagnostic.help(format!("declare the {what} or use the name of one that is declared")),
    });
}

/// The known word nearest to a given one, where one is near enough to be meant; of equals the first.
pub fn nearest<'a>(given: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    const LONGEST: usize = 100;
    let length = given.chars().count();
    if length > LONGEST {
        return None;
    }
    // One wrong letter in three is a slip; more is another word.
    let limit = length / 3;
    let lower = given.to_lowercase();
    let distance = |word: &str| strsim::damerau_levenshtein(&lower, &word.to_lowercase());
    let near = known.filter(|word| word.chars().count().abs_diff(length) <= limit);
    near.map(|word| (distance(word), word)).filter(|(d, _)| *d <= limit).min_by_key(|(d, _)| *d).map(|(_, word)| word)
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn slips_are_recognised_and_other_words_are_not() {
        let known = ["period", "deadline", "priority"];
        assert_eq!(nearest("perod", known.into_iter()), Some("period"));
        assert_eq!(nearest("Period", known.into_iter()), Some("period"));
        assert_eq!(nearest("dealdine", known.into_iter()), Some("deadline"));
        assert_eq!(nearest("colour", known.into_iter()), None);
        assert_eq!(nearest("A", ["B"].into_iter()), None);
        assert_eq!(nearest("", known.into_iter()), None);
    }
}
