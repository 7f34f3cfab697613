//! The metadata text of a trace: which types, clocks, streams and events it declares.

use super::Wrong;
use super::kinds::{Integer, Kind, Label, Length, Order, Type};
use super::tokens::{Token, tokens};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Types deeper than this are refused, so that no text makes the reader run out of stack.
const DEEPEST: u32 = 48;

/// A clock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clock {
    /// Its name.
    pub name: String,
    /// Its ticks in a second.
    pub freq: u64,
    /// Whole seconds to add.
    pub offset_s: i64,
    /// Ticks to add.
    pub offset: i64,
}

/// A block of the text with its settings and types: a trace, stream or event.
#[derive(Debug, Default)]
pub struct Block {
    /// Its line.
    pub line: u64,
    /// What is set with `=`: a number, a text, or words joined with dots.
    values: BTreeMap<String, (Token, u64)>,
    /// What is set with `:=`.
    types: BTreeMap<String, Arc<Type>>,
}

impl Block {
    /// The type that is set under a name.
    pub fn kind(&self, name: &str) -> Option<Arc<Type>> {
        self.types.get(name).cloned()
    }

    /// The number that is set under a name.
    pub fn number(&self, name: &str) -> Result<Option<u64>, Wrong> {
        match self.values.get(name) {
            None => Ok(None),
            Some((Token::Number(number), line)) => match u64::try_from(*number) {
                Ok(number) => Ok(Some(number)),
                Err(_) => Err(Wrong::at(*line, format!("'{name}' is negative"))),
            },
            Some((_, line)) => Err(Wrong::at(*line, format!("'{name}' is no number"))),
        }
    }

    /// The text or word that is set under a name.
    pub fn text(&self, name: &str) -> Result<Option<&str>, Wrong> {
        match self.values.get(name) {
            None => Ok(None),
            Some((Token::Text(text) | Token::Word(text), _)) => Ok(Some(text)),
            Some((_, line)) => Err(Wrong::at(*line, format!("'{name}' is no text"))),
        }
    }

    fn signed(&self, name: &str) -> Result<Option<i64>, Wrong> {
        match self.values.get(name) {
            None => Ok(None),
            Some((Token::Number(number), line)) => match i64::try_from(*number) {
                Ok(number) => Ok(Some(number)),
                Err(_) => Err(Wrong::at(*line, format!("'{name}' is beyond 63 bits"))),
            },
            Some((_, line)) => Err(Wrong::at(*line, format!("'{name}' is no number"))),
        }
    }

    fn line_of(&self, name: &str) -> u64 {
        self.values.get(name).map_or(self.line, |(_, line)| *line)
    }
}

/// What a metadata text declares.
#[derive(Debug, Default)]
pub struct Metadata {
    /// The trace.
    pub trace: Block,
    /// Its clocks.
    pub clocks: Vec<Clock>,
    /// Its streams.
    pub streams: Vec<Block>,
    /// Its events.
    pub events: Vec<Block>,
}

/// Reads a metadata text.
pub fn metadata(text: &str) -> Result<Metadata, Wrong> {
    let mut reader = Reader { tokens: tokens(text)?, at: 0, scopes: vec![BTreeMap::new()], nested: 0 };
    let mut found = Metadata::default();
    let mut trace_seen = false;
    while reader.at < reader.tokens.len() {
        let line = reader.line();
        let word = match reader.peek() {
            Some(Token::Word(word)) => word.clone(),
            _ => return Err(Wrong::at(line, "a declaration begins with a word")),
        };
        match word.as_str() {
            "trace" => {
                if std::mem::replace(&mut trace_seen, true) {
                    return Err(Wrong::at(line, "there is a second trace block"));
                }
                found.trace = reader.block()?;
            }
            "clock" => found.clocks.push(clock(&reader.block()?)?),
            "stream" => found.streams.push(reader.block()?),
            "event" => found.events.push(reader.block()?),
            "env" | "callsite" => drop(reader.block()?),
            _ => reader.declaration(&word)?,
        }
    }
    if trace_seen { Ok(found) } else { Err(Wrong::at(1, "there is no trace block")) }
}

fn clock(block: &Block) -> Result<Clock, Wrong> {
    let name = block.text("name")?.ok_or_else(|| Wrong::at(block.line, "a clock has no name"))?.to_owned();
    let freq = block.number("freq")?.unwrap_or(1_000_000_000);
    if freq == 0 {
        return Err(Wrong::at(block.line_of("freq"), "a clock's 'freq' is 0"));
    }
    Ok(Clock {
        name,
        freq,
        offset_s: block.signed("offset_s")?.unwrap_or(0),
        offset: block.signed("offset")?.unwrap_or(0),
    })
}

struct Reader {
    tokens: Vec<(Token, u64)>,
    at: usize,
    /// The names of types, those of inner blocks last.
    scopes: Vec<BTreeMap<String, Arc<Type>>>,
    nested: u32,
}

impl Reader {
    fn peek(&self) -> Option<&Token> {
        self.tokens.get(self.at).map(|(token, _)| token)
    }

    fn line(&self) -> u64 {
        self.tokens.get(self.at).or(self.tokens.last()).map_or(1, |(_, line)| *line)
    }

    fn next(&mut self) -> Result<Token, Wrong> {
        let token = self.peek().cloned().ok_or_else(|| Wrong::at(self.line(), "the text ends within a declaration"))?;
        self.at += 1;
        Ok(token)
    }

    fn takes(&mut self, sign: &'static str) -> bool {
        let there = self.peek() == Some(&Token::Sign(sign));
        self.at += usize::from(there);
        there
    }

    fn expect(&mut self, sign: &'static str) -> Result<(), Wrong> {
        let line = self.line();
        if self.takes(sign) { Ok(()) } else { Err(Wrong::at(line, format!("'{sign}' is expected"))) }
    }

    fn word(&mut self) -> Result<String, Wrong> {
        let line = self.line();
        match self.next()? {
            Token::Word(word) => Ok(word),
            _ => Err(Wrong::at(line, "a name is expected")),
        }
    }

    fn number(&mut self) -> Result<i128, Wrong> {
        let line = self.line();
        match self.next()? {
            Token::Number(number) => Ok(number),
            _ => Err(Wrong::at(line, "a number is expected")),
        }
    }

    /// Words joined with dots: a path to a field.
    fn path(&mut self) -> Result<Vec<String>, Wrong> {
        let mut path = vec![self.word()?];
        while self.takes(".") {
            path.push(self.word()?);
        }
        Ok(path)
    }

    fn find(&self, name: &str) -> Option<Arc<Type>> {
        self.scopes.iter().rev().find_map(|scope| scope.get(name)).cloned()
    }

    fn name(&mut self, name: String, kind: Arc<Type>) {
        self.scopes.last_mut().expect("the outermost scope stays").insert(name, kind);
    }

    /// `trace`, `stream`, `event`, `clock`, `env`, `callsite`: settings and types between braces.
    fn block(&mut self) -> Result<Block, Wrong> {
        let mut block = Block { line: self.line(), ..Block::default() };
        self.at += 1;
        self.expect("{")?;
        self.scopes.push(BTreeMap::new());
        while !self.takes("}") {
            self.setting(&mut block)?;
        }
        self.scopes.pop();
        self.takes(";");
        Ok(block)
    }

    fn setting(&mut self, block: &mut Block) -> Result<(), Wrong> {
        let (start, line) = (self.at, self.line());
        let key = self.path()?.join(".");
        if self.takes("=") {
            let value = self.value()?;
            block.values.insert(key, (value, line));
        } else if self.takes(":=") {
            let kind = self.kind(false)?.0;
            block.types.insert(key, kind);
        } else {
            self.at = start;
            return self.declaration(&key);
        }
        self.expect(";")
    }

    fn value(&mut self) -> Result<Token, Wrong> {
        match self.peek() {
            Some(Token::Word(_)) => Ok(Token::Word(self.path()?.join("."))),
            Some(Token::Number(_) | Token::Text(_)) => self.next(),
            _ => Err(Wrong::at(self.line(), "a number, text or name is expected")),
        }
    }

    /// A declaration that gives a type a name.
    fn declaration(&mut self, first: &str) -> Result<(), Wrong> {
        let line = self.line();
        match first {
            "typealias" => {
                self.at += 1;
                let kind = self.kind(false)?.0;
                self.expect(":=")?;
                let mut words = vec![self.word()?];
                while matches!(self.peek(), Some(Token::Word(_))) {
                    words.push(self.word()?);
                }
                self.name(words.join(" "), kind);
            }
            "typedef" => {
                self.at += 1;
                for (name, kind) in self.fields()? {
                    self.name(name, kind);
                }
                return Ok(());
            }
            "struct" | "enum" | "variant" => drop(self.kind(false)?),
            _ => {
                let read = "typealias, typedef, struct, enum, variant, trace, clock, stream, event and env are";
                return Err(Wrong::at(line, format!("a declaration that begins with '{first}' is not read: {read}")));
            }
        }
        self.expect(";")
    }

    /// One line of a struct: a type and the names of the fields that have it, each with its lengths.
    fn fields(&mut self) -> Result<Vec<(String, Arc<Type>)>, Wrong> {
        let (kind, name) = self.kind(true)?;
        let mut first = name;
        let mut fields = Vec::new();
        loop {
            let name = match first.take() {
                Some(name) => name,
                None => self.word()?,
            };
            fields.push((name, self.lengths(kind.clone())?));
            if !self.takes(",") {
                self.expect(";")?;
                return Ok(fields);
            }
        }
    }

    /// The lengths behind a field's name; the first is the outermost.
    fn lengths(&mut self, kind: Arc<Type>) -> Result<Arc<Type>, Wrong> {
        let mut lengths = Vec::new();
        let line = self.line();
        while self.takes("[") {
            lengths.push(match self.peek() {
                Some(Token::Number(_)) => {
                    let number = u64::try_from(self.number()?);
                    Length::Fixed(number.map_err(|_| Wrong::at(line, "a length is negative"))?)
                }
                _ => Length::Field(self.path()?),
            });
            self.expect("]")?;
        }
        let mut kind = kind;
        for length in lengths.into_iter().rev() {
            kind = checked(Type::new(Kind::List(kind, length), line))?;
        }
        Ok(kind)
    }

    /// A type; before a field, where the type is said with words the last word is the field's name.
    fn kind(&mut self, before_field: bool) -> Result<(Arc<Type>, Option<String>), Wrong> {
        let line = self.line();
        self.nested += 1;
        if self.nested > DEEPEST {
            return Err(Wrong::at(line, too_deep()));
        }
        let found = match self.peek() {
            Some(Token::Word(word)) => match word.as_str() {
                "integer" => (Arc::new(Type::new(Kind::Integer(self.integer()?), line)), None),
                "floating_point" => (Arc::new(self.float()?), None),
                "string" => (Arc::new(self.string()?), None),
                "struct" => (self.structure()?, None),
                "enum" => (self.enumeration()?, None),
                "variant" => (self.variant()?, None),
                _ => self.alias(before_field)?,
            },
            _ => return Err(Wrong::at(line, "a type is expected")),
        };
        self.nested -= 1;
        Ok(found)
    }

    /// A type by the words that name it.
    fn alias(&mut self, before_field: bool) -> Result<(Arc<Type>, Option<String>), Wrong> {
        let line = self.line();
        let mut words = Vec::new();
        while matches!(self.peek(), Some(Token::Word(_))) {
            words.push(self.word()?);
        }
        let field = if before_field && words.len() > 1 { words.pop() } else { None };
        let name = words.join(" ");
        match self.find(&name) {
            Some(kind) => Ok((kind, field)),
            None => Err(Wrong::at(line, format!("there is no type '{name}' before this line"))),
        }
    }

    /// The settings of a number or text, between braces.
    fn settings(&mut self) -> Result<Block, Wrong> {
        let mut block = Block { line: self.line(), ..Block::default() };
        while !self.takes("}") {
            let line = self.line();
            let key = self.path()?.join(".");
            self.expect("=")?;
            let value = self.value()?;
            self.expect(";")?;
            block.values.insert(key, (value, line));
        }
        Ok(block)
    }

    fn integer(&mut self) -> Result<Integer, Wrong> {
        let line = self.line();
        self.at += 1;
        self.expect("{")?;
        let set = self.settings()?;
        let size = set.number("size")?.ok_or_else(|| Wrong::at(line, "an integer has no size"))?;
        if !(1..=64).contains(&size) {
            return Err(Wrong::at(set.line_of("size"), format!("an integer of {size} bits is not read: 1 to 64 are")));
        }
        let signed = match set.values.get("signed") {
            None => false,
            Some((Token::Number(number), _)) => *number != 0,
            Some((Token::Word(word), _)) if word.eq_ignore_ascii_case("true") => true,
            Some((Token::Word(word), _)) if word.eq_ignore_ascii_case("false") => false,
            Some((_, line)) => return Err(Wrong::at(*line, "'signed' is neither true nor false")),
        };
        Ok(Integer {
            size: u32::try_from(size).unwrap_or(64),
            align: alignment(&set, if size % 8 == 0 { 8 } else { 1 })?,
            signed,
            order: order(&set)?,
            text: set.text("encoding")?.is_some_and(|encoding| !encoding.eq_ignore_ascii_case("none")),
            clock: set.text("map")?.map(|path| clock_of(path, set.line_of("map"))).transpose()?,
        })
    }

    fn float(&mut self) -> Result<Type, Wrong> {
        let line = self.line();
        self.at += 1;
        self.expect("{")?;
        let set = self.settings()?;
        let bits = set.number("exp_dig")?.unwrap_or(0).saturating_add(set.number("mant_dig")?.unwrap_or(0));
        match u32::try_from(bits) {
            Ok(bits @ (16 | 32 | 64 | 128)) => Ok(Type::new(Kind::Float(bits, alignment(&set, 8)?), line)),
            _ => Err(Wrong::at(
                line,
                format!("a number of {bits} bits with a fraction is not read: 16, 32, 64, 128 are"),
            )),
        }
    }

    fn string(&mut self) -> Result<Type, Wrong> {
        let line = self.line();
        self.at += 1;
        if self.takes("{") {
            self.settings()?;
        }
        Ok(Type::new(Kind::Text, line))
    }

    /// What stands between braces under a name is kept under that name; a name without braces is looked up.
    fn body_or_name(&mut self, keyword: &str) -> Result<Body, Wrong> {
        let line = self.line();
        self.at += 1;
        let name = match self.peek() {
            Some(Token::Word(_)) => Some(format!("{keyword} {}", self.word()?)),
            _ => None,
        };
        Ok(Body { line, name })
    }

    fn structure(&mut self) -> Result<Arc<Type>, Wrong> {
        let body = self.body_or_name("struct")?;
        if !self.takes("{") {
            return self.named(&body);
        }
        let fields = self.members()?;
        let mut align = 1;
        let follows = self.tokens.get(self.at + 1).map(|(token, _)| token);
        if matches!(self.peek(), Some(Token::Word(word)) if word == "align") && follows == Some(&Token::Sign("(")) {
            self.at += 2;
            align = self.number()?;
            self.expect(")")?;
        }
        let align = power_of_two(align, body.line)?;
        self.keep(body, Kind::Struct(align, fields))
    }

    fn members(&mut self) -> Result<Vec<(String, Arc<Type>)>, Wrong> {
        self.scopes.push(BTreeMap::new());
        let mut fields = Vec::new();
        while !self.takes("}") {
            match self.peek() {
                Some(Token::Word(word)) if word == "typealias" || word == "typedef" => {
                    let word = word.clone();
                    self.declaration(&word)?;
                }
                _ => fields.extend(self.fields()?),
            }
        }
        self.scopes.pop();
        Ok(fields)
    }

    fn enumeration(&mut self) -> Result<Arc<Type>, Wrong> {
        let body = self.body_or_name("enum")?;
        let line = body.line;
        let typed = self.takes(":");
        if !typed && self.peek() != Some(&Token::Sign("{")) {
            return self.named(&body);
        }
        let within = if typed { self.kind(false)?.0 } else { self.named_int(line)? };
        let Kind::Integer(integer) = within.kind.clone() else {
            return Err(Wrong::at(line, "an enumeration is of a type that is no integer"));
        };
        self.expect("{")?;
        let mut labels: Vec<Label> = Vec::new();
        while !self.takes("}") {
            let next = labels.last().map_or(0, |label| label.last + 1);
            labels.push(self.label(next)?);
            if !self.takes(",") {
                self.expect("}")?;
                break;
            }
        }
        self.keep(body, Kind::Enum(integer, Arc::new(labels)))
    }

    /// An enumeration that does not say its integer has that of the name `int`.
    fn named_int(&mut self, line: u64) -> Result<Arc<Type>, Wrong> {
        self.find("int")
            .ok_or_else(|| Wrong::at(line, "an enumeration has no integer type, and there is no type 'int'"))
    }

    fn label(&mut self, next: i128) -> Result<Label, Wrong> {
        let line = self.line();
        let name = match self.next()? {
            Token::Word(name) | Token::Text(name) => name,
            _ => return Err(Wrong::at(line, "the name of a value is expected")),
        };
        let first = if self.takes("=") { self.number()? } else { next };
        let last = if self.takes("...") { self.number()? } else { first };
        Ok(Label { name, first, last })
    }

    fn variant(&mut self) -> Result<Arc<Type>, Wrong> {
        let body = self.body_or_name("variant")?;
        let mut tag = None;
        if self.takes("<") {
            tag = Some(self.path()?);
            self.expect(">")?;
        }
        if self.takes("{") {
            let options = self.members()?;
            return self.keep(body, Kind::Variant(tag, options));
        }
        let named = self.named(&body)?;
        match (&named.kind, tag) {
            (Kind::Variant(_, options), Some(tag)) => {
                Ok(Arc::new(Type::new(Kind::Variant(Some(tag), options.clone()), body.line)))
            }
            _ => Ok(named),
        }
    }

    fn named(&self, body: &Body) -> Result<Arc<Type>, Wrong> {
        let name = body.name.as_deref().ok_or_else(|| Wrong::at(body.line, "a type has neither name nor fields"))?;
        self.find(name).ok_or_else(|| Wrong::at(body.line, format!("there is no '{name}' before this line")))
    }

    fn keep(&mut self, body: Body, kind: Kind) -> Result<Arc<Type>, Wrong> {
        let kind = checked(Type::new(kind, body.line))?;
        if let Some(name) = body.name {
            self.name(name, kind.clone());
        }
        Ok(kind)
    }
}

/// The beginning of a struct, enumeration or variant: where it stands and its name, with the key word before it.
struct Body {
    line: u64,
    name: Option<String>,
}

fn too_deep() -> String {
    format!("types within types more than {DEEPEST} deep are not read")
}

fn checked(kind: Type) -> Result<Arc<Type>, Wrong> {
    if kind.depth > DEEPEST { Err(Wrong::at(kind.line, too_deep())) } else { Ok(Arc::new(kind)) }
}

fn power_of_two(number: i128, line: u64) -> Result<u32, Wrong> {
    match u32::try_from(number) {
        Ok(number) if number.is_power_of_two() && number <= 4096 => Ok(number),
        _ => Err(Wrong::at(line, format!("an alignment of {number} bits is not read: powers of two up to 4096 are"))),
    }
}

fn alignment(set: &Block, usual: u32) -> Result<u32, Wrong> {
    match set.number("align")? {
        None => Ok(usual),
        Some(align) => power_of_two(i128::from(align), set.line_of("align")),
    }
}

/// The order that a block sets with `byte_order`.
pub fn order(set: &Block) -> Result<Order, Wrong> {
    match set.text("byte_order")? {
        None | Some("native") => Ok(Order::Native),
        Some("le") => Ok(Order::Little),
        Some("be" | "network") => Ok(Order::Big),
        Some(other) => {
            let line = set.line_of("byte_order");
            Err(Wrong::at(line, format!("the byte order '{other}' is not read: le, be, network and native are")))
        }
    }
}

/// The clock of `clock.NAME.value`.
fn clock_of(path: &str, line: u64) -> Result<String, Wrong> {
    let name = path.strip_prefix("clock.").and_then(|rest| rest.strip_suffix(".value"));
    let name = name.ok_or_else(|| Wrong::at(line, format!("'map = {path}' is not read: clock.NAME.value is")))?;
    Ok(name.to_owned())
}
