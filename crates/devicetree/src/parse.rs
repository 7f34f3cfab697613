//! Statements of a devicetree source, put into the tree one after the other.

use crate::cursor::{Cursor, Read, is_label, is_word};
use crate::draft::{Draft, DraftProperty, Target};
use crate::tree::Reservation;
use crate::{MOST_DEPTH, MOST_ELEMENTS, MOST_FAULTS};
use diagnostic::codes::devicetree::{TREE_ELSEWHERE, TREE_REFERENCE, TREE_SYNTAX, TREE_TWICE};
use diagnostic::codes::input::TOO_MANY;
use diagnostic::{Diagnostic, Diagnostics, FileId, Located, Span};
use std::collections::BTreeMap;

struct Parser<'a, 'o> {
    cursor: Cursor<'a>,
    draft: Draft,
    /// The nodes and properties so far, deleted ones too.
    elements: usize,
    /// Whether nothing more is to be told, since the text ends too early or is too large.
    ended: bool,
    out: &'o mut Diagnostics,
}

/// Names that one pair of braces has given, and where.
#[derive(Default)]
struct Given {
    properties: BTreeMap<String, Span>,
    nodes: BTreeMap<String, Span>,
    first_node: Option<Span>,
}

const STATEMENT: &str = "a statement is `name;`, `name = value;` or `name { … };`";

/// The tree of a text; whatever is wrong goes to `out`.
pub(crate) fn parse(text: &str, file: FileId, out: &mut Diagnostics) -> Draft {
    let root = Located::new(String::new(), Span::head(file));
    let mut parser =
        Parser { cursor: Cursor::new(text, file), draft: Draft::new(root), elements: 0, ended: false, out };
    parser.cursor.eat("\u{feff}");
    parser.whole();
    parser.draft
}

impl Parser<'_, '_> {
    fn whole(&mut self) {
        while let Err(fault) = self.head() {
            // Behind a line for the preprocessor the head may still come.
            let may_come = fault.code == &TREE_ELSEWHERE;
            self.complain(*fault);
            if !may_come {
                break;
            }
        }
        let mut has_root = false;
        while let Some(step) = self.step(&mut has_root).transpose() {
            let Err(fault) = step else { continue };
            let is_too_large = fault.code == &TOO_MANY;
            self.complain(*fault);
            self.ended |= is_too_large;
            self.cursor.recover();
            // A brace too many at the top closes nothing.
            self.cursor.eat("}");
            self.cursor.eat(";");
        }
        if !has_root && !self.out.has_errors() {
            let fault =
                self.cursor.fault(self.cursor.here(), "this tree has no root", "write the nodes within `/ { … };`");
            self.complain(*fault);
        }
    }

    fn complain(&mut self, fault: Diagnostic) {
        if !self.ended && self.out.len() < MOST_FAULTS {
            self.out.push(fault);
        }
    }

    /// The version, which says that this is devicetree source at all.
    fn head(&mut self) -> Read<()> {
        self.cursor.blank()?;
        if !self.cursor.eat("/dts-v1/") {
            let help = "begin the file with `/dts-v1/;`, which says by which grammar it is to be read";
            return Err(self.cursor.fault(self.cursor.here(), "this is no devicetree source of version 1", help));
        }
        self.cursor.expect(";", "write `/dts-v1/;`")
    }

    /// One statement outside of every node; `None` at the end of the text.
    fn step(&mut self, has_root: &mut bool) -> Read<Option<()>> {
        let labels = self.labels()?;
        let from = self.cursor.at();
        if self.ended || self.cursor.rest().is_empty() || self.out.len() >= MOST_FAULTS {
            return Ok(None);
        }
        if self.cursor.eat("/memreserve/") {
            self.reservation(from)?;
        } else if self.cursor.eat("/delete-node/") {
            self.cursor.blank()?;
            let target = self.cursor.reference()?;
            self.delete(&target)?;
        } else if self.cursor.rest().starts_with('&') {
            let target = self.cursor.reference()?;
            let node = self.find(&target)?;
            self.body(node, labels, 1)?;
        } else if self.is_directive() {
            return Err(self.directive());
        } else if self.cursor.eat("/") {
            *has_root = true;
            self.body(0, labels, 1)?;
        } else {
            let message = format!("expected a node, and {}", self.cursor.found());
            let help =
                "outside of the root stand `/ { … };`, `&label { … };`, `/memreserve/` and `/delete-node/ &label;`";
            return Err(self.cursor.fault(self.cursor.here(), message, help));
        }
        self.cursor.expect(";", "every statement ends with `;`")?;
        Ok(Some(()))
    }

    fn labels(&mut self) -> Read<Vec<Located<String>>> {
        let mut labels = Vec::new();
        self.cursor.blank()?;
        while let Some(label) = self.cursor.label() {
            labels.push(label);
            self.cursor.blank()?;
        }
        Ok(labels)
    }

    /// Whether a word in slashes stands here.
    fn is_directive(&self) -> bool {
        let word = self.cursor.rest().strip_prefix('/').unwrap_or_default();
        word.starts_with(|c: char| c.is_ascii_alphabetic())
            && word.trim_start_matches(|c| is_label(c) || c == '-').starts_with('/')
    }

    /// A word in slashes that is not read here.
    fn directive(&mut self) -> Box<Diagnostic> {
        let from = self.cursor.at();
        self.cursor.bump();
        let word = self.cursor.take_while(|c| is_label(c) || c == '-');
        self.cursor.eat("/");
        let span = self.cursor.span(from);
        if word == "include" {
            let fault = Diagnostic::new(&TREE_ELSEWHERE, span, "other files are not read in");
            return Box::new(
                fault.help(
                    "put the text of that file here: a devicetree compiler writes one source of all with `-O dts`",
                ),
            );
        }
        let help = "known are /delete-node/, /delete-property/, /memreserve/ and /bits/";
        self.cursor.fault(span, format!("`/{word}/` is not known here"), help)
    }

    fn reservation(&mut self, from: usize) -> Read<()> {
        self.cursor.blank()?;
        let base = self.cursor.integer()?.value;
        self.cursor.blank()?;
        let size = self.cursor.integer()?.value;
        self.draft.reservations.push(Reservation { base, size, place: self.cursor.span(from) });
        Ok(())
    }

    fn find(&self, target: &Located<Target>) -> Read<usize> {
        self.draft.find(&target.value).ok_or_else(|| unknown(target, "above this"))
    }

    fn delete(&mut self, target: &Located<Target>) -> Read<()> {
        let node = self.find(target)?;
        if node == 0 {
            return Err(self.cursor.fault(target.span, "the root cannot be deleted", "name a node below it"));
        }
        self.draft.delete(node);
        Ok(())
    }

    /// What stands in the braces of a node, from its `{` to its `}`.
    fn body(&mut self, node: usize, labels: Vec<Located<String>>, depth: usize) -> Read<()> {
        self.name_node(node, labels);
        self.cursor.expect("{", "the contents of a node stand in braces")?;
        if depth > MOST_DEPTH {
            let message = format!("nodes are nested more than {MOST_DEPTH} deep");
            return Err(Box::new(
                Diagnostic::new(&TOO_MANY, self.cursor.here(), message).help("no board has such a tree"),
            ));
        }
        let mut given = Given::default();
        loop {
            match self.inner(node, depth, &mut given) {
                Ok(true) => {}
                Ok(false) => return Ok(()),
                // What stands around a node that is too deep is given up as a whole.
                Err(fault) if fault.code == &TOO_MANY => return Err(fault),
                Err(fault) => {
                    self.complain(*fault);
                    self.cursor.recover();
                }
            }
        }
    }

    fn name_node(&mut self, node: usize, labels: Vec<Located<String>>) {
        for label in labels {
            let here = Located::new(node, label.span);
            let before = *self.draft.labels.entry(label.value.clone()).or_insert(here);
            if before == here {
                self.draft.nodes[node].labels.push(label.value);
            } else if before.value != node {
                let message = format!("the label `{}` stands before two nodes", label.value);
                let fault = Diagnostic::new(&TREE_TWICE, label.span, message).also(before.span, "first here");
                self.complain(fault.help("give each node a label of its own"));
            }
        }
    }

    /// One statement of a node; `false` at the brace that closes it.
    fn inner(&mut self, node: usize, depth: usize, given: &mut Given) -> Read<bool> {
        let labels = self.labels()?;
        let open = self.draft.nodes[node].name.clone();
        if self.cursor.eat("}") {
            return Ok(false);
        }
        if self.cursor.rest().is_empty() {
            let of = if open.value.is_empty() { "the root".to_owned() } else { format!("node `{}`", open.value) };
            let fault =
                self.cursor.fault(self.cursor.here(), format!("the file ends within {of}"), "close the node with `};`");
            self.complain(*fault);
            self.ended = true;
            return Ok(false);
        }
        if self.cursor.eat("/delete-node/") {
            self.delete_inner(node, given)?;
        } else if self.cursor.eat("/delete-property/") {
            let name = self.word()?;
            self.draft.nodes[node].properties.get_mut(&name.value).into_iter().for_each(|property| *property = None);
            given.properties.remove(&name.value);
        } else if self.is_directive() {
            return Err(self.directive());
        } else {
            self.named(node, labels, depth, given)?;
        }
        self.cursor.expect(";", "every statement ends with `;`")?;
        Ok(true)
    }

    fn delete_inner(&mut self, node: usize, given: &mut Given) -> Read<()> {
        self.cursor.blank()?;
        if self.cursor.rest().starts_with('&') {
            let target = self.cursor.reference()?;
            return self.delete(&target);
        }
        let name = self.word()?;
        if let Some(child) = self.draft.child(node, &name.value) {
            self.draft.delete(child);
        }
        given.nodes.remove(&name.value);
        Ok(())
    }

    /// A property or a node, which begin alike.
    fn named(&mut self, node: usize, labels: Vec<Located<String>>, depth: usize, given: &mut Given) -> Read<()> {
        let name = self.word()?;
        self.elements += 1;
        if self.elements > MOST_ELEMENTS {
            let message = format!("more than {MOST_ELEMENTS} nodes and properties");
            return Err(Box::new(Diagnostic::new(&TOO_MANY, name.span, message).help("no board has such a tree")));
        }
        self.cursor.blank()?;
        if self.cursor.rest().starts_with('{') {
            return self.node(node, name, labels, depth, given);
        }
        let has_value = self.cursor.eat("=");
        self.cursor.blank()?;
        let from = self.cursor.at();
        let parts = if has_value { self.cursor.value()? } else { Vec::new() };
        let value = if has_value { self.cursor.span(from) } else { name.span };
        if let Some(child) = given.first_node {
            let message = format!("the property `{}` stands behind a node", name.value);
            let fault = Diagnostic::new(&TREE_SYNTAX, name.span, message).also(child, "the node");
            return Err(Box::new(fault.help("write the properties of a node before the nodes in it")));
        }
        self.check_name(&name, |c| c.is_ascii_alphanumeric() || ",._+?#-".contains(c), "property")?;
        self.only_once(&name, "property", given.properties.insert(name.value.clone(), name.span));
        self.draft.nodes[node].properties.insert(name.value.clone(), Some(DraftProperty { name, parts, value }));
        Ok(())
    }

    fn node(
        &mut self,
        above: usize,
        name: Located<String>,
        labels: Vec<Located<String>>,
        depth: usize,
        given: &mut Given,
    ) -> Read<()> {
        let node = self.draft.open(above, &name);
        given.first_node = given.first_node.or(Some(name.span));
        self.only_once(&name, "node", given.nodes.insert(name.value.clone(), name.span));
        self.body(node, labels, depth + 1)?;
        let at = name.value.matches('@').count();
        if at > 1 || name.value.starts_with('@') || name.value.ends_with('@') {
            let help = "a node is called `name` or `name@address`";
            return Err(self.cursor.fault(name.span, format!("`{}` is no name of a node", name.value), help));
        }
        self.check_name(&name, |c| c.is_ascii_alphanumeric() || ",._+-@".contains(c), "node")
    }

    fn check_name(&self, name: &Located<String>, may: impl Fn(char) -> bool, what: &str) -> Read<()> {
        match name.value.chars().find(|c| !may(*c)) {
            None => Ok(()),
            Some(letter) => {
                let message = format!("the name `{}` of a {what} holds `{letter}`", name.value);
                Err(self.cursor.fault(name.span, message, "names hold letters, digits and , . _ + - only"))
            }
        }
    }

    fn only_once(&mut self, name: &Located<String>, what: &str, before: Option<Span>) {
        let Some(before) = before else { return };
        let message = format!("the {what} `{}` stands twice between the same braces", name.value);
        let fault = Diagnostic::new(&TREE_TWICE, name.span, message).also(before, "first here");
        self.complain(fault.help("make one of the two; what is to change an earlier one stands in braces of its own"));
    }

    /// The name of a property or a node.
    fn word(&mut self) -> Read<Located<String>> {
        const MOST_LETTERS: usize = 255;
        self.cursor.blank()?;
        let from = self.cursor.at();
        let word = self.cursor.take_while(is_word).to_owned();
        let span = self.cursor.span(from);
        if word.is_empty() {
            let message = format!("expected a name, and {}", self.cursor.found());
            return Err(self.cursor.fault(self.cursor.here(), message, STATEMENT));
        }
        if word.len() > MOST_LETTERS {
            return Err(self.cursor.fault(
                span,
                format!("a name of more than {MOST_LETTERS} letters"),
                "write a shorter one",
            ));
        }
        Ok(Located::new(word, span))
    }
}

/// A reference to what is not there.
pub(crate) fn unknown(target: &Located<Target>, before: &str) -> Box<Diagnostic> {
    let message = format!("`{}` is no node of this tree", target.value.words());
    let place = if before.is_empty() { String::new() } else { format!(" {before}") };
    let help =
        format!("write the label before a node{place}, such as `label: name {{ … }};`, or correct the reference");
    Box::new(Diagnostic::new(&TREE_REFERENCE, target.span, message).help(help))
}
